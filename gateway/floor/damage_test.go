package floor_test

import (
	"database/sql"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// oldReadings fills a folder with some hours of readings of a day before, rolled up.
func oldReadings(t *testing.T, folder string, day time.Time) {
	t.Helper()
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for s := range 3600 {
		at := reading.Stamp{Wall: day.Add(time.Duration(s) * 4 * time.Second), Mono: time.Duration(s) * 4 * time.Second, Set: true}
		if _, err := h.Append([]reading.Reading{{Point: "room-1/temperature", Quantity: units.Temperature, Value: 4, Stamp: at}}); err != nil {
			t.Fatal(err)
		}
	}
	for done := (history.Rolled{Hours: 1}); err == nil && done != (history.Rolled{}); {
		done, err = h.RollUp(t.Context(), day.AddDate(0, 0, 2), true)
	}
	if err := errors.Join(err, h.Close()); err != nil {
		t.Fatal(err)
	}
}

// Aim: readings of long ago that are lost on the disk are told within a minute of the start, though nobody asks for them. The control is the same start
// with nothing lost.
func TestNight_lostReadings(t *testing.T) {
	noon := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
	for name, lost := range map[string]bool{"lost": true, "whole": false} {
		t.Run(name, func(t *testing.T) {
			folder := memoryFolder(t)
			oldReadings(t, folder, noon.AddDate(0, 0, -5))
			if lost {
				db, err := sql.Open("sqlite", filepath.Join(folder, "history.db"))
				if err != nil {
					t.Fatal(err)
				}
				_, err = db.ExecContext(t.Context(), "DELETE FROM chunk WHERE key = (SELECT max(key) FROM chunk)")
				if err := errors.Join(err, db.Close()); err != nil {
					t.Fatal(err)
				}
			}
			bubble(t, func(t *testing.T) {
				r := openRoom(t, folder, &powerClock{begun: time.Now(), wall: noon, isSet: true})
				runRoom(t, r, time.Minute)
				if told := r.about("damaged readings 1") > 0; told != lost {
					t.Errorf("somebody was told: %t, want %t: %+v", told, lost, r.phone.got)
				}
			})
		})
	}
}
