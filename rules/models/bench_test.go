package models_test

import (
	"cmp"
	"fmt"
	"math"
	"runtime"
	"testing"
	"testing/fstest"
	"time"

	"golang.org/x/sys/unix"

	"millwarden/drivers/catalog"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/rules"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/models"
)

// floor64 is a site with 64 measured points and all built-in alarms: as many tanks, bins, decks, dryers and roasters as an estate of that size has.
func floor64(t testing.TB) (*check.Plan, []reading.Reading) {
	t.Helper()
	text := "site big\n    timezone        America/Lima\n    altitude        1450 m\n\nuse fermentation, drying, storage, roasting, air, instruments\n\n"
	var points []reading.Reading
	for _, k := range []struct {
		kind   string
		count  int
		points []string
		values []float64
	}{
		{"tank", 8, []string{"ph", "temperature"}, []float64{5.1, 22}}, {"bin", 8, []string{"temperature", "humidity"}, []float64{21, 58}},
		{"deck", 6, []string{"air-temperature", "air-humidity"}, []float64{26, 60}}, {"dryer", 4, []string{"air-temperature", "air-humidity", "exhaust-temperature"}, []float64{39, 30, 33}},
		{"roaster", 2, []string{"bean-temperature", "exhaust-temperature"}, []float64{25, 25}}, {"room", 2, []string{"co", "co2"}, []float64{2, 600}},
	} {
		for i := 1; i <= k.count; i++ {
			name := fmt.Sprintf("%s-%d", k.kind, i)
			text += fmt.Sprintf("station %s is %s\nprobe %s-stick\n    part            radio on topic mill/%s\n", name, k.kind, name, name)
			given := ""
			for j, point := range k.points {
				text += fmt.Sprintf("    record          %s is %s\n", point, point)
				points = append(points, reading.Reading{Point: name + "/" + point, Value: k.values[j]})
				if given != "" {
					given += ", "
				}
				given += point
			}
			text += fmt.Sprintf("    gives           %s at %s\n    every           10 s\n\n", given, name)
		}
	}
	words, said := vocabulary()
	if said != nil {
		t.Fatal(said)
	}
	plan, list, _ := rules.Load(fstest.MapFS{"big.rules": {Data: []byte(text)}}, "big.rules", words)
	if list.HasErrors() {
		t.Fatal(list)
	}
	return plan, points
}

// play gives one reading of each point, ten seconds apart, wavering as probes do.
type play struct {
	now    time.Duration
	apart  time.Duration // instead of ten seconds; at most thirty, or readings are overdue between
	points []reading.Reading
	round  int
	r      reading.Reading
}

func (p *play) each(see func(*reading.Reading)) reading.Stamp {
	p.now += cmp.Or(p.apart, 10*time.Second)
	p.round++
	stamp := reading.Stamp{Wall: evening.Add(p.now), Mono: p.now, Boot: 1, Set: true}
	for i := range p.points {
		p.r = p.points[i]
		p.r.Stamp = stamp
		p.r.Value += float64((i*7+p.round*3)%9) / 20
		see(&p.r)
	}
	return stamp
}

// spent is the processor time of this thread: an hour of readings takes longer than a slice of a busy machine's time.
func spent(b *testing.B) time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_THREAD_CPUTIME_ID, &t); err != nil {
		b.Fatal(err)
	}
	return time.Duration(t.Nano())
}

// BenchmarkModels: all computed points of a floor of 64 measured ones, every station loaded, against the rules on the same readings in the same run, a day after the stays began and five days: what follows
// a whole stay must not cost more the longer it lasts. Goal: at most three times the rules a reading, and no allocation.
func BenchmarkModels(b *testing.B) {
	for _, days := range []int{1, 5} {
		b.Run(fmt.Sprint("day-", days), func(b *testing.B) { benchmarkModels(b, days) })
	}
}

func benchmarkModels(b *testing.B, days int) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	plan, points := floor64(b)
	begin := reading.Stamp{Wall: evening, Boot: 1, Set: true}
	var model, rule, allocs float64
	said := 0
	for b.Loop() { // each time anew, or its age would be that of the benchmark
		m := models.New(models.Of(plan))
		for _, st := range plan.Stations {
			m.Load(st.Name, "7", begin, begin)
		}
		e, err := engine.New(plan.Engine, nil, begin)
		if err != nil {
			b.Fatal(err)
		}
		ours, theirs := &play{points: points}, &play{points: points}
		var out []reading.Reading
		oneRound := func() {
			now := ours.each(m.Observe)
			out = m.Tick(now, out[:0])
			said = max(said, len(out))
		}
		var transitions []engine.Transition
		ruleRound := func() {
			now := theirs.each(func(r *reading.Reading) { transitions = e.Observe(r, transitions[:0]) })
			transitions = e.Tick(now, transitions[:0])
		}
		const rounds = 360 // an hour
		for range (24*days + 2) * rounds {
			oneRound()
			ruleRound()
		}
		cost := func(round func()) float64 {
			best := math.Inf(1)
			for range 10 {
				began := spent(b)
				for range rounds {
					round()
				}
				best = min(best, float64(spent(b)-began)/float64(rounds*len(points)))
			}
			return best
		}
		model, rule = cost(oneRound), cost(ruleRound)
		allocs = testing.AllocsPerRun(2*rounds, oneRound)
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(model, "ns/reading")
	b.ReportMetric(rule, "ns/reading-of-rules")
	b.ReportMetric(model/rule, "x-rules")
	b.ReportMetric(float64(said), "points")
	b.ReportMetric(allocs, "allocs/round")
}

// Aim: once a stay has run for a while nothing is allocated, the closing of steps and the forecasts included.
func TestModels_allocateNothing(t *testing.T) {
	plan, points := floor64(t)
	begin := reading.Stamp{Wall: evening, Boot: 1, Set: true}
	m := models.New(models.Of(plan))
	for _, st := range plan.Stations {
		m.Load(st.Name, "7", begin, begin)
	}
	p := &play{points: points}
	var out []reading.Reading
	most := 0
	round := func() { out = m.Tick(p.each(m.Observe), out[:0]); most = max(most, len(out)) }
	p.apart = 30 * time.Second // a third of the work, which the race detector makes ten times as long
	for range 26 * 120 {
		round()
	}
	p.apart = 0
	if got := testing.AllocsPerRun(3*360, round); got != 0 {
		t.Errorf("%v allocations a round of 64 readings, want 0", got)
	}
	if most < 150 {
		t.Errorf("only %d points were worked out", most)
	}
}

// Of takes settings and limits of the rules file, and every computed point of a station that models are for is said, or unknown for a reason.
func TestOf_everyPointIsSaid(t *testing.T) {
	plan, points := floor64(t)
	begin := reading.Stamp{Wall: evening, Boot: 1, Set: true}
	m := models.New(models.Of(plan))
	for _, st := range plan.Stations {
		m.Load(st.Name, "7", begin, begin)
	}
	said := map[string]bool{}
	p := &play{points: points}
	for range 200 {
		for _, r := range m.Tick(p.each(m.Observe), nil) {
			said[r.Point] = true
		}
	}
	roast := map[string]bool{"roast-time": true, "drop-in": true, "exhaust-above-usual": true} // unknown and unsaid until a first roast
	for i := range plan.Points {
		pt := &plan.Points[i]
		if pt.How != check.Computed || said[pt.Name] || roast[pt.Short] {
			continue
		}
		for _, st := range plan.Stations {
			if st.Name == pt.Station && st.Kind != "board" {
				t.Errorf("%s is declared and never said", pt.Name)
			}
		}
	}
	if len(said) < 150 {
		t.Errorf("only %d points were said", len(said))
	}
}

func vocabulary() ([]phrase.Declaration, error) { return catalog.Declarations() }
