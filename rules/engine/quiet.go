package engine

import (
	"math"
	"slices"
	"time"

	"millwarden/rules/formula"
)

// Most judgements would find nothing new, so they are left out, in two ways that change no transition (TestProperty_sleepChangesNothing):
//   - Time. Each judgement in which time runs also says until when time alone cannot change it: an age against a limit says when it will cross,
//     a mean how fast it can move at most. Until then the alarm is not looked at each second.
//   - Cells. The limits to which a point is compared cut its values into cells. While a reading stays in the cell of the one before, an alarm that
//     was decided by such comparisons alone is not judged again.

const (
	// untilInput: only an input can change it. never, which is later: only one that leaves its cell.
	untilInput = never - 1
	// quietMargin is left out of a reckoned time, so that rounding cannot make it too late. chosen: far more than rounding, far less than a delay.
	quietMargin = time.Second
)

// lasting is a truth with the time until which no passing of time can change it.
type lasting func() (truth, time.Duration)

// lasts tells what can change a condition in which time does not run.
func lasts(formulas ...*formula.Node) time.Duration {
	for _, n := range formulas {
		if n != nil && !ofCells(n) {
			return untilInput
		}
	}
	return never
}

// ofCells tells conditions that hang on nothing but the cells of their points.
func ofCells(n *formula.Node) bool {
	switch n.Op {
	case formula.And, formula.Or, formula.Not:
		return !slices.ContainsFunc(n.Args, func(arg *formula.Node) bool { return !ofCells(arg) })
	case formula.Const, formula.IsGood, formula.IsUncertain, formula.IsBad, formula.IsOverdue, formula.IsFrozen:
		return true
	case formula.Point, formula.IsOn:
		_, ok := refOf(n)
		return ok
	case formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq:
		_, left := fixed(n.Args[0])
		_, right := fixed(n.Args[1])
		return left && n.Args[1].Op == formula.Point || right && n.Args[0].Op == formula.Point
	}
	return false
}

// timed makes a test that lowers the alarm's quiet time to what it rests on.
func (c compiler) timed(a *alarm, n *formula.Node) func() truth {
	if !timeRuns(n) {
		test, until := c.test(n, false), lasts(n)
		return func() truth {
			a.quiet = min(a.quiet, until)
			return test()
		}
	}
	inner := c.lasting(n, false)
	return func() truth {
		t, until := inner()
		a.quiet = min(a.quiet, until)
		return t
	}
}

func timeRuns(n *formula.Node) bool {
	found := false
	n.Walk(func(n *formula.Node) { found = found || runs(n.Op) })
	return found
}

func (c compiler) lasting(n *formula.Node, odd bool) lasting {
	if !timeRuns(n) {
		test, until := c.test(n, odd), lasts(n)
		return func() (truth, time.Duration) { return test(), until }
	}
	switch n.Op {
	case formula.And:
		return c.lastingJoin(n, odd, fails)
	case formula.Or:
		return c.lastingJoin(n, odd, holds)
	case formula.Not:
		inner := c.lasting(n.Args[0], !odd)
		return func() (truth, time.Duration) {
			t, until := inner()
			return -t, until
		}
	case formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq:
		if l := c.lastingComparison(n, odd); l != nil {
			return l
		}
	}
	test, clock := c.test(n, odd), &c.m.clock
	return func() (truth, time.Duration) { return test(), clock.mono }
}

// lastingJoin: one part that is decisive (false of and, true of or) decides as long as it stays so, whatever the others do. Parts in which no time runs
// are looked at first: they may save the rest.
func (c compiler) lastingJoin(n *formula.Node, odd bool, decisive truth) lasting {
	var parts []lasting
	for _, running := range []bool{false, true} {
		for _, arg := range n.Args {
			if timeRuns(arg) == running {
				parts = append(parts, c.lasting(arg, odd))
			}
		}
	}
	return func() (truth, time.Duration) {
		all, until, decided := -decisive, never, time.Duration(-never)
		for _, part := range parts {
			t, lasts := part()
			if t == decisive {
				decided = max(decided, lasts)
				if lasts == never {
					break
				}
			}
			until = min(until, lasts)
			if t == unclear {
				all = unclear
			}
		}
		if decided > -never {
			return decisive, decided
		}
		return all, until
	}
}

// lastingComparison is of one running value against a fixed one; nil where nothing better is known than to look each second.
func (c compiler) lastingComparison(n *formula.Node, odd bool) lasting {
	left, right, sign := n.Args[0], n.Args[1], 1.0
	if n.Op == formula.Greater || n.Op == formula.GreaterEq {
		left, right = right, left
	}
	shift := c.relax(n, formula.Less, 0, odd) // left < right + shift, as comparison has it
	running, limit := left, right
	if _, isFixed := fixed(left); isFixed {
		running, limit, sign = right, left, -1
	}
	bound, isFixed := fixed(limit)
	if !isFixed {
		return nil
	}
	until := c.crossing(running, bound+sign*shift)
	if until == nil {
		return nil
	}
	test := c.test(n, odd)
	return func() (truth, time.Duration) {
		t := test()
		return t, until()
	}
}

// crossing tells when a running value can reach a limit by time alone, at the earliest; nil: nobody can say.
func (c compiler) crossing(n *formula.Node, limit float64) func() time.Duration {
	clock := &c.m.clock
	switch n.Op {
	case formula.Age, formula.TimeSince: // they grow by a second a second
		value := c.running(n)
		return func() time.Duration {
			if left := limit - value(); left >= 0 {
				return later(clock.mono, left)
			}
			return untilInput
		}
	case formula.Mean:
		if n.Ago > 0 {
			return nil
		}
		w, strict := c.windowOf(n), c.strict
		return func() time.Duration { return w.meanQuiet(clock.mono, limit, strict) }
	}
	return nil
}

// later is seconds after now, less the margin; not before now.
func later(now time.Duration, seconds float64) time.Duration {
	const most = 1e9
	if !(seconds < most) {
		return untilInput
	}
	return max(now, now+time.Duration(seconds*float64(time.Second))-quietMargin)
}

// meanQuiet is until when no passing of time can take the mean over a limit, or make it known or unknown. What enters and what leaves lies between the
// least and the greatest sample there was, and at least half of the window is known, so the mean moves by no more than their distance in half a window.
func (w *window) meanQuiet(now time.Duration, limit float64, strict bool) time.Duration {
	c, standing := w.cover(now), w.standing()
	if strict && (c.doubt > 0 || standing == doubtful) {
		return now
	}
	half := w.over / 2
	if !c.enough(w.over) {
		if standing == gap {
			return untilInput
		}
		return later(now, (half - c.known).Seconds())
	}
	away := math.Abs(c.area/float64(c.known) - limit)
	until := later(now, away/(w.most-w.least)*half.Seconds())
	if standing == gap {
		until = min(until, later(now, (c.known-half).Seconds()))
	}
	return until
}

// standing tells how far the newest sample may be used.
func (w *window) standing() trust {
	switch {
	case w.slices != nil:
		return w.slices.standing.trust
	case w.tail == w.head:
		return gap
	}
	return w.sampleAt(w.tail - 1).trust
}

// cell is where a standing value lies among the limits to which it is compared: the same truths hold from low to below high.
type cell struct {
	low, high float64
	condition condition
}

// noCell is that of a point nobody has judged yet.
const noCell = condition(255)

// cut enters a limit: below it, the truth is another than from it on.
func (p *point) cut(l leaf) {
	at := l.bound
	if l.sign < 0 {
		at = math.Nextafter(-l.bound, math.Inf(1))
	}
	if i, known := slices.BinarySearch(p.cuts, at); !known {
		p.cuts = slices.Insert(p.cuts, i, at)
	}
}

// moved tells whether the standing value has left its cell, and enters the new one.
func (p *point) moved() bool {
	v := p.open
	if p.condition == p.cell.condition && (v >= p.cell.low && v < p.cell.high || !p.known()) {
		return false
	}
	p.cell = cell{math.Inf(-1), math.Inf(1), p.condition}
	for _, at := range p.cuts {
		if at > v {
			p.cell.high = at
			break
		}
		p.cell.low = at
	}
	return true
}

// secondFrom is the first whole second at which an alarm is to be looked at that is quiet until then.
func (m *machine) secondFrom(quiet time.Duration) time.Duration {
	if quiet >= untilInput {
		return never
	}
	second := quiet.Truncate(time.Second)
	if second < quiet {
		second += time.Second
	}
	return max(second, nextSecond(m.clock.mono), m.leapt)
}
