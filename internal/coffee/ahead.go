package coffee

import (
	"math"

	"millwarden/internal/units"
)

// trend follows how a temperature goes: two means that forget at different paces, whose difference tells the slope of what both follow (Brown 1963, exponential smoothing).
type trend struct {
	quick, slow float64 // °C
	known       bool
}

// Chosen, on the tanks that may be looked at: a mass that cools in the evening cools on for some hours, then the night ends.
const (
	trendQuick = 0.5 // h
	trendSlow  = 3.0 // h
	trendFades = 2.0 // h
	agingHours = 12  // of what is ahead: after that it goes on as in the last one
)

// add lets hours pass at a temperature.
func (w *trend) add(hours, celsius float64) {
	if !w.known {
		w.quick, w.slow, w.known = celsius, celsius, true
	}
	w.quick += (celsius - w.quick) * (1 - math.Exp(-hours/trendQuick))
	w.slow += (celsius - w.slow) * (1 - math.Exp(-hours/trendSlow))
}

// slope is in K an hour.
func (w *trend) slope() float64 { return (w.quick - w.slow) / (trendSlow - trendQuick) }

// aging is how much older a mass is after each hour to come, h at the reference temperature.
type aging [agingHours + 1]float64

// look works out how the mass ages if its temperature goes on from t as it went lately, ever slower.
func (s *Souring) look(t units.Celsius) {
	turns := s.warmth.slope() * trendFades
	for q := range s.ahead {
		speed, quickens := s.speed(q, t), math.Log(s.q10(q))/10
		for h := range agingHours {
			warmer := turns * (1 - math.Exp(-(float64(h)+0.5)/trendFades))
			s.ahead[q][h+1] = s.ahead[q][h] + speed*math.Exp(quickens*warmer)
		}
	}
}

// hours is how long the mass needs to get so much older.
func (a *aging) hours(older float64) float64 {
	h := 0
	for h < agingHours-1 && a[h+1] < older {
		h++
	}
	return float64(h) + (older-a[h])/(a[h+1]-a[h])
}
