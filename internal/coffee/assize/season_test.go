package assize

import (
	"math"
	"testing"
)

// Vapour pressure and air pressure against FAO-56, annex 2, tables 2.3 and 2.1: 2.338 kPa at 20 °C, 4.243 at 30, 81.8 kPa at 1,800 m (as quoted).
func TestAir_tables(t *testing.T) {
	for celsius, want := range map[float64]float64{20: 2.338, 30: 4.243} {
		if got := saturation(celsius); math.Abs(got-want) > 0.001 {
			t.Errorf("%v °C: %.4f kPa, want %v", celsius, got, want)
		}
	}
	if got := pressure(1800); math.Abs(got-81.8) > 0.05 {
		t.Errorf("1,800 m: %.2f kPa, want 81.8", got)
	}
}

// Aim: seasons are such as mountains near the equator have: lowest at sunrise, highest 1.86 h after noon (Parton, Logan 1981), no jumps, damp nights and dry noons, rain on a day of four or less.
func TestSeason_days(t *testing.T) {
	for seed := range uint64(20) {
		s := newSeason(1450, drawn(seed, 1))
		rainy := 0
		for h := 12.0; h < 40*24; h += 0.1 { // nothing begins before the first noon
			if step := math.Abs(s.Air(h+0.1) - s.Air(h)); step > 0.6 {
				t.Fatalf("seed %d: %.2f K in six minutes at hour %.1f", seed, step, h)
			}
			if rh := s.Humidity(h); rh < 15 || rh > 100 {
				t.Fatalf("seed %d: %.0f %%RH at hour %.1f", seed, rh, h)
			}
			if c := s.Air(h); c < 7 || c > 34 {
				t.Fatalf("seed %d: %.1f °C at hour %.1f", seed, c, h)
			}
		}
		for i := range 40 {
			if s.days[i].dry > s.days[i].rain {
				rainy++
			}
			noon := float64(24*i) + 12 + 1.86
			if math.Abs(s.Air(noon)-s.days[i].high) > 1e-9 || s.Air(noon-1) > s.Air(noon) || s.Air(noon+1) > s.Air(noon) {
				t.Fatalf("seed %d, day %d: highest %v °C, at the hour of it %v", seed, i, s.days[i].high, s.Air(noon))
			}
		}
		if rainy > 18 {
			t.Errorf("seed %d: rain on %d days of 40 in harvest", seed, rainy)
		}
	}
}
