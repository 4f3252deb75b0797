package coffee

import (
	"math"
	"slices"
	"testing"
	"time"

	"millwarden/internal/coffee/tanktest"
	"millwarden/internal/units"
)

// judged is how forecasts did at one part of the way.
type judged struct {
	wrong       []float64 // min
	held, early int
	late, mute  int
	noEnd       int
	width       []float64 // h
}

func (j *judged) median() float64 { return quantileOf(j.wrong, 0.5) }

func quantileOf(values []float64, q float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(values))
	return sorted[int(q*float64(len(sorted)-1))]
}

func (j *judged) coverage() float64 { return float64(j.held) / float64(len(j.wrong)) }

// judge lets the tank of each seed run to its true end and asks at parts of the way.
func judge(law tanktest.Law, seeds, first uint64, parts []float64, least int) (result []judged, usual []float64) {
	result = make([]judged, len(parts))
	var habit Habit
	for seed := first; seed < first+seeds; seed++ {
		if seed%tanktest.Lots == 0 {
			habit = UsualHabit(Usual, 15*time.Hour)
		}
		end, ever := tanktest.Ready(law, seed, usualEnd)
		if !ever || end < 5*time.Hour {
			continue
		}
		usual = append(usual, end.Hours())
		tank := tanktest.New(law, seed)
		s := NewSouring(habit)
		var ph, warm []float64
		next := 0
		for m := 0; next < len(parts); m++ {
			now := time.Duration(m) * time.Minute
			if now.Minutes() >= parts[next]*end.Minutes() {
				f, why := s.Until(usualEnd, units.Celsius(warm0(warm)), now)
				if habit.Tanks >= least {
					result[next].take(f, why, end-now)
				}
				next++
			}
			tank.Minute()
			ph, warm = append(ph, tank.Electrode()), append(warm, tank.Thermometer())
			if len(ph) == int(SouringStep/time.Minute) {
				s.Age(SouringStep, units.Celsius(mean(warm)))
				s.See(Median(ph))
				ph, warm = ph[:0], warm[:0]
				_ = warm
				lastWarm = tank.Celsius
			}
		}
		for s.last > usualEnd { // to its true end
			for range 10 {
				tank.Minute()
				ph, warm = append(ph, tank.Electrode()), append(warm, tank.Thermometer())
			}
			s.Age(SouringStep, units.Celsius(mean(warm)))
			s.See(Median(ph))
			ph, warm = ph[:0], warm[:0]
		}
		habit = habit.With(s, s.Ended())
	}
	return result, usual
}

var lastWarm float64

func warm0(warm []float64) float64 {
	if len(warm) > 0 {
		return mean(warm)
	}
	return lastWarm
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

func (j *judged) take(f Forecast, why string, truth time.Duration) {
	if why != "" {
		j.mute++
		if why == SaysNoEnd {
			j.noEnd++
		}
		return
	}
	j.wrong = append(j.wrong, math.Abs((f.Middle - truth).Minutes()))
	j.width = append(j.width, (f.Late - f.Early).Hours())
	switch {
	case truth < f.Early:
		j.early++
	case truth > f.Late:
		j.late++
	default:
		j.held++
	}
}

// Aim: forecasts judged on tanks whose microbes, heat and electrodes follow other laws than the forecaster's. The interval was fitted on the laws Gompertz and
// Broken. Monod and Pair were seen while the list of curves was chosen; Crust was written after that, and since then one constant was moved (probeOffset, from 0.06
// to 0.07). Each estate washes ten tanks one after the other. Goals:
// half way the middle is within 45 min in every other tank, and the 80 % interval holds the truth in 70 to 90 %, over all laws; no law is far off that.
func TestSouring_judged(t *testing.T) {
	parts := []float64{0.25, 0.5, 0.75, 0.9}
	for _, own := range []int{0, 3} {
		all := make([]judged, len(parts))
		for law := range tanktest.Laws {
			r, ends := judge(law, 200, 10, parts, own)
			t.Logf("%v, estates with %d washed tanks or more: %d tanks, ready after %.1f h, nine of ten within %.1f to %.1f", law, own, len(r[1].wrong)+r[1].mute, quantileOf(ends, 0.5),
				quantileOf(ends, 0.05), quantileOf(ends, 0.95))
			for i, part := range parts {
				r[i].log(t, part)
				all[i].add(&r[i])
			}
			if c := r[1].coverage(); c < 0.55 || r[1].median() > 75 {
				t.Errorf("%v half way: wrong by %.0f min, interval held %.0f %%", law, r[1].median(), 100*c)
			}
		}
		t.Logf("all laws, %d washed tanks or more:", own)
		for i, part := range parts {
			all[i].log(t, part)
			if c := all[i].coverage(); c < 0.70 || c > 0.90 {
				t.Errorf("at %.0f %% the interval held the truth in %.0f %%, want 70 to 90", 100*part, 100*c)
			}
		}
		if got := all[1].median(); got > 50 || own > 0 && got > 45 {
			t.Errorf("half way every other forecast is wrong by more than %.0f min, want 45 (50 before any tank was washed)", got)
		}
	}
}

func (j *judged) add(other *judged) {
	j.wrong, j.width = append(j.wrong, other.wrong...), append(j.width, other.width...)
	j.held, j.early, j.late, j.mute = j.held+other.held, j.early+other.early, j.late+other.late, j.mute+other.mute
}

func (j *judged) log(t *testing.T, part float64) {
	t.Helper()
	t.Logf("  at %2.0f %% of the way: wrong by %3.0f min, nine of ten by less than %3.0f, worst %3.0f; interval %.1f h wide, held %2.0f %% (truth before it %d, after it %d); silent %d",
		100*part, j.median(), quantileOf(j.wrong, 0.9), quantileOf(j.wrong, 1), quantileOf(j.width, 0.5), 100*j.coverage(), j.early, j.late, j.mute)
}

// A tank that does not sour gives no forecast, and neither does one that was hardly seen.
func TestSouring_cannotSay(t *testing.T) {
	s := NewSouring(UsualHabit(Usual, 15*time.Hour))
	for range 3 {
		s.Age(SouringStep, 22)
		s.See(5.6)
	}
	if _, why := s.Until(usualEnd, 22, 30*time.Minute); why != SaysTooSoon {
		t.Errorf("after half an hour: %q, want %q", why, SaysTooSoon)
	}
	for range 200 {
		s.Age(SouringStep, 22)
		s.See(6.4)
	}
	if f, why := s.Until(usualEnd, 22, 34*time.Hour); why == "" {
		t.Errorf("34 h at pH 6.4 give %v, want no forecast", f)
	}
}

// Fresh pulped coffee at 20 to 24 °C: the overnight soak of common practice, 15 to 18 h, lies inside the interval two hours after loading, while the pH has
// hardly moved (Jackels 2006: 15 h at 20 to 26 °C; Osorio 2026: 16 h; both as quoted).
func TestSouring_overnightSoak(t *testing.T) {
	for _, c := range []units.Celsius{20, 22, 24} {
		s := NewSouring(UsualHabit(Usual, 15*time.Hour))
		for range 12 {
			s.Age(SouringStep, c)
			s.See(5.58)
		}
		f, why := s.Until(usualEnd, c, 2*time.Hour)
		early, late := f.Early+2*time.Hour, f.Late+2*time.Hour
		t.Logf("%v °C: %v to %v after loading", c, early.Round(time.Minute), late.Round(time.Minute))
		if why != "" || early > 15*time.Hour || late < 18*time.Hour {
			t.Errorf("at %v °C: %v to %v after loading (%s), want 15 to 18 h inside", c, early, late, why)
		}
	}
}

// Slope against the line through the points, one of them wild.
func TestSlope_wildPoint(t *testing.T) {
	x, y := []float64{0, 1, 2, 3, 4, 5, 6}, []float64{5, 4.9, 4.8, 9, 4.6, 4.5, 4.4}
	got, ok := Slope(x, y)
	if !ok {
		t.Fatal("no slope")
	}
	near(t, "slope", got, -0.1, 1e-9)
	if _, ok := Slope(x[:2], y[:2]); ok {
		t.Error("two points gave a slope")
	}
}

func BenchmarkSouring(b *testing.B) {
	s := NewSouring(UsualHabit(Usual, 15*time.Hour))
	for i := 0; b.Loop(); i++ {
		if i%150 == 0 {
			s = NewSouring(UsualHabit(Usual, 15*time.Hour))
		}
		s.Age(SouringStep, 22)
		s.See(5.6 - 0.01*float64(i%150))
		s.Until(4.6, 22, time.Hour)
	}
}
