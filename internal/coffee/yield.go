package coffee

// Factors of the International Coffee Organization between forms of coffee (ITC Coffee Guide 01.05).
const (
	GreenOfDriedCherry = 0.5
	GreenOfParchment   = 0.8
	GreenOfRoasted     = 1.19
)

// The usual outturn, a part of 1. Chosen: around 0.80 of the ICO and 0.833 of a trade chain.
const (
	UsualOutturnLeast = 0.78
	UsualOutturnMost  = 0.84
)

// Outturn is green by parchment, a part of 1.
func Outturn(parchment, green float64) (part float64, usual bool) {
	if parchment <= 0 {
		return 0, false
	}
	part = green / parchment
	return part, part >= UsualOutturnLeast && part <= UsualOutturnMost
}

// Part is a weight with its moisture.
type Part struct {
	Kilograms float64
	Moisture  WetBasis
}

// Blend is the weight and the moisture of parts put together: the mean by weight, on the wet basis.
func Blend(parts ...Part) Part {
	var sum Part
	water := 0.0
	for _, p := range parts {
		sum.Kilograms += p.Kilograms
		water += p.Kilograms * float64(p.Moisture)
	}
	if sum.Kilograms > 0 {
		sum.Moisture = WetBasis(water / sum.Kilograms)
	}
	return sum
}

// At is the same coffee at another moisture.
func (p Part) At(m WetBasis) Part { return Part{MassAfter(p.Kilograms, p.Moisture, m), m} }

// ScreenOpening is the opening in mm of a screen that is numbered in 64ths of an inch.
func ScreenOpening(number int) float64 { return float64(number) * 25.4 / 64 }
