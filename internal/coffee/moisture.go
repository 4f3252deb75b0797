package coffee

import (
	"math"

	"millwarden/internal/units"
)

// WetBasis is moisture in per cent of the wet weight. It is never mixed with DryBasis.
type WetBasis float64

// DryBasis is moisture in per cent of the dry weight.
type DryBasis float64

// Dry is the same moisture on dry basis.
func (w WetBasis) Dry() DryBasis { return DryBasis(100 * w / (100 - w)) }

// Wet is the same moisture on wet basis.
func (d DryBasis) Wet() WetBasis { return WetBasis(100 * d / (100 + d)) }

// MassAfter is the weight of a lot after drying from one moisture to another: its dry matter stays.
func MassAfter(kg float64, from, to WetBasis) float64 {
	return kg * float64(100-from) / float64(100-to)
}

// MoistureByWeight is the moisture of a lot that weighed kg0 at a known moisture and weighs kg now.
func MoistureByWeight(kg0 float64, from WetBasis, kg float64) WetBasis {
	return WetBasis(100 - float64(100-from)*kg0/kg)
}

// Range of the sorption equation [Trejos 1989].
const (
	sorptionColdest, sorptionHottest = 5, 65 // °C; measured to 55, rises steadily to 65
	sorptionDriest                   = 5     // %RH
)

// EquilibriumMoisture is what parchment arabica comes to in air of that temperature and humidity when it dries (desorption) [Trejos 1989; standard
// error 0.54 % of the dry weight]. The coefficient of h in the exponent is -0.037049; a later printing has -0.03049, which does not fit its own
// measurements. Re-wetted beans hold less at the same air: for mould, go by measured humidity where there is a probe.
func EquilibriumMoisture(t units.Celsius, rh RelativeHumidity) (DryBasis, error) {
	if !(t >= sorptionColdest && t <= sorptionHottest && rh >= sorptionDriest && rh <= 100) {
		return 0, ErrOutside
	}
	return sorption(float64(t), float64(rh)/100), nil
}

func sorption(t, h float64) DryBasis {
	return DryBasis((61.030848*h - 108.37141*h*h + 74.461059*h*h*h) * math.Exp((-0.037049*h+0.070114*h*h-0.035177*h*h*h)*t))
}

// EquilibriumHumidity is the humidity of air that stands with parchment of that moisture: the inverse of EquilibriumMoisture. Divided by 100 it is
// the water activity of the beans.
func EquilibriumHumidity(t units.Celsius, m DryBasis) (RelativeHumidity, error) {
	if !(t >= sorptionColdest && t <= sorptionHottest && m >= sorption(float64(t), sorptionDriest/100.0) && m <= sorption(float64(t), 1)) {
		return 0, ErrOutside
	}
	h := solve(sorptionDriest/100.0, 1, func(h float64) float64 { return float64(sorption(float64(t), h) - m) })
	return RelativeHumidity(100 * h), nil
}
