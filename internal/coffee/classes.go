package coffee

import "math"

// Stage is how far a fermentation is, by its pH [Jackels 2006, as quoted].
type Stage uint8

const (
	StillSouring Stage = iota // above 4.8
	Complete                  // 4.5 to 4.8
	Over                      // 4.1 to 4.4, median 1.5 h past completion
	SeverelyOver              // 3.6 to 4.0, median 4 h past
)

// StageAt sorts a pH; what lies between two printed bands belongs to the worse one.
func StageAt(ph float64) Stage {
	switch {
	case ph > 4.8:
		return StillSouring
	case ph >= 4.5:
		return Complete
	case ph > 4.05:
		return Over
	}
	return SeverelyOver
}

// Activity is what can live at a water activity [Codex par. 37, as quoted].
type Activity uint8

const (
	Safe     Activity = iota // at most 0.70 (0.67 to 0.70)
	NoGrowth                 // below 0.76 to 0.78 the moulds of ochratoxin do not grow
	NoToxin                  // below 0.80 they may live and make none
	Toxin                    // 0.80 to 0.95: ochratoxin can form
	Outgrown                 // above 0.95 other microbes win
)

// ActivityAt sorts a water activity.
func ActivityAt(aw float64) Activity {
	switch {
	case aw <= 0.70:
		return Safe
	case aw < 0.76:
		return NoGrowth
	case aw < 0.80:
		return NoToxin
	case aw <= 0.95:
		return Toxin
	}
	return Outgrown
}

// Exportable tells whether green coffee meets the moisture of ICO Resolution 420: from 8 to 12.5 %wb.
func Exportable(m WetBasis) bool { return m >= 8 && m <= 12.5 }

// Specialty tells whether green coffee meets moisture and water activity of the SCA (poster 2018): 10 to 12 %wb, and aw strictly below 0.70.
func Specialty(m WetBasis, aw float64) bool { return m >= 10 && m <= 12 && aw < 0.70 }

// Monoxide is what a concentration of carbon monoxide is beyond.
type Monoxide uint8

const (
	BelowLimits  Monoxide = iota // 35 ppm, the time-weighted limit of NIOSH, as a spot value
	AboveLimit                   // above it
	AboveCeiling                 // above 200 ppm, its ceiling: leave
	DangerousCO                  // from 1,200 ppm: immediately dangerous to life and health
)

// MonoxideAt sorts a spot value in ppm [OSHA Chemical Sampling Information; NIOSH].
func MonoxideAt(ppm float64) Monoxide {
	switch {
	case ppm >= 1200:
		return DangerousCO
	case ppm > 200:
		return AboveCeiling
	case ppm > 35:
		return AboveLimit
	}
	return BelowLimits
}

// LatentHeat is the heat in kJ/kg that takes water out of parchment [Trejos 1989 eq. 6, as quoted].
func LatentHeat(t float64, m DryBasis) float64 {
	return (2502.4 - 2.4295*t) * (1 + 1.44408*math.Exp(-21.6011*float64(m)/100))
}
