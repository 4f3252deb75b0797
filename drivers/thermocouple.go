package drivers

import "math"

// Thermocouple is the reference function of one type of thermocouple, by the NIST ITS-90 thermocouple database (SRD 60), Monograph 175 (1993), which IEC 60584-1 has too: for the parts that take a
// couple for a straight line.
//
// Concurrency: a value that never changes.
type Thermocouple struct {
	coldest float64 // °C, of the function
	pieces  []piece // by rising temperature
	bump    bool    // type K: an exponential term above 0 °C
}

// piece is the polynomial up to a temperature, in mV of °C.
type piece struct {
	to           float64 // °C
	coefficients []float64
}

const bumpHeight, bumpWidth, bumpCentre = 0.1185976, -1.183432e-4, 126.9686 // a0, a1, a2 of the exponential term

// The types for which parts of the vocabulary have boards.
var (
	TypeK = &Thermocouple{coldest: -270, bump: true, pieces: []piece{
		{0, []float64{
			0.000000000000e+00, 3.945012802500e-02, 2.362237359800e-05, -3.285890678400e-07,
			-4.990482877700e-09, -6.750905917300e-11, -5.741032742800e-13, -3.108887289400e-15,
			-1.045160936500e-17, -1.988926687800e-20, -1.632269748600e-23,
		}},
		{1372, []float64{
			-1.760041368600e-02, 3.892120497500e-02, 1.855877003200e-05, -9.945759287400e-08,
			3.184094571900e-10, -5.607284488900e-13, 5.607505905900e-16, -3.202072000300e-19,
			9.715114715200e-23, -1.210472127500e-26,
		}},
	}}
	TypeJ = &Thermocouple{coldest: -210, pieces: []piece{
		{760, []float64{
			0.000000000000e+00, 5.038118781500e-02, 3.047583693000e-05, -8.568106572000e-08,
			1.322819529500e-10, -1.705295833700e-13, 2.094809069700e-16, -1.253839533600e-19,
			1.563172569700e-23,
		}},
		{1200, []float64{
			2.964562568100e+02, -1.497612778600e+00, 3.178710392400e-03, -3.184768670100e-06,
			1.572081900400e-09, -3.069136905600e-13,
		}},
	}}
	TypeT = &Thermocouple{coldest: -270, pieces: []piece{
		{0, []float64{
			0.000000000000e+00, 3.874810636400e-02, 4.419443434700e-05, 1.184432310500e-07,
			2.003297355400e-08, 9.013801955900e-10, 2.265115659300e-11, 3.607115420500e-13,
			3.849393988300e-15, 2.821352192500e-17, 1.425159477900e-19, 4.876866228600e-22,
			1.079553927000e-24, 1.394502706200e-27, 7.979515392700e-31,
		}},
		{400, []float64{
			0.000000000000e+00, 3.874810636400e-02, 3.329222788000e-05, 2.061824340400e-07,
			-2.188225684600e-09, 1.099688092800e-11, -3.081575877200e-14, 4.547913529000e-17,
			-2.751290167300e-20,
		}},
	}}
	TypeN = &Thermocouple{coldest: -270, pieces: []piece{
		{0, []float64{
			0.000000000000e+00, 2.615910596200e-02, 1.095748422800e-05, -9.384111155400e-08,
			-4.641203975900e-11, -2.630335771600e-12, -2.265343800300e-14, -7.608930079100e-17,
			-9.341966783500e-20,
		}},
		{1300, []float64{
			0.000000000000e+00, 2.592939460100e-02, 1.571014188000e-05, 4.382562723700e-08,
			-2.526116979400e-10, 6.431181933900e-13, -1.006347151900e-15, 9.974533899200e-19,
			-6.086324560700e-22, 2.084922933900e-25, -3.068219615100e-29,
		}},
	}}
	TypeE = &Thermocouple{coldest: -270, pieces: []piece{
		{0, []float64{
			0.000000000000e+00, 5.866550870800e-02, 4.541097712400e-05, -7.799804868600e-07,
			-2.580016084300e-08, -5.945258305700e-10, -9.321405866700e-12, -1.028760553400e-13,
			-8.037012362100e-16, -4.397949739100e-18, -1.641477635500e-20, -3.967361951600e-23,
			-5.582732872100e-26, -3.465784201300e-29,
		}},
		{1000, []float64{
			0.000000000000e+00, 5.866550871000e-02, 4.503227558200e-05, 2.890840721200e-08,
			-3.305689665200e-10, 6.502440327000e-13, -1.919749550400e-16, -1.253660049700e-18,
			2.148921756900e-21, -1.438804178200e-24, 3.596089948100e-28,
		}},
	}}
)

// Voltage is the voltage, in mV, between a hot end at t °C and a cold end at 0 °C. Without the exponential term of type K it would be up to 2.9 °C wrong about 127 °C.
func (c *Thermocouple) Voltage(t float64) float64 {
	i := 0
	for i < len(c.pieces)-1 && t >= c.pieces[i].to {
		i++
	}
	v := polynomial(c.pieces[i].coefficients, t)
	if c.bump && t >= 0 {
		d := t - bumpCentre
		v += bumpHeight * math.Exp(bumpWidth*d*d)
	}
	return v
}

func polynomial(c []float64, x float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}

// Temperature is the hot end's temperature, in °C, for a voltage in mV against a cold end at 0 °C: the function turned about by halving, which is more exact than the published inverse polynomials.
// Beyond the function it is no number.
func (c *Thermocouple) Temperature(millivolts float64) float64 {
	low, high := c.coldest, c.pieces[len(c.pieces)-1].to
	if !(millivolts >= c.Voltage(low) && millivolts <= c.Voltage(high)) {
		return math.NaN()
	}
	const halvings = 32 // 1642 °C / 2^32 is below a millionth
	for range halvings {
		middle := (low + high) / 2
		if c.Voltage(middle) < millivolts {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
