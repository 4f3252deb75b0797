package estate

import (
	"context"
	"errors"
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

func loadLots(book *logbook.Logbook, begins time.Time) error {
	ago := func(hours float64) reading.Stamp {
		return reading.Stamp{Wall: begins.Add(-time.Duration(hours * float64(time.Hour))), Set: true}
	}
	for _, lot := range Past {
		if _, err := book.Load(logbook.Stay{Station: lot.Station, Kind: kindOf(lot.Station), Lot: lot.Lot, From: ago(lot.From), Loaded: lot.Kilograms, Who: "ana"}); err != nil {
			return err
		}
		if _, err := book.Empty(lot.Station, ago(lot.To), 0, "ben", lot.Note); err != nil {
			return err
		}
	}
	for _, lot := range Lots {
		if _, err := book.Load(logbook.Stay{Station: lot.Station, Kind: kindOf(lot.Station), Lot: lot.Lot, From: ago(lot.Hours), Loaded: lot.Kilograms, Who: "ana"}); err != nil {
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
