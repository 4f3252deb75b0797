package coffee

import (
	"math"
	"time"

	"millwarden/internal/units"
)

// dryingPower is the exponent q of the thin-layer equation [Roa].
const dryingPower = 1.06439

// DryingConstant is k of the thin-layer equation, per hour^q, 10 to 70 °C [Roa]: from the vapour deficit of the air.
func DryingConstant(t units.Celsius, rh RelativeHumidity) (float64, error) {
	if !(t >= 10 && t <= 70 && rh >= sorptionDriest && rh <= 100) {
		return 0, ErrOutside
	}
	return 0.0143 * math.Pow(float64(VapourDeficit(t, rh)), 0.87898), nil
}

// Dried is the moisture of a thin layer of parchment after so long in steady air. Air that changes is gone through piece by piece: each piece begins at
// the time that its own air would have needed to come to the moisture reached (equivalent time). Layers thicker than a few centimetres dry slower.
func Dried(from DryBasis, t units.Celsius, rh RelativeHumidity, d time.Duration) (DryBasis, error) {
	k, err := DryingConstant(t, rh)
	if err != nil {
		return 0, err
	}
	end, err := EquilibriumMoisture(min(t, sorptionHottest), rh)
	if err != nil {
		return 0, err
	}
	if from <= end {
		return from, nil // this air dries no further; wetting is not this equation's
	}
	// The layer is taken as fresh at the start moisture of parchment, so that equivalent time has one origin [trade: 52 to 56 %wb after washing].
	start := max(freshParchment, from)
	before := math.Pow(-math.Log(float64((from-end)/(start-end)))/k, 1/dryingPower)
	ratio := math.Exp(-k * math.Pow(before+d.Hours(), dryingPower))
	return end + (start-end)*DryBasis(ratio), nil
}

// freshParchment is 55 % of the wet weight.
var freshParchment = WetBasis(55).Dry()

// TimeTo is how long a thin layer needs in steady air to come to a moisture; false: never in this air.
func TimeTo(from, target DryBasis, t units.Celsius, rh RelativeHumidity) (time.Duration, bool, error) {
	k, err := DryingConstant(t, rh)
	if err != nil {
		return 0, false, err
	}
	end, err := EquilibriumMoisture(min(t, sorptionHottest), rh)
	if err != nil {
		return 0, false, err
	}
	if from <= target {
		return 0, true, nil
	}
	if target <= end {
		return 0, false, nil
	}
	start := max(freshParchment, from)
	at := func(m DryBasis) float64 { return math.Pow(-math.Log(float64((m-end)/(start-end)))/k, 1/dryingPower) }
	return time.Duration((at(target) - at(from)) * float64(time.Hour)), true, nil
}

// Drying follows the moisture of one lot between measurements. A real layer is slower or quicker than the thin layer of the equation by some factor, its pace, that depends on
// depth, stirring and draught; it is learned from how the measured moisture falls, what fell last counting most.
type Drying struct {
	Fell, Thin float64 // % of the dry weight: what fell, and what a thin layer would have lost in the same air; both fade as more falls
}

// Chosen, on the layers of the test in rules/models called skin and core: the usual pace counts as much as 2 % of drying seen, and what fell counts half after 25 % more.
const (
	paceWeight = 2.0
	paceHalf   = 25.0
)

// Pace is the factor by which this lot dries, 1 for a thin layer.
func (d Drying) Pace() float64 { return (max(0, d.Fell) + paceWeight) / (d.Thin + paceWeight) }

// Learn takes how the moisture went from one measurement to the next, and what the thin layer would have lost from the first in the same air.
func (d *Drying) Learn(from, to DryBasis, thin DryBasis) {
	keep := math.Exp2(-float64(thin) / paceHalf)
	d.Fell = d.Fell*keep + float64(from-to)
	d.Thin = d.Thin*keep + float64(thin)
}

// SaysNever is why there is no time to the target: the air does not dry so far.
const SaysNever = "never in this air"

// DryingLongest is how far a drying forecast looks; chosen: longer than any lot may take.
const DryingLongest = 21 * 24 * time.Hour
