package command

import (
	"bytes"
	"io"
	"slices"
	"strings"
	"testing"

	"millwarden/rules/check"
)

// everyKind is a rules file with a station of each kind that has computed points, and every probe that they use.
const everyKind = "../../rules/models/testdata/every-kind.rules"

// Aim: every number can be traced, whichever kind of computed point it is: `explain` names the formula, the source, how often it is worked out, each setting and limit with its value, and each
// input with value and quality. Control: without a gateway that answers, no value and no quality stand there.
func TestExplain_everyComputedPoint(t *testing.T) {
	plan, err := goodRules(IO{Out: io.Discard, Err: t.Output()}, everyKind)
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]string{}
	for i := range plan.Stations {
		kinds[plan.Stations[i].Name] = plan.Stations[i].Kind
	}
	seen, own := map[string]int{}, 0
	for i := range plan.Points {
		p := &plan.Points[i]
		kind, is := kinds[p.Station]
		if p.How != check.Computed {
			continue
		}
		if kind == "board" || !is {
			own++
			if text := explained(t, plan, p.Name, func(string) string { return "" }); !strings.Contains(text, "  Found by the gateway itself: ") {
				t.Errorf("explain %s does not say how it is found:\n%s", p.Name, text)
			}
			continue
		}
		seen[kind]++
		var asked []string
		text := explained(t, plan, p.Name, func(point string) string { asked = append(asked, point); return "12.3, uncertain: a test" })
		for _, part := range []string{"  Formula: ", "  Source: ", "  Worked out ", "  Now it is 12.3, uncertain: a test."} {
			if !strings.Contains(text, part) {
				t.Errorf("explain %s does not say %q:\n%s", p.Name, part, text)
			}
		}
		for _, from := range p.From {
			if !strings.Contains(text, "    "+from+" is 12.3, uncertain: a test.") {
				t.Errorf("explain %s does not give value and quality of %s:\n%s", p.Name, from, text)
			}
		}
		if slices.Contains(asked, "") || strings.Contains(text, "%!") || strings.Contains(text, " is ,") {
			t.Errorf("explain %s has a hole:\n%s", p.Name, text)
		}
		if alone := explained(t, plan, p.Name, func(string) string { return "" }); strings.Contains(alone, "12.3") || strings.Contains(alone, "Now") {
			t.Errorf("explain %s gives values that nobody said:\n%s", p.Name, alone)
		}
	}
	if own < 40 {
		t.Errorf("%d points of the gateway itself were explained, want 40", own)
	}
	for kind, least := range map[string]int{"tank": 14, "deck": 15, "dryer": 15, "bin": 10, "store": 5, "room": 3, "yard": 2, "huller": 1, "roaster": 8} {
		if seen[kind] < least {
			t.Errorf("%d computed points of %s were explained, want %d", seen[kind], kind, least)
		}
	}
	for _, c := range []struct{ point, says string }{
		{"the-tank/equivalent-hours", "    q10 is 2.2, a setting of the station"}, {"the-tank/wash-in", "    ready-ph is 4.60 pH; source: Jackels 2006"},
		{"the-deck/drying-in", "    target-moisture is 11.0 %wb, a setting of the station"}, {"the-deck/drying-in", "Where known it uses also: the-deck/moisture, the-deck/weight."},
		{"the-deck/drying-in", "    the-deck/moisture is 12.3, uncertain: a test."}, {"the-bin/mould-hours", "    mould-bin-air is 70.0 %RH; source: CXC 69-2009"},
		{"the-bin/dew-margin", "the-bin/wall-temperature is 12.3"}, {"the-roaster/drop-in", "    drop-temperature is 220.0 °C"}, {"the-roaster/rate-of-rise", "every 2 s in a roast"},
	} {
		if text := explained(t, plan, c.point, func(string) string { return "12.3, uncertain: a test" }); !strings.Contains(text, c.says) {
			t.Errorf("explain %s does not say %q:\n%s", c.point, c.says, text)
		}
	}
}

func explained(t *testing.T, plan *check.Plan, word string, ask func(string) string) string {
	t.Helper()
	var out bytes.Buffer
	e := explainer{plan: plan, out: &out, ask: ask}
	if err := e.explain(word); err != nil {
		t.Fatal(err)
	}
	return out.String()
}
