// Package calibration is what is reckoned when a probe is held against references: when a reading stands still, what a buffer is worth at its temperature,
// the line through two points, how it has drifted. It reads no probe and keeps nothing. Electrodes and scales judge themselves (drivers.Calibrated).
//
// Concurrency: pure, but for a Window, which is used by one goroutine at a time.
package calibration

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/units"
)

// Point is one reference held to a probe, in base units.
type Point struct {
	Reference float64 // what is true
	Read      float64 // what the part gave, before any correction; of an electrode V, of a scale counts
	Shown     float64 // what the gateway showed: as found
	Celsius   float64 // of the reference, where that matters
}

// Line is a straight correction: right = Gain x read + Shift.
type Line struct {
	Gain  float64
	Shift float64 // in the base unit
}

// Right applies the correction.
func (l Line) Right(read float64) float64 { return l.Gain*read + l.Shift }

// limits say how large an error may be that a correction hides, in base units: beyond warn it is said, beyond refuse the probe is broken or the
// reference is not what it is taken for. Chosen: some times the tolerance of the usual parts.
var limits = map[units.Quantity]struct{ warn, refuse float64 }{
	units.Temperature: {1, 5}, units.Humidity: {3, 10}, units.Moisture: {1, 4}, units.Concentration: {100, 500}, units.Share: {3, 15}, units.Pressure: {1, 5},
}

// Gain limits of a line through two points. Chosen: a part that is 10 % off is of another kind than was said.
const gainLeast, gainMost = 0.9, 1.1

// Fit lays the correction through one point (a shift alone) or more (least squares), and judges it. The error is a refusal that a person can read;
// warning is "" or what a person should know.
func Fit(q units.Quantity, points []Point) (line Line, warning string, err error) {
	line = Line{Gain: 1}
	switch len(points) {
	case 0:
		return line, "", errors.New("no reference was taken")
	case 1:
		line.Shift = points[0].Reference - points[0].Read
	default:
		if line, err = leastSquares(points); err != nil {
			return line, "", err
		}
	}
	worst := 0.0
	for _, p := range points {
		if math.IsNaN(p.Read) || math.IsNaN(p.Reference) {
			return line, "", errors.New("a point is no number")
		}
		if e := p.Read - p.Reference; math.Abs(e) > math.Abs(worst) {
			worst = e
		}
	}
	l, known := limits[q]
	switch {
	case line.Gain < gainLeast || line.Gain > gainMost:
		return line, "", fmt.Errorf("between the references it moves %.0f %% of what it should: the wrong kind of part, a wrong setting, or a wrong reference", 100/line.Gain)
	case known && math.Abs(worst) > l.refuse:
		return line, "", fmt.Errorf("it is off by %.2f, more than %.4g: the probe is broken, or the reference is not what it is taken for", worst, l.refuse)
	case known && math.Abs(worst) > l.warn:
		warning = fmt.Sprintf("it was off by %.2f: look again soon", worst)
	}
	return line, warning, nil
}

func leastSquares(points []Point) (Line, error) {
	var n, sx, sy, sxx, sxy float64
	for _, p := range points {
		n, sx, sy, sxx, sxy = n+1, sx+p.Read, sy+p.Reference, sxx+p.Read*p.Read, sxy+p.Read*p.Reference
	}
	spread := n*sxx - sx*sx
	if !(spread > 1e-12*math.Max(1, sxx)) {
		return Line{}, errors.New("it reads the same at both references: it is stuck, or was not moved")
	}
	gain := (n*sxy - sx*sy) / spread
	return Line{Gain: gain, Shift: (sy - gain*sx) / n}, nil
}

// Ice is the temperature of melting ice in clean water, in °C. Salt or a warm spot make it another.
const Ice = 0.0

// Boiling is the temperature, in °C, at which water boils at an altitude in m, in the standard atmosphere. The weather moves it by half a degree.
func Boiling(altitude float64) float64 {
	pressure := coffee.PressureAt(altitude)
	low, high := 50.0, 110.0
	for range 40 {
		if middle := (low + high) / 2; coffee.SaturationPressure(units.Celsius(middle)) < pressure {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// Was is an earlier calibration: one figure of it, in any unit.
type Was struct {
	At    time.Time
	Value float64
}

// Drift extends the straight line through earlier figures (least squares) to a time. ok is false with fewer than three of them, or less than a day
// apart: two points make a line through any noise.
func Drift(list []Was, to time.Time) (at, perDay float64, ok bool) {
	if len(list) < 3 || list[len(list)-1].At.Sub(list[0].At).Abs() < 24*time.Hour {
		return 0, 0, false
	}
	var n, sx, sy, sxx, sxy float64
	for _, w := range list {
		x := w.At.Sub(to).Hours() / 24
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+w.Value, sxx+x*x, sxy+x*w.Value
	}
	spread := n*sxx - sx*sx
	if !(spread > 0) {
		return 0, 0, false
	}
	perDay = (n*sxy - sx*sy) / spread
	return (sy - perDay*sx) / n, perDay, true
}

// Window is what a probe said in the last while, for telling whether it stands still. The zero value is empty.
type Window struct {
	seen []seen
}

type seen struct {
	at           time.Duration
	read, shown  float64
	celsius      float64
	celsiusKnown bool
}

// Keeping of a Window. Chosen: an electrode in fresh buffer stands within a minute; longer only averages what has changed.
const (
	longest  = 60 * time.Second
	mostSeen = 240
)

// Add takes a value at a monotonic time.
func (w *Window) Add(at time.Duration, read, shown, celsius float64, celsiusKnown bool) {
	w.seen = append(w.seen, seen{at, read, shown, celsius, celsiusKnown})
	for len(w.seen) > mostSeen || len(w.seen) > 0 && at-w.seen[0].at > longest {
		w.seen = w.seen[1:]
	}
}

// Still is how a Window stands.
type Still struct {
	Point        // means over the window; Reference is not set
	CelsiusKnown bool
	Over         time.Duration // from the first value to the last
	Spread       float64       // of Read
	Drift        float64       // of Read, a minute
	Stands       bool
	Why          string // why it does not stand; for people
}

// Rule is when a reading stands still: at least Over long and Count values, within Spread, and drifting by less than Drift a minute.
type Rule struct {
	Over          time.Duration
	Count         int
	Spread, Drift float64
}

// RuleFor gives the rule for what a probe reads. Chosen: an electrode within 1 mV and 0.5 mV a minute [as the guides of three makers ask for 0.01 to
// 0.02 pH a minute]; others by the steps of the usual parts, with a share of the value for what has no scale of its own.
func RuleFor(q units.Quantity, electrode bool, read float64) Rule {
	r := Rule{Over: 30 * time.Second, Count: 4}
	switch {
	case electrode:
		r.Spread, r.Drift = 0.001, 0.0005
	case q == units.Temperature:
		r.Spread, r.Drift = 0.3, 0.15
	case q == units.Humidity:
		r.Spread, r.Drift = 1, 0.5
	case q == units.Moisture:
		r.Spread, r.Drift = 0.3, 0.2
	default:
		r.Spread, r.Drift = 0.005*math.Max(1e-6, math.Abs(read)), 0.003*math.Max(1e-6, math.Abs(read))
	}
	return r
}

// Still judges the window by a rule.
func (w *Window) Still(r Rule) Still {
	var s Still
	if len(w.seen) == 0 {
		s.Why = "it has not answered yet"
		return s
	}
	first, last := w.seen[0], w.seen[len(w.seen)-1]
	s.Over = last.at - first.at
	low, high := math.Inf(1), math.Inf(-1)
	var n, sx, sy, sxx, sxy, warm float64
	for _, v := range w.seen {
		x := (v.at - first.at).Minutes()
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+v.read, sxx+x*x, sxy+x*v.read
		s.Shown += v.shown
		low, high = math.Min(low, v.read), math.Max(high, v.read)
		if v.celsiusKnown {
			s.Celsius, warm = s.Celsius+v.celsius, warm+1
		}
	}
	s.Read, s.Shown, s.Spread = sy/n, s.Shown/n, high-low
	if warm > 0 {
		s.Celsius, s.CelsiusKnown = s.Celsius/warm, true
	}
	if spread := n*sxx - sx*sx; spread > 0 {
		s.Drift = (n*sxy - sx*sy) / spread
	}
	var why []string
	if s.Over < r.Over {
		why = append(why, fmt.Sprintf("%d s of %d s seen", int(s.Over.Seconds()), int(r.Over.Seconds())))
	} else if len(w.seen) < r.Count { // a probe that reports now and then, or has fallen silent
		why = append(why, fmt.Sprintf("%d of %d readings seen", len(w.seen), r.Count))
	}
	if s.Spread > r.Spread {
		why = append(why, fmt.Sprintf("it still moves by %.3g, more than %.3g", s.Spread, r.Spread))
	}
	if math.Abs(s.Drift) > r.Drift {
		why = append(why, fmt.Sprintf("it drifts by %.2g a minute, more than %.2g", s.Drift, r.Drift))
	}
	s.Why, s.Stands = strings.Join(why, "; "), len(why) == 0
	return s
}

// Clear forgets what was seen: another reference is held to the probe.
func (w *Window) Clear() { w.seen = w.seen[:0] }
