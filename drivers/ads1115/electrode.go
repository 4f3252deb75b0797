package ads1115

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"millwarden/drivers"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const (
	gasConstant = 8.314462618        // J/(mol K), exact since the SI of 2019
	faraday     = 96485.33212        // C/mol, likewise
	iceKelvin   = 273.15             // K at 0 °C
	assumed     = 25.0               // °C without a temperature: the usual reference of buffers and electrodes
	leastWater  = units.Celsius(-5)  // chosen: a mash colder or hotter than this is a broken thermometer
	mostWater   = units.Celsius(105) // chosen
)

// nernst is the ideal slope of an electrode in V per pH: ln 10 times R T / F; 59.159 mV at 25 °C.
func nernst(celsius float64) float64 {
	return math.Ln10 * gasConstant * (celsius + iceKelvin) / faraday
}

// electrode turns the voltage of a pH electrode into pH: pH = 7 - (E - E7) / (s k(T)), where E7 is the voltage at pH 7, s the share of the ideal
// slope that the electrode has, k(T) that slope at the temperature of what it stands in. Temperature compensates the electrode alone. That
// the pH of the mash itself moves with temperature is true and stays in the value.
type electrode struct {
	by          string // point of the temperature
	temperature float64
	known       bool
	calibrated  bool
	judged      drivers.Judgement // in force
	quality     reading.Quality
	cause       string
}

// newElectrode reads "electrode [compensated by POINT temperature]".
func newElectrode(line phrase.Line) *electrode {
	e := &electrode{by: slot(line, 0).Text, temperature: assumed, judged: drivers.Judgement{Slope: 1}}
	e.doubt()
	return e
}

func (e *electrode) value(volts float64) drivers.Value {
	v := drivers.Value{Channel: "ph", Quantity: units.PH, Raw: volts, Quality: e.quality, Cause: e.cause}
	v.Value = 7 - (volts-e.judged.Offset)/(e.judged.Slope*nernst(e.temperature))
	if v.Value < 0 || v.Value > 14 {
		fault := &drivers.Fault{Kind: drivers.OutOfRange, Cause: fmt.Errorf("%.1f mV is no pH", volts*1000)}
		v = drivers.Failed(v.Channel, v.Quantity, fault)
		v.Raw = volts
	}
	return v
}

// doubt works out what makes every value uncertain, so that reading needs no text of its own.
func (e *electrode) doubt() {
	var doubts []string
	if !e.calibrated {
		doubts = append(doubts, "not calibrated")
	}
	if e.judged.Quality != reading.Good {
		doubts = append(doubts, e.judged.Warning)
	}
	if !e.known {
		doubts = append(doubts, "no temperature, 25 °C assumed")
	}
	e.cause, e.quality = strings.Join(doubts, "; "), reading.Good
	if len(doubts) > 0 {
		e.quality = reading.Uncertain
	}
}

// electrodeProbe is a probe that is compensated and calibrated.
type electrodeProbe struct {
	*probe
	electrode *electrode
}

var (
	_ drivers.Compensator = (*electrodeProbe)(nil)
	_ drivers.Calibrated  = (*electrodeProbe)(nil)
)

func (p *electrodeProbe) CompensatedBy() string { return p.electrode.by }

func (p *electrodeProbe) Compensate(t units.Celsius, known bool) {
	e := p.electrode
	known = known && t >= leastWater && t <= mostWater
	wasKnown := e.known
	e.known, e.temperature = known, float64(t)
	if !known {
		e.temperature = assumed
	}
	if known != wasKnown {
		e.doubt()
	}
}

// Calibrate judges two or more points and puts the line through them in force.
func (p *electrodeProbe) Calibrate(c drivers.Calibration) (drivers.Judgement, error) {
	e := p.electrode
	line, err := fit(c.Points)
	if err == nil {
		err = judge(&line, e.judged, e.calibrated)
	}
	if err != nil {
		return line, p.device.Fault(drivers.Settings, nil, fmt.Errorf("calibrate: %w", err))
	}
	e.judged, e.calibrated = line, true
	e.doubt()
	return line, nil
}

// The limits of judgement. Sources: three makers' and users' guides that put the slope between 85 and 102 to 105 % and the offset within
// ±30 mV; how they are shared out here is chosen.
const (
	slopeLeast, slopeMost = 0.85, 1.05 // outside: refused
	slopeFair, slopeOver  = 0.90, 1.02 // outside: uncertain
	slopeGood             = 0.95       // below: said
	offsetMost            = 0.030      // V; beyond: refused
	offsetGood            = 0.020      // V; beyond: said
	residualMost          = 0.003      // V; beyond: refused, do it again
	slopeJump, offsetJump = 0.03, 0.010
	apartLeast            = 2.0 // pH between the buffers [DIN 19268, as quoted]
)

// fit lays the straight line through the points by least squares, with each slope taken at its buffer's temperature: E = E7 - s k(T) (pH - 7).
func fit(points []drivers.CalibrationPoint) (drivers.Judgement, error) {
	if len(points) < 2 {
		return drivers.Judgement{}, errors.New("two buffers are needed")
	}
	var n, sx, sy, sxx, sxy float64
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		x := -nernst(float64(p.Temperature)) * (p.True - 7)
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+p.Raw, sxx+x*x, sxy+x*p.Raw
		lowest, highest = math.Min(lowest, p.True), math.Max(highest, p.True)
	}
	if !(highest-lowest >= apartLeast) {
		return drivers.Judgement{}, fmt.Errorf("the buffers lie %.1f pH apart, at least %.0f are needed", highest-lowest, apartLeast)
	}
	var j drivers.Judgement
	j.Slope = (n*sxy - sx*sy) / (n*sxx - sx*sx)
	j.Offset = (sy - j.Slope*sx) / n
	for _, p := range points {
		shown := j.Offset - j.Slope*nernst(float64(p.Temperature))*(p.True-7)
		j.Residual = math.Max(j.Residual, math.Abs(p.Raw-shown))
	}
	if math.IsNaN(j.Slope + j.Offset) {
		return j, errors.New("a point is no number")
	}
	return j, nil
}

// judge fills in quality and warning, or refuses.
func judge(j *drivers.Judgement, before drivers.Judgement, hasBefore bool) error {
	percent, millivolts := j.Slope*100, j.Offset*1000
	switch {
	case j.Slope < slopeLeast || j.Slope > slopeMost:
		return fmt.Errorf("slope %.1f %%: clean the electrode, take fresh buffers, try again; if it stays, replace it", percent)
	case math.Abs(j.Offset) > offsetMost:
		return fmt.Errorf("%.1f mV at pH 7, at most %.0f are usable: clean the electrode, try again; if it stays, replace it", millivolts, offsetMost*1000)
	case j.Residual > residualMost:
		return fmt.Errorf("a buffer lies %.1f mV beside the line: do it again with fresh buffers", j.Residual*1000)
	}
	var warnings []string
	say := func(bad bool, format string, args ...any) {
		if bad {
			warnings = append(warnings, fmt.Sprintf(format, args...))
		}
	}
	if j.Slope < slopeFair || j.Slope > slopeOver {
		j.Quality = reading.Uncertain
	}
	say(j.Slope < slopeGood || j.Slope > slopeOver, "slope %.1f %%", percent)
	say(math.Abs(j.Offset) > offsetGood, "%.1f mV at pH 7", millivolts)
	say(hasBefore && math.Abs(j.Slope-before.Slope) > slopeJump, "slope moved from %.1f to %.1f %%", before.Slope*100, percent)
	say(hasBefore && math.Abs(j.Offset-before.Offset) > offsetJump, "offset moved from %.1f to %.1f mV", before.Offset*1000, millivolts)
	j.Warning = strings.Join(warnings, "; ")
	return nil
}
