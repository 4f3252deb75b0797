package estate

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
)

// Begin writes into the logbook of a data folder what the crew had done before the estate begins: which lots stand where, and that the electrodes
// were held to two buffers this afternoon.
func Begin(folder string, begins time.Time) error {
	book, err := logbook.Open(folder)
	if err != nil {
		return err
	}
	standing, err := book.Standing(context.Background())
	if err == nil && len(standing) == 0 {
		err = errors.Join(loadLots(book, begins), calibrate(book, begins))
	}
	return errors.Join(err, book.Close())
}

// loadLots writes the stays in the order in which people had them, so that the book reads as one that was kept.
func loadLots(book *logbook.Logbook, begins time.Time) error {
	type move struct {
		hours float64 // before the estate begins
		write func(reading.Stamp) error
	}
	var moves []move
	load := func(station, lot string, hours float64, kg float64) {
		moves = append(moves, move{hours, func(at reading.Stamp) error {
			_, err := book.Load(logbook.Stay{Station: station, Kind: kindOf(station), Lot: lot, From: at, Loaded: kg, Who: "ana"})
			return err
		}})
	}
	for _, lot := range Past {
		load(lot.Station, lot.Lot, lot.From, lot.Kilograms)
		moves = append(moves, move{lot.To, func(at reading.Stamp) error {
			_, err := book.Empty(lot.Station, at, 0, "ben", lot.Note)
			return err
		}})
	}
	for _, lot := range Lots {
		load(lot.Station, lot.Lot, lot.Hours, lot.Kilograms)
	}
	slices.SortStableFunc(moves, func(a, b move) int { return cmp.Compare(b.hours, a.hours) })
	for _, m := range moves {
		if err := m.write(reading.Stamp{Wall: begins.Add(-time.Duration(m.hours * float64(time.Hour))), Set: true}); err != nil {
			return err
		}
	}
	return nil
}

// kindOf is the kind of a station of the estate, which its name begins with.
func kindOf(station string) string {
	kind, _, _ := strings.Cut(station, "-")
	return kind
}

func calibrate(book *logbook.Logbook, begins time.Time) error {
	for _, probe := range []string{"tank-1-electrode", "tank-2-electrode"} {
		c := logbook.Calibration{At: reading.Stamp{Wall: begins.Add(-2 * time.Hour), Set: true}, Probe: probe, Channel: "ph", Kind: "two-point", Who: "ben", Note: "fresh buffers"}
		for _, buffer := range []float64{7, 4.01} {
			c.Points = append(c.Points, logbook.Pair{Reference: buffer, Read: Electrode(buffer, 25), Temperature: 25})
		}
		if _, err := book.Calibrate(c); err != nil {
			return err
		}
	}
	return nil
}
