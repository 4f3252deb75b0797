package coffee

import (
	"flag"
	"fmt"
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

// leastWashed are the numbers of washed tanks of the same estate from which on forecasts are counted.
var leastWashed = [...]int{0, 3}

// judge lets the tank of each seed run to its true end and asks at parts of the way; by leastWashed, then by part.
func judge(law tanktest.Law, seeds, first uint64, parts []float64) (result [len(leastWashed)][]judged, usual []float64) {
	for i := range result {
		result[i] = make([]judged, len(parts))
	}
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
		w := watch{tank: tanktest.New(law, seed), souring: NewSouring(habit)}
		for _, part := range parts {
			for w.now.Minutes() < part*end.Minutes() {
				w.minute()
			}
			f, why := w.souring.Until(usualEnd, units.Celsius(w.celsius), w.now)
			for i, least := range leastWashed {
				if habit.Tanks >= least {
					result[i][slices.Index(parts, part)].take(f, why, end-w.now)
				}
			}
		}
		for w.souring.last > usualEnd && w.now < 3*end/2 { // to its end as the electrode shows it; where that never comes, people wash it by hand
			w.minute()
		}
		if w.souring.last <= usualEnd {
			habit = habit.With(w.souring, w.souring.Ended())
		}
	}
	return result, usual
}

// soaking is a tank, a minute at a time, and what its probes show.
type soaking interface {
	Minute()
	Electrode() float64
	Thermometer() float64
}

// watch is a tank with the forecaster beside it, as a station has them.
type watch struct {
	tank     soaking
	souring  *Souring
	now      time.Duration
	ph, warm []float64 // of the step under way
	celsius  float64   // mean of the last step
}

func (w *watch) minute() {
	w.tank.Minute()
	w.now += time.Minute
	w.ph, w.warm = append(w.ph, w.tank.Electrode()), append(w.warm, w.tank.Thermometer())
	if len(w.ph) < int(SouringStep/time.Minute) {
		return
	}
	w.celsius = mean(w.warm)
	w.souring.Age(SouringStep, units.Celsius(w.celsius))
	w.souring.See(Median(w.ph))
	w.ph, w.warm = w.ph[:0], w.warm[:0]
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

// judgedSet is a set of laws with what was reached on it, with a margin, so that a change for the worse shows.
type judgedSet struct {
	name     string
	from, to tanktest.Law
	first    uint64                    // seed
	most     [len(leastWashed)]float64 // median error half way, min
	least    float64                   // least that the interval may hold at any part, %
	widest   float64                   // most that it may hold, %
}

var tanksJudged = flag.Uint64("tanks", 20, "tanks of each law that forecasts of the wash are judged on")

// Aim: forecasts judged on tanks whose microbes, heat and electrodes follow other laws than the forecaster's: those that were looked at while it was made, those that were held out then
// and are looked at since, those that were sealed twice and are looked at since, and the verdict, asked once by somebody who improved nothing after it. Each estate washes ten tanks one after the other. Goals, over all laws of a set: half way the middle is
// within 45 min in every other tank, and the 80 % interval holds the truth in 70 to 90 %. What is missed stands in the package's doc.
func TestSouring_judged(t *testing.T) {
	parts := []float64{0.25, 0.5, 0.75, 0.9}
	sets := []judgedSet{
		{"looked at", 0, tanktest.First, 10, [...]float64{50, 43}, 68, 97},
		{"held out once", tanktest.First, tanktest.Held, 5010, [...]float64{56, 46}, 72, 98},
		{"opened", tanktest.Held, tanktest.Seen, 9010, [...]float64{140, 130}, 60, 92},
		{"sealed until opened", tanktest.Seen, tanktest.Verdict, 13010, [...]float64{170, 180}, 60, 90},
		{"verdict", tanktest.Verdict, tanktest.Laws, 17010, [...]float64{45, 40}, 68, 95},
	}
	var results [tanktest.Laws][len(leastWashed)][]judged
	t.Run("laws", func(t *testing.T) {
		for _, set := range sets {
			for law := set.from; law < set.to; law++ {
				t.Run(law.String(), func(t *testing.T) {
					t.Parallel()
					result, ends := judge(law, *tanksJudged, set.first, parts)
					t.Logf("%s: %d tanks, ready after %.1f h, nine of ten within %.1f to %.1f", set.name, len(ends), quantileOf(ends, 0.5), quantileOf(ends, 0.05), quantileOf(ends, 0.95))
					for n, least := range leastWashed {
						for i := range parts {
							t.Logf("  %d washed or more, %v", least, result[n][i].line(parts[i]))
						}
					}
					results[law] = result
				})
			}
		}
	})
	for _, set := range sets {
		for n, least := range leastWashed {
			all := make([]judged, len(parts))
			for law := set.from; law < set.to; law++ {
				for i := range results[law][n] {
					all[i].add(&results[law][n][i])
				}
			}
			for i := range parts {
				t.Logf("%s, all laws, %d washed or more, %v", set.name, least, all[i].line(parts[i]))
				if c := 100 * all[i].coverage(); len(all[i].wrong) < int(*tanksJudged) || c < set.least || c > set.widest {
					t.Errorf("%s at %.0f %%: %d forecasts, held %.0f %%, want %v to %v", set.name, 100*parts[i], len(all[i].wrong), c, set.least, set.widest)
				}
			}
			if got := all[1].median(); got > set.most[n] {
				t.Errorf("%s half way, %d washed or more: every other forecast is wrong by more than %.0f min, want %v", set.name, least, got, set.most[n])
			}
		}
	}
}

func (j *judged) add(other *judged) {
	j.wrong, j.width = append(j.wrong, other.wrong...), append(j.width, other.width...)
	j.held, j.early, j.late, j.mute = j.held+other.held, j.early+other.early, j.late+other.late, j.mute+other.mute
}

func (j *judged) line(part float64) string {
	return fmt.Sprintf("at %2.0f %%: wrong by %3.0f min, nine of ten by less than %3.0f, worst %3.0f; interval %.1f h wide, held %2.0f %% (truth before it %d, after it %d); silent %d",
		100*part, j.median(), quantileOf(j.wrong, 0.9), quantileOf(j.wrong, 1), quantileOf(j.width, 0.5), 100*j.coverage(), j.early, j.late, j.mute)
}

// Aim: pH that people read every hour and a half with a pocket meter (steps of 0.05, and off by up to a tenth; chosen) foresees the wash nearly as well half way as an electrode in the same tanks, of an estate that has washed none before.
func TestSouring_readByHand(t *testing.T) {
	var electrode, hand judged
	for law := range tanktest.First {
		for seed := uint64(310); seed < 350; seed++ {
			end, ever := tanktest.Ready(law, seed, usualEnd)
			if !ever || end < 5*time.Hour {
				continue
			}
			half := func(to *judged, every int, shows func(*tanktest.Tank) float64) {
				tank, s := tanktest.New(law, seed), NewSouring(UsualHabit(Usual, 15*time.Hour))
				for m := range int(end.Minutes() / 2) {
					if m%every == 0 {
						s.See(shows(tank))
					}
					if tank.Minute(); m%10 == 9 {
						s.Age(SouringStep, units.Celsius(tank.Celsius))
					}
				}
				f, why := s.Until(usualEnd, units.Celsius(tank.Celsius), end/2)
				to.take(f, why, end-end/2)
			}
			half(&electrode, 10, (*tanktest.Tank).Electrode)
			half(&hand, 90, func(tank *tanktest.Tank) float64 { return math.Round(20*(tank.PH+0.1*(float64(seed%5)/2-1))) / 20 })
		}
	}
	t.Logf("electrode %s", electrode.line(0.5))
	t.Logf("by hand   %s", hand.line(0.5))
	if len(hand.wrong) < 60 || hand.median() > 1.4*electrode.median() || hand.coverage() < electrode.coverage()-0.1 {
		t.Errorf("by hand %s", hand.line(0.5))
	}
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

// A mass that cools by half a kelvin an hour is seen to, and takes longer than one that stays as warm as it is.
func TestSouring_coolsOn(t *testing.T) {
	follow := func(fall units.Celsius) (Forecast, float64) {
		s := NewSouring(UsualHabit(Usual, 15*time.Hour))
		for i := range 24 {
			s.Age(SouringStep, 22+fall*units.Celsius(23-i)/6)
			s.See(5.6 - 0.01*float64(i))
		}
		f, why := s.Until(usualEnd, 22, 4*time.Hour)
		if why != "" {
			t.Fatal(why)
		}
		return f, s.warmth.slope()
	}
	still, none := follow(0)
	cools, slope := follow(0.5)
	near(t, "slope of a steady mass, K/h", none, 0, 1e-9)
	near(t, "slope of a cooling mass, K/h", slope, -0.5, 0.2) // the slow mean has only begun to follow
	if cools.Middle <= still.Middle {
		t.Errorf("cooling: ready in %v, steady: in %v; want cooling to take longer", cools.Middle, still.Middle)
	}
}

// A mass whose estate's tanks all cooled for eight hours and stayed so is seen to do the same at the hour at which they did, and not after it.
func TestWarming_asOwnTanks(t *testing.T) {
	w := Warming{}
	for range 10 {
		var own hourly
		for m := range 6 * 14 {
			own.add(float64(m+1)/6, 26-0.5*min(8, float64(m)/6))
		}
		w = w.after(&own)
	}
	near(t, "change over the first four hours, K", w.since(4), -2, 0.2)
	near(t, "change from the eighth hour on, K", w.since(30)-w.since(8), 0, 0.1)
	if w.Tanks[13] != 0 || w.Tanks[5] != newestCount {
		t.Errorf("tanks that lasted so long: %v, want %d for thirteen hours", w.Tanks, newestCount)
	}
	ahead := func(hours float64, w Warming) float64 {
		s := NewSouring(UsualHabit(Usual, 15*time.Hour))
		s.warming = w
		s.Age(time.Duration(hours*float64(time.Hour)), 22)
		s.look(22)
		return s.ahead[1].hours(6)
	}
	near(t, "after two hours, h for the same souring by those that do not cool", ahead(2, w)/ahead(2, Warming{}), 1.13, 0.03) // 3 K in six hours by Q10 2: 23 % at the end
	near(t, "after nine hours", ahead(9, w)/ahead(9, Warming{}), 1, 0.01)
}

// Late in a season the habit still follows: after fifty tanks of 15 h, six of 20 h take it most of the way there.
func TestHabit_followsTheSeason(t *testing.T) {
	h := UsualHabit(Usual, 15*time.Hour)
	for i := range 56 {
		end := 15.0
		if i >= 50 {
			end = 20
		}
		s := NewSouring(h)
		for now := 0.0; now < end; now += SouringStep.Hours() {
			s.Age(SouringStep, Usual.Reference)
			s.See(5.6 - now/end)
		}
		h = h.With(s, s.Ended())
	}
	near(t, "time needed, h", h.Ready.Hours(), 18.5, 0.5)
}

// Sides grow where an estate's tanks came outside them, each on its own, and shrink slowly where all were held.
func TestWider_afterTanks(t *testing.T) {
	tank := func(off float64) *backTest {
		b := &backTest{ended: 20, told: 12}
		for i := range b.told {
			b.hinds[i] = hindsight{hours: float64(4 + i), end: 20 + off, wide: 2}
		}
		return b
	}
	held := Wider{}.after(tank(0))
	near(t, "held, early", held.Early, -widerStep*widerMiss, 1e-9)
	near(t, "held, late", held.Late, -widerStep*widerMiss, 1e-9)
	late := Wider{}.after(tank(-9)) // it came 9 h after what was foreseen
	near(t, "missed, late", late.Late, min(widerHigh, widerStep*(1-widerMiss)), 1e-9)
	near(t, "missed, early", late.Early, -widerStep*widerMiss, 1e-9)
	if got := (Wider{1, 1}).after(&backTest{}); got != (Wider{1, 1}) {
		t.Errorf("a tank that was not seen to its end made %v of it", got)
	}
}

// A probe that was moved makes the pH rise: no forecast then.
func TestSouring_risingSaysNothing(t *testing.T) {
	s := NewSouring(UsualHabit(Usual, 15*time.Hour))
	for i := range 36 {
		s.Age(SouringStep, 22)
		s.See(5.6 - 0.015*float64(i))
	}
	if _, why := s.Until(usualEnd, 22, 6*time.Hour); why != "" {
		t.Fatal(why)
	}
	s.Age(SouringStep, 22)
	s.See(5.5)
	if _, why := s.Until(usualEnd, 22, 6*time.Hour); why != SaysTooWide {
		t.Errorf("after the pH rose by 0.4: %q, want %q", why, SaysTooWide)
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
