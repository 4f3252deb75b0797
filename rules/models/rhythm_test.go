package models_test

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/models"
)

// usually is what probes of the tests say unless told otherwise.
var usually = map[string]float64{"ph": 5.2, "temperature": 22, "air-temperature": 30, "air-humidity": 40, "bean-temperature": 28, "moisture": 30, "humidity": 60, "wall-temperature": 19, "co": 12,
	"co2": 900, "motor": 1, "exhaust-temperature": 150, "weight": 260}

// steady gives each probe of a station its usual reading and ticks, a second at a time, for so long; it gives what was said.
func (f *floor) steady(kind string, d time.Duration) (said []reading.Reading) {
	for range int(d / time.Second) {
		if f.now%(10*time.Second) == 0 {
			for _, short := range measured[kind] {
				f.sees("x/"+short, usually[short])
			}
		}
		f.tick(time.Second)
		said = append(said, f.out...)
	}
	return said
}

// Aim: what nothing has changed is not worked out: with inputs that stand still each point is said once a minute (that of a roaster every ten seconds) and never between.
func TestRhythm_stillInputs(t *testing.T) {
	for _, kind := range slices.Sorted(maps.Keys(computed)) {
		f := start(t, site(one("x", kind)))
		f.m.Load("x", "1", f.stamp(), f.stamp())
		f.steady(kind, 25*time.Minute)
		times := map[string]int{}
		for _, r := range f.steady(kind, 5*time.Minute) {
			times[r.Point]++
		}
		most := 5
		if kind == "roaster" {
			most = 30
		}
		for point, n := range times {
			if n > most+1 {
				t.Errorf("%s: %s was said %d times in five minutes", kind, point, n)
			}
		}
		if len(times) == 0 {
			t.Errorf("%s: nothing was said in five minutes", kind)
		}
	}
}

// Aim: what changes is told by the next look, ten seconds at most: an input that moves by more than probes are good to, turns uncertain or bad, falls silent or comes back, an act of people. A step that
// is smaller waits for the minute.
func TestRhythm_changesAreTold(t *testing.T) {
	begin := func() *floor {
		f := start(t, site(one("x", "bin")))
		f.m.Load("x", "1", f.stamp(), f.stamp())
		f.steady("bin", 20*time.Minute+5*time.Second)
		return f
	}
	// after gives dew-point as it stands some seconds after a reading of temperature, and whether it was said again.
	after := func(f *floor, seconds int, value float64, quality reading.Quality) (reading.Reading, bool) {
		f.sees("x/humidity", usually["humidity"])
		f.sees("x/temperature", value, quality)
		said := false
		for range seconds {
			f.tick(time.Second)
			for _, r := range f.out {
				said = said || r.Point == "x/dew-point"
			}
		}
		return f.newest["x/dew-point"], said
	}
	before := begin().newest["x/dew-point"].Value
	if r, said := after(begin(), 10, 22.3, reading.Good); !said || r.Value-before < 0.2 {
		t.Errorf("ten seconds after a step of 0.3 K the dew point stands at %v, before at %v", r.Value, before)
	}
	if r, said := after(begin(), 10, 22.1, reading.Good); said {
		t.Errorf("ten seconds after a step of 0.1 K the dew point was said: %v", r.Value)
	}
	if r, said := after(begin(), 60, 22.1, reading.Good); !said && r.Quality == reading.Good {
		t.Error("a minute after a step of 0.1 K the dew point was not said again")
	}
	f := begin()
	if r, _ := after(f, 10, 22, reading.Uncertain); r.Quality != reading.Uncertain {
		t.Errorf("ten seconds after an uncertain reading the dew point is %s", r.Quality)
	}
	if r, _ := after(f, 10, math.NaN(), reading.Bad); r.Quality != reading.Bad {
		t.Errorf("ten seconds after a bad reading the dew point is %s", r.Quality)
	}
	if r, _ := after(f, 10, 22, reading.Good); r.Quality != reading.Good {
		t.Errorf("ten seconds after a good one it is %s %s", r.Quality, r.Cause)
	}
	f = begin()
	for range 41 { // the last readings came 5 s before, and are overdue after 30 s
		f.tick(time.Second)
	}
	f.unknown("x/dew-point", "an input is unknown")
	f.unknown("x/mould-hours", "an input is unknown")
	f.steady("bin", 20*time.Second)
	f.is("x/dew-point", before, 1e-9)
	f.m.Empty("x", f.stamp())
	f.tick(time.Second)
	f.is("x/empty", 1, 0)
	f.unknown("x/dew-point", "no lot stands here")
}

// Aim: looking only at what may have changed gives what looking at everything gives: beside models that work out all points at each tick, on probes that waver, fail and fall silent, each point that is said has the
// same value, quality and cause, and none stands otherwise for longer than its rhythm, but for steps below what probes are good to.
func TestRhythm_againstWorkingOutAll(t *testing.T) {
	for _, kind := range slices.Sorted(maps.Keys(computed)) {
		c := site(one("x", kind))
		lazy, eager := start(t, c), &floor{t: t, m: models.New(c), boot: 1, newest: map[string]reading.Reading{}}
		r := rand.New(rand.NewPCG(4, 11))
		for _, f := range []*floor{lazy, eager} {
			f.m.Load("x", "1", f.stamp(), f.stamp())
		}
		drift, said := map[string]float64{}, 0
		for second := range 4 * 3600 {
			if second%10 == 0 {
				for _, short := range measured[kind] {
					drift[short] += r.NormFloat64() * 0.02 * math.Sqrt(math.Abs(usually[short]))
					quality, value := reading.Good, usually[short]+drift[short]
					switch r.IntN(60) {
					case 0:
						quality = reading.Uncertain
					case 1:
						quality, value = reading.Bad, math.NaN()
					case 2, 3:
						continue
					}
					lazy.sees("x/"+short, value, quality)
					eager.sees("x/"+short, value, quality)
				}
			}
			eager.m.All()
			eager.tick(time.Second)
			lazy.tick(time.Second)
			for _, got := range lazy.out {
				said++
				want := eager.newest[got.Point]
				if got.Quality != want.Quality || got.Cause != want.Cause || got.Quality != reading.Bad && math.Abs(got.Value-want.Value) > 1e-6*math.Abs(want.Value)+1e-9 {
					t.Fatalf("%s after %s: %s is %v %s %q, worked out at each tick %v %s %q", kind, lazy.now, got.Point, got.Value, got.Quality, got.Cause, want.Value, want.Quality, want.Cause)
				}
			}
			for point, want := range eager.newest {
				if got := lazy.newest[point]; second%600 == 599 && got.Quality != want.Quality && lazy.now-want.Stamp.Mono > 10*time.Second {
					t.Fatalf("%s after %s: %s stands as %s %q, worked out at each tick as %s %q since %s", kind, lazy.now, point, got.Quality, got.Cause, want.Quality, want.Cause, want.Stamp.Mono)
				}
			}
		}
		if said < 200 {
			t.Errorf("%s: only %d values were held against each other", kind, said)
		}
	}
}
