package drivers

import "math"

// Type K of the NIST ITS-90 thermocouple database (SRD 60), in mV of °C.
const (
	typeKColdest = -270.0 // of the function
	typeKHottest = 1372.0

	typeKBump, typeKWidth, typeKCentre = 0.1185976, -1.183432e-4, 126.9686 // a0, a1, a2 of the exponential term above 0 °C
)

// typeKBelow are the coefficients from -270 to 0 °C.
var typeKBelow = [...]float64{
	0.000000000000e+00, 3.945012802500e-02, 2.362237359800e-05, -3.285890678400e-07,
	-4.990482877700e-09, -6.750905917300e-11, -5.741032742800e-13, -3.108887289400e-15,
	-1.045160936500e-17, -1.988926687800e-20, -1.632269748600e-23,
}

// typeKAbove are those from 0 to 1372 °C, to which the exponential term is added.
var typeKAbove = [...]float64{
	-1.760041368600e-02, 3.892120497500e-02, 1.855877003200e-05, -9.945759287400e-08,
	3.184094571900e-10, -5.607284488900e-13, 5.607505905900e-16, -3.202072000300e-19,
	9.715114715200e-23, -1.210472127500e-26,
}

// TypeKVoltage is the voltage, in mV, of a type K thermocouple between a hot end at t °C and a cold end at 0 °C. Without the exponential term it is up
// to 2.9 °C wrong about 127 °C. For the parts that take the couple for a straight line.
func TypeKVoltage(t float64) float64 {
	if t < 0 {
		return polynomial(typeKBelow[:], t)
	}
	d := t - typeKCentre
	return polynomial(typeKAbove[:], t) + typeKBump*math.Exp(typeKWidth*d*d)
}

func polynomial(c []float64, x float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}

// TypeKTemperature is the hot end's temperature, in °C, for a voltage in mV against a cold end at 0 °C: the function turned about by halving, which is
// more exact than the published inverse polynomials. Beyond the function it is no number.
func TypeKTemperature(millivolts float64) float64 {
	low, high := typeKColdest, typeKHottest
	if !(millivolts >= TypeKVoltage(low) && millivolts <= TypeKVoltage(high)) {
		return math.NaN()
	}
	const halvings = 32 // 1642 °C / 2^32 is below a millionth
	for range halvings {
		middle := (low + high) / 2
		if TypeKVoltage(middle) < millivolts {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
