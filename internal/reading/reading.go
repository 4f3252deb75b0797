// Package reading is the reading of a point: value, unit, time, quality and the reason for it, with its SenML (RFC 8428) and CSV forms.
// It knows units and nothing else of Millwarden.
//
// It is larger than most packages because each form has a reader, a writer and a strict list of what is refused: SenML in JSON (a fast
// scanner for plain packs, encoding/json for the rest, one resolver behind both) and in CBOR, readings as packs, readings and lots in CSV.
//
// Concurrency: values and tables that never change; a reader or writer of CSV is for one goroutine.
package reading

import (
	"math"
	"time"

	"millwarden/internal/units"
)

// Quality is how far a reading may be trusted: the three severities of OPC UA. Bad is never used; uncertain may raise an alarm, never clear one.
type Quality uint8

const (
	Good Quality = iota
	Uncertain
	Bad
)

func (q Quality) String() string { return [...]string{"good", "uncertain", "bad"}[q] }

// Stamp is when something happened, by every clock the board has.
type Stamp struct {
	Wall time.Time     // UTC; wrong or zero while Set is false
	Mono time.Duration // since the boot of the board; never steps. Every delay, age and window is reckoned on it
	Boot uint32        // number of the boot; orders stamps of unset clocks
	Set  bool          // the wall clock was known to be right
}

// Reading is one value of one point.
type Reading struct {
	Point    string         // station/point, for example "tank-1/ph"
	Quantity units.Quantity // what is measured; Value is in its base unit
	Value    float64        // NaN where nothing was read
	Stamp    Stamp
	Quality  Quality
	Cause    string // why the quality is not good, for example "no answer"; "" if good
}

// Missing is the reading of a probe that could not be read: bad, without value, because of cause.
func Missing(point string, quantity units.Quantity, at Stamp, cause string) Reading {
	return Reading{Point: point, Quantity: quantity, Value: math.NaN(), Stamp: at, Quality: Bad, Cause: cause}
}
