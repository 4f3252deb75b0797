package engine

import (
	"math"
	"testing"
	"time"
	_ "time/tzdata" // the estate's zone, wherever the test runs

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// world is a machine with points a, b, c and d, for expressions.
type world struct {
	*machine
	t   *testing.T
	err error
}

func newWorld(t *testing.T, more ...Point) *world {
	t.Helper()
	p := Plan{Zone: time.UTC, Points: append([]Point{{Name: "x/a"}, {Name: "x/b"}, {Name: "x/c"}, {Name: "x/d"}}, more...)}
	m, err := newMachine(p, stamp(0))
	if err != nil {
		t.Fatal(err)
	}
	return &world{machine: m, t: t}
}

// set makes points stand: NaN is unknown.
func (w *world) set(values ...float64) *world {
	for i, v := range values {
		w.points[i].take(v, reading.Good, "", w.clock.stamp())
	}
	return w
}

func (w *world) doubt(i int, v float64) *world {
	w.points[i].take(v, reading.Uncertain, "", w.clock.stamp())
	return w
}

func (w *world) number(n *formula.Node, strict bool) float64 {
	w.t.Helper()
	f := compiler{m: w.machine, strict: strict, err: &w.err}.number(n)
	if w.err != nil {
		w.t.Fatal(w.err)
	}
	return f()
}

func (w *world) test(n *formula.Node, strict bool) truth {
	w.t.Helper()
	f := compiler{m: w.machine, strict: strict, err: &w.err}.test(n, false)
	if w.err != nil {
		w.t.Fatal(w.err)
	}
	return f()
}

func x(name string) *formula.Node { return at("x/"+name, units.Count) }

// kleene are the tables of strong three-valued logic: S. C. Kleene, Introduction to Metamathematics, 1952, section 64 (from memory). F, U, T.
var kleene = struct{ and, or [3]string }{
	and: [3]string{"FFF", "FUU", "FUT"},
	or:  [3]string{"FUT", "UUT", "TTT"},
}

// TestTruth_tables holds and, or, not to Kleene's tables, fused and not, strict and open, with two parts and with three.
func TestTruth_tables(t *testing.T) {
	w := newWorld(t)
	letter := map[truth]byte{fails: 'F', unclear: 'U', holds: 'T'}
	values := []float64{0, nan, 1} // x > 0.5 is false, unknown, true
	leafOf := func(name string) *formula.Node { return cmp(x(name), formula.Greater, num(0.5, units.Count), 0) }
	// slow is the same test in a form that is not fused
	slow := func(name string) *formula.Node {
		return cmp(op2(formula.Add, x(name), num(0, units.Count)), formula.Greater, num(0.5, units.Count), 0)
	}
	for i, a := range values {
		for j, b := range values {
			w.set(a, b)
			for _, strict := range []bool{false, true} {
				for _, make := range []func(string) *formula.Node{leafOf, slow} {
					for _, c := range []struct {
						o    formula.Op
						want byte
					}{{formula.And, kleene.and[i][j]}, {formula.Or, kleene.or[i][j]}} {
						if got := letter[w.test(op(c.o, make("a"), make("b")), strict)]; got != c.want {
							t.Errorf("%v %d %v = %c, want %c", a, c.o, b, got, c.want)
						}
						three := op(c.o, make("a"), make("b"), make("a"))
						if got := letter[w.test(three, strict)]; got != c.want {
							t.Errorf("three parts: %v %d %v = %c, want %c", a, c.o, b, got, c.want)
						}
						// De Morgan: not (not a or not b) = a and b
						other := map[formula.Op]formula.Op{formula.And: formula.Or, formula.Or: formula.And}[c.o]
						morgan := op(formula.Not, op(other, op(formula.Not, make("a")), op(formula.Not, make("b"))))
						if got := letter[w.test(morgan, strict)]; got != c.want {
							t.Errorf("by De Morgan: %v %d %v = %c, want %c", a, c.o, b, got, c.want)
						}
					}
				}
			}
		}
	}
}

// TestUncertain_isUnknownWhenStrict for every kind of leaf.
func TestUncertain_isUnknownWhenStrict(t *testing.T) {
	w := newWorld(t).doubt(0, 1)
	for _, n := range []*formula.Node{cmp(x("a"), formula.Greater, num(0.5, units.Count), 0), op(formula.IsOn, at("x/a", units.State)), at("x/a", units.YesNo)} {
		if open, strict := w.test(n, false), w.test(n, true); open != holds || strict != unclear {
			t.Errorf("%d: open %s, strict %s", n.Op, open, strict)
		}
	}
	if got := w.test(ref(formula.IsUncertain, "x/a"), true); got != holds {
		t.Errorf("is uncertain, strict: %s", got)
	}
}

func op2of(o formula.Op, args ...*formula.Node) *formula.Node {
	n := op(o, args...)
	n.Quantity = units.Count
	return n
}

// TestNumbers: arithmetic, aggregates, votes; NaN is unknown.
func TestNumbers(t *testing.T) {
	refs := func(o formula.Op, names ...string) *formula.Node {
		n := &formula.Node{Op: o, Quantity: units.Count, Text: "aggregate"}
		for _, name := range names {
			n.Refs = append(n.Refs, "x/"+name)
		}
		return n
	}
	vote := func(within float64, lower bool, names ...string) *formula.Node {
		n := &formula.Node{Op: formula.Vote, Quantity: units.Count, Value: within, Lower: lower}
		for _, name := range names {
			n.Args = append(n.Args, x(name))
		}
		return n
	}
	two, all := []string{"a", "b"}, []string{"a", "b", "c", "d"}
	for _, c := range []struct {
		name   string
		n      *formula.Node
		values []float64
		want   float64
	}{
		{"folded", op2of(formula.Add, num(2, units.Count), op2of(formula.Mul, num(3, units.Count), num(4, units.Count))), nil, 14},
		{"sum", op2of(formula.Sub, x("a"), x("b")), []float64{5, 3}, 2},
		{"unknown part", op2of(formula.Sub, x("a"), x("b")), []float64{5, nan}, nan},
		{"by zero", op2of(formula.Div, x("a"), x("b")), []float64{5, 0}, nan},
		{"apart", op2of(formula.Apart, x("a"), x("b")), []float64{3, 5}, 2},
		{"mean of", refs(formula.MeanOf, all...), []float64{1, 2, 3, 6}, 3},
		{"mean of, half known", refs(formula.MeanOf, all...), []float64{1, 2, nan, nan}, 1.5},
		{"mean of, under half known", refs(formula.MeanOf, all...), []float64{1, nan, nan, nan}, nan},
		{"highest of", refs(formula.HighestOf, all...), []float64{1, 9, 3, nan}, 9},
		{"lowest of", refs(formula.LowestOf, all...), []float64{4, 9, 3, nan}, 3},
		{"spread of", refs(formula.SpreadOf, all...), []float64{4, 9, 3, nan}, 6},
		{"neighbours of one", refs(formula.MedianOf, all...), []float64{4, nan, nan, nan}, nan},
		{"neighbours of two", refs(formula.MedianOf, all...), []float64{4, nan, 5, nan}, 4.5},
		{"neighbours of three", refs(formula.MedianOf, all...), []float64{4, 100, 5, nan}, 5},
		{"vote of three", vote(1, false, "a", "b", "c"), []float64{20, 90, 21}, 21},
		{"vote of two that agree", vote(1, false, two...), []float64{20, 21}, 20.5},
		{"vote of two that do not: hotter", vote(1, false, two...), []float64{20, 25}, 25},
		{"vote of two that do not: lower pH", vote(1, true, two...), []float64{4, 6}, 4},
		{"vote of one", vote(1, false, two...), []float64{nan, 25}, 25},
		{"vote of none", vote(1, false, two...), []float64{nan, nan}, nan},
	} {
		w := newWorld(t).set(c.values...)
		if got := w.number(c.n, false); !near(got, c.want, 1e-12) {
			t.Errorf("%s = %v, want %v", c.name, got, c.want)
		}
	}
	// What a vote or an extreme cannot be sure of is unknown when strict, so that no alarm clears by it.
	for name, n := range map[string]*formula.Node{"votes apart": vote(1, false, two...), "highest with one missing": refs(formula.HighestOf, all...)} {
		if got := newWorld(t).set(20, 25, nan, 3).number(n, true); !math.IsNaN(got) {
			t.Errorf("%s, strict: %v", name, got)
		}
	}
}

// TestCount: unknown ones count as not, but an alarm that stands may not clear because of them.
func TestCount(t *testing.T) {
	n := &formula.Node{Op: formula.CountOf, Quantity: units.Count, Refs: []string{"x/a", "x/b", "x/c"}, Text: "count"}
	atLeastTwo := cmp(n, formula.Greater, num(1, units.Count), 0)
	for _, c := range []struct {
		values       [3]float64
		open, strict truth
	}{{[3]float64{1, 1, 0}, holds, holds}, {[3]float64{1, 0, 0}, fails, fails}, {[3]float64{1, nan, 0}, fails, unclear}, {[3]float64{1, 1, nan}, holds, holds}} {
		w := newWorld(t).set(c.values[:]...)
		if open, strict := w.test(atLeastTwo, false), w.test(atLeastTwo, true); open != c.open || strict != c.strict {
			t.Errorf("%v: open %s, strict %s; want %s, %s", c.values, open, strict, c.open, c.strict)
		}
	}
}

// TestGrowing: time-above is true as soon as the known part exceeds the limit, whatever is covered; false needs half the window.
func TestGrowing(t *testing.T) {
	w := newWorld(t)
	n := over(formula.TimeAbove, x("a"), units.Duration, time.Hour, 0)
	n.Value = 40
	longer := cmp(n, formula.Greater, num(600, units.Duration), 0)
	shorter := cmp(n, formula.Less, num(600, units.Duration), 0)
	test := compiler{m: w.machine, err: &w.err}.test
	long, short := test(longer, false), test(shorter, false)
	stand := func(at time.Duration, v float64) {
		w.clock.mono = at
		w.points[0].take(v, reading.Good, "", w.clock.stamp())
		w.points[0].feed(at)
	}
	check := func(at time.Duration, wantLong, wantShort truth) {
		t.Helper()
		w.clock.mono = at
		if l, s := long(), short(); l != wantLong || s != wantShort {
			t.Errorf("after %s: longer %s, shorter %s; want %s, %s", at, l, s, wantLong, wantShort)
		}
	}
	check(0, unclear, unclear)
	stand(0, 50)
	check(10*time.Minute, unclear, fails) // 10 min: not longer, not shorter either
	check(10*time.Minute+1, holds, fails)
	stand(11*time.Minute, 30)
	check(60*time.Minute+30*time.Second, holds, fails) // 10.5 min of it lie within the hour
	check(69*time.Minute, fails, holds)                // 2 min
	check(2*time.Hour, fails, holds)
	stand(2*time.Hour, nan)
	check(150*time.Minute+1, unclear, unclear)
}

// TestCalendar: night over midnight, days on which a span begins, and the clock that is not set. The zone has no summer time; the next test's has.
func TestCalendar(t *testing.T) {
	lima, err := time.LoadLocation("America/Lima")
	if err != nil {
		t.Fatal(err)
	}
	c := clock{zone: lima}
	weekdays := Span{From: 18 * 60, To: 8 * 60, Days: [7]bool{time.Monday: true, time.Friday: true}}
	for _, k := range []struct {
		local string
		span  Span
		want  truth
	}{
		{"2026-03-06 19:59", Span{From: 20 * 60, To: 6 * 60}, fails}, // a Friday
		{"2026-03-06 20:00", Span{From: 20 * 60, To: 6 * 60}, holds},
		{"2026-03-07 05:59", Span{From: 20 * 60, To: 6 * 60}, holds},
		{"2026-03-07 06:00", Span{From: 20 * 60, To: 6 * 60}, fails},
		{"2026-03-06 12:00", Span{From: 0, To: 1440}, holds},
		{"2026-03-06 15:00", Span{From: 15 * 60, To: 23 * 60}, holds},
		{"2026-03-06 23:00", Span{From: 15 * 60, To: 23 * 60}, fails},
		{"2026-03-07 07:59", weekdays, holds}, // Saturday morning belongs to Friday
		{"2026-03-07 18:00", weekdays, fails},
		{"2026-03-10 07:00", weekdays, holds}, // Tuesday morning belongs to Monday
		{"2026-03-09 07:00", weekdays, fails}, // Monday morning to Sunday
	} {
		wall, err := time.ParseInLocation("2006-01-02 15:04", k.local, lima)
		if err != nil {
			t.Fatal(err)
		}
		c.anchor = reading.Stamp{Wall: wall.UTC(), Set: true}
		if got := c.within([]Span{k.span}, 0, unclear); got != k.want {
			t.Errorf("%s in %+v: %s, want %s", k.local, k.span, got, k.want)
		}
		if got := c.within([]Span{k.span}, 24*7*time.Hour, unclear); got != k.want {
			t.Errorf("%s a week ahead in %+v: %s, want %s", k.local, k.span, got, k.want)
		}
	}
	c.anchor.Set = false
	if _, known := c.until(0); known {
		t.Error("until, with the clock not set, is known")
	}
}

// TestSpan_changeDays: hours keep their wall times when the clock changes, and no watch is cut short [LANGUAGE section 6]. Berlin's clock went on by an hour on Sunday 29 March 2026
// at 02:00 (01:00 UTC) and goes back on Sunday 25 October at 03:00 (01:00 UTC) (IANA time zone database); what holds when was reckoned by hand.
func TestSpan_changeDays(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	hours := func(from, to string, days ...time.Weekday) Span {
		minute := func(text string) int { h, _ := time.Parse("15:04", text); return h.Hour()*60 + h.Minute() }
		s := Span{From: minute(from), To: minute(to)}
		for _, d := range days {
			s.Days[d] = true
		}
		return s
	}
	for _, k := range []struct {
		utc  string
		span Span
		want bool
	}{
		{"2026-03-29 00:59", hours("02:30", "04:00"), false}, // 01:59
		{"2026-03-29 01:00", hours("02:30", "04:00"), true},  // 03:00: it begins at the end of the hour that is missing
		{"2026-03-29 01:59", hours("02:30", "04:00"), true},
		{"2026-03-29 02:00", hours("02:30", "04:00"), false}, // 04:00
		{"2026-03-29 00:59", hours("20:00", "02:30"), true},
		{"2026-03-29 01:00", hours("20:00", "02:30"), false}, // it ends there too
		{"2026-03-29 01:00", hours("02:10", "02:50"), false}, // the whole of it is missing
		{"2026-10-25 00:29", hours("02:30", "05:00"), false}, // 02:29 for the first time
		{"2026-10-25 00:30", hours("02:30", "05:00"), true},
		{"2026-10-25 01:10", hours("02:30", "05:00"), true}, // 02:10 for the second time: it is not cut short
		{"2026-10-25 03:59", hours("02:30", "05:00"), true},
		{"2026-10-25 04:00", hours("02:30", "05:00"), false},
		{"2026-10-25 00:30", hours("20:00", "02:30"), true}, // 02:30 for the first time: it ends the second time
		{"2026-10-25 01:29", hours("20:00", "02:30"), true},
		{"2026-10-25 01:30", hours("20:00", "02:30"), false},
		{"2026-10-25 01:29", hours("20:00", "02:30", time.Saturday), true}, // it began on Saturday
		{"2026-10-25 01:29", hours("20:00", "02:30", time.Sunday), false},
		{"2026-10-25 00:44", hours("02:30", "02:45"), true}, // one span, from the first beginning to the last end
		{"2026-10-25 01:20", hours("02:30", "02:45"), true},
		{"2026-10-25 01:45", hours("02:30", "02:45"), false},
		{"2026-10-26 01:30", hours("20:00", "02:30"), false}, // the day after: 02:30
		{"2026-10-26 01:30", hours("20:00", "02:30", time.Sunday), false},
		{"2026-10-26 01:15", hours("20:00", "02:30", time.Sunday), true}, // 02:15
	} {
		at, err := time.Parse("2006-01-02 15:04", k.utc)
		if err != nil {
			t.Fatal(err)
		}
		c := clock{zone: berlin, anchor: reading.Stamp{Wall: at, Set: true}}
		if got := c.within([]Span{k.span}, 0, unclear); got != truthOf(k.want) || k.span.Covers(at.In(berlin)) != k.want {
			t.Errorf("%s (%s) in %+v: %s, %v, want %v", k.utc, at.In(berlin).Format("15:04"), k.span, got, k.span.Covers(at.In(berlin)), k.want)
		}
	}
}

// TestClock_unset: while the clock is not set it counts as night, nobody is known to be there, and hours are unknown [LANGUAGE section 6].
func TestClock_unset(t *testing.T) {
	w := newWorld(t)
	w.plan.Night, w.plan.Present = Span{From: 20 * 60, To: 6 * 60}, []Span{{From: 0, To: 24 * 60}}
	during := &formula.Node{Op: formula.During, From: 0, To: 24 * 60}
	ahead := &formula.Node{Op: formula.Watched, Args: []*formula.Node{x("a")}}
	w.set(600)
	for _, set := range []bool{true, false} { // it is 20:00
		w.clock.anchor.Set = set
		want := [...]truth{holds, holds, holds, holds}
		if !set {
			want = [...]truth{holds, fails, fails, unclear}
		}
		got := [...]truth{w.test(&formula.Node{Op: formula.Night}, false), w.test(&formula.Node{Op: formula.Watched}, false), w.test(ahead, false), w.test(during, false)}
		if got != want {
			t.Errorf("clock set %v: night, watched, watched ahead, during are %v, want %v", set, got, want)
		}
	}
}

// TestUntil reckons days of 23 and 25 hours as such. Berlin's clock went on by an hour on 29 March 2026 at 02:00 and goes back on 25 October at
// 03:00 (IANA time zone database).
func TestUntil(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	c := clock{zone: berlin}
	for _, k := range []struct {
		utc  string
		want time.Duration
	}{
		{"2026-03-28T03:00:00Z", 23 * time.Hour},               // 04:00 there: to the next 04:00
		{"2026-10-24T02:00:00Z", 25 * time.Hour},               // 04:00 there
		{"2026-06-01T01:59:00Z", time.Minute},                  // 03:59 there
		{"2026-06-01T02:00:00Z", 24 * time.Hour},               // 04:00 there
		{"2026-06-01T22:30:00Z", 3*time.Hour + 30*time.Minute}, // 00:30 there
	} {
		wall, err := time.Parse(time.RFC3339, k.utc)
		if err != nil {
			t.Fatal(err)
		}
		c.anchor = reading.Stamp{Wall: wall, Set: true}
		if got, known := c.until(4 * 60); got != k.want || !known {
			t.Errorf("%s: %s to 04:00, want %s", k.utc, got, k.want)
		}
	}
}

// TestWatched: somebody is there, or will be a measured time from now.
func TestWatched(t *testing.T) {
	w := newWorld(t)
	w.plan.Present = []Span{{From: 21 * 60, To: 22 * 60}} // it is 20:00
	ahead := &formula.Node{Op: formula.Watched, Quantity: units.YesNo, Args: []*formula.Node{x("a")}}
	if got := w.test(&formula.Node{Op: formula.Watched}, false); got != fails {
		t.Errorf("watched: %s", got)
	}
	if got := w.test(&formula.Node{Op: formula.Watched, Over: time.Hour}, false); got != holds {
		t.Errorf("watched(1 h): %s", got)
	}
	for _, c := range []struct {
		seconds float64
		want    truth
	}{{3599, fails}, {3600, holds}, {7199, holds}, {7200, fails}, {nan, unclear}} {
		if got := w.set(c.seconds).test(ahead, false); got != c.want {
			t.Errorf("watched in %v s: %s, want %s", c.seconds, got, c.want)
		}
	}
}

// TestTimeSince: since the moment; since loading if it has not come since; since the beginning if neither came. age: since last known.
func TestTimeSince(t *testing.T) {
	since := &formula.Node{Op: formula.TimeSince, Moment: "tank-1/stirred", Quantity: units.Duration, Text: "time-since(stirred)"}
	age := &formula.Node{Op: formula.Age, Ref: ph, Quantity: units.Duration, Text: "age(ph)"}
	p := tank(Alarm{When: cmp(since, formula.Greater, num(1e9, units.Duration), 0), VerifyWith: []Evidence{{Formula: since}, {Formula: age}, {Text: "smell it"}}})
	b := start(t, p)
	check := func(wantSince, wantAge float64) {
		t.Helper()
		shown := b.e.Verify("sour@tank-1")
		if shown[0].Value != wantSince || shown[1].Value != wantAge || shown[2].Text != "smell it" {
			t.Errorf("after %s: since %v, age %v; want %v, %v", b.now, shown[0].Value, shown[1].Value, wantSince, wantAge)
		}
	}
	check(0, 0)
	b.wait(100 * seconds)
	check(100, 100)
	b.sees(ph, 5)
	b.said = b.e.Moment("tank-1/stirred", stamp(b.now), b.said)
	b.wait(50*seconds).misses(ph, "no answer").wait(10 * seconds)
	check(60, 60)
	b.said = b.e.Moment("tank-1/loaded", stamp(b.now), b.said)
	b.wait(5 * seconds)
	check(5, 65)
	b.said = b.e.Moment("tank-1/stirred", stamp(b.now), b.said)
	b.wait(7 * seconds)
	check(7, 72)
}

// TestNew_refuses what the checker would have refused: the engine does not run on a plan it cannot read.
func TestNew_refuses(t *testing.T) {
	for name, p := range map[string]Plan{
		"unknown point":     tank(Alarm{When: at("tank-9/ph", units.YesNo)}),
		"no condition":      tank(Alarm{}),
		"two of one name":   tank(Alarm{When: phBelow(4, 0)}, Alarm{When: phBelow(3, 0)}),
		"depends on itself": tank(Alarm{When: phBelow(4, 0), DependsOn: []string{"sour@tank-1"}}),
		"window of what":    tank(Alarm{When: cmp(over(formula.Mean, num(1, units.PH), units.PH, time.Hour, 0), formula.Less, num(4, units.PH), 0)}),
		"two points":        {Points: []Point{{Name: "a/b"}, {Name: "a/b"}}},
		"derived of itself": {Points: []Point{{Name: "a/b", Formula: at("a/c", units.PH)}, {Name: "a/c", Formula: at("a/b", units.PH)}}},
	} {
		if _, err := New(p, nil, stamp(0)); err == nil {
			t.Errorf("%s was accepted", name)
		}
	}
}
