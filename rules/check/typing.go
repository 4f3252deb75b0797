package check

import (
	"slices"
	"strings"

	"millwarden/internal/units"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// typer turns one formula at one place into a checked one.
type typer struct {
	c         *checker
	station   *station     // nil at a bus, channel, probe or point
	owner     string       // the place whose points bare names are
	value     *point       // of `for each point`
	skip      func(string) // told of a point that is lacking; nil: lacking is a mistake
	builtIn   bool         // stands in a built-in subject
	asPrinted bool         // the formula stands in the file as it is printed
	alarm     string       // whose condition it is
	bands     *deadbands   // of `when`; nil elsewhere
	own       deadbands    // room for them
	lacks     bool         // a point was lacking, and skip was told
	lacked    string       // the first such point of an alarm
	wrong     bool         // a mistake was said
	relations []relation   // comparisons typed so far
	few       [4]relation  // room for those of most conditions
}

// relation is a comparison, as written and as typed.
type relation struct {
	x    *syntax.Binary
	node *formula.Node
}

// typed is a part of a formula with what is known of it.
type typed struct {
	x     syntax.Expr
	node  *formula.Node
	q     units.Quantity
	lit   *syntax.Amount // a literal whose quantity its neighbour decides
	fixed bool           // nothing in it is measured
	point *point         // it is a point and nothing else
	limit *limit         // it is a limit and nothing else
	bad   bool           // said or lacking; nothing more is said about it
}

func (t *typer) bad(x syntax.Expr) typed { return typed{x: x, bad: true} }

func (t *typer) say(number string, at placed, known facts) {
	t.wrong = true
	t.c.say(number, at.Where(), known)
}

func isCondition(q units.Quantity) bool { return q == units.YesNo }

// condition types x as yes or no.
func (t *typer) condition(x syntax.Expr) typed {
	r := t.expr(x)
	if r.bad || isCondition(r.q) && r.lit == nil {
		return r
	}
	if r.q == units.State && r.lit == nil {
		t.say("49", x, facts{"x": x.String(), "y": x.String()})
		return t.bad(x)
	}
	y := x.String() + " < " + units.Example(r.q)
	if r.lit != nil {
		y = "ph < 4.2 pH"
	}
	t.say("47", x, facts{"x": x.String(), "y": y})
	return t.bad(x)
}

func (t *typer) expr(x syntax.Expr) typed {
	switch x := x.(type) {
	case *syntax.Literal:
		return typed{x: x, lit: x.Amount, fixed: true}
	case *syntax.NameOf:
		return t.name(x)
	case *syntax.RefTo:
		p, ok := t.c.pointNamed(x.Token, t.skipper())
		if !ok {
			t.wrong = t.wrong || !t.lacks
			return t.bad(x)
		}
		return t.pointValue(x, p)
	case *syntax.Call:
		return t.call(x)
	case *syntax.Paren:
		r := t.expr(x.X)
		r.x = x
		return r
	case *syntax.Not:
		return t.not(x)
	case *syntax.Is:
		return t.is(x)
	case *syntax.Junction:
		return t.junction(x)
	case *syntax.Binary:
		if strings.ContainsAny(x.Op.Text(), "<>=") {
			return t.relation(x)
		}
		return t.arithmetic(x)
	}
	return t.bad(x)
}

// skipper is what lookups call where a point is lacking.
func (t *typer) skipper() func(string) {
	if t.skip == nil {
		return nil
	}
	return func(name string) {
		t.lacks = true
		t.skip(name)
	}
}

func (t *typer) node(x syntax.Expr, n formula.Node, q units.Quantity) typed {
	n.Quantity = q
	n.Text = t.text(x)
	made := t.c.nodes.Next()
	*made = n
	return typed{x: x, node: made, q: q}
}

// text is x as the formatter prints it.
func (t *typer) text(x syntax.Expr) string {
	if n, ok := x.(*syntax.NameOf); ok {
		return n.Word()
	}
	if t.asPrinted {
		return syntax.Typed(x)
	}
	t.c.printed = syntax.Append(t.c.printed[:0], x)
	text, known := t.c.texts[string(t.c.printed)]
	if !known {
		text = string(t.c.printed)
		t.c.texts[text] = text
	}
	return text
}

// both is two arguments side by side.
func (t *typer) both(l, r *formula.Node) []*formula.Node {
	args := t.c.args.Take(2)
	args[0], args[1] = l, r
	return args
}

func (t *typer) pointValue(x syntax.Expr, p *point) typed {
	p.used.Store(true)
	if p.how == Derived {
		t.c.derive(p)
	}
	if p.gone && t.skip != nil {
		t.skipper()(p.short)
	}
	if p.unsure {
		return t.bad(x)
	}
	name, bare := x.(*syntax.NameOf)
	bare = bare && name.Word() == p.short // and not `value`
	n := t.c.standing[p]
	if n == nil || !bare {
		n = t.node(x, formula.Node{Op: formula.Point, Ref: p.full}, p.quantity).node
	}
	if bare {
		t.c.standing[p] = n
	}
	return typed{x: x, node: n, q: p.quantity, point: p}
}

// name types a bare name: a point here, a limit, night or watched.
func (t *typer) name(x *syntax.NameOf) typed {
	name := x.Word()
	if name == "value" && t.value != nil {
		return t.pointValue(x, t.value)
	}
	if p := t.pointHere(name); p != nil {
		return t.pointValue(x, p)
	}
	if l := t.c.limits[name]; l != nil && l.stands(t.station) {
		return t.limitValue(x, l)
	}
	switch name {
	case "night":
		return t.node(x, formula.Node{Op: formula.Night}, units.YesNo)
	case "watched":
		return t.node(x, formula.Node{Op: formula.Watched}, units.YesNo)
	}
	if t.station != nil {
		if _, ok := t.c.pointAt(x.Token, t.station, name, t.skipper()); !ok {
			t.wrong = t.wrong || !t.lacks
		}
		return t.bad(x)
	}
	if t.skip != nil && t.c.declaredAbout(name) {
		t.lacks = true
		t.skip(name)
		return t.bad(x)
	}
	t.wrong = true
	t.c.noPoint(x.Token, name, t.owner, pointsAt(t.c, t.owner), "")
	return t.bad(x)
}

// pointHere is the point of that name at the place whose condition it is; nil for none.
func (t *typer) pointHere(name string) *point {
	if t.station != nil {
		return t.station.points[name]
	}
	return t.c.points[t.owner+"/"+name]
}

// declaredAbout tells whether buses, channels, probes or points may have a point of that name.
func (c *checker) declaredAbout(name string) bool {
	for _, d := range c.words.each {
		if _, ok := d.Point(name); ok {
			return true
		}
	}
	return false
}

func (t *typer) limitValue(x syntax.Expr, l *limit) typed {
	l.used.Store(true)
	if l.bad {
		return t.bad(x)
	}
	r := t.node(x, formula.Node{Op: formula.Const, Value: l.at(t.station)}, l.q)
	r.fixed, r.limit = true, l
	return r
}

func (t *typer) not(x *syntax.Not) typed {
	r := t.condition(x.X)
	if r.bad {
		return t.bad(x)
	}
	return t.node(x, formula.Node{Op: formula.Not, Args: []*formula.Node{r.node}}, units.YesNo)
}

func (t *typer) junction(x *syntax.Junction) typed {
	op := formula.Or
	if x.And {
		op = formula.And
	}
	args := t.c.args.Take(len(x.Terms))[:0]
	bad := false
	for _, term := range x.Terms {
		r := t.condition(term)
		bad = bad || r.bad
		args = append(args, r.node)
	}
	if bad {
		return t.bad(x)
	}
	return t.node(x, formula.Node{Op: op, Args: args}, units.YesNo)
}

var isOps = map[string]formula.Op{"on": formula.IsOn, "off": formula.IsOn, "good": formula.IsGood, "uncertain": formula.IsUncertain,
	"bad": formula.IsBad, "overdue": formula.IsOverdue, "frozen": formula.IsFrozen}

var isWords = []string{"on", "off", "good", "uncertain", "bad", "overdue", "frozen"}

func (t *typer) is(x *syntax.Is) typed {
	state := x.State.Word()
	op, known := isOps[state]
	if !known {
		t.wrong = true
		t.c.say("20", x.State.Where(), facts{"x": x.State.Text(), "list": strings.Join(isWords, ", "), "near": near(state, isWords),
			"meaning": "These are the words after is."})
		return t.bad(x)
	}
	r := t.expr(x.X)
	if r.bad {
		return t.bad(x)
	}
	if r.point == nil || (op == formula.IsOn && r.q != units.State && r.q != units.YesNo) {
		if op == formula.IsOn {
			t.say("46", x.Word, facts{"x": "is " + state})
		} else {
			t.say("48", x.X, facts{"x": x.X.String(), "qx": "worked out", "why": "Only a point is good, uncertain, bad, overdue or frozen: name the point."})
		}
		return t.bad(x)
	}
	n := t.node(x, formula.Node{Op: op, Ref: r.point.full}, units.YesNo)
	if (state == "off") != x.Not.Given() {
		n = t.node(x, formula.Node{Op: formula.Not, Args: []*formula.Node{n.node}}, units.YesNo)
	}
	return n
}

// constant is what makes two literals one.
type constant struct {
	text string
	q    units.Quantity
}

// settle gives a literal the quantity that is due; due says what for, where it must be a difference.
func (t *typer) settle(r typed, want units.Quantity, other *typed) (typed, bool) {
	if r.lit == nil {
		return r, true
	}
	text := t.text(r.x)
	if n := t.c.constants[constant{text, want}]; n != nil {
		return typed{x: r.x, node: n, q: want, fixed: true}, true
	}
	total := 0.0
	for _, m := range r.lit.Measures {
		n, ok := t.c.number(m.Number)
		if !ok {
			t.wrong = true
			return r, false
		}
		if !m.Unit.Given() {
			if !takesPlain(want) {
				t.say("5", r.lit, facts{"x": m.Number.Text(), "y": withUnit(m.Number.Text(), want)})
				return r, false
			}
			total += n
			continue
		}
		u, ok := units.Choose(m.Unit.Text(), want)
		if !ok {
			t.unfit(r, m, want, other)
			return r, false
		}
		total += u.ToBase(n)
	}
	s := t.node(r.x, formula.Node{Op: formula.Const, Value: total}, want)
	s.fixed = true
	t.c.constants[constant{text, want}] = s.node
	return s, true
}

// unfit says why a literal is not of the quantity that is due.
func (t *typer) unfit(r typed, m syntax.Measure, want units.Quantity, other *typed) {
	meant := units.Lookup(m.Unit.Text())
	x := source(r.lit)
	switch {
	case len(meant) == 0:
		t.wrong = true
		t.c.unknownUnit(m.Unit, want)
	case want == units.Moisture && m.Unit.Text() == "%":
		t.say("38", r.lit, facts{"x": r.lit.String(), "y": m.Number.Text() + " %wb", "z": m.Number.Text() + " %db"})
	case want == units.Temperature && meant[0].Quantity == units.Difference:
		known := facts{"x": r.lit.String(), "y": kelvinAs(m.Number.Text())}
		if other != nil {
			known["a"] = other.x.String()
		}
		t.say("39", r.lit, known)
	case other != nil:
		t.unlike(*other, r, meant[0].Quantity)
	default:
		t.say("79", r.lit, facts{"x": x, "qb": meant[0].Quantity.Article(), "key": "this", "qa": want.Article(), "y": example(want)})
	}
}

// kelvinAs is what somebody meant who wrote an absolute temperature in kelvin.
func kelvinAs(number string) string {
	n, err := units.ParseNumber(number)
	if err != nil || n < 200 { // chosen: nobody means a mill colder than that
		return number + " °C"
	}
	return trimmed(float64(int(n-273.15+0.5))) + " °C" // ITS-90: 0 °C is 273.15 K
}

// unlike is message 37: a and b are compared, and b is of another quantity.
func (t *typer) unlike(a, b typed, qb units.Quantity) {
	known := facts{"a": a.x.String(), "qa": a.q.Article(), "b": b.x.String(), "qb": qb.Article(), "y": example(a.q)}
	if a.point != nil && a.point.probe != nil {
		known["full"], known["probe"], known["place"] = a.point.full, a.point.probe.name, a.point.probe.Name.Where().Position.String()
	}
	t.say("37", b.x, known)
}

// sides types the two sides of x, which must have values.
func (t *typer) sides(x *syntax.Binary) (l, r typed, ok bool) {
	l, r = t.expr(x.X), t.expr(x.Y)
	if l.bad || r.bad {
		return l, r, false
	}
	for _, side := range []typed{l, r} {
		if side.lit == nil && (side.q == units.YesNo || side.q == units.State) {
			t.noValue(side)
			return l, r, false
		}
	}
	return l, r, true
}

func (t *typer) arithmetic(x *syntax.Binary) typed {
	l, r, ok := t.sides(x)
	if !ok {
		return t.bad(x)
	}
	if x.Op.Text() == "+" || x.Op.Text() == "-" {
		return t.sum(x, l, r)
	}
	return t.product(x, l, r)
}

// noValue says that a condition or a state stands where a value is due.
func (t *typer) noValue(r typed) {
	if r.q == units.State {
		t.say("49", r.x, facts{"x": r.x.String(), "y": r.x.String()})
		return
	}
	t.say("48", r.x, facts{"x": r.x.String(), "qx": "a condition", "why": "It is true or false by itself: leave the comparison away."})
}

func (t *typer) sum(x *syntax.Binary, l, r typed) typed {
	var ok bool
	if l.lit != nil {
		want := firstMeaning(l.lit)
		if r.lit == nil && (want == units.Count && takesPlain(r.q) || fitsLiteral(l.lit, r.q)) {
			want = r.q
		}
		if l, ok = t.settle(l, want, nil); !ok {
			return t.bad(x)
		}
	}
	if r.lit != nil {
		if l.q == units.Moisture && strings.HasSuffix(strings.ReplaceAll(r.lit.String(), " ", ""), "%db") {
			t.say("76", r.lit, facts{"x": r.lit.String()})
			return t.bad(x)
		}
		if !fitsLiteral(r.lit, l.q.Step()) && !r.lit.Plain() && len(units.Lookup(r.lit.Measures[0].Unit.Text())) > 0 {
			t.cannot(x, l, r, firstMeaning(r.lit))
			return t.bad(x)
		}
		if r, ok = t.settle(r, l.q.Step(), nil); !ok {
			return t.bad(x)
		}
	}
	q, fits := sumOf(x.Op.Text(), l.q, r.q)
	switch {
	case l.q == units.Temperature && r.q == units.Temperature && x.Op.Text() == "+":
		t.say("40", x.Y, facts{"a": x.X.String()})
		return t.bad(x)
	case !fits:
		t.cannot(x, l, r, r.q)
		return t.bad(x)
	}
	op := formula.Add
	if x.Op.Text() == "-" {
		op = formula.Sub
	}
	return t.fold(t.node(x, formula.Node{Op: op, Args: t.both(l.node, r.node)}, q), l, r)
}

// sumOf is the table of section 2 for + and -.
func sumOf(op string, a, b units.Quantity) (units.Quantity, bool) {
	switch {
	case a == units.Temperature && b == units.Temperature:
		return units.Difference, op == "-"
	case a == units.Temperature && b == units.Difference:
		return a, true
	case a == units.Difference && b == units.Temperature:
		return b, op == "+"
	case a == b:
		return a, true
	case b == units.Count && takesPlain(a):
		return a, true
	case a == units.Count && takesPlain(b):
		return b, true
	}
	return units.None, false
}

var opWords = map[string]string{"+": "added", "-": "subtracted", "*": "multiplied", "/": "divided"}

// cannot is message 42.
func (t *typer) cannot(x *syntax.Binary, l, r typed, qr units.Quantity) {
	t.wrong = true
	t.c.say("42", x.Op.Where(), facts{"a": l.x.String(), "b": r.x.String(), "op": opWords[x.Op.Text()], "qa": l.q.Article(), "qb": qr.Article()})
}

func (t *typer) product(x *syntax.Binary, l, r typed) typed {
	var ok bool
	if l.lit != nil {
		if l, ok = t.settle(l, scaleMeaning(l.lit), nil); !ok {
			return t.bad(x)
		}
	}
	if r.lit != nil {
		if r, ok = t.settle(r, scaleMeaning(r.lit), nil); !ok {
			return t.bad(x)
		}
	}
	for _, side := range []typed{l, r} {
		if side.q == units.Temperature {
			t.say("41", side.x, nil)
			return t.bad(x)
		}
	}
	q, fits := productOf(x.Op.Text(), l.q, r.q)
	if !fits {
		t.cannot(x, l, r, r.q)
		return t.bad(x)
	}
	op := formula.Mul
	if x.Op.Text() == "/" {
		op = formula.Div
		if r.fixed && r.node.Value == 0 {
			t.say("8", x.Y, facts{"x": x.Y.String()})
			return t.bad(x)
		}
	}
	return t.fold(t.node(x, formula.Node{Op: op, Args: []*formula.Node{l.node, r.node}}, q), l, r)
}

// productOf is the table of section 2 for * and /.
func productOf(op string, a, b units.Quantity) (units.Quantity, bool) {
	if op == "*" {
		switch {
		case a == units.Count:
			return b, true
		case b == units.Count:
			return a, true
		case a.IsRate() && b == units.Duration:
			return a.Of().Step(), true
		case b.IsRate() && a == units.Duration:
			return b.Of().Step(), true
		}
		return units.None, false
	}
	switch {
	case b == units.Count:
		return a, true
	case a == b:
		return units.Count, true
	case b == units.Duration && !a.IsRate() && a != units.Count:
		return a.Rate(), true
	}
	return units.None, false
}

// firstMeaning is the quantity of a literal that nothing else decides.
func firstMeaning(a *syntax.Amount) units.Quantity {
	unit := a.Measures[0].Unit
	if !unit.Given() {
		return units.Count
	}
	if meant := units.Lookup(unit.Text()); len(meant) > 0 {
		return meant[0].Quantity
	}
	return units.Temperature // an unknown unit, which settle says
}

// scaleMeaning is that of a literal in a product: 20 °C stays a temperature, and is refused.
func scaleMeaning(a *syntax.Amount) units.Quantity { return firstMeaning(a) }

// fitsLiteral tells whether a literal can be of the quantity.
func fitsLiteral(a *syntax.Amount, q units.Quantity) bool {
	return !slices.ContainsFunc(a.Measures, func(m syntax.Measure) bool {
		if !m.Unit.Given() {
			return !takesPlain(q)
		}
		_, ok := units.Choose(m.Unit.Text(), q)
		return !ok
	})
}

// fold works out a part in which nothing is measured.
func (t *typer) fold(n, l, r typed) typed {
	if !l.fixed || !r.fixed {
		return n
	}
	a, b := l.node.Value, r.node.Value
	value := map[formula.Op]float64{formula.Add: a + b, formula.Sub: a - b, formula.Mul: a * b}[n.node.Op]
	if n.node.Op == formula.Div {
		value = a / b
	}
	n.node = &formula.Node{Op: formula.Const, Quantity: n.q, Value: value, Text: n.node.Text}
	n.fixed = true
	return n
}

func (t *typer) relation(x *syntax.Binary) typed {
	l, r, ok := t.sides(x)
	if !ok {
		return t.bad(x)
	}
	if l.fixed && r.fixed {
		t.nothingMeasured(x, l, r)
		return t.bad(x)
	}
	switch {
	case r.lit != nil:
		r, ok = t.settle(r, l.q, &l)
	case l.lit != nil:
		l, ok = t.settle(l, r.q, &r)
	default:
		ok = l.q == r.q || l.q == units.Count && takesPlain(r.q) || r.q == units.Count && takesPlain(l.q)
		if !ok {
			a, b := l, r
			if l.fixed {
				a, b = r, l
			}
			t.unlike(a, b, b.q)
		}
	}
	if !ok {
		return t.bad(x)
	}
	op := comparisonOf(x.Op.Text())
	q := l.q
	if q == units.Count {
		q = r.q
	}
	n := t.node(x, formula.Node{Op: op, Args: t.both(l.node, r.node)}, units.YesNo)
	n.node.Deadband = t.bands.of(q, l, r)
	if t.relations == nil {
		t.relations = t.few[:0]
	}
	t.relations = append(t.relations, relation{x, n.node})
	if !t.possible(x, n.node, l, r) {
		return t.bad(x)
	}
	return n
}

func comparisonOf(sign string) formula.Op {
	switch sign {
	case "<":
		return formula.Less
	case "<=":
		return formula.LessEq
	case ">":
		return formula.Greater
	default:
		return formula.GreaterEq
	}
}

func (t *typer) nothingMeasured(x *syntax.Binary, l, r typed) {
	if l.lit != nil && r.lit == nil {
		l, _ = t.settle(l, r.q, nil)
	}
	if l.lit != nil {
		l, _ = t.settle(l, firstMeaning(l.lit), nil)
	}
	if r.lit != nil {
		r, _ = t.settle(r, l.q, nil)
	}
	if t.wrong && (l.node == nil || r.node == nil) {
		return
	}
	truth := "false"
	if holds(x.Op.Text(), l.node.Value, r.node.Value) {
		truth = "true"
	}
	t.say("43", x, facts{"truth": truth})
}

func holds(op string, a, b float64) bool {
	switch op {
	case "<":
		return a < b
	case "<=":
		return a <= b
	case ">":
		return a > b
	default:
		return a >= b
	}
}
