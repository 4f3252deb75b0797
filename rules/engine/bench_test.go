package engine

import (
	"fmt"
	"math"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// The benchmarks measure their baseline in the same run and report the ratio, so that a busy machine harms both.

// cost is the best of several rounds: nanoseconds a call.
func cost(calls int, f func()) float64 {
	best := math.Inf(1)
	for range 7 {
		began := time.Now()
		f()
		best = min(best, float64(time.Since(began).Nanoseconds())/float64(calls))
	}
	return best
}

var sink int

// values of the hand-written rules: what a programmer without a rules file would write.
var handPH, handHours float64

func handRule() bool { return handPH < 4.2 && handHours > 16 }

// twoTests is ph < 4.2 and hours > 16 over points, as the checker would write it.
func twoTests(a, b string, limit float64) *formula.Node {
	return op(formula.And, cmp(at(a, units.PH), formula.Less, num(limit, units.PH), 0.1), cmp(at(b, units.Duration), formula.Greater, num(16, units.Duration), 0))
}

// BenchmarkRule_twoTests: a compiled condition against the same in Go, both called through a table of 64 functions. Goal: at most 1.5 times.
func BenchmarkRule_twoTests(b *testing.B) {
	m, err := newMachine(Plan{Points: []Point{{Name: "a/ph", Quantity: units.PH}, {Name: "a/hours", Quantity: units.Duration}}}, stamp(0))
	if err != nil {
		b.Fatal(err)
	}
	var hand [64]func() bool
	var compiled [64]func() truth
	for i := range hand {
		hand[i] = handRule
		compiled[i] = compiler{m: m, err: &err}.test(twoTests("a/ph", "a/hours", 4.2), false)
	}
	handPH, handHours = 4.1, 17
	m.points[0].stand(good, 4.1)
	m.points[1].stand(good, 17)
	const calls = 1 << 20
	ours, theirs := math.Inf(1), math.Inf(1)
	for b.Loop() {
		theirs = min(theirs, cost(calls, func() {
			for i := range calls {
				if hand[i&63]() {
					sink++
				}
			}
		}))
		ours = min(ours, cost(calls, func() {
			for i := range calls {
				if compiled[i&63]() == holds {
					sink++
				}
			}
		}))
	}
	b.ReportMetric(ours, "ns/rule")
	b.ReportMetric(ours/theirs, "x-hand-written")
	b.ReportMetric(testing.AllocsPerRun(1000, func() { compiled[0]() }), "allocs/rule")
}

// manyRules is a plan of points with rules of two points each.
func manyRules(points, rules int) Plan {
	var p Plan
	for i := range points {
		p.Points = append(p.Points, Point{Name: fmt.Sprintf("station-%d/ph", i), Quantity: units.PH, OverdueAfter: 30 * time.Second})
	}
	for i := range rules {
		a, c := p.Points[i%points].Name, p.Points[(i*7+3)%points].Name
		when := op(formula.And, cmp(at(a, units.PH), formula.Less, num(4.2, units.PH), 0.1), cmp(at(c, units.PH), formula.Greater, num(3, units.PH), 0))
		p.Alarms = append(p.Alarms, Alarm{ID: fmt.Sprintf("r%d@x", i), Name: fmt.Sprintf("r%d", i), When: when, OnDelay: time.Minute})
	}
	return p
}

// BenchmarkObserve_index: one reading through 10,000 rules on 1,000 points, against looking at all rules. Goal: at least 200 times cheaper.
func BenchmarkObserve_index(b *testing.B) {
	p := manyRules(1000, 10000)
	e, err := New(p, nil, stamp(0))
	if err != nil {
		b.Fatal(err)
	}
	var out []Transition
	r := reading.Reading{Quantity: units.PH, Value: 6}
	mono := time.Duration(0)
	observe := func(i int) {
		mono += time.Microsecond
		r.Point, r.Stamp = p.Points[i%1000].Name, reading.Stamp{Mono: mono, Boot: 1}
		out = e.Observe(&r, out)
	}
	for i := range 2000 {
		observe(i)
	}
	const calls = 1 << 15
	ours, scan := math.Inf(1), math.Inf(1)
	for b.Loop() {
		ours = min(ours, cost(calls, func() {
			for i := range calls {
				observe(i)
			}
		}))
		scan = min(scan, cost(64, func() {
			for range 64 {
				for i := range e.m.alarms {
					out = e.m.judge(int32(i), out)
				}
			}
		}))
	}
	if len(out) > 0 {
		b.Fatalf("%d transitions while measuring", len(out))
	}
	b.ReportMetric(ours, "ns/reading")
	b.ReportMetric(scan/ours, "x-cheaper-than-scan")
	b.ReportMetric(testing.AllocsPerRun(1000, func() { observe(5) }), "allocs/reading")
}

// BenchmarkWindow: mean, highest and slope over 900 samples at 1 Hz, streaming against recomputation. Goal: at least 30 times cheaper.
func BenchmarkWindow(b *testing.B) {
	const span = 900 * time.Second
	w := newWindow(span, 0)
	w.needs = needs{extremes: true, slope: true}
	now := time.Duration(0)
	values := make([]float64, 1<<16)
	for i := range values {
		values[i] = 20 + 5*math.Sin(float64(i)/300) + math.Mod(float64(i)*0.618, 1)
	}
	step := func(i int) {
		now += time.Second
		w.add(sample{now, values[i&(1<<16-1)], sure})
		result = w.mean(now, false) + w.highest(now, false) + w.rise(now, false)
	}
	for i := range 2000 {
		step(i)
	}
	var at, value []float64
	for i := w.head; i != w.tail; i++ {
		at, value = append(at, w.sampleAt(i).at.Seconds()), append(value, w.sampleAt(i).value)
	}
	if got := recompute(at, value, now.Seconds(), span.Seconds()); math.Abs(got-result) > 1e-9 {
		b.Fatalf("streaming gives %v, anew %v", result, got)
	}
	const calls = 1 << 13 // both sides in turns of about a millisecond: on a busy machine the longer would more often be interrupted
	ours, anew := math.Inf(1), math.Inf(1)
	for b.Loop() {
		ours = min(ours, cost(calls, func() {
			for i := range calls {
				step(i)
			}
		}))
		end := at[len(at)-1]
		anew = min(anew, cost(256, func() {
			for range 256 {
				result = recompute(at, value, end, span.Seconds())
			}
		}))
	}
	b.ReportMetric(ours, "ns/sample")
	b.ReportMetric(anew/ours, "x-cheaper-than-anew")
	b.ReportMetric(testing.AllocsPerRun(1000, func() { step(1) }), "allocs/sample")
}

var result float64

// recompute is the plain way: once through all samples for all three, in seconds made before.
func recompute(at, value []float64, end, span float64) float64 {
	start := end - span
	area, known, high := 0.0, 0.0, math.Inf(-1)
	var n, st, sx, stx, stt float64
	for i, v := range value {
		until := end
		if i+1 < len(at) {
			until = at[i+1]
		}
		from := at[i]
		if from < start {
			from = start
		}
		area += v * (until - from)
		known += until - from
		if v > high {
			high = v
		}
		if t := at[i] - start; t > 0 {
			n++
			st += t
			sx += v
			stx += t * v
			stt += t * t
		}
	}
	return area/known + high + slope(n, st, sx, stx, stt)
}
