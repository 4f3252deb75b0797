package tribunal

import (
	"math"
	"testing"
)

// soak is what one tank did.
type soak struct{ start, ready, over, warmer, hottest, coldest float64 }

func follow(t *testing.T, e *Estate, lot int) soak {
	k := e.Tank(lot)
	s := soak{start: k.PH, hottest: k.Celsius, coldest: k.Celsius}
	first, before := k.Celsius, k.PH
	for k.PH > 4.25 && k.hours < 96 {
		k.Minute()
		if k.PH > before+1e-6 {
			t.Fatalf("%v, %v, lot %d: pH rises from %v to %v after %v h", e.Law, e.Yard, lot, before, k.PH, k.hours)
		}
		before = k.PH
		if s.ready == 0 && k.PH < Washed {
			s.ready = k.hours
		}
		s.warmer, s.hottest, s.coldest = max(s.warmer, k.Celsius-first), max(s.hottest, k.Celsius), min(s.coldest, k.Celsius)
	}
	s.over = k.hours - s.ready
	return s
}

func deviation(values []float64) float64 {
	sum, squares := 0.0, 0.0
	for _, v := range values {
		sum, squares = sum+v, squares+v*v
	}
	n := float64(len(values))
	return math.Sqrt((squares - sum*sum/n) / (n - 1))
}

func TestTank_asPublished(t *testing.T) {
	cells := map[string][]soak{}
	spread := map[string][]float64{}
	for law := range Sourings {
		for yard := range Yards {
			e := NewEstate(law, yard, TankSeed)
			var hours []float64
			for lot := range SoakLots {
				s := follow(t, e, lot)
				hours = append(hours, s.ready)
				for _, name := range []string{law.String(), yard.String(), "all"} {
					cells[name] = append(cells[name], s)
				}
			}
			t.Logf("%v %v most %.0f hours %.1f", law, yard, e.most, hours)
			for _, name := range []string{law.String(), yard.String(), "all"} {
				spread[name] = append(spread[name], deviation(hours))
			}
		}
	}
	for name, list := range cells {
		of := func(get func(soak) float64) func(part float64) float64 {
			var values []float64
			for _, s := range list {
				values = append(values, get(s))
			}
			return parts(values)
		}
		ready, starts, over, warmer := of(func(s soak) float64 { return s.ready }), of(func(s soak) float64 { return s.start }), of(func(s soak) float64 { return s.over }), of(func(s soak) float64 { return s.warmer })
		pace, hot, cold := of(func(s soak) float64 { return (s.start - Washed) / s.ready }), of(func(s soak) float64 { return s.hottest }), of(func(s soak) float64 { return s.coldest })
		alike := parts(spread[name])
		t.Logf("%-12s %d: ready after %.1f h, nine of ten %.1f to %.1f; from pH %.2f to %.2f; %.3f an hour; to 4.25 in %.1f h, %.1f to %.1f; %.1f K warmer, at most %.1f; %.1f to %.1f °C; nights of an estate differ by %.1f h, %.1f to %.1f",
			name, len(list), ready(0.5), ready(0.05), ready(0.95), starts(0), starts(1), pace(0.5), over(0.5), over(0.05), over(0.95), warmer(0.5), warmer(1), cold(0), hot(1), alike(0.5), alike(0), alike(1))
	}
}
