package record_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"millwarden/gateway/record"
	"millwarden/internal/estate"
)

// Aim: the season says of the finished lot what its own curve says: when the tank truly passed its pH (the invented curve passes 4.60 after 14.0 h), what was foreseen on the
// way there, the yields, and how long alarms stood.
func TestSeason_finishedLot(t *testing.T) {
	from, _ := sources(t)
	s, err := record.CompareSeason(t.Context(), from, []string{estate.PastLot}, begins.Add(-1000*time.Hour), begins)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Waits) != 2 || len(s.Lots) != 1 {
		t.Fatalf("season %+v", s)
	}
	tank := s.Waits[0]
	if ready := float64(tank.Ready-tank.From) / 3.6e6; tank.Station != "tank-1" || ready < 13.7 || ready > 14.3 || tank.Warmth == nil || *tank.Warmth < 22 || *tank.Warmth > 24 {
		t.Errorf("tank %+v, ready after %.2f h", tank, ready)
	}
	for _, w := range s.Waits {
		t.Logf("%s: ready after %.1f h", w.Station, float64(w.Ready-w.From)/3.6e6)
		for _, f := range w.Forecasts {
			t.Logf("  at %d %%: off by %.0f min, held %v", f.Part, float64(f.Off)/60000, f.Held)
			if f.Off != f.Ready-w.Ready || f.Held != (w.Ready >= f.Early && w.Ready <= f.Late) {
				t.Errorf("forecast %+v of a stay that was ready at %d", f, w.Ready)
			}
		}
	}
	// What this lot alone teaches, reckoned by hand: its time to pH 4.60 at 2^((mean - 23 °C) / 10) of the pace; the anchor of the rules file is 15 h.
	alone := float64(tank.Ready-tank.From) * math.Pow(2, (*tank.Warmth-23)/10)
	if math.Abs(float64(tank.Taught)-alone) > 1000 || tank.Anchor != (15*time.Hour).Milliseconds() || s.Waits[1].Taught != 0 {
		t.Errorf("the tank taught %d ms against %d, want %.0f against 15 h; the deck taught %d", tank.Taught, tank.Anchor, alone, s.Waits[1].Taught)
	}
	if len(tank.Forecasts) == 0 || s.Wash.Forecasts != 1 || s.Dry.Forecasts != 1 {
		t.Errorf("forecasts %+v, %+v, %+v", tank.Forecasts, s.Wash, s.Dry)
	}
	lot := s.Lots[0]
	sum := int64(0)
	for _, w := range lot.Worst {
		sum += w.Long
	}
	if lot.Yield.Green != 102.8 || lot.Alarms == 0 || lot.Danger == 0 || lot.Danger > sum {
		t.Errorf("lot %+v", lot)
	}
	s.Learned = []record.Learned{{Stations: []string{"tank-1", "tank-2"}, Tanks: 3, Usual: hour * 15, Ready: hour * 27 / 2, Early: hour * 11, Late: hour * 16, Reference: 23}}
	s.Dried = []record.Dried{{Stations: []string{"dryer-1"}, Layers: 4, Target: 11, Took: hour * 30, Early: hour * 27, Late: hour * 33}}
	var table bytes.Buffer
	if err := s.CSV(&table); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&table).ReadAll()
	if err != nil || len(rows) < 6 {
		t.Fatalf("table: %d rows, %v", len(rows), err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	for part, want := range map[string]map[string]string{
		"learned": {"station": "tank-1 tank-2", "anchor_h": "15.00", "taught_h": "13.50", "offset_min": "-90", "early_h": "11.00", "late_h": "16.00", "tanks": "3", "warmth_c": "23"},
		"dried":   {"station": "dryer-1", "taught_h": "30.00", "early_h": "27.00", "late_h": "33.00", "layers": "4", "end": "11", "tanks": ""},
		"stay":    {"station": "tank-1", "anchor_h": "15.00", "taught_h": fmt.Sprintf("%.2f", alone/3.6e6), "offset_min": fmt.Sprintf("%.0f", (alone-15*3.6e6)/60000)},
	} {
		row := rows[slices.IndexFunc(rows, func(row []string) bool { return row[0] == part })]
		for name, value := range want {
			if got := row[column[name]]; got != value {
				t.Errorf("%s row of the table: %s is %q, want %q", part, name, got, value)
			}
		}
	}
}

// hour in milliseconds.
const hour = 3600 * 1000
