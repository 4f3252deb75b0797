package max31865

import "math"

// The function of Callendar and Van Dusen for platinum [IEC 60751:2008].
const (
	a = 3.9083e-3
	b = -5.775e-7
	c = -4.183e-12 // below 0 °C only
)

// ratioAt is the resistance at t, in °C, as a share of that at 0 °C.
func ratioAt(t float64) float64 {
	r := 1 + a*t + b*t*t
	if t < 0 {
		r += c * (t - 100) * t * t * t
	}
	return r
}

// temperatureOf turns ratioAt about: above 0 °C by its formula, below by steps of Newton from the same formula, which is 2.4 °C off at -200 °C. It is no
// number where no platinum can be.
func temperatureOf(ratio float64) float64 {
	const most = 1 - a*a/(4*b) // where the formula turns back
	if !(ratio > 0 && ratio < most) {
		return math.NaN()
	}
	t := (-a + math.Sqrt(a*a-4*b*(1-ratio))) / (2 * b)
	if ratio >= 1 {
		return t
	}
	const steps = 4 // three leave a millionth
	for range steps {
		slope := a + 2*b*t + c*(4*t-300)*t*t
		t -= (ratioAt(t) - ratio) / slope
	}
	return t
}
