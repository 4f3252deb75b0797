package assize

import "math"

// isotherm is the moisture, in % of the dry weight, at which parchment rests in air of t °C and a part h of saturation. Where constants were solved, it is from what Trejos, Roa, Oliveros 1989
// measured and fitted (as quoted): 14.6 at 25 °C, 72.5 %; 18.0 at 55 °C, 88 %; 12.36 at 25 °C, 61.2 %.
type isotherm func(t, h float64) float64

// below keeps air from being full.
func below(h float64) float64 { return math.Max(0.02, math.Min(0.985, h)) }

// henderson is the modified Henderson of ASAE D245 with its constants for maize (Thompson, Peart, Foster 1968), of which coffee holds 0.853.
func henderson(t, h float64) float64 {
	return 0.853 * math.Pow(-math.Log(1-below(h))/(8.6541e-5*(t+49.81)), 1/1.8634)
}

// chungPfost is that of Chung and Pfost 1967 in ASAE D245 with its constants for maize, of which coffee holds 0.861.
func chungPfost(t, h float64) float64 {
	return 86.1 * (0.33872 - 0.05897*math.Log(-(t+30.205)*math.Log(below(h))))
}

// oswin is that of Oswin 1946, straight in warmth (Chen, Morey 1989), its constants solved.
func oswin(t, h float64) float64 {
	h = below(h)
	return (10.78 - 0.0373*(t-25)) * math.Pow(h/(1-h), 0.312)
}

// halsey is the modified Halsey of Iglesias and Chirife 1976, its constants solved.
func halsey(t, h float64) float64 {
	return math.Pow(-291.7*math.Exp(-0.01304*(t-25))/math.Log(below(h)), 1/2.54)
}

// gab is that of Guggenheim, Anderson and de Boer (Van den Berg, Bruin 1981), its constants solved; a layer of 7.25 % on the beans, less with warmth.
func gab(t, h float64) float64 {
	h = below(h)
	const held, more = 30, 0.715
	return 7.25 * math.Exp(-0.0021*(t-25)) * held * more * h / ((1 - more*h) * (1 - more*h + held*more*h))
}
