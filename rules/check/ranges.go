package check

import (
	"math"
	"slices"

	"millwarden/internal/diag"
	"millwarden/internal/units"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// share of the limit that is the deadband where the table says "of the limit".
const (
	shareOfLimit     = 0.02
	shareOfRateLimit = 0.10
)

// usual are the deadbands of section 2, in base units.
var usual = map[units.Quantity]float64{units.Temperature: 0.5, units.Difference: 0.3, units.PH: 0.1, units.Humidity: 1, units.Moisture: 0.2,
	units.WaterActivity: 0.01}

// noBand are the quantities that have none.
var noBand = map[units.Quantity]bool{units.Duration: true, units.HeatDose: true, units.Share: true, units.Count: true}

// deadbands are those of one alarm, by the quantity that is compared.
type deadbands struct {
	none  bool
	given []units.Amount // the last of a quantity counts
	few   [6]units.Amount
}

// of gives the deadband of one comparison; a nil receiver has none.
func (d *deadbands) of(q units.Quantity, l, r typed) float64 {
	if d == nil || d.none {
		return 0
	}
	for _, given := range slices.Backward(d.given) {
		if given.Quantity == q {
			return given.Value
		}
	}
	if band, ok := usual[q]; ok {
		return band
	}
	part := shareOfLimit
	if q.IsRate() {
		part = shareOfRateLimit
	}
	switch {
	case noBand[q]:
		return 0
	case r.fixed:
		return math.Abs(r.node.Value) * part
	case l.fixed:
		return math.Abs(l.node.Value) * part
	}
	return 0
}

// possible holds a comparison against what the probe can read; false if it said that it never or always is true.
func (t *typer) possible(x *syntax.Binary, n *formula.Node, l, r typed) bool {
	p, limit, above := l.point, r, n.Op == formula.Greater || n.Op == formula.GreaterEq
	if r.point != nil && l.fixed {
		p, limit, above = r.point, l, !above
	}
	if p == nil || !limit.fixed || p.rng == nil || p.probe == nil {
		return true
	}
	value, low, high := limit.node.Value, p.rng.Low, p.rng.High
	orEqual := n.Op == formula.LessEq || n.Op == formula.GreaterEq
	never := above && (value > high || value == high && !orEqual) || !above && (value < low || value == low && !orEqual)
	always := above && (value < low || value == low && orEqual) || !above && (value > high || value == high && orEqual)
	if !never && !always {
		return true
	}
	lo, hi := bare(low, p.quantity), printed(high, p.quantity)
	if t.builtIn {
		if never && t.bands != nil { // in when
			t.c.say("W3", diag.Range{Position: p.at, Width: len([]rune(p.short))}, facts{"alarm": t.alarm, "point": p.full,
				"value": printed(value, p.quantity), "lo": lo, "hi": hi})
		}
		return true
	}
	number := "57"
	if always {
		number = "58"
	}
	t.say(number, x, facts{"point": p.full, "probe": p.probe.name, "lo": lo, "hi": hi, "place": p.probe.Name.Where().Position.String()})
	return false
}

// bare prints a value without its unit.
func bare(value float64, q units.Quantity) string {
	if list := units.Of(q); len(list) > 0 {
		if u, ok := units.Choose(list[0], q); ok {
			return trimmed(u.FromBase(value))
		}
	}
	return trimmed(value)
}

// stretch is what a comparison with a fixed value leaves of its other side.
type stretch struct {
	x         *syntax.Binary
	name      string
	low, high float64
}

// exclude is message 59: two comparisons of one thing that leave nothing.
func (t *typer) exclude(x syntax.Expr) {
	j, ok := x.(*syntax.Junction)
	if !ok || !j.And {
		return
	}
	var few [4]stretch
	seen := few[:0]
	for _, term := range j.Terms {
		now, fits := t.stretch(term)
		if !fits {
			continue
		}
		for _, before := range seen {
			if before.name == now.name && (before.low >= now.high || now.low >= before.high) {
				t.say("59", now.x, facts{"a": before.x.String(), "place": before.x.Where().Position.String()})
				return
			}
		}
		seen = append(seen, now)
	}
}

// comparison is what a typed comparison became, or nil.
func (t *typer) comparison(x *syntax.Binary) *formula.Node {
	for i := range t.relations {
		if t.relations[i].x == x {
			return t.relations[i].node
		}
	}
	return nil
}

func (t *typer) stretch(term syntax.Expr) (stretch, bool) {
	x, ok := term.(*syntax.Binary)
	n := t.comparison(x)
	if !ok || n == nil {
		return stretch{}, false
	}
	measured, limit, above := n.Args[0], n.Args[1], n.Op == formula.Greater || n.Op == formula.GreaterEq
	if measured.Op == formula.Const {
		measured, limit, above = limit, measured, !above
	}
	if limit.Op != formula.Const {
		return stretch{}, false
	}
	if above {
		return stretch{x, measured.Text, limit.Value, math.Inf(1)}, true
	}
	return stretch{x, measured.Text, math.Inf(-1), limit.Value}, true
}
