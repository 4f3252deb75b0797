package record_test

import (
	"bytes"
	"encoding/csv"
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
	var table bytes.Buffer
	if err := s.CSV(&table); err != nil {
		t.Fatal(err)
	}
	if rows, err := csv.NewReader(&table).ReadAll(); err != nil || len(rows) < 5 {
		t.Errorf("table: %d rows, %v", len(rows), err)
	}
}
