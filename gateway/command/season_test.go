package command

import (
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	lotrecord "millwarden/gateway/record"
)

// Aim: the season says in columns what the estate's own washed tanks have taught: each lot its own anchor and offset, each group of tanks the anchor learned beside that of the rules file; and nothing where
// nothing was learned.
func TestSeason_prints(t *testing.T) {
	const hour = 3600 * 1000
	warmth, end := 21.5, 4.42
	s := lotrecord.Season{
		Waits: []lotrecord.Wait{
			{Lot: "143", Station: "tank-1", Kind: "tank", From: 0, To: 18 * hour, Ready: 16 * hour, Warmth: &warmth, End: &end, Taught: hour * 144 / 10, Anchor: 15 * hour,
				Forecasts: []lotrecord.Forecast{{Part: 50, Ready: 17 * hour, Off: hour, Held: true}}},
			{Lot: "143", Station: "deck-a", Kind: "deck", From: 19 * hour},
		},
		Lots: []lotrecord.SeasonLot{{Lot: "143"}},
		Learned: []lotrecord.Learned{
			{Stations: []string{"tank-1", "tank-2"}, Tanks: 3, Usual: 15 * hour, Ready: hour * 136 / 10, Early: 11 * hour, Late: 16 * hour, Reference: 23},
			{Stations: []string{"tank-3"}, Usual: 20 * hour, Ready: 20 * hour, Reference: 21},
		},
		Dried: []lotrecord.Dried{{Stations: []string{"dryer-1", "dryer-2"}, Layers: 4, Target: 11, Took: 30 * hour, Early: 27 * hour, Late: 33 * hour}},
	}
	lines := strings.Split(printed(t, &s), "\n")
	for _, want := range [][]string{
		{"stay", "lot", "from", "for", "ready after", "mean", "at the end", "forecast half way", "was off by", "held", "taught", "offset"},
		{"tank-1", "143", "1970-01-01", "18.0 h", "16.0 h", "21.5 °C", "4.4", "17.0 h", "+60 min", "yes", "14.4 h", "-36 min"},
		{"deck-a", "143", "lasts", "not seen", "–"},
		{"learned by", "washed tanks", "at", "anchor of the rules file", "anchor learned", "offset", "two of three between"},
		{"tank-1, tank-2", "3", "23 °C", "15.0 h", "13.6 h", "-84 min", "11.0 h and 16.0 h"},
		{"tank-3", "0", "21 °C", "20.0 h", "nothing yet", "–", "–"},
		{"learned by", "dried layers", "to", "took", "two of three between"},
		{"dryer-1, dryer-2", "4", "11.0 %wb", "30.0 h", "27.0 h and 33.0 h"},
	} {
		if !anyHolds(lines, want) {
			t.Errorf("no line holds %q in this order:\n%s", want, strings.Join(lines, "\n"))
		}
	}
	s.Learned, s.Dried = nil, nil
	if text := printed(t, &s); strings.Contains(text, "learned by") {
		t.Errorf("without tanks and layers it says\n%s", text)
	}
}

func printed(t *testing.T, s *lotrecord.Season) string {
	t.Helper()
	var text strings.Builder
	w := tabwriter.NewWriter(&text, 0, 0, 2, ' ', 0)
	printSeason(w, s, siteTimes{time.UTC})
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	return text.String()
}

// anyHolds tells whether some line has all parts, one after the other.
func anyHolds(lines, parts []string) bool {
next:
	for _, line := range lines {
		for _, part := range parts {
			_, rest, ok := strings.Cut(line, part)
			if !ok {
				continue next
			}
			line = rest
		}
		return true
	}
	return false
}
