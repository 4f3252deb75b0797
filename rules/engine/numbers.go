package engine

import (
	"math"
	"slices"
	"time"

	"millwarden/rules/formula"
)

// fixed folds an expression without points, windows or times to its value.
func fixed(n *formula.Node) (float64, bool) {
	switch n.Op {
	case formula.Const:
		return n.Value, true
	case formula.Add, formula.Sub, formula.Mul, formula.Div:
		a, okA := fixed(n.Args[0])
		b, okB := fixed(n.Args[1])
		return arithmetic(n.Op)(a, b), okA && okB
	}
	return 0, false
}

func arithmetic(op formula.Op) func(a, b float64) float64 {
	return map[formula.Op]func(a, b float64) float64{
		formula.Add: func(a, b float64) float64 { return a + b },
		formula.Sub: func(a, b float64) float64 { return a - b },
		formula.Mul: func(a, b float64) float64 { return a * b },
		formula.Div: divide,
	}[op]
}

// divide by zero is unknown: no rule may ring because something stood still.
func divide(a, b float64) float64 {
	if b == 0 {
		return math.NaN()
	}
	return a / b
}

// number compiles an expression with a value; NaN is unknown.
func (c compiler) number(n *formula.Node) func() float64 {
	if value, ok := fixed(n); ok {
		return func() float64 { return value }
	}
	if grows(n) {
		amount := c.atLeast(n)
		return func() float64 {
			if value, whole := amount(); whole {
				return value
			}
			return math.NaN()
		}
	}
	switch n.Op {
	case formula.Point:
		value := c.value(n, n.Ref)
		return func() float64 { return *value }
	case formula.Add, formula.Sub, formula.Mul, formula.Div:
		return c.arithmetic(n)
	case formula.Mean, formula.Highest, formula.Lowest, formula.Spread, formula.Rise, formula.Change:
		return c.windowed(n)
	case formula.Age, formula.TimeSince, formula.Until:
		return c.running(n)
	case formula.MeanOf, formula.HighestOf, formula.LowestOf, formula.SpreadOf, formula.MedianOf:
		return c.aggregate(n)
	case formula.Apart:
		a, b := c.number(n.Args[0]), c.number(n.Args[1])
		return func() float64 { return math.Abs(a() - b()) }
	case formula.Vote:
		return c.vote(n)
	}
	c.fail(n, "no value")
	return math.NaN
}

func (c compiler) arithmetic(n *formula.Node) func() float64 {
	a, b := c.number(n.Args[0]), c.number(n.Args[1])
	switch n.Op {
	case formula.Add:
		return func() float64 { return a() + b() }
	case formula.Sub:
		return func() float64 { return a() - b() }
	case formula.Mul:
		return func() float64 { return a() * b() }
	}
	return func() float64 { return divide(a(), b()) }
}

// windowOf finds or makes the window that n looks through: equal windows on one point are one window.
func (c compiler) windowOf(n *formula.Node) *window {
	ref, ok := refOf(n)
	if !ok || n.Over <= 0 {
		c.fail(n, "a window needs a point and a time")
		return newWindow(time.Second, 0)
	}
	p := c.point(n, ref)
	for _, w := range p.windows {
		if w.over == n.Over && w.ago == n.Ago {
			return w
		}
	}
	w := newWindow(n.Over, n.Ago)
	p.windows = append(p.windows, w)
	return w
}

func (c compiler) windowed(n *formula.Node) func() float64 {
	w, clock, strict := c.windowOf(n), &c.m.clock, c.strict
	switch n.Op {
	case formula.Mean:
		return func() float64 { return w.mean(clock.mono, strict) }
	case formula.Rise:
		w.needs.slope = true
		return func() float64 { return w.rise(clock.mono, strict) }
	case formula.Change:
		return func() float64 { return w.change(clock.mono, strict) }
	}
	w.needs.extremes = true
	switch n.Op {
	case formula.Highest:
		return func() float64 { return w.highest(clock.mono, strict) }
	case formula.Lowest:
		return func() float64 { return w.lowest(clock.mono, strict) }
	}
	return func() float64 { return w.spread(clock.mono, strict) }
}

// running are the values that time alone moves.
func (c compiler) running(n *formula.Node) func() float64 {
	m := c.m
	switch n.Op {
	case formula.Age:
		ref, _ := refOf(n)
		p := c.point(n, ref)
		return func() float64 { return (m.clock.mono - m.lastKnown(p)).Seconds() }
	case formula.TimeSince:
		log, loaded := m.momentLog(n.Moment), m.momentLog(loadingOf(n.Moment))
		return func() float64 { return (m.clock.mono - since(log, loaded, m.began)).Seconds() }
	}
	return func() float64 {
		left, ok := m.clock.until(int(n.From))
		if !ok {
			return math.NaN()
		}
		return left.Seconds()
	}
}

// atLeast compiles a value that may be too small, with whether it is whole. Other values are whole.
func (c compiler) atLeast(n *formula.Node) func() (float64, bool) {
	if !grows(n) {
		value := c.number(n)
		return func() (float64, bool) { return value(), true }
	}
	m, strict := c.m, c.strict
	switch n.Op {
	case formula.CountOf:
		return c.count(n)
	case formula.Times:
		log, over := m.momentLog(n.Moment), n.Over
		log.reach = max(log.reach, over)
		return func() (float64, bool) {
			return float64(log.count(m.clock.mono - over)), m.clock.mono-m.began >= over/2
		}
	}
	kind, limit := meterAbove, n.Value
	switch n.Op {
	case formula.TimeBelow:
		kind = meterBelow
	case formula.HeatAbove:
		kind = meterHeat
	case formula.TimeOn:
		limit = 0.5 // on is 1, off is 0
	}
	w := c.windowOf(n)
	i := w.meterFor(kind, limit)
	return func() (float64, bool) { return w.measure(i, m.clock.mono, strict) }
}

// count of the stations where a yes/no point is true. Unknown ones count as not; but an alarm that stands may not clear because of them.
func (c compiler) count(n *formula.Node) func() (float64, bool) {
	values, strict := c.values(n), c.strict
	return func() (float64, bool) {
		yes, whole := 0, true
		for _, value := range values {
			if *value > 0.5 {
				yes++
			}
			whole = whole && (!strict || !math.IsNaN(*value))
		}
		return float64(yes), whole
	}
}

func (c compiler) values(n *formula.Node) []*float64 {
	values := make([]*float64, len(n.Refs))
	for i, ref := range n.Refs {
		values[i] = c.value(n, ref)
	}
	return values
}

// aggregate is over the stations that are known now; unknown under half of them, neighbours under two.
func (c compiler) aggregate(n *formula.Node) func() float64 {
	values, least := c.values(n), (len(n.Refs)+1)/2
	if n.Op == formula.MedianOf {
		least = 2
	}
	// An extreme over fewer stations may hide the one that rang: while an alarm stands on it, all must be seen before it may clear.
	if c.strict && (n.Op == formula.HighestOf || n.Op == formula.LowestOf || n.Op == formula.SpreadOf) {
		least = len(n.Refs)
	}
	scratch := make([]float64, 0, len(values))
	reduce := map[formula.Op]func([]float64) float64{formula.MeanOf: meanOf, formula.HighestOf: slices.Max[[]float64], formula.LowestOf: slices.Min[[]float64],
		formula.SpreadOf: spreadOf, formula.MedianOf: medianOf}[n.Op]
	return func() float64 {
		known := scratch
		for _, value := range values {
			if !math.IsNaN(*value) {
				known = append(known, *value)
			}
		}
		if len(known) == 0 || len(known) < least {
			return math.NaN()
		}
		return reduce(known)
	}
}

func meanOf(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

func spreadOf(values []float64) float64 { return slices.Max(values) - slices.Min(values) }

// medianOf sorts values in place.
func medianOf(values []float64) float64 {
	slices.Sort(values)
	middle := len(values) / 2
	if len(values)%2 == 1 {
		return values[middle]
	}
	return (values[middle-1] + values[middle]) / 2
}

// vote is the median of three; of two, their mean if they agree, else the more dangerous, and that is uncertain. One alone is uncertain too.
func (c compiler) vote(n *formula.Node) func() float64 {
	parts, strict := c.numbers(n.Args), c.strict
	scratch := make([]float64, 0, len(parts))
	return func() float64 {
		known := knownOf(scratch, parts)
		if len(known) == 3 {
			return medianOf(known)
		}
		if len(known) == 2 && math.Abs(known[0]-known[1]) <= n.Value {
			return (known[0] + known[1]) / 2
		}
		if len(known) == 0 || strict {
			return math.NaN()
		}
		if n.Lower {
			return slices.Min(known)
		}
		return slices.Max(known)
	}
}

// disagree tells whether the votes lie further apart than they should; unclear under two known ones.
func (c compiler) disagree(n *formula.Node) func() truth {
	parts := c.numbers(n.Args)
	scratch := make([]float64, 0, len(parts))
	return func() truth {
		known := knownOf(scratch, parts)
		if len(known) < 2 {
			return unclear
		}
		middle := medianOf(known)
		if len(known) == 2 {
			return truthOf(known[1]-known[0] > n.Value)
		}
		return truthOf(max(known[2]-middle, middle-known[0]) > n.Value)
	}
}

func (c compiler) numbers(nodes []*formula.Node) []func() float64 {
	parts := make([]func() float64, len(nodes))
	for i, n := range nodes {
		parts[i] = c.number(n)
	}
	return parts
}

func knownOf(scratch []float64, parts []func() float64) []float64 {
	known := scratch[:0]
	for _, part := range parts {
		if v := part(); !math.IsNaN(v) {
			known = append(known, v)
		}
	}
	return known
}
