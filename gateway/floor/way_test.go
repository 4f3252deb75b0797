package floor_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/internal/estate"
	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// Aim: the way of the lots between two times holds every stay that touches them and no other (one that ends as the time begins, or begins as it ends, touches nothing), each annunciation
// once with the title and priority of its rule, and what people did; what came before and after is left out.
func TestWay_ofATime(t *testing.T) {
	folder, begins := t.TempDir(), time.Now().UTC().Truncate(time.Second)
	if err := estate.Begin(folder, begins); err != nil {
		t.Fatal(err)
	}
	book, err := logbook.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	turn := func(hoursAgo float64, alarm, place string, from, to engine.State, who string) {
		t.Helper()
		data, err := json.Marshal(map[string]string{"From": from.String(), "To": to.String()})
		if err != nil {
			t.Fatal(err)
		}
		at := reading.Stamp{Wall: begins.Add(-time.Duration(hoursAgo * float64(time.Hour))), Set: true}
		if _, err := book.Write(logbook.Entry{At: at, Kind: logbook.Transition, Alarm: alarm, Occurrence: 7, Place: place, Who: who, Text: alarm, Data: data}); err != nil {
			t.Fatal(err)
		}
	}
	turn(101, "over-fermented@tank-1", "tank-1", engine.Normal, engine.Unacknowledged, "") // before
	turn(40, "over-fermented@tank-1", "tank-1", engine.Normal, engine.Unacknowledged, "")
	turn(39.9, "over-fermented@tank-1", "tank-1", engine.Unacknowledged, engine.Unacknowledged, "") // called again: no other mark
	turn(39, "over-fermented@tank-1", "tank-1", engine.Unacknowledged, engine.Acknowledged, "ana")
	turn(38, "over-fermented@tank-1", "tank-1", engine.Acknowledged, engine.Normal, "") // nobody did it
	turn(30, "no-longer-in-the-rules", "deck-a", engine.Normal, engine.Unacknowledged, "")
	if _, err := book.Write(logbook.Entry{At: reading.Stamp{Wall: begins.Add(-20 * time.Hour), Set: true}, Kind: logbook.Note, Place: "deck-a", Who: "ben", Text: "raked"}); err != nil {
		t.Fatal(err)
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
	mill, err := openIn(t, folder)
	if err != nil {
		t.Fatal(err)
	}
	defer mill.Close()
	touching := func(from, to float64) (list []string) {
		t.Helper()
		way, err := mill.Books().Way(t.Context(), begins.Add(-time.Duration(from*float64(time.Hour))), begins.Add(-time.Duration(to*float64(time.Hour))))
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range way.Stays {
			list = append(list, s.Station+" "+s.Lot)
		}
		return list
	}
	var want []string // reckoned from the estate's own list of who stood where, hours ago
	for _, s := range estate.Past {
		if s.From > 0 && s.To < 100 {
			want = append(want, s.Station+" "+s.Lot)
		}
	}
	for _, s := range estate.Lots {
		want = append(want, s.Station+" "+s.Lot)
	}
	got := touching(100, 0)
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) || len(want) < 10 {
		t.Errorf("stays %q, want %q", got, want)
	}
	for edge, there := range map[[2]float64]bool{{25, 24}: false, {25.01, 24}: true, {60, 46}: false, {60, 45.99}: true} {
		if got := slices.Contains(touching(edge[0], edge[1]), "tank-1 138"); got != there { // it stood there from 46 to 25 hours ago
			t.Errorf("from %v to %v hours ago: tank-1 138 is there: %v", edge[0], edge[1], got)
		}
	}
	way, err := mill.Books().Way(t.Context(), begins.Add(-100*time.Hour), begins)
	if err != nil {
		t.Fatal(err)
	}
	var marks, acts []string
	for _, m := range way.Marks {
		marks = append(marks, fmt.Sprintf("%s %s %s", m.Title, m.Station, m.Priority))
	}
	for _, a := range way.Acts {
		if a.Kind != string(logbook.Calibrated) {
			acts = append(acts, a.Who+" "+a.Text+" "+a.State)
		}
	}
	if want := []string{"over fermented tank-1 high", "no-longer-in-the-rules deck-a low"}; !slices.Equal(marks, want) {
		t.Errorf("marks %q, want %q", marks, want)
	}
	if want := []string{"Ana over-fermented@tank-1 acknowledged", "Ben raked "}; !slices.Equal(acts, want) {
		t.Errorf("acts %q, want %q", acts, want)
	}
	for _, s := range way.Stays {
		if lasts := s.To == 0; lasts != slices.ContainsFunc(estate.Lots, func(l struct {
			Station, Lot string
			Kilograms    float64
			Hours        float64
		}) bool {
			return l.Station == s.Station && l.Lot == s.Lot
		}) {
			t.Errorf("%s %s lasts: %v", s.Station, s.Lot, lasts)
		}
	}
}
