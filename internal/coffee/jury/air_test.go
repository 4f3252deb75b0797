package jury

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.4f, want %.4f ± %v", what, got, want, tolerance)
	}
}

// Vapour pressure against ASHRAE 2017, chapter 1, table 3, air pressure against FAO-56 (as quoted), heated air against what was reckoned beside the source.
func TestAir_tables(t *testing.T) {
	near(t, "kPa of vapour at 25 °C", saturation(25), 3.1697, 0.015)
	near(t, "kPa of vapour at 5 °C", saturation(5), 0.8726, 0.004)
	near(t, "kPa of air at 1,800 m", pressure(1800), 81.76, 0.5)
	near(t, "%RH at 45 °C of air of 20 °C and 80 %", heated(80, 20, 45), 19.5, 0.2)
}

// Aim: seasons are such as mountains near the equator have in harvest: coolest about sunrise, warmest after noon, damp nights and dry noons, no jumps but rain, rain on a third of the days or so.
func TestSeason_days(t *testing.T) {
	for seed := range uint64(20) {
		s := newSeason(newClimate(1500, drawn(seed, 1)), drawn(seed, 2))
		for h := 24.0; h < 60*24; h += 0.1 {
			c, rh, sun, _ := s.at(h)
			if next, _, _, _ := s.at(h + 0.1); math.Abs(next-c) > 0.8 || c < 4 || c > 34 || rh < 0.2 || rh > 1 || sun < 0 || sun > 1.04 {
				t.Fatalf("seed %d, hour %.1f: %.2f °C, then %.2f; %.2f; sun %.2f", seed, h, c, next, rh, sun)
			}
		}
		rainy, noon, dawn := 0.0, 0.0, 0.0
		for d := 1; d <= 60; d++ {
			a, damp, _, _ := s.at(float64(24*d) + 6)
			b, dry, _, _ := s.at(float64(24*d) + 14)
			noon, dawn = noon+b/60, dawn+a/60
			if s.days[d].rain > 0 {
				rainy++
			} else if dry >= damp || b <= a {
				t.Errorf("seed %d, day %d: %.1f °C and %.2f at dawn, %.1f and %.2f at two", seed, d, a, damp, b, dry)
			}
		}
		near(t, "rainy days of 60", rainy, 22, 18)
		near(t, "°C at dawn", dawn, 14, 3)
		near(t, "°C at two", noon, 25, 4)
	}
}
