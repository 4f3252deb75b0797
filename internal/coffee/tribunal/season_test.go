package tribunal

import (
	"math"
	"testing"
)

// Vapour pressure and air pressure against FAO-56, annex 2, tables 2.3 and 2.1: 2.338 kPa at 20 °C, 4.243 at 30, 81.8 kPa at 1,800 m (as quoted); heated air against 25.3 %RH at 40 °C of air of 20 °C and 80 %.
func TestAir_tables(t *testing.T) {
	for celsius, want := range map[float64]float64{20: 2.338, 30: 4.243} {
		if got := saturation(celsius); math.Abs(got-want) > 0.01 {
			t.Errorf("%v °C: %.4f kPa, want %v", celsius, got, want)
		}
	}
	if got := pressure(1800); math.Abs(got-81.8) > 0.5 {
		t.Errorf("1,800 m: %.2f kPa, want 81.8", got)
	}
	if got := heated(80, 20, 40); math.Abs(got-25.3) > 0.2 {
		t.Errorf("%.2f %%RH, want 25.3", got)
	}
}

// Aim: seasons are such as mountains near the equator have: lowest about sunrise, highest about two, damp nights and dry noons, no jumps but rain, rain on a third of the days or less; and a season that forks is the same before.
func TestSeason_days(t *testing.T) {
	for seed := range uint64(20) {
		s := newSeason(newClimate(1450, drawn(seed, 1)), drawn(seed, 2))
		rainy, noon, dawn := 0, 0.0, 0.0
		for h := 0.0; h < 60*24; h += 0.1 {
			c, rh, sun, rain := s.at(h)
			next, _, _, rains := s.at(h + 0.1)
			if math.Abs(next-c) > 0.8 || c < 6 || c > 34 || rh < 15 || rh > 100 || sun < 0 || sun > 1.06 || rain && !rains && math.Mod(h, 24) < 12 {
				t.Fatalf("seed %d, hour %.1f: %.2f °C, then %.2f; %.0f %%RH; sun %.2f", seed, h, c, next, rh, sun)
			}
		}
		for day := range 60 {
			if s.days[day].rain > 0 {
				rainy++
			}
			a, damp, _, _ := s.at(float64(24*day) + 6)
			b, dry, _, _ := s.at(float64(24*day) + 14)
			noon, dawn = noon+b/60, dawn+a/60
			if dry >= damp && s.days[day].rain == 0 {
				t.Errorf("seed %d, day %d: %.0f %%RH at dawn, %.0f at two", seed, day, damp, dry)
			}
		}
		if rainy > 30 || dawn < 12 || dawn > 18 || noon < 22 || noon > 29 {
			t.Errorf("seed %d: rain on %d days of 60, %.1f °C at dawn, %.1f at two", seed, rainy, dawn, noon)
		}
		f := s.forked(300.5, drawn(seed, 3))
		for h := 0.0; h < 300; h += 7 {
			a, damp, _, _ := s.at(h)
			if b, dry, _, _ := f.at(h); a != b || damp != dry {
				t.Fatalf("seed %d: another air at hour %.0f", seed, h)
			}
		}
		a, _, _, _ := s.at(400)
		if b, _, _, _ := f.at(400); a == b {
			t.Errorf("seed %d: the same air to come", seed)
		}
	}
}
