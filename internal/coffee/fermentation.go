package coffee

import (
	"math"
	"time"

	"millwarden/internal/units"
)

// Pace is how temperature changes the pace of a fermentation. No measured Q10 for coffee mucilage was found: 2 is an assumption, and the estate
// re-anchors it by its own washed tanks.
type Pace struct {
	Q10       float64
	Reference units.Celsius
}

// Usual is the pace assumed unless the site sets another: Q10 of 2 about 23 °C.
var Usual = Pace{Q10: 2, Reference: 23}

// Equivalent is the time at the reference temperature that does the same as d at t.
func (p Pace) Equivalent(d time.Duration, t units.Celsius) time.Duration {
	return time.Duration(float64(d) * math.Pow(p.Q10, float64(t.Sub(p.Reference))/10))
}

// Needed is how long a tank at t takes for what takes d at the reference temperature.
func (p Pace) Needed(d time.Duration, t units.Celsius) time.Duration {
	return time.Duration(float64(d) / math.Pow(p.Q10, float64(t.Sub(p.Reference))/10))
}

// Acidified is the part of the acid formed after a time, by a logistic curve of rate k per hour whose fastest hour is fastest [Puerta 2013, Cenicafé
// 64(1):42-59, as quoted: k 0.076, fastest at 22 h, about 20.5 °C].
func Acidified(after time.Duration, k float64, fastest time.Duration) float64 {
	return 1 / (1 + math.Exp(-k*(after-fastest).Hours()))
}
