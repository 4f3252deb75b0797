package reading

import (
	"io"
	"math"
	"strings"

	"millwarden/internal/units"
)

// Stay is one act on a lot: it was loaded into a station, or the station was emptied.
type Stay struct {
	Stamp   Stamp
	Station string
	Empty   bool // emptied; else loaded
	Lot     string
	Kg      float64 // weight that went in or came out; NaN: not weighed
	Note    string
}

var lotsHeader = []string{"time", "station", "act", "lot", "kg", "note"}

// Lots reads the acts on lots in CSV form: header time,station,act,lot,kg,note; act load or empty; kg may be left out.
type Lots struct{ table *table }

// NewLots reads the header.
func NewLots(from io.Reader) (*Lots, error) {
	t, err := openTable(from, lotsHeader)
	if err != nil {
		return nil, err
	}
	return &Lots{t}, nil
}

// Next reads one act; io.EOF at the end. An error about one row leaves the reader at the next.
func (l *Lots) Next() (Stay, error) {
	row, err := l.table.next()
	if err != nil {
		return Stay{}, err
	}
	at, err := l.table.time(row[0])
	if err != nil {
		return Stay{}, err
	}
	stay := Stay{Stamp: at, Station: strings.Clone(row[1]), Lot: strings.Clone(Unguard(row[3])), Kg: math.NaN(), Note: strings.Clone(Unguard(row[5]))}
	if checkName(stay.Station) != nil || strings.Contains(stay.Station, "/") {
		return Stay{}, l.table.wrong("%q is no station; write its name, for example tank-1", row[1])
	}
	switch row[2] {
	case "load":
	case "empty":
		stay.Empty = true
	default:
		return Stay{}, l.table.wrong("%q is no act; write load or empty", row[2])
	}
	if stay.Lot == "" && !stay.Empty {
		return Stay{}, l.table.wrong("no lot was loaded into %s; write its name", stay.Station)
	}
	if row[4] != "" {
		if stay.Kg, err = units.ParseNumber(row[4]); err != nil {
			return Stay{}, l.table.wrong("weight: %w; write kg, for example 412.5", err)
		}
		if stay.Kg < 0 {
			return Stay{}, l.table.wrong("a weight of %s kg cannot be", row[4])
		}
	}
	return stay, nil
}
