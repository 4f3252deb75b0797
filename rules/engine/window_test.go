package engine

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// direct works a window out by its definition, from all samples ever, the slow way: an independent check of the streaming one.
type direct struct {
	all       []sample
	over, ago time.Duration
}

// pieces are the stretches that stood within the window, old to new, and the readings in it.
func (d direct) pieces(now time.Duration) (stood []sample, lengths []float64, readings []sample) {
	end := now - d.ago
	start := end - d.over
	for i, s := range d.all {
		until := end
		if i+1 < len(d.all) {
			until = min(end, d.all[i+1].at)
		}
		if s.at > end {
			break
		}
		if s.trust != gap && s.at > start {
			readings = append(readings, s)
		}
		if from := max(s.at, start); s.trust != gap && (until > from || s.at == end && s.at > start) {
			stood, lengths = append(stood, s), append(lengths, (until-from).Seconds())
		}
	}
	return stood, lengths, readings
}

type answers struct{ known, doubt, mean, high, low, rise, above, heat float64 }

func (d direct) answer(now time.Duration, limit float64) answers {
	stood, lengths, readings := d.pieces(now)
	a := answers{high: math.Inf(-1), low: math.Inf(1), rise: math.NaN()}
	area := 0.0
	for i, s := range stood {
		a.known += lengths[i]
		area += s.value * lengths[i]
		a.high, a.low = max(a.high, s.value), min(a.low, s.value)
		if s.trust == doubtful {
			a.doubt += lengths[i]
		}
		if s.value > limit {
			a.above += lengths[i]
			a.heat += (s.value - limit) * lengths[i] / 3600
		}
	}
	a.mean = area / a.known
	if n := len(readings); n >= 4 && readings[n-1].at-readings[0].at >= d.over/2 {
		a.rise = twoPassSlope(readings)
	}
	return a
}

// twoPassSlope is the textbook form with means taken first, in seconds since the first reading.
func twoPassSlope(readings []sample) float64 {
	mt, mx := 0.0, 0.0
	for _, s := range readings {
		mt += (s.at - readings[0].at).Seconds() / float64(len(readings))
		mx += s.value / float64(len(readings))
	}
	up, down := 0.0, 0.0
	for _, s := range readings {
		t := (s.at - readings[0].at).Seconds() - mt
		up += t * (s.value - mx)
		down += t * t
	}
	return up / down
}

// standingAt is the value at an instant, NaN in a gap or before the first.
func (d direct) standingAt(at time.Duration) float64 {
	value := math.NaN()
	for _, s := range d.all {
		if s.at <= at {
			value = s.value
		}
	}
	return value
}

// near compares values; two unknowns are equal.
func near(a, b, tolerance float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= tolerance
}

// TestWindow_againstDefinition runs random readings with gaps, doubts and pauses through windows of many spans, and asks at random instants.
func TestWindow_againstDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	asked, unknown, slopes := 0, 0, 0
	for range 60 {
		over := time.Duration(1+rng.IntN(600)) * time.Second
		ago := time.Duration(rng.IntN(2)*rng.IntN(900)) * time.Second
		d := direct{over: over, ago: ago}
		w := newWindow(over, ago)
		w.needs = needs{extremes: true, slope: true}
		above, heat := w.meterFor(meterAbove, 21), w.meterFor(meterHeat, 21)
		now := time.Duration(rng.Int64N(int64(1e18)))
		for range 400 {
			now += time.Duration(rng.Int64N(int64(over) / 4))
			if rng.IntN(3) > 0 {
				s := sample{now, 20 + rng.NormFloat64(), trust([]int{0, 0, 0, 0, 0, 1, 2}[rng.IntN(7)])}
				if s.trust == gap {
					s.value = math.NaN()
				}
				w.add(s)
				d.all = append(d.all, s)
				continue
			}
			asked++
			want := d.answer(now, 21)
			enough, sure := want.known > 0 && want.known >= (over/2).Seconds(), want.doubt*10 <= want.known
			check := func(what string, got, value float64, strict bool) {
				t.Helper()
				if !enough || strict && !sure {
					value = math.NaN()
					unknown++
				}
				if !near(got, value, 1e-9) {
					t.Fatalf("%s over %s, %s ago, strict %v: %v, want %v", what, over, ago, strict, got, value)
				}
			}
			check("mean", w.mean(now, false), want.mean, false)
			check("mean", w.mean(now, true), want.mean, true)
			check("highest", w.highest(now, false), want.high, false)
			check("lowest", w.lowest(now, false), want.low, false)
			check("spread", w.spread(now, false), want.high-want.low, false)
			check("rise", w.rise(now, false), want.rise, false)
			if !math.IsNaN(want.rise) && enough {
				slopes++
			}
			if got, whole := w.measure(above, now, false); !near(got, want.above, 1e-9) || whole != enough {
				t.Fatalf("time above: %v %v, want %v %v", got, whole, want.above, enough)
			}
			if got, _ := w.measure(heat, now, false); !near(got, want.heat, 1e-9) {
				t.Fatalf("heat above: %v, want %v", got, want.heat)
			}
			if got, want := w.change(now, false), d.standingAt(now-ago)-d.standingAt(now-ago-over); !near(got, want, 1e-12) {
				t.Fatalf("change: %v, want %v", got, want)
			}
		}
	}
	if asked < 5000 || unknown < 1000 || slopes < 1000 {
		t.Errorf("asked %d times, %d unknown, %d slopes: too few to prove anything", asked, unknown, slopes)
	}
}

// TestWindow_staysExact: after 200,000 samples at a boot time of 50 years, mean and slope are still within 1e-9 of the definition.
func TestWindow_staysExact(t *testing.T) {
	const over = 900 * time.Second
	w := newWindow(over, 0)
	w.needs = needs{extremes: true, slope: true}
	rng := rand.New(rand.NewPCG(3, 4))
	d := direct{over: over}
	now := 50 * 365 * 24 * time.Hour
	for i := range 200_000 {
		now += time.Second
		s := sample{now, 90 + 5*math.Sin(float64(i)/200) + rng.Float64(), sure}
		w.add(s)
		if d.all = append(d.all, s); len(d.all) > 2000 {
			d.all = d.all[1000:]
		}
	}
	want := d.answer(now, 0)
	if got := w.mean(now, false); !near(got, want.mean, 1e-9) {
		t.Errorf("mean %v, want %v", got, want.mean)
	}
	if got := w.rise(now, false); !near(got, want.rise, 1e-9) {
		t.Errorf("rise %v, want %v", got, want.rise)
	}
	if got := w.highest(now, false); got != want.high {
		t.Errorf("highest %v, want %v", got, want.high)
	}
}

// norris is the data set Norris of NIST's Statistical Reference Datasets for linear regression (y, x), with its certified slope. Data and certified
// value from memory; they prove each other, since a wrong digit in either would break the agreement of twelve digits.
var norris = [][2]float64{{0.1, 0.2}, {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1}, {228.1, 226.5}, {668.5, 666.3}, {998.5, 996.3},
	{449.1, 448.6}, {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4}, {0.1, 0.6}, {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
	{557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3}, {0.6, 0.3}, {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2},
	{998.5, 999.0}, {778.9, 779.0}, {10.2, 11.1}, {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}}

const norrisSlope = 1.00211681802045

func TestRise_norris(t *testing.T) {
	rows := slices.Clone(norris)
	slices.SortStableFunc(rows, func(a, b [2]float64) int {
		switch {
		case a[1] < b[1]:
			return -1
		case a[1] > b[1]:
			return 1
		}
		return 0
	})
	fine, coarse := newWindow(1000*time.Second, 0), newWindow(1000*time.Second, 0)
	fine.needs.slope = true
	coarse.slices = newCoarse(coarse.over, 0)
	for _, r := range rows {
		s := sample{time.Duration(math.Round(r[1]*10)) * 100 * time.Millisecond, r[0], sure}
		fine.add(s)
		coarse.add(s)
	}
	for name, w := range map[string]*window{"every reading": fine, "slices": coarse} {
		if got := w.rise(999*time.Second, false); !near(got, norrisSlope, 1e-12) {
			t.Errorf("%s: slope %.15f, certified %.15f", name, got, norrisSlope)
		}
	}
}

// TestCoarse_nearDefinition: a window of slices is exact but for one slice of 360 at each end.
func TestCoarse_nearDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, c := range []struct{ over, ago time.Duration }{{6 * time.Hour, 0}, {24 * time.Hour, 0}, {24 * time.Hour, 7 * 24 * time.Hour}, {2 * time.Hour, 30 * time.Minute}} {
		d := direct{over: c.over, ago: c.ago}
		w := newWindow(c.over, c.ago)
		above := w.meterFor(meterAbove, 21)
		now, every := time.Duration(0), c.over/2000
		for i := 0; now < c.ago+2*c.over; i++ {
			now += every
			s := sample{now, 20 + 3*math.Sin(float64(i)/150) + 0.2*rng.NormFloat64(), sure}
			if i%900 > 800 {
				s.value, s.trust = math.NaN(), gap
			}
			w.add(s)
			d.all = append(d.all, s)
			if i%97 != 0 {
				continue
			}
			want := d.answer(now, 21)
			if want.known < 0.55*c.over.Seconds() {
				continue
			}
			slack := 2.0 / slicesPerWindow // of the window, at both ends
			if c.ago > 0 {
				slack = 2 * float64(w.slices.width) / float64(c.over)
			}
			if got := w.mean(now, false); !near(got, want.mean, 8*slack) {
				t.Fatalf("%+v: mean %v, want %v", c, got, want.mean)
			}
			if got, _ := w.measure(above, now, false); !near(got, want.above, 2*slack*c.over.Seconds()) {
				t.Fatalf("%+v: time above %v, want %v", c, got, want.above)
			}
			if got := w.highest(now, false); got < want.high || got > want.high+1 {
				t.Fatalf("%+v: highest %v, want %v", c, got, want.high)
			}
			if got := w.rise(now, false); !near(got*c.over.Seconds(), want.rise*c.over.Seconds(), 50*slack) {
				t.Fatalf("%+v: rise over the window %v, want %v", c, got*c.over.Seconds(), want.rise*c.over.Seconds())
			}
		}
	}
}

// TestWindow_goesOverToSlices when more than 4,096 readings come within an hour, and still answers.
func TestWindow_goesOverToSlices(t *testing.T) {
	w := newWindow(time.Hour, 0)
	w.needs = needs{extremes: true, slope: true}
	now := time.Duration(0)
	for i := range 30_000 {
		now += 200 * time.Millisecond
		w.add(sample{now, float64(i), sure})
		if w.slices == nil && i%500 == 0 && now > w.over/2+time.Second {
			t.Fatal("it keeps more readings than it should")
		}
	}
	if w.slices == nil || len(w.ring) > 0 {
		t.Fatal("30,000 readings, and no slices")
	}
	if got := w.rise(now, false); !near(got, 5, 1e-9) {
		t.Errorf("rise %v, want 5 a second", got)
	}
	if got := w.mean(now, false); !near(got, 30_000-9000.5, 30) {
		t.Errorf("mean %v, want about %v", got, 30_000-9000.5)
	}
}

// TestWindow_gap: a gap longer than half the window empties it; nothing is interpolated. [LANGUAGE section 4, Windows]
func TestWindow_gap(t *testing.T) {
	for name, make := range map[string]func() *window{
		"every reading": func() *window { return newWindow(100*time.Second, 0) },
		"slices":        func() *window { w := newWindow(100*time.Second, 0); w.slices = newCoarse(w.over, 0); return w },
	} {
		w := make()
		w.add(sample{0, 10, sure})
		if got := w.mean(49*time.Second, false); !math.IsNaN(got) {
			t.Errorf("%s: mean after 49 s of 100 is %v", name, got)
		}
		if got := w.mean(50*time.Second, false); got != 10 {
			t.Errorf("%s: mean after 50 s of 100 is %v", name, got)
		}
		w.add(sample{100 * time.Second, math.NaN(), gap})
		if got := w.mean(150*time.Second, false); !near(got, 10, 1e-9) {
			t.Errorf("%s: with half a window known: %v", name, got)
		}
		if got := w.mean(151*time.Second, false); !math.IsNaN(got) {
			t.Errorf("%s: with less than half a window known: %v", name, got)
		}
		w.add(sample{151 * time.Second, 20, sure})
		if got := w.mean(220*time.Second, false); !near(got, 20, 1e-9) {
			t.Errorf("%s: after the gap: %v", name, got)
		}
	}
}

// TestWindow_uncertainExtreme: the mean bears a short doubt, the extreme that is doubtful itself is unknown when strict [LANGUAGE section 4, Windows].
func TestWindow_uncertainExtreme(t *testing.T) {
	for name, slices := range map[string]bool{"every reading": false, "slices": true} {
		w := newWindow(1000*time.Second, 0)
		w.needs = needs{extremes: true}
		if slices {
			w.slices = newCoarse(w.over, 0)
		}
		for _, s := range []sample{{0, 20, sure}, {900 * time.Second, 30, doubtful}, {910 * time.Second, 21, sure}} {
			w.add(s)
		}
		const now = 990 * time.Second
		if got := w.mean(now, true); math.IsNaN(got) {
			t.Errorf("%s: 10 s of 990 are uncertain, and the mean is unknown", name)
		}
		if open, strict := w.highest(now, false), w.highest(now, true); open != 30 || !math.IsNaN(strict) {
			t.Errorf("%s: highest %v, strict %v; want 30, unknown", name, open, strict)
		}
		if open, strict := w.lowest(now, false), w.lowest(now, true); open != 20 || strict != 20 {
			t.Errorf("%s: lowest %v, strict %v; want 20, 20", name, open, strict)
		}
	}
}

// TestWindow_equalOnesAreOne: two alarms that look back over the same time at the same point share a window; another time is another [LANGUAGE section 4].
func TestWindow_equalOnesAreOne(t *testing.T) {
	mean := func(name string, span time.Duration) Alarm {
		return Alarm{Name: name, When: cmp(over(formula.Mean, at(ph, units.PH), units.PH, span, 0), formula.Less, num(4, units.PH), 0)}
	}
	m, err := newMachine(tank(mean("one", time.Hour), mean("two", time.Hour), mean("three", 2*time.Hour)), stamp(0))
	if err != nil {
		t.Fatal(err)
	}
	if got := len(m.points[m.index[ph]].windows); got != 2 {
		t.Errorf("%d windows for three alarms over two spans, want 2", got)
	}
}
