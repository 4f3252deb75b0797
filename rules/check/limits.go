package check

import (
	"slices"
	"strings"
	"sync/atomic"

	"millwarden/internal/units"
	"millwarden/rules/syntax"
)

// limit is a named value: declared once, perhaps overridden for the site or at stations.
type limit struct {
	*block
	name      string
	q         units.Quantity
	value     float64
	kinds     []string // `for each KIND`; empty with stations empty: everywhere
	stations  []string // `at STATION`
	except    []string
	in        string
	c         *checker
	site      *override
	overrides map[string]*override
	used      atomic.Bool // several alarms are looked at side by side
	bad       bool
}

// override is a value that the site sets instead of the declared one.
type override struct {
	*block
	value float64
}

// stands tells whether the limit may be named at a station; nil is a bus, channel, probe or point.
func (l *limit) stands(s *station) bool {
	if len(l.kinds) == 0 && len(l.stations) == 0 {
		return true
	}
	if s == nil || slices.Contains(l.except, s.name) {
		return false
	}
	return slices.Contains(l.stations, s.name) || slices.Contains(l.kinds, s.kindName()) && (l.in == "" || l.in == s.area)
}

// at is the value in force at a station.
func (l *limit) at(s *station) float64 {
	if s != nil {
		if o := l.overrides[s.name]; o != nil {
			return o.value
		}
	}
	if l.site != nil {
		return l.site.value
	}
	return l.value
}

func (c *checker) checkLimits() {
	for _, builtIn := range []bool{true, false} {
		for _, b := range c.of("limit") {
			if (b.subject != "") == builtIn && b.Name.Given() {
				c.addLimit(b)
			}
		}
	}
	for _, ours := range []bool{true, false} { // what the site wrote is marked before what it upsets elsewhere
		for _, l := range c.limitList {
			c.checkEnds(l, ours)
		}
	}
}

func (c *checker) addLimit(b *block) {
	name := b.Name.Word()
	declared := c.limits[name]
	if declared != nil && (declared.subject != "" && b.subject == "" || len(b.Scope.At) > 0) {
		c.override(declared, b)
		return
	}
	if declared != nil {
		c.say("21", b.Name.Where(), facts{"what": "limit", "name": name, "place": declared.Name.Where().Position.String()})
		return
	}
	l := &limit{block: b, name: name, c: c, overrides: map[string]*override{}, in: b.Scope.In.Word()}
	for _, t := range b.Scope.Each {
		l.kinds = append(l.kinds, t.Word())
	}
	c.scopeStations(b, b.ours())
	for _, t := range b.Scope.At {
		l.stations = append(l.stations, t.Word())
	}
	for _, t := range b.Scope.Except {
		l.except = append(l.except, t.Word())
	}
	c.limits[name] = l
	c.limitList = append(c.limitList, l)
	if b.Amount == nil {
		l.bad = true
		return
	}
	l.q = c.limitQuantity(b)
	value, ok := c.convert(b.Amount, l.q, name)
	l.value, l.bad = value, !ok
}

func (c *checker) override(l *limit, b *block) {
	for _, t := range b.Scope.At {
		s, ok := c.stationNamed(t)
		if !ok {
			l.used.Store(true)
			return
		}
		if !l.stands(s) && s.kind != nil {
			c.say("68", t.Where(), facts{"limit": l.name, "kind": s.kindName(), "list": oneOf(l.kinds), "station": s.name})
			l.used.Store(true)
			return
		}
	}
	if b.Amount == nil || l.bad {
		return
	}
	if !fitsLiteral(b.Amount, l.q) {
		c.wrongLimit(l, b)
		return
	}
	value, ok := c.convert(b.Amount, l.q, l.name)
	if !ok {
		return
	}
	o := &override{block: b, value: value}
	if len(b.Scope.At) == 0 {
		if l.site != nil {
			c.say("21", b.Name.Where(), facts{"what": "limit", "name": l.name, "place": l.site.Name.Where().Position.String()})
			return
		}
		l.site = o
		return
	}
	for _, t := range b.Scope.At {
		if before := l.overrides[t.Word()]; before != nil {
			c.say("21", t.Where(), facts{"what": "limit", "name": l.name + " at " + t.Word(), "place": before.Name.Where().Position.String()})
			continue
		}
		l.overrides[t.Word()] = o
	}
}

// wrongLimit is message 65, or what the unit itself is wrong about.
func (c *checker) wrongLimit(l *limit, b *block) {
	for _, m := range b.Amount.Measures {
		if m.Unit.Given() && len(units.Lookup(m.Unit.Text())) == 0 {
			c.unknownUnit(m.Unit, l.q)
			return
		}
	}
	if b.Amount.Plain() {
		c.say("5", b.Amount.Where(), facts{"x": b.Amount.Measures[0].Number.Text(), "what": l.name, "quantity": l.q.Article(), "y": withUnit(b.Amount.Measures[0].Number.Text(), l.q)})
		return
	}
	c.say("65", b.Amount.Where(), facts{"limit": l.name, "qa": l.q.Article(), "x": b.Amount.String(), "place": l.Name.Where().Position.String(), "y": printed(l.value, l.q)})
}

// limitQuantity is what a limit is of. A unit of several meanings (% is a share, a humidity, a concentration) is read as what the limit is
// compared with.
func (c *checker) limitQuantity(b *block) units.Quantity {
	first := firstMeaning(b.Amount)
	meant := units.Lookup(b.Amount.Measures[0].Unit.Text())
	if len(meant) < 2 || first == units.Temperature {
		return first
	}
	name, found := b.Name.Word(), first
	for _, other := range c.of("alarm", "prompt", "event", "point") {
		for _, x := range formulasOf(other) {
			eachRelation(x, func(r *syntax.Binary) {
				for _, sides := range [][2]syntax.Expr{{r.X, r.Y}, {r.Y, r.X}} {
					if n, ok := sides[0].(*syntax.NameOf); ok && n.Word() == name {
						if q := c.likelyQuantity(other, sides[1]); fitsLiteral(b.Amount, q) {
							found = q
						}
					}
				}
			})
		}
	}
	return found
}

// likelyQuantity is that of the first point in a formula, before formulas are typed.
func (c *checker) likelyQuantity(b *block, x syntax.Expr) units.Quantity {
	name := ""
	switch x := x.(type) {
	case *syntax.NameOf:
		name = x.Word()
	case *syntax.RefTo:
		name = x.Point.Word()
	case *syntax.Call:
		if len(x.Args) > 0 && x.Args[0].Expr != nil {
			return c.likelyQuantity(b, x.Args[0].Expr)
		}
	case *syntax.Binary:
		return c.likelyQuantity(b, x.X)
	case *syntax.Paren:
		return c.likelyQuantity(b, x.X)
	}
	for _, t := range b.Scope.Each {
		if d := c.words.kinds[t.Word()]; d != nil {
			if p, ok := d.Point(name); ok {
				return p.Quantity
			}
		}
	}
	for _, p := range c.pointList {
		if p.short == name && (len(b.Scope.At) == 0 || slices.Contains(wordsOf(b.Scope.At), p.owner)) {
			return p.quantity
		}
	}
	return units.None
}

// formulasOf are the conditions of a block.
func formulasOf(b *block) []syntax.Expr {
	var list []syntax.Expr
	if b.Formula != nil {
		list = append(list, b.Formula)
	}
	for _, key := range []string{"when", "while", "suppressed-while"} {
		if l := line(b, key); l != nil {
			if f, ok := l.Value.(*syntax.Formula); ok && f.Expr != nil {
				list = append(list, f.Expr)
			}
		}
	}
	return list
}

// eachRelation visits the comparisons of a condition.
func eachRelation(x syntax.Expr, visit func(*syntax.Binary)) {
	switch x := x.(type) {
	case *syntax.Junction:
		for _, term := range x.Terms {
			eachRelation(term, visit)
		}
	case *syntax.Not:
		eachRelation(x.X, visit)
	case *syntax.Paren:
		eachRelation(x.X, visit)
	case *syntax.Binary:
		visit(x)
	}
}

// checkEnds holds a limit and its overrides to least, greatest and unwise-….
func (c *checker) checkEnds(l *limit, ours bool) {
	if l.bad {
		return
	}
	if l.ours() == ours {
		c.checkEnd(l, nil, l.block, l.value)
	}
	if l.site != nil && ours {
		c.checkEnd(l, nil, l.site.block, l.site.value)
	}
	for _, name := range sortedKeys(l.overrides) {
		if o := l.overrides[name]; ours {
			c.checkEnd(l, c.stations[name], o.block, o.value)
		}
	}
}

func sortedKeys[V any](m map[string]V) []string {
	var names []string
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// end is one end of a limit: a value, and what people read of it.
type end struct {
	known bool
	value float64
	name  string
	limit *limit
}

func (c *checker) endOf(l *limit, key string, s *station) end {
	ln := line(l.block, key)
	if ln == nil {
		return end{}
	}
	b, ok := ln.Value.(*syntax.Bound)
	if !ok {
		return end{}
	}
	if b.Amount == nil {
		other := c.limits[b.Name.Word()]
		if other == nil {
			var names []string
			for _, o := range c.limitList {
				names = append(names, o.name)
			}
			n := near(b.Name.Word(), names)
			c.say("22", b.Name.Where(), facts{"what": "limit", "name": b.Name.Word(), "near": n})
			return end{}
		}
		if other.subject != "" {
			other.used.Store(true)
		}
		return end{known: !other.bad && other.q == l.q, value: other.at(s), name: other.name, limit: other}
	}
	value, ok := c.convert(b.Amount, l.q, key)
	return end{known: ok, value: value, name: b.Amount.String()}
}

func (c *checker) checkEnd(l *limit, s *station, b *block, value float64) {
	least, greatest := c.endOf(l, "least", s), c.endOf(l, "greatest", s)
	if b.Amount == nil {
		return
	}
	at := b.Amount.Where()
	switch {
	case least.known && value < least.value:
		c.beyondEnd(l, b, least, least, greatest, "at least")
		return
	case greatest.known && value > greatest.value:
		c.beyondEnd(l, b, greatest, least, greatest, "at most")
		return
	}
	if b == l.block || !b.ours() {
		return
	}
	for _, key := range []string{"unwise-below", "unwise-above"} {
		ln := line(l.block, key)
		if ln == nil {
			continue
		}
		a := amountOf(ln)
		if a == nil {
			continue
		}
		v, ok := c.convert(a, l.q, key)
		if ok && (key == "unwise-below" && value < v || key == "unwise-above" && value > v) {
			c.say("W1", at, facts{"limit": l.name, "x": b.Amount.String(), "source": sentence(c.rests(l))})
		}
	}
}

// rests is what a limit rests on.
func (c *checker) rests(l *limit) string {
	if s := text(l.block, "source"); s != "" {
		return s
	}
	return text(l.block, "choice")
}

// beyondEnd is 18 where the end is a value, 66 where it is another limit.
func (c *checker) beyondEnd(l *limit, b *block, broken, least, greatest end, than string) {
	if broken.limit != nil && b.subject != "" {
		c.upset(l, broken, than)
		return
	}
	if broken.limit != nil {
		c.say("66", b.Amount.Where(), facts{"limit": l.name, "than": than, "other": broken.name, "y": printed(broken.value, l.q), "place": broken.limit.Name.Where().Position.String()})
		return
	}
	name := func(e end) string {
		if e.name == "" {
			return "any value"
		}
		return e.name
	}
	c.say("18", b.Amount.Where(), facts{"key": l.name, "least": name(least), "greatest": name(greatest), "meaning": sentence(c.rests(l))})
}

// upset marks the override that pushes a limit past a built-in one which stays as it is.
func (c *checker) upset(l *limit, broken end, than string) {
	o := broken.limit.site
	if o == nil || l.site != nil {
		return
	}
	back := map[string]string{"at least": "at most", "at most": "at least"}[than]
	c.say("66", o.Amount.Where(), facts{"limit": broken.name, "than": back, "other": l.name, "y": printed(l.value, l.q), "place": l.Name.Where().Position.String()})
}

// checkUsed says which limits stand in no condition, and which of the used ones say not where they come from.
func (c *checker) checkUsed(l *limit) {
	if l.subject != "" || l.board != "" {
		return
	}
	if !l.used.Load() {
		var names []string
		for _, o := range c.limitList {
			if o.subject != "" {
				names = append(names, o.name)
			}
		}
		c.say("67", l.Name.Where(), facts{"name": l.name, "near": near(l.name, names)})
		return
	}
	if !l.Has("source") && !l.Has("choice") {
		c.say("16", l.Name.Where(), facts{"block": l.Title(), "keys": "source or choice", "example": "choice " + examples["choice"] + ".", "why": whyNeeded["limit"]})
	}
}

// plan writes the values in force.
func (l *limit) plan() []Limit {
	base := Limit{Name: l.name, Declared: units.Amount{Value: l.value, Quantity: l.q}, Value: units.Amount{Value: l.value, Quantity: l.q}, Subject: l.subject,
		Source: text(l.block, "source"), Choice: text(l.block, "choice"), File: l.Name.File(), Line: l.Name.Line(), At: slices.Clone(l.stations)}
	if l.site != nil {
		base.Value.Value, base.Because = l.site.value, text(l.site.block, "because")
		base.File, base.Line = l.site.Name.File(), l.site.Name.Line()
	}
	list := []Limit{base}
	for _, name := range sortedKeys(l.overrides) {
		o := l.overrides[name]
		at := base
		at.At = []string{name}
		at.Value.Value, at.Because = o.value, strings.TrimSpace(text(o.block, "because"))
		at.File, at.Line = o.Name.File(), o.Name.Line()
		list = append(list, at)
	}
	return list
}
