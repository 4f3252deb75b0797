package callout

import (
	"strings"
	"testing"

	"millwarden/rules/engine"
)

// Aim: who has another language reads the site's own words for an alarm where there are some, in the message, the link's title and a flood; who has not reads the rules file's.
// The alarm itself stays as it is: others read it too.
func TestTranslation(t *testing.T) {
	r := mill(zone(t, "America/Lima")).prepared()
	r.Said = []Translation{{Language: "es", Alarm: dryerHot.Name, Title: "aire caliente", Action: "Corte el calor. Mire el ventilador.", Caution: "Fuego y quemaduras."}}
	now := local(t, r, "2026-03-04 02:20")
	alarm := dryerHot
	standings := []engine.Standing{{Alarm: &alarm, State: engine.Unacknowledged, Occurrence: 412, ActiveSince: now, Since: now}}
	for language, want := range map[string][2]string{
		"es": {"DRYER 1 aire caliente, desde 02:20. Fuego y quemaduras. Corte el calor.", "Si nadie actúa: " + dryerHot.Consequence},
		"en": {"Fire and burns. Cut the heat", "If nobody acts: " + dryerHot.Consequence},
		"":   {"Fire and burns. Cut the heat", "If nobody acts: " + dryerHot.Consequence},
	} {
		to := Person{Language: language}
		m := r.compose(r.inWords(standings, &to), &to, "", 0, now)
		if !strings.Contains(m.Text, want[0]) || !strings.Contains(m.Body, want[1]) {
			t.Errorf("%q: %q\n%s", language, m.Text, m.Body)
		}
		many := []engine.Standing{standings[0], standings[0], standings[0]}
		if flood := r.composeFlood(r.inWords(many, &to), &to, "", now); strings.Contains(flood.Text, "aire caliente") != (language == "es") {
			t.Errorf("%q: %q", language, flood.Text)
		}
	}
	if alarm.Action != dryerHot.Action {
		t.Error("the alarm itself was translated")
	}
	r.Language = "es"
	if to := (Person{}); r.inWords(standings, &to)[0].Alarm.Title != "aire caliente" {
		t.Error("the site's language is not that of who chose none")
	}
}
