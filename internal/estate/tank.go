package estate

import (
	"math"
	"time"
)

// Tank is one fermentation tank.
type Tank struct {
	PH      float64
	Celsius float64
	Full    bool
	Soaked  time.Duration

	grown float64 // how far the souring is, 0 to 1, along a logistic curve
}

// At 23 °C the curve passes pH 4.6 near 15 h and pH 4.2 near 19 h; it doubles its pace with 10 K (Q10 of 2, as the product assumes).
const (
	freshPH      = 5.6
	sourestPH    = 3.7
	grownFresh   = 0.03
	growthAnHour = 0.239
	q10          = 2
	reference    = 23
	rinsePH      = 6.8
)

func newTank(celsius float64, soaked time.Duration) Tank {
	t := Tank{Celsius: celsius}
	t.Load()
	t.advance(soaked.Seconds(), celsius)
	return t
}

// Load fills the tank with fresh pulped coffee.
func (t *Tank) Load() { t.Full, t.PH, t.Soaked, t.grown = true, freshPH, 0, grownFresh }

// Wash empties it; the electrode then stands in rinse water.
func (t *Tank) Wash() { t.Full, t.PH, t.Soaked = false, rinsePH, 0 }

func (t *Tank) advance(seconds, air float64) {
	warmed := air
	if t.Full {
		t.Soaked += time.Duration(seconds * float64(time.Second))
		hours := seconds / 3600 * math.Pow(q10, (t.Celsius-reference)/10)
		odds := t.grown / (1 - t.grown) * math.Exp(growthAnHour*hours)
		t.grown = odds / (1 + odds)
		t.PH = freshPH - (freshPH-sourestPH)*t.grown
		warmed = air + 4 // the mass warms itself
	}
	t.Celsius += (warmed - t.Celsius) * (1 - math.Exp(-seconds/30000))
}
