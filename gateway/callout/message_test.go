package callout

import (
	"math"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

var dryerHot = engine.Alarm{ID: "dryer-hot@dryer-1", Name: "dryer-hot", Title: "dryer hot", Place: "dryer-1", PlaceTitle: "Dryer 1", Area: "deck",
	Priority: engine.High, Class: engine.Safety, Consequence: "Parchment cracks, and chaff can ignite.", Cause: "Burner sticks.",
	Action: "Cut the heat, check fan and burner. Rake the bed at 4.5 cm.", Caution: "Fire and burns. Keep the drum shut; follow your local codes.",
	RespondWithin: 10 * time.Minute, VerifyWith: []engine.Evidence{{Text: "smell the exhaust"}}}

// The form of the text is that of the rules language, section 4: PLACE POINT VALUE, limit LIMIT, since HH:MM. first sentence of action. For class safety the
// caution stands before the action.
func TestCompose(t *testing.T) {
	r := mill(zone(t, "America/Lima")).prepared()
	now := local(t, r, "2026-03-04 02:20")
	since := local(t, r, "2026-03-04 02:14")
	air := engine.Shown{Point: "dryer-1/air-temperature", Value: 51, Quantity: units.Temperature, Limit: 45, HasLimit: true}
	food := dryerHot
	food.Class = engine.Food
	with := func(a engine.Alarm, edit func(*engine.Standing)) engine.Standing {
		s := engine.Standing{Alarm: &a, State: engine.Unacknowledged, Occurrence: 412, ActiveSince: since, Since: since, Values: []engine.Shown{air}}
		if edit != nil {
			edit(&s)
		}
		return s
	}
	for _, c := range []struct {
		name     string
		standing engine.Standing
		to       Person
		want     string
	}{
		{"plain", with(food, nil), Person{}, "DRYER 1 air temperature 51.0 °C, limit 45.0 °C, since 02:14. Cut the heat, check fan and burner."},
		{"safety", with(dryerHot, nil), Person{}, "DRYER 1 air temperature 51.0 °C, limit 45.0 °C, since 02:14. Fire and burns. Cut the heat, check fan and burner."},
		{"her own units and language", with(food, nil), Person{Choice: units.Choice{Fahrenheit: true}, Language: "es"},
			"DRYER 1 temperatura del aire 123.8 °F, límite 113.0 °F, desde 02:14. Cut the heat, check fan and burner."},
		{"yesterday", with(food, func(s *engine.Standing) { s.ActiveSince = local(t, r, "2026-03-02 23:50") }), Person{},
			"DRYER 1 air temperature 51.0 °C, limit 45.0 °C, since 2026-03-02 23:50. Cut the heat, check fan and burner."},
		{"clock was not set", with(food, func(s *engine.Standing) { s.ActiveSince = reading.Stamp{Mono: now.Mono - 12*time.Minute, Boot: 1} }), Person{},
			"DRYER 1 air temperature 51.0 °C, limit 45.0 °C, for 12 min. Cut the heat, check fan and burner."},
		{"of a boot before", with(food, func(s *engine.Standing) { s.ActiveSince = reading.Stamp{Mono: time.Minute, Boot: 7} }), Person{},
			"DRYER 1 air temperature 51.0 °C, limit 45.0 °C. Cut the heat, check fan and burner."},
		{"a state", with(food, func(s *engine.Standing) {
			s.Values = []engine.Shown{{Point: "dryer-1/fan", Value: 0, Quantity: units.State}}
		}), Person{}, "DRYER 1 fan off, since 02:14. Cut the heat, check fan and burner."},
		{"the value with a limit is told", with(food, func(s *engine.Standing) {
			s.Values = []engine.Shown{{Point: "dryer-1/fan", Value: 0, Quantity: units.State}, air}
		}), Person{}, "DRYER 1 air temperature 51.0 °C, limit 45.0 °C, since 02:14. Cut the heat, check fan and burner."},
		{"a function", with(food, func(s *engine.Standing) {
			s.Values = []engine.Shown{{Point: "dryer-1/air-temperature", Text: "rise(air-temperature, 2 min)", Value: 0.1, Quantity: units.Temperature.Rate(), Limit: 0.05, HasLimit: true}}
		}), Person{}, "DRYER 1 rise of air temperature 6.0 °C/min over 2 min, limit 3.0 °C/min, since 02:14. Cut the heat, check fan and burner."},
		{"a function, in Spanish", with(food, func(s *engine.Standing) {
			s.Values = []engine.Shown{{Point: "yard/air", Text: "mean(yard/air, 10 min)", Value: 8, Quantity: units.Temperature, Limit: 10, HasLimit: true}}
		}), Person{Language: "es"}, "DRYER 1 media de yard air 8.0 °C en 10 min, límite 10.0 °C, desde 02:14. Cut the heat, check fan and burner."},
		{"a formula of more than that", with(food, func(s *engine.Standing) {
			s.Values = []engine.Shown{{Text: "apart(north, south)", Value: 3, Quantity: units.Temperature.Step(), Limit: 2, HasLimit: true}}
		}), Person{}, "DRYER 1 apart(north, south) 3.0 K, limit 2.0 K, since 02:14. Cut the heat, check fan and burner."},
		{"another station's point", with(food, func(s *engine.Standing) {
			s.Values = []engine.Shown{{Point: "yard/rain", Value: 1, Quantity: units.State}}
		}), Person{}, "DRYER 1 yard rain on, since 02:14. Cut the heat, check fan and burner."},
		{"nothing to show", with(food, func(s *engine.Standing) { s.Values = nil }), Person{}, "DRYER 1 dryer hot, since 02:14. Cut the heat, check fan and burner."},
		{"unknown meanwhile", with(food, func(s *engine.Standing) {
			s.Values = []engine.Shown{{Point: "dryer-1/air-temperature", Value: math.NaN(), Quantity: units.Temperature, Limit: 45, HasLimit: true}}
			s.Held, s.Unseen = true, "air-temperature: no answer"
		}), Person{}, "DRYER 1 air temperature unknown, limit 45.0 °C, since 02:14. Not seen now: air-temperature: no answer. Cut the heat, check fan and burner."},
	} {
		to := c.to
		got := r.compose([]engine.Standing{c.standing}, &to, "", 0, now)
		if got.Text != c.want {
			t.Errorf("%s:\ngot  %s\nwant %s", c.name, got.Text, c.want)
		}
		if answer := map[string]string{"": "Reply 1 0412 = I am on it.", "es": "Responda 1 0412 = voy yo."}[to.Language]; got.Answer != answer {
			t.Errorf("%s: answer %q, want %q", c.name, got.Answer, answer)
		}
		if got.Subject != "DRYER 1: dryer hot" || got.Occurrence != 412 || got.Alarm != "dryer-hot@dryer-1" {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

func TestCompose_body(t *testing.T) {
	r := mill(zone(t, "America/Lima")).prepared()
	since := local(t, r, "2026-03-04 02:14")
	s := engine.Standing{Alarm: &dryerHot, ActiveSince: since, Occurrence: 412, Values: []engine.Shown{
		{Point: "dryer-1/air-temperature", Value: 51, Quantity: units.Temperature, Limit: 45, HasLimit: true}, {Point: "dryer-1/fan", Value: 0, Quantity: units.State}}}
	got := r.compose([]engine.Standing{s}, r.people["ana"], "https://mill.example/a/x", 0, local(t, r, "2026-03-04 02:20"))
	const want = `dryer hot
DRYER 1 air temperature 51.0 °C, limit 45.0 °C, since 02:14.
- air temperature 51.0 °C, limit 45.0 °C
- fan off

CAUTION: Fire and burns. Keep the drum shut; follow your local codes.
What to do: Cut the heat, check fan and burner. Rake the bed at 4.5 cm.
If nobody acts: Parchment cracks, and chaff can ignite.
Usual cause: Burner sticks.
Look at: smell the exhaust
Respond within: 10 min

I am on it (opens the page; one tap more acknowledges):
https://mill.example/a/x

Millwarden is a monitoring aid, not a fire alarm, gas detector or safety function. The machine's own cut-outs and listed detection stay in charge; follow your local codes.
`
	if got.Body != want {
		t.Errorf("got\n%s\nwant\n%s", got.Body, want)
	}
	if !got.Urgent() || got.Thread == "" || got.Thread != r.compose([]engine.Standing{s}, r.people["ben"], "", 0, since).Thread {
		t.Errorf("urgent %v, thread %q", got.Urgent(), got.Thread)
	}
}

// Who is called after others is told that nobody has answered, and for how long, behind what to do.
func TestCompose_unanswered(t *testing.T) {
	r := mill(zone(t, "America/Lima")).prepared()
	s := engine.Standing{Alarm: &dryerHot, ActiveSince: local(t, r, "2026-03-04 02:14"), Occurrence: 412, Values: []engine.Shown{{Point: "dryer-1/air-temperature", Value: 51, Quantity: units.Temperature, Limit: 45, HasLimit: true}}}
	for _, c := range []struct {
		language string
		waited   time.Duration
		want     string // how the text ends
	}{
		{"", 14*time.Minute + 20*time.Second, "Cut the heat, check fan and burner. Nobody has answered for 14 min."},
		{"es", 5 * time.Minute, "Cut the heat, check fan and burner. Nadie ha respondido en 5 min."},
		{"", 90 * time.Second, "Cut the heat, check fan and burner."},
	} {
		got := r.compose([]engine.Standing{s}, &Person{Language: c.language}, "", c.waited, local(t, r, "2026-03-04 02:28"))
		if !strings.HasSuffix(got.Text, c.want) || c.waited > unansweredLeast && !strings.Contains(got.Body, c.want[strings.LastIndex(c.want, ". N")+2:]) {
			t.Errorf("after %v: %q\n%s", c.waited, got.Text, got.Body)
		}
	}
}

func TestExercise(t *testing.T) {
	r := mill(time.UTC).prepared()
	got := r.exercise(r.people["ana"], 1000001, "https://mill.example/a/x", reading.Stamp{})
	if !got.Exercise || got.Urgent() || !strings.HasPrefix(got.Text, "EXERCISE. Ana, this is a test.") || got.Subject != "EXERCISE: Fern Hollow" || !strings.HasPrefix(got.Body, "EXERCISE\n") {
		t.Errorf("%+v", got)
	}
	luis := *r.people["luis"]
	luis.Language = "es"
	if got := r.exercise(&luis, 1000002, "", reading.Stamp{}); !strings.HasPrefix(got.Text, "SIMULACRO. Luis, esto es una prueba.") {
		t.Errorf("%s", got.Text)
	}
}

// The daily message says plainly when not all is well; it comes in the person's language.
func TestAllWell(t *testing.T) {
	r := mill(time.UTC).prepared()
	luis := *r.people["luis"]
	luis.Language = "es"
	for _, c := range []struct {
		to   *Person
		well Well
		want string
	}{
		{r.people["ana"], Well{Probes: 23, Reading: 23, Drilled: "Ben, 2026-06-01 08:00"}, "All well, 23 of 23 probes give readings. Last drill: Ben, 2026-06-01 08:00."},
		{r.people["ana"], Well{Probes: 23, Reading: 22}, "NOT all well: 0 alarms stand, 22 of 23 probes give readings. No drill was answered yet."},
		{r.people["ana"], Well{Probes: 1, Reading: 1, Trouble: "no channel works"}, "NOT all well: 0 alarms stand, 1 of 1 probes give readings. no channel works. No drill was answered yet."},
		{&luis, Well{Probes: 23, Reading: 23, Standing: 2}, "NO está todo bien: 2 alarmas siguen, 23 de 23 sondas dan lecturas. Nadie ha respondido aún a un simulacro."},
	} {
		if got := r.allWell(c.to, c.well, reading.Stamp{}); got.Text != c.want || got.Exercise || got.Answer != "" {
			t.Errorf("got %q, want %q", got.Text, c.want)
		}
	}
}

func TestFirstSentence(t *testing.T) {
	for in, want := range map[string]string{
		"Drain and wash now. Rub beans.": "Drain and wash now.",
		"Wash at pH 4.2. Then rest":      "Wash at pH 4.2.",
		"Go there! Gas off.":             "Go there!",
		"One sentence without a stop":    "One sentence without a stop.",
		"Ends with it.":                  "Ends with it.",
		" Espere.\nLuego lave. ":         "Espere.",
		"":                               "",
	} {
		if got := firstSentence(strings.TrimSpace(in)); got != want {
			t.Errorf("firstSentence(%q) = %q, want %q", in, got, want)
		}
	}
}

// Aim: who reads Spanish is told a built-in alarm whole in Spanish: place, title, what to do, what can hurt; the site's own words stay its own.
func TestMessage_builtInSpanish(t *testing.T) {
	r := &Roster{Zone: time.UTC, Language: "es"}
	a := engine.Alarm{ID: "fan-stopped-with-heat@dryer-1", Name: "fan-stopped-with-heat", Title: "fan stopped with heat", Place: "dryer-1", PlaceTitle: "secadora grande",
		Priority: engine.High, Class: engine.Safety, Cause: "Belt, motor, tripped breaker.", Action: "Burner off at once. Do not restart before the fan runs.",
		Consequence: "Ring the bell by the gate.",
		Caution:     "Fire and mains voltage. The burner's own fan proving must cut the fuel; if it did not, lock it out and call its service."}
	s := engine.Standing{Alarm: &a, State: engine.Unacknowledged, Occurrence: 7, Values: []engine.Shown{{Point: "dryer-1/fan", Quantity: units.State}}}
	m := r.compose([]engine.Standing{s}, &Person{}, "", 0, reading.Stamp{})
	if want := "SECADORA GRANDE: ventilador parado con calor"; m.Subject != want {
		t.Errorf("subject %q, want %q", m.Subject, want)
	}
	if want := "SECADORA GRANDE ventilador apagado. Fuego y corriente de red. Apague el quemador de inmediato."; m.Text != want {
		t.Errorf("text %q, want %q", m.Text, want)
	}
	for _, part := range []string{"Causa habitual: Correa, motor, interruptor saltado.", "Si nadie actúa: Ring the bell by the gate.", "No lo encienda antes de que ande el ventilador."} {
		if !strings.Contains(m.Body, part) {
			t.Errorf("the body lacks %q:\n%s", part, m.Body)
		}
	}
	lost := engine.Alarm{ID: "measurement-lost@tank-1/air-temperature", Name: "measurement-lost", Place: "tank-1/air-temperature", PlaceTitle: "tank 1 air temperature",
		Action: "Look at plug and wire, then read it by hand. Swap the probe."}
	m = r.compose([]engine.Standing{{Alarm: &lost, Occurrence: 8}}, &Person{}, "", 0, reading.Stamp{})
	if want := "TANK 1 TEMPERATURA DEL AIRE: medición perdida"; m.Subject != want {
		t.Errorf("subject %q, want %q", m.Subject, want)
	}
	m = r.compose([]engine.Standing{{Alarm: &lost, Occurrence: 8}}, &Person{Language: "en"}, "", 0, reading.Stamp{})
	if want := "TANK 1 AIR TEMPERATURE: measurement lost"; m.Subject != want {
		t.Errorf("her own language: subject %q, want %q", m.Subject, want)
	}
}
