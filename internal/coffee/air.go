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
	log, _ := saturation(float64(t))
	return KiloPascal(math.Exp(log) / 1000)
}

// saturation is the logarithm of the saturation pressure in Pa, and its slope per K.
func saturation(t float64) (log, slope float64) {
	k := t + zeroCelsius
	one := 1 / k
	if t < 0 {
		log = -5.6745359e3*one + 6.3925247 + k*(-9.677843e-3+k*(6.2215701e-7+k*(2.0747825e-9-k*9.484024e-13))) + 4.1635019*math.Log(k)
		slope = one*(5.6745359e3*one+4.1635019) - 9.677843e-3 + k*(2*6.2215701e-7+k*(3*2.0747825e-9-k*4*9.484024e-13))
		return log, slope
	}
	log = -5.8002206e3*one + 1.3914993 + k*(-4.8640239e-2+k*(4.1764768e-5-k*1.4452093e-8)) + 6.5459673*math.Log(k)
	slope = one*(5.8002206e3*one+6.5459673) - 4.8640239e-2 + k*(2*4.1764768e-5-k*3*1.4452093e-8)
	return log, slope
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
	return SaturationPressure(t) * (1 - KiloPascal(rh)/100)
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

// newton finds where rising f, which gives its value and its slope, passes 0 between low and high, to within 1e-6: by steps along the slope from a first guess, by halves
// where such a step would leave what is still possible.
func newton(low, high, x float64, f func(float64) (value, slope float64)) float64 {
	for high-low > 1e-6 {
		value, slope := f(x)
		if value < 0 {
			low = x
		} else {
			high = x
		}
		next := x - value/slope
		if math.Abs(next-x) < 1e-7 {
			return next
		}
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		x = next
	}
	return (low + high) / 2
}

// DewPoint is the temperature at which the air would be saturated: the inverse of SaturationPressure, solved and not approximated.
func DewPoint(t units.Celsius, rh RelativeHumidity) (units.Celsius, error) {
	if !(rh > 0 && rh <= 100 && t >= -90 && t <= 200) {
		return 0, ErrOutside
	}
	at, slope := saturation(float64(t))
	share := math.Log(float64(rh) / 100)
	return units.Celsius(newton(-100, float64(t)+1, float64(t)+share/slope, func(d float64) (float64, float64) {
		log, slope := saturation(d)
		return log - at - share, slope
	})), nil
}

// WetBulb is the thermodynamic wet-bulb temperature at a total pressure [ASHRAE eq. 33, 35].
func WetBulb(t units.Celsius, rh RelativeHumidity, pressure KiloPascal) (units.Celsius, error) {
	if !(rh > 0 && rh <= 100 && t >= -50 && t <= 100) {
		return 0, ErrOutside
	}
	want := HumidityRatio(VapourPressure(t, rh), pressure)
	off := func(w float64) (value, slope float64) {
		ratio, slope := ratioFromWetBulb(t, units.Celsius(w), pressure)
		return ratio - want, slope
	}
	low, high := -60.0, float64(t)+0.001
	for low < 0 && high > 0 && high-low > 1e-6 { // about 0 °C ice and water each have a solution; halves come to one of them
		middle := (low + high) / 2
		if value, _ := off(middle); value < 0 {
			low = middle
		} else {
			high = middle
		}
	}
	guess := float64(t) - (1-float64(rh)/100)*(4+0.4*float64(t)) // a line through a few, near enough to save half of the steps
	if !(guess > low && guess < high) {
		guess = high
	}
	wet := newton(low, high, guess, off)
	return units.Celsius(wet), nil
}

// ratioFromWetBulb is the humidity ratio of air with that wet bulb [ASHRAE eq. 33 above, 35 below 0 °C], and its slope per K of wet bulb.
func ratioFromWetBulb(t, wet units.Celsius, pressure KiloPascal) (ratio, slope float64) {
	log, rise := saturation(float64(wet))
	vapour := KiloPascal(math.Exp(log) / 1000)
	if vapour >= pressure { // it boils
		return math.Inf(1), 1
	}
	saturated := HumidityRatio(vapour, pressure)
	steeper := saturated * rise * float64(pressure/(pressure-vapour)) // of saturated, per K
	latent, fall, back := 2501.0, 2.326, 4.186
	if wet < 0 {
		latent, fall, back = 2830, 0.24, 2.1
	}
	dry, w := float64(t), float64(wet)
	under := latent + 1.86*dry - back*w
	ratio = ((latent-fall*w)*saturated - 1.006*(dry-w)) / under
	return ratio, ((latent-fall*w)*steeper - fall*saturated + 1.006 + back*ratio) / under
}
