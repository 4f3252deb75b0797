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
//     was decided by such comparisons alone is not judged again. A value beyond all that a window has seen leaves its cell too. Where sums, means and
//     medians of points are compared, each judgement narrows the cells to what cannot take the comparison over its limit.

// quietMargin is left out of a reckoned time, so that rounding cannot make it too late. chosen: far more than rounding, far less than a delay.
const quietMargin = time.Second

// rest is what a truth rests on: until then no passing of time can change it, and, if it is still, no reading that stays in its cell.
type rest struct {
	until time.Duration
	still bool
}

func (r rest) and(o rest) rest { return rest{min(r.until, o.until), r.still && o.still} }

// surer tells whether r lets more judgements be left out.
func (r rest) surer(o rest) bool {
	if r.still != o.still {
		return r.still
	}
	return r.until > o.until
}

// lasting is a truth with what it rests on.
type lasting func() (truth, rest)

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

// timed makes a test that keeps what its truth rested on.
func (c compiler) timed(a *alarm, n *formula.Node) func() truth {
	inner := c.lasting(n, false)
	return func() truth {
		t, on := inner()
		a.rest = a.rest.and(on)
		return t
	}
}

func timeRuns(n *formula.Node) bool {
	found := false
	n.Walk(func(n *formula.Node) { found = found || runs(n.Op) })
	return found
}

func (c compiler) lasting(n *formula.Node, odd bool) lasting {
	if ofCells(n) {
		test := c.test(n, odd)
		return func() (truth, rest) { return test(), rest{never, true} }
	}
	switch n.Op {
	case formula.And:
		return c.lastingJoin(n, odd, fails)
	case formula.Or:
		return c.lastingJoin(n, odd, holds)
	case formula.Not:
		inner := c.lasting(n.Args[0], !odd)
		return func() (truth, rest) {
			t, on := inner()
			return -t, on
		}
	case formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq:
		if l := c.lastingComparison(n, odd); l != nil {
			return l
		}
		if steep := steepness(n.Args[0]) + steepness(n.Args[1]); !math.IsInf(steep, 0) {
			return c.lastingSum(n, odd, steep)
		}
	}
	test, clock := c.test(n, odd), &c.m.clock
	if !timeRuns(n) {
		return func() (truth, rest) { return test(), rest{until: never} }
	}
	return func() (truth, rest) { return test(), rest{until: clock.mono} }
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
	surest := rest{never, true}
	return func() (truth, rest) {
		all, on, best := -decisive, surest, rest{until: -never}
		for _, part := range parts {
			t, partly := part()
			switch {
			case t == decisive && partly == surest:
				return t, surest
			case t == decisive && (all != decisive || partly.surer(best)):
				all, best = decisive, partly
			case t == unclear && all != decisive:
				all = unclear
			}
			on = on.and(partly)
		}
		if all == decisive {
			return all, best
		}
		return all, on
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
	on := c.crossing(running, bound+sign*shift)
	if on == nil {
		return nil
	}
	test := c.test(n, odd)
	return func() (truth, rest) {
		t := test()
		return t, on()
	}
}

// steepness is how far an expression moves at most for each unit by which its points move; +Inf where it may jump, or where time runs in it.
func steepness(n *formula.Node) float64 {
	if _, isFixed := fixed(n); isFixed {
		return 0
	}
	switch n.Op {
	case formula.Point, formula.MeanOf, formula.MedianOf, formula.HighestOf, formula.LowestOf:
		return 1
	case formula.SpreadOf:
		return 2
	case formula.Add, formula.Sub, formula.Apart:
		return steepness(n.Args[0]) + steepness(n.Args[1])
	case formula.Mul, formula.Div:
		if by, isFixed := fixed(n.Args[1]); isFixed && by != 0 {
			if n.Op == formula.Div {
				by = 1 / by
			}
			return math.Abs(by) * steepness(n.Args[0])
		}
	}
	return math.Inf(1)
}

// lastingSum narrows the cells of all points of a comparison to what cannot take it over its limit. While one is unknown, only its becoming known can.
func (c compiler) lastingSum(n *formula.Node, odd bool, steep float64) lasting {
	test, left, right := c.test(n, odd), c.number(n.Args[0]), c.number(n.Args[1])
	band := math.Abs(c.relax(n, formula.Less, 0, odd))
	var points []*point
	for _, name := range n.Points() {
		points = append(points, c.point(n, name))
	}
	return func() (truth, rest) {
		if away := math.Abs(left() - right()); !math.IsNaN(away) {
			// chosen: a millionth is left to rounding
			room := (math.Abs(away-band) - 1e-6*(away+band)) / steep
			for _, p := range points {
				p.narrow(room)
			}
		}
		return test(), rest{never, true}
	}
}

// crossing tells when a running value can reach a limit by time alone, at the earliest; nil: nobody can say.
func (c compiler) crossing(n *formula.Node, limit float64) func() rest {
	clock := &c.m.clock
	switch n.Op {
	case formula.Age, formula.TimeSince: // they grow by a second a second
		value := c.running(n)
		still := n.Op == formula.TimeSince // each reading makes an age anew
		return func() rest {
			if left := limit - value(); left >= 0 {
				return rest{later(clock.mono, left), still}
			}
			return rest{never, still}
		}
	case formula.Mean:
		if n.Ago > 0 {
			return nil
		}
		w, strict := c.windowOf(n), c.strict
		return func() rest { return w.meanRest(clock.mono, limit, strict) }
	}
	return nil
}

// later is seconds after now, less the margin; not before now.
func later(now time.Duration, seconds float64) time.Duration {
	const most = 1e9
	if !(seconds < most) {
		return never
	}
	return max(now, now+time.Duration(seconds*float64(time.Second))-quietMargin)
}

// meanRest is until when no passing of time can take the mean over a limit, or make it known or unknown. What enters and what leaves lies between the
// least and the greatest sample there was, and at least half of the window is known, so the mean moves by no more than their distance in half a window.
// The same holds whatever comes in between, as long as it is good and lies between those two.
func (w *window) meanRest(now time.Duration, limit float64, strict bool) rest {
	c, standing := w.cover(now), w.standing()
	if strict && (c.doubt > 0 || standing == doubtful) {
		return rest{until: now}
	}
	half := w.over / 2
	if !c.enough(w.over) {
		if standing == gap {
			return rest{never, true}
		}
		return rest{later(now, (half - c.known).Seconds()), true}
	}
	away := math.Abs(c.area/float64(c.known) - limit)
	until := later(now, away/(w.most-w.least)*half.Seconds())
	if standing == gap {
		until = min(until, later(now, (c.known-half).Seconds()))
	}
	return rest{until, true}
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

// narrow makes the cell reach no further than room from the standing value.
func (p *point) narrow(room float64) {
	p.cell.low, p.cell.high = max(p.cell.low, p.open-room), min(p.cell.high, p.open+room)
}

// secondFrom is the first whole second at which an alarm is to be looked at that rests until then.
func (m *machine) secondFrom(quiet time.Duration) time.Duration {
	if quiet == never {
		return never
	}
	second := quiet.Truncate(time.Second)
	if second < quiet {
		second += time.Second
	}
	return max(second, nextSecond(m.clock.mono), m.leapt)
}
