package reading

import (
	"errors"
	"math"
	"strings"
	"time"

	"millwarden/internal/units"
)

// Readings travel as SenML in primary units. What SenML has no field for stands beside the value in records of their own, whose names
// end in a colon and a word; no name of the rules file holds a colon, so they cannot be mistaken for points.
//
//	{"n":"tank-1/ph","u":"pH","v":4.21,"t":3}                   a good reading: one record
//	{"n":"bin-1/moisture:quantity","vs":"moisture","t":3}       before the first value of a point whose unit does not tell the quantity
//	{"n":"bin-1/moisture","u":"/","v":0.115,"t":3}
//	{"n":"bin-1/moisture:quality","u":"/","vs":"uncertain:calibration overdue","t":3}    before a value of the same point and time
//	{"n":"deck-1/air-temperature:quality","u":"Cel","vs":"bad:no answer","t":3}          alone where nothing was read
const (
	qualitySuffix  = ":quality"
	quantitySuffix = ":quantity"
)

// ErrClock refuses a reading taken while the wall clock was not set: it cannot be told to anybody outside the board.
var ErrClock = errors.New("the clock was not set")

// AppendReadings appends readings as one pack; ReadingsOf is its inverse, exact for values that stand on the steps of the history and
// for times to the microsecond. Readings of unset clocks are refused with ErrClock. It allocates nothing but the growth of dst.
func AppendReadings(dst []byte, readings []Reading) ([]byte, error) {
	if len(readings) == 0 {
		return dst, refuse("pack without a reading")
	}
	w := packer{dst: dst}
	for i := range readings {
		if err := w.reading(readings, i); err != nil {
			return dst, refuse("reading %d, %s: %w", i+1, readings[i].Point, err)
		}
	}
	return append(w.dst, ']'), nil
}

func (w *packer) reading(all []Reading, i int) error {
	r := &all[i]
	if !r.Stamp.Set {
		return ErrClock
	}
	at := r.Stamp.Wall
	if !tells(r.Quantity) && !told(all[:i], r) {
		if err := w.open(r.Point, quantitySuffix, "", at); err != nil {
			return err
		}
		w.text("vs", r.Quantity.Name())
		w.dst = append(w.dst, '}')
	}
	absent := math.IsNaN(r.Value) || math.IsInf(r.Value, 0)
	if r.Quality != Good || absent {
		if err := w.open(r.Point, qualitySuffix, WireUnit(r.Quantity), at); err != nil {
			return err
		}
		quality, cause := r.Quality, r.Cause
		if absent && quality != Bad {
			quality, cause = Bad, "no value" // a good reading without value contradicts itself: the doubt wins
		}
		w.label("vs")
		w.escaped(quality.String())
		if cause != "" {
			w.escaped(":")
			w.escaped(cause)
		}
		w.dst = append(w.dst, `"}`...)
	}
	if absent {
		return nil
	}
	if err := w.open(r.Point, "", WireUnit(r.Quantity), at); err != nil {
		return err
	}
	w.dst = appendNumber(append(w.dst, `,"v":`...), ToWire(r.Value, r.Quantity))
	w.dst = append(w.dst, '}')
	return nil
}

// told: the pack has already said what the point of r is of. Packs are short, so looking back is cheaper than a map.
func told(before []Reading, r *Reading) bool {
	for i := len(before) - 1; i >= 0; i-- {
		if before[i].Point == r.Point {
			return before[i].Quantity == r.Quantity
		}
	}
	return false
}

// ReadingsOf turns the records of one pack into readings and appends them to into. known gives the quantity of points that the pack
// does not tell (nil: none). Records that are no readings (texts and the like of other names) are passed over.
func ReadingsOf(records []Record, known func(point string) (units.Quantity, bool), into []Reading) ([]Reading, error) {
	u := unpacker{known: known, out: into}
	for i := range records {
		if err := u.take(&records[i]); err != nil {
			return into, err
		}
	}
	if err := u.flush(); err != nil {
		return into, err
	}
	return u.out, nil
}

// unpacker joins the records of a reading again.
type unpacker struct {
	known   func(point string) (units.Quantity, bool)
	said    map[string]units.Quantity
	pending Reading // a quality that waits for its value
	waiting bool
	out     []Reading
}

// flush gives out a quality to which no value came.
func (u *unpacker) flush() error {
	if u.waiting && u.pending.Quantity == units.None {
		return refuse("%s: nothing tells what it is", u.pending.Point)
	}
	if u.waiting {
		u.out, u.waiting = append(u.out, u.pending), false
	}
	return nil
}

func (u *unpacker) quantity(point, unit string) (units.Quantity, bool) {
	if q, ok := u.said[point]; ok {
		return q, true
	}
	if u.known != nil {
		if q, ok := u.known(point); ok {
			return q, true
		}
	}
	return QuantityOf(unit)
}

func (u *unpacker) take(record *Record) error {
	if record.Content == Text {
		if point, ok := strings.CutSuffix(record.Name, quantitySuffix); ok {
			return u.takeQuantity(point, record)
		}
		if point, ok := strings.CutSuffix(record.Name, qualitySuffix); ok {
			return u.takeQuality(point, record)
		}
	}
	if value, ok := record.number(); ok {
		return u.takeValue(value, record)
	}
	return nil
}

func (u *unpacker) takeQuantity(point string, record *Record) error {
	q, found := units.ByName(record.Text)
	if !found {
		return refuse("%s: there is no quantity %q", record.Name, record.Text)
	}
	if u.said == nil {
		u.said = map[string]units.Quantity{}
	}
	u.said[point] = q
	return nil
}

func (u *unpacker) takeQuality(point string, record *Record) error {
	if err := u.flush(); err != nil {
		return err
	}
	quality, cause, err := ParseQuality(record.Text)
	if err != nil {
		return refuse("%s: %w", record.Name, err)
	}
	q, _ := u.quantity(point, record.Unit)
	u.pending = Reading{Point: point, Quantity: q, Value: math.NaN(), Stamp: stampOf(record.Time), Quality: quality, Cause: cause}
	u.waiting = true
	return nil
}

func (u *unpacker) takeValue(value float64, record *Record) error {
	q, found := u.quantity(record.Name, record.Unit)
	if !found {
		return refuse("%s: unit %q does not tell what it is", record.Name, record.Unit)
	}
	base, fits := FromUnit(value, record.Unit, q)
	if !fits {
		return refuse("%s: unit %q is not for %s", record.Name, record.Unit, q.Article())
	}
	if !u.waiting || u.pending.Point != record.Name || !u.pending.Stamp.Wall.Equal(record.Time) {
		if err := u.flush(); err != nil {
			return err
		}
		u.pending = Reading{Point: record.Name, Stamp: stampOf(record.Time)}
	}
	u.pending.Quantity, u.pending.Value, u.waiting = q, Round(base, q), false
	u.out = append(u.out, u.pending)
	return nil
}

func (r *Record) number() (float64, bool) {
	switch r.Content {
	case Number:
		return r.Value, true
	case Truth:
		if r.Truth {
			return 1, true
		}
		return 0, true
	}
	return 0, false
}

// stampOf is the stamp of a reading that came from outside with a wall time. Its monotonic part is the Unix time, so that durations
// between readings of one file or one sender are right; it must not be compared with the board's own.
func stampOf(at time.Time) Stamp {
	return Stamp{Wall: at.UTC(), Mono: time.Duration(at.UnixNano()), Set: true}
}

// ParseQuality reads "good", "uncertain:reason" or "bad:reason".
func ParseQuality(text string) (Quality, string, error) {
	word, cause, _ := strings.Cut(text, ":")
	switch {
	case word == "good" && cause == "" && text == "good":
		return Good, "", nil
	case word == "uncertain":
		return Uncertain, cause, nil
	case word == "bad":
		return Bad, cause, nil
	}
	return Bad, "", errors.New(`quality "` + text + `" is not known; write good, uncertain:reason or bad:reason`)
}

// QualityText is the inverse of ParseQuality.
func QualityText(q Quality, cause string) string {
	if q == Good || cause == "" {
		return q.String()
	}
	return q.String() + ":" + cause
}
