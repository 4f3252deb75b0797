package ads1115

import (
	"errors"
	"fmt"
	"math"

	"millwarden/drivers"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// The bands of NAMUR NE 43, in mA, by secondary sources that agree on these; the recommendation itself was not seen. What lies between the
// bands belongs to none and is uncertain.
const (
	failLow    = 3.6
	usableLow  = 3.8
	ratedLow   = 4.0
	ratedHigh  = 20.0
	usableHigh = 20.5
	failHigh   = 21.0

	// dead is where no transmitter lives: it needs more to run. Chosen: far below the 3.5 mA of a two-wire transmitter, far above an offset.
	dead = 1.0
)

// loop is a 4-20 mA transmitter over a resistor.
type loop struct {
	ohms      float64
	low, high float64 // values at 4 and 20 mA
	bands     bool
	quantity  units.Quantity
}

// newLoop reads "loop 4-20 mA [over RESISTANCE] is ANY .. ANY [bands (ne43|none)]". fullScale is the greatest voltage that the input can see: with
// bands it must lie above the current that signals a failure, or that signal would look like a clipped input. 100 Ω at ±2.048 V ends at 20.48 mA.
func newLoop(line phrase.Line, site drivers.Site, fullScale float64) (*loop, error) {
	l := &loop{ohms: slot(line, 0).Amount.Value, low: slot(line, 1).Amount.Value, high: slot(line, 2).Amount.Value}
	if l.ohms <= 0 {
		l.ohms = 100
	}
	l.bands = slot(line, 3).Text != "none"
	l.quantity = slot(line, 1).Amount.Quantity
	if due, ok := site.Due("loop"); ok {
		l.quantity = due
	}
	if l.low == l.high {
		return l, errors.New("the loop needs two different ends")
	}
	needed := ratedHigh
	if l.bands {
		needed = failHigh
	}
	if volts := needed / 1000 * l.ohms; fullScale < volts {
		return l, fmt.Errorf("%.1f mA over %g Ω are %.2f V, the range ends at %.3f V: choose a wider range or a smaller resistor", needed, l.ohms, volts, fullScale)
	}
	return l, nil
}

// value is linear between 4 and 20 mA, and somewhat beyond within the bands.
func (l *loop) value(volts float64) drivers.Value {
	milliamps := volts / l.ohms * 1000
	v := drivers.Value{Channel: "loop", Quantity: l.quantity, Raw: milliamps / 1000}
	v.Value = l.low + (milliamps-ratedLow)/(ratedHigh-ratedLow)*(l.high-l.low)
	switch {
	case milliamps < dead:
		return l.failed(v, "broken wire or no loop supply", milliamps)
	case !l.bands:
	case milliamps <= failLow || milliamps >= failHigh:
		return l.failed(v, "signalled failure", milliamps)
	case milliamps < usableLow:
		v.Quality, v.Cause = reading.Uncertain, fmt.Sprintf("loop at %.2f mA, below its range", milliamps)
	case milliamps > usableHigh:
		v.Quality, v.Cause = reading.Uncertain, fmt.Sprintf("loop at %.2f mA, above its range", milliamps)
	case milliamps < ratedLow:
		v.Note = "loop just below 4 mA"
	case milliamps > ratedHigh:
		v.Note = "loop just above 20 mA"
	}
	return v
}

func (l *loop) failed(v drivers.Value, why string, milliamps float64) drivers.Value {
	fault := &drivers.Fault{Kind: drivers.OutOfRange, Cause: fmt.Errorf("%s, loop at %.2f mA", why, milliamps)}
	bad := drivers.Failed(v.Channel, v.Quantity, fault)
	bad.Raw = v.Raw
	return bad
}

// table is anything whose values stand beside voltages; between two pairs the line is straight.
type table struct {
	volts, values []float64
	quantity      units.Quantity
}

// slack is how far beyond its ends, as a share of its span, a table is followed, uncertain. Chosen: noise and offset of a cheap sensor.
const slack = 0.01

// newTable reads "table VOLTAGE is ANY {, VOLTAGE is ANY}".
func newTable(line phrase.Line, site drivers.Site) (*table, error) {
	t := &table{quantity: slot(line, 1).Amount.Quantity}
	if due, ok := site.Due("table"); ok {
		t.quantity = due
	}
	for i := 0; i+1 < len(line.Slots); i += 2 {
		volts := line.Slots[i].Amount.Value
		if n := len(t.volts); n > 0 && volts <= t.volts[n-1] {
			return t, errors.New("the voltages of the table do not rise")
		}
		t.volts, t.values = append(t.volts, volts), append(t.values, line.Slots[i+1].Amount.Value)
	}
	if len(t.volts) < 2 {
		return t, errors.New("a table needs two pairs")
	}
	return t, nil
}

func (t *table) value(volts float64) drivers.Value {
	v := drivers.Value{Channel: "table", Quantity: t.quantity, Raw: volts}
	n := len(t.volts)
	i := 1
	for i < n-1 && volts > t.volts[i] {
		i++
	}
	share := (volts - t.volts[i-1]) / (t.volts[i] - t.volts[i-1])
	v.Value = t.values[i-1] + share*(t.values[i]-t.values[i-1])
	beyond := math.Max(t.volts[0]-volts, volts-t.volts[n-1]) / (t.volts[n-1] - t.volts[0])
	switch {
	case beyond > slack:
		fault := &drivers.Fault{Kind: drivers.OutOfRange, Cause: fmt.Errorf("%.4f V is not in its table", volts)}
		v = drivers.Failed(v.Channel, v.Quantity, fault)
		v.Raw = volts
	case beyond > 0:
		v.Quality, v.Cause = reading.Uncertain, "just beyond its table"
	}
	return v
}
