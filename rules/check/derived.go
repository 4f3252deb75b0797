package check

import (
	"strings"

	"millwarden/internal/diag"
	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// checkDerived types every derived point; those that others lean on are typed when they are first met.
func (c *checker) checkDerived() {
	for _, b := range c.of("point") {
		c.scopeStations(b, b.ours())
	}
	for i := 0; i < len(c.pointList); i++ {
		if p := c.pointList[i]; p.how == Derived {
			c.derive(p)
		}
	}
	c.addVotes()
}

// derive types the formula of a derived point.
func (c *checker) derive(p *point) {
	switch p.state {
	case underWay:
		c.circle(p)
		p.unsure = true
		return
	case done:
		return
	}
	p.state = underWay
	defer func() { p.state = done }()
	if p.block.Formula == nil {
		p.unsure = true
		return
	}
	t := &typer{}
	t.begin(c, p.block, p.station)
	r := t.expr(p.block.Formula)
	if !r.bad && (r.lit != nil || r.fixed) {
		t.say("43", r.x, facts{"truth": "the same"})
		r.bad = true
	}
	if t.lacks && !t.wrong {
		c.remove(p)
		return
	}
	if r.bad {
		p.unsure = true
		return
	}
	p.quantity, p.formula = r.q, r.node
	p.from = r.node.Points()
	if p.station.kind == nil {
		return
	}
	if k, ok := p.station.kind.Point(p.short); ok && !k.Any && k.Quantity != r.q {
		c.say("37", p.block.Formula.Where(), facts{"a": p.short, "qa": k.Quantity.Article(), "b": p.block.Formula.String(), "qb": r.q.Article(), "y": example(k.Quantity)})
	}
}

// remove takes out a point of `for each` whose station lacks what it needs.
func (c *checker) remove(p *point) {
	p.gone, p.unsure = true, true
	delete(c.points, p.full)
	delete(p.station.points, p.short)
}

const (
	underWay = 1
	done     = 2
)

// circle is message 64: the first point of the circle is marked where it names the second.
func (c *checker) circle(p *point) {
	for _, other := range c.pointList {
		if other.state == underWay && other != p {
			c.say("64", firstName(p.block, other.short), facts{"a": "point " + p.short,
				"why": "It is worked out from " + other.full + ", which is worked out from " + p.full + "."})
			return
		}
	}
	c.say("64", firstName(p.block, p.short), facts{"a": "point " + p.short, "why": "It is worked out from itself."})
}

func isVote(p *point) bool { return p.formula != nil && p.formula.Op == formula.Vote }

// firstName is the place where a formula names a point.
func firstName(b *block, short string) diag.Range {
	at := b.Formula.Where()
	found := false
	for _, t := range b.Head {
		word, here := t.Word(), t.Where()
		if !found && here.Column >= at.Column && here.Line >= at.Line && (word == short || strings.HasSuffix(word, "/"+short)) {
			at, found = here, true
		}
	}
	return at
}

// addVotes gives points that are voted on their `disagrees`.
func (c *checker) addVotes() {
	for _, p := range c.pointList {
		if isVote(p) {
			c.addPoint(&point{full: p.full + "/disagrees", short: "disagrees", owner: p.full, how: Computed, quantity: units.YesNo, keep: true})
		}
	}
}
