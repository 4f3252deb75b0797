package engine

import (
	"fmt"
	"math"
	"time"

	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// Conditions become closures. Each condition is compiled for what it decides:
//   - raise: uncertain values count as they are, no deadband. It lets an alarm come, opens a gate, suppresses.
//   - keep: uncertain values count as unknown, with the deadband. Only when it is false may an alarm clear.
//
// Unknown is NaN in a number and unclear in a truth, so the commonest leaf, a point against a constant, needs one load and no flag.

// compiler turns a formula into closures over a machine's points, windows and clock. It keeps the first mistake.
type compiler struct {
	m      *machine
	strict bool
	band   bool // deadbands count
	err    *error
}

func (c compiler) fail(n *formula.Node, format string, args ...any) {
	if *c.err == nil {
		*c.err = fmt.Errorf("compile %q: %s", n.Text, fmt.Sprintf(format, args...))
	}
}

// leaf is a point against a constant in its one form: sign*value < bound.
type leaf struct {
	value       *float64
	sign, bound float64
}

func (l leaf) inverse() leaf {
	return leaf{l.value, -l.sign, math.Nextafter(-l.bound, math.Inf(1))}
}

func (l leaf) test() func() truth {
	value, sign, bound := l.value, l.sign, l.bound
	return func() truth {
		v := sign * *value
		if v < bound {
			return holds
		}
		if v >= bound {
			return fails
		}
		return unclear
	}
}

// bothLeaves and eitherLeaf are two leaves fused into one closure: most rules of two tests are of this form.
func bothLeaves(a, b leaf) func() truth {
	p, s, e, q, t, f := a.value, a.sign, a.bound, b.value, b.sign, b.bound
	return func() truth {
		v, w := s**p, t**q
		if v < e && w < f {
			return holds
		}
		if v >= e || w >= f {
			return fails
		}
		return unclear
	}
}

func eitherLeaf(a, b leaf) func() truth {
	both := bothLeaves(a.inverse(), b.inverse())
	return func() truth { return -both() }
}

// leaf recognises a point against a constant, and a state or yes/no point by itself. odd tells of an odd number of nots above.
func (c compiler) leaf(n *formula.Node, odd bool) (leaf, bool) {
	switch n.Op {
	case formula.Not:
		inner, ok := c.leaf(n.Args[0], !odd)
		return inner.inverse(), ok
	case formula.Point, formula.IsOn:
		ref, ok := refOf(n)
		if !ok {
			return leaf{}, false
		}
		return c.cut(n, ref, leaf{c.value(n, ref), -1, -0.5}), true
	case formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq:
		left, right, op := n.Args[0], n.Args[1], n.Op
		if _, isFixed := fixed(left); isFixed {
			left, right, op = right, left, mirrored(op)
		}
		limit, isFixed := fixed(right)
		if left.Op != formula.Point || !isFixed {
			return leaf{}, false
		}
		return c.cut(left, left.Ref, bounded(c.value(left, left.Ref), op, c.relax(n, op, limit, odd))), true
	}
	return leaf{}, false
}

// cut tells the point to what it is compared.
func (c compiler) cut(n *formula.Node, ref string, l leaf) leaf {
	c.point(n, ref).cut(l)
	return l
}

func bounded(value *float64, op formula.Op, limit float64) leaf {
	l := leaf{value, 1, limit}
	if op == formula.Greater || op == formula.GreaterEq {
		l.sign, l.bound = -1, -limit
	}
	if op == formula.LessEq || op == formula.GreaterEq {
		l.bound = math.Nextafter(l.bound, math.Inf(1))
	}
	return l
}

// mirrored is the comparison with its sides changed.
func mirrored(op formula.Op) formula.Op {
	return map[formula.Op]formula.Op{formula.Less: formula.Greater, formula.LessEq: formula.GreaterEq, formula.Greater: formula.Less,
		formula.GreaterEq: formula.LessEq}[op]
}

// relax moves a limit by the deadband, the way that keeps the alarm: under an odd number of nots the other way.
func (c compiler) relax(n *formula.Node, op formula.Op, limit float64, odd bool) float64 {
	if !c.band {
		return limit
	}
	if above := op == formula.Greater || op == formula.GreaterEq; above != odd {
		return limit - n.Deadband
	}
	return limit + n.Deadband
}

func refOf(n *formula.Node) (string, bool) {
	if n.Ref == "" && len(n.Args) == 1 && n.Args[0].Op == formula.Point {
		return n.Args[0].Ref, true
	}
	return n.Ref, n.Ref != ""
}

// value is where a point's value stands, as this compiler reads it.
func (c compiler) value(n *formula.Node, ref string) *float64 {
	p := c.point(n, ref)
	if c.strict {
		return &p.strict
	}
	return &p.open
}

func (c compiler) point(n *formula.Node, ref string) *point {
	i, ok := c.m.index[ref]
	if !ok {
		c.fail(n, "no point %q in the plan", ref)
		return &point{open: math.NaN(), strict: math.NaN()}
	}
	return &c.m.points[i]
}

// test compiles a condition.
func (c compiler) test(n *formula.Node, odd bool) func() truth {
	if l, ok := c.leaf(n, odd); ok {
		return l.test()
	}
	switch n.Op {
	case formula.Const:
		t := truthOf(n.Value != 0)
		return func() truth { return t }
	case formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq:
		return c.comparison(n, odd)
	case formula.And, formula.Or:
		return c.joined(n, odd)
	case formula.Not:
		inner := c.test(n.Args[0], !odd)
		return func() truth { return -inner() }
	case formula.IsGood, formula.IsUncertain, formula.IsBad, formula.IsOverdue, formula.IsFrozen:
		return c.quality(n)
	case formula.Night:
		spans := []Span{c.m.plan.Night}
		return func() truth { return c.m.clock.within(spans, 0, holds) }
	case formula.During:
		spans := []Span{{From: int(n.From), To: int(n.To)}}
		return func() truth { return c.m.clock.within(spans, 0, unclear) }
	case formula.Watched:
		return c.watched(n)
	}
	c.fail(n, "no condition")
	return func() truth { return unclear }
}

// comparison of two expressions, at least one of which is not a plain point.
func (c compiler) comparison(n *formula.Node, odd bool) func() truth {
	left, right, op := n.Args[0], n.Args[1], n.Op
	if op == formula.Greater || op == formula.GreaterEq {
		left, right, op = right, left, mirrored(op)
	}
	// left < right stays true until left >= right + shift
	shift := c.relax(n, formula.Less, 0, odd)
	orEqual := op == formula.LessEq
	if grows(left) || grows(right) {
		return c.growing(left, right, shift, orEqual)
	}
	a, b := c.number(left), c.number(right)
	return func() truth { return below(a(), b()+shift, orEqual) }
}

func below(x, y float64, orEqual bool) truth {
	switch {
	case x < y, orEqual && x == y:
		return holds
	case x >= y:
		return fails
	}
	return unclear
}

// grows tells functions whose known part can only be too small.
func grows(n *formula.Node) bool {
	switch n.Op {
	case formula.TimeAbove, formula.TimeBelow, formula.TimeOn, formula.HeatAbove, formula.Times, formula.CountOf:
		return true
	}
	return false
}

// growing compares where a side may be too small: what is known already decides if more could not change it, whatever is covered.
func (c compiler) growing(left, right *formula.Node, shift float64, orEqual bool) func() truth {
	a, b := c.atLeast(left), c.atLeast(right)
	return func() truth {
		x, wholeX := a()
		y, wholeY := b()
		switch t := below(x, y+shift, orEqual); t {
		case holds:
			return min(holds, truthIf(wholeX))
		case fails:
			return max(fails, -truthIf(wholeY))
		default:
			return unclear
		}
	}
}

// truthIf is holds, or unclear where it is not sure.
func truthIf(sure bool) truth {
	if sure {
		return holds
	}
	return unclear
}

func (c compiler) joined(n *formula.Node, odd bool) func() truth {
	if len(n.Args) == 2 {
		a, okA := c.leaf(n.Args[0], odd)
		b, okB := c.leaf(n.Args[1], odd)
		switch {
		case okA && okB && n.Op == formula.And:
			return bothLeaves(a, b)
		case okA && okB:
			return eitherLeaf(a, b)
		}
	}
	parts := make([]func() truth, len(n.Args))
	for i, arg := range n.Args {
		parts[i] = c.test(arg, odd)
	}
	if n.Op == formula.And {
		return allOf(parts)
	}
	return anyOf(parts)
}

func allOf(parts []func() truth) func() truth {
	return func() truth {
		t := holds
		for _, part := range parts {
			if t = and(t, part()); t == fails {
				return fails
			}
		}
		return t
	}
}

func anyOf(parts []func() truth) func() truth {
	return func() truth {
		t := fails
		for _, part := range parts {
			if t = or(t, part()); t == holds {
				return holds
			}
		}
		return t
	}
}

// quality tests are always known. A frozen point is not also bad, nor is an overdue one: each has its own alarm.
func (c compiler) quality(n *formula.Node) func() truth {
	ref, _ := refOf(n)
	p := c.point(n, ref)
	want := map[formula.Op]condition{formula.IsGood: good, formula.IsUncertain: uncertain, formula.IsBad: bad, formula.IsOverdue: overdue,
		formula.IsFrozen: frozen}[n.Op]
	return func() truth { return truthOf(p.condition == want) }
}

func (c compiler) watched(n *formula.Node) func() truth {
	m := c.m
	if len(n.Args) == 0 {
		return func() truth { return m.clock.within(m.plan.Present, n.Over, fails) }
	}
	ahead := c.number(n.Args[0])
	return func() truth {
		seconds := ahead()
		if math.IsNaN(seconds) {
			return unclear
		}
		return m.clock.within(m.plan.Present, time.Duration(seconds*float64(time.Second)), fails)
	}
}

// isTest tells a condition from an expression with a value.
func isTest(n *formula.Node) bool {
	switch n.Op {
	case formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq, formula.And, formula.Or, formula.Not, formula.IsOn, formula.IsGood,
		formula.IsUncertain, formula.IsBad, formula.IsOverdue, formula.IsFrozen, formula.Night, formula.During, formula.Watched:
		return true
	}
	return n.Quantity == units.YesNo || n.Quantity == units.State
}
