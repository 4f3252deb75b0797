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
	agingHours = 24  // of what is ahead: after that it goes on as in the last one
)

// Warming is how much warmer the mass of an estate's own tanks got in each hour since loading, K: they are filled at about the same hour of a day, so evening, night and the warmth of souring come
// alike. It is plain data, so that it can be kept.
type Warming struct {
	Change [warmingHours]float64
	Tanks  [warmingHours]int // that lasted so long, newestCount at most
}

const (
	warmingHours = 36
	warmingNone  = 0.5 // tanks that no change counts for; chosen
)

// since is the change since loading, K.
func (w *Warming) since(hours float64) (sum float64) {
	for i := 0; i < warmingHours && float64(i) < hours; i++ {
		sum += w.Change[i] * min(1, hours-float64(i))
	}
	return sum
}

// after is it after one more tank.
func (w Warming) after(t *hourly) Warming {
	for i := range max(0, t.n-1) {
		w.Tanks[i] = min(w.Tanks[i]+1, newestCount)
		w.Change[i] += (t.celsius[i+1] - t.celsius[i] - w.Change[i]) / (float64(w.Tanks[i]) + warmingNone)
	}
	return w
}

// hourly are the temperatures at the hours since loading, °C.
type hourly struct {
	celsius [warmingHours + 1]float64
	n       int
}

func (t *hourly) add(hours, celsius float64) {
	for t.n < len(t.celsius) && float64(t.n) < hours {
		t.celsius[t.n] = celsius
		t.n++
	}
}

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

// look works out how the mass ages if its temperature goes on from t as that of the estate's own tanks did, and as it went lately beside them, ever slower.
func (s *Souring) look(t units.Celsius) {
	turns, now := s.warmth.slope()*trendFades, s.warming.since(s.past.hours)
	for h := range agingHours {
		next := float64(h) + 0.5
		warmer := turns*(1-math.Exp(-next/trendFades)) + s.warming.since(s.past.hours+next) - now
		for q := range s.ahead {
			s.ahead[q][h+1] = s.ahead[q][h] + s.speed(q, t+units.Celsius(warmer))
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
