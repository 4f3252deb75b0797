package coffee

import (
	"errors"
	"math"

	"millwarden/internal/units"
)

// KiloPascal is a pressure.
type KiloPascal float64

// RelativeHumidity is in per cent over liquid water.
type RelativeHumidity float64

const zeroCelsius = 273.15 // K

// SaturationPressure is the vapour pressure over liquid water, over ice below 0 °C. Hyland and Wexler 1983 as given by [ASHRAE eq. 5, 6], -100 to 200 °C.
func SaturationPressure(t units.Celsius) KiloPascal {
	k := float64(t) + zeroCelsius
	if t < 0 {
		return KiloPascal(math.Exp(-5.6745359e3/k+6.3925247-9.677843e-3*k+6.2215701e-7*k*k+2.0747825e-9*k*k*k-9.484024e-13*k*k*k*k+4.1635019*math.Log(k)) / 1000)
	}
	return KiloPascal(math.Exp(-5.8002206e3/k+1.3914993-4.8640239e-2*k+4.1764768e-5*k*k-1.4452093e-8*k*k*k+6.5459673*math.Log(k)) / 1000)
}

// PressureAt is the standard atmosphere at an altitude in metres [ASHRAE eq. 3], -5,000 to 11,000 m.
func PressureAt(metres float64) KiloPascal {
	return KiloPascal(101.325 * math.Pow(1-2.25577e-5*metres, 5.2559))
}

// VapourPressure is that of moist air.
func VapourPressure(t units.Celsius, rh RelativeHumidity) KiloPascal {
	return SaturationPressure(t) * KiloPascal(rh) / 100
}

// VapourDeficit is how much the air could still take up.
func VapourDeficit(t units.Celsius, rh RelativeHumidity) KiloPascal {
	return SaturationPressure(t) - VapourPressure(t, rh)
}

// HumidityRatio is kg of water per kg of dry air at a total pressure [ASHRAE eq. 20].
func HumidityRatio(vapour, pressure KiloPascal) float64 {
	return 0.621945 * float64(vapour) / float64(pressure-vapour)
}

// ErrOutside is an input outside the range for which a formula was made.
var ErrOutside = errors.New("outside the range of the formula")

// solve finds where rising f passes 0 between low and high, to within 1e-6.
func solve(low, high float64, f func(float64) float64) float64 {
	for high-low > 1e-6 {
		middle := (low + high) / 2
		if f(middle) < 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// DewPoint is the temperature at which the air would be saturated: the inverse of SaturationPressure, solved and not approximated.
func DewPoint(t units.Celsius, rh RelativeHumidity) (units.Celsius, error) {
	if !(rh > 0 && rh <= 100 && t >= -90 && t <= 200) {
		return 0, ErrOutside
	}
	want := VapourPressure(t, rh)
	return units.Celsius(solve(-100, float64(t)+1, func(d float64) float64 { return float64(SaturationPressure(units.Celsius(d)) - want) })), nil
}

// WetBulb is the thermodynamic wet-bulb temperature at a total pressure [ASHRAE eq. 33, 35].
func WetBulb(t units.Celsius, rh RelativeHumidity, pressure KiloPascal) (units.Celsius, error) {
	if !(rh > 0 && rh <= 100 && t >= -50 && t <= 100) {
		return 0, ErrOutside
	}
	want := HumidityRatio(VapourPressure(t, rh), pressure)
	wet := solve(-60, float64(t)+0.001, func(w float64) float64 { return ratioFromWetBulb(t, units.Celsius(w), pressure) - want })
	return units.Celsius(wet), nil
}

// ratioFromWetBulb is the humidity ratio of air with that wet bulb [ASHRAE eq. 33 above, 35 below 0 °C].
func ratioFromWetBulb(t, wet units.Celsius, pressure KiloPascal) float64 {
	saturated := HumidityRatio(SaturationPressure(wet), pressure)
	dry, w := float64(t), float64(wet)
	if w >= 0 {
		return ((2501-2.326*w)*saturated - 1.006*(dry-w)) / (2501 + 1.86*dry - 4.186*w)
	}
	return ((2830-0.24*w)*saturated - 1.006*(dry-w)) / (2830 + 1.86*dry - 2.1*w)
}
