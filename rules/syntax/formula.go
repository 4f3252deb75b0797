package syntax

import (
	"fmt"
	"slices"
	"strings"
)

// formula reads test [ "and" test … | "or" test … ].
func (c *cursor) formula() (Expr, bool) {
	first, ok := c.test()
	if !ok {
		return nil, false
	}
	if !c.word("and") && !c.word("or") {
		return first, true
	}
	junction := c.peek()
	word := junction.Word()
	j := c.p.room.junctions.Next()
	j.And, j.Terms, j.Words = word == "and", c.p.room.exprs.Take(2)[:1], c.p.room.tokens.Take(1)[:0]
	j.Terms[0] = first
	for c.word("and") || c.word("or") {
		t := c.next()
		if t.Word() != word {
			c.mixed(j, t)
			return nil, false
		}
		term, ok := c.test()
		if !ok || !c.node(t) {
			return nil, false
		}
		j.Terms, j.Words = append(j.Terms, term), append(j.Words, t)
	}
	return j, true
}

// mixed is message 45. What binds tighter in most people's ears is put in the parenthesis: and.
func (c *cursor) mixed(j *Junction, second Token) {
	y := "(" + j.String() + ") or …"
	if !j.And {
		n := len(j.Terms) - 1
		y = "(" + j.Terms[n].String() + " and …)"
		for i := n - 1; i >= 0; i-- {
			y = j.Terms[i].String() + " or " + y
		}
	}
	c.fail("45", second.Where(), "and, or: which belongs together?", "Put one part in parentheses: "+y+".")
}

func (c *cursor) test() (Expr, bool) {
	if !c.word("not") {
		return c.relation()
	}
	t := c.next()
	x, ok := c.relation()
	if !ok || !c.node(t) {
		return nil, false
	}
	return &Not{Word: t, X: x}, true
}

// flip is the comparison as seen from the other side.
var flip = map[string]string{"<": ">", "<=": ">=", ">": "<", ">=": "<="}

func (c *cursor) relation() (Expr, bool) {
	x, ok := c.sum()
	if !ok {
		return nil, false
	}
	op := c.peek()
	switch {
	case op.Kind == Relation:
		c.next()
		y, ok := c.sum()
		if !ok || !c.node(op) {
			return nil, false
		}
		if c.is(Relation) {
			c.second(x, op, y)
			return nil, false
		}
		return c.binary(x, op, y), true
	case c.word("is"):
		return c.state(x)
	case op.Kind == Stray && strings.ContainsAny(op.Text(), "=<≠"):
		c.comparesNothing(op)
		return nil, false
	}
	return x, true
}

// second is message 44: a < b < c.
func (c *cursor) second(x Expr, op Token, y Expr) {
	if l, ok := y.(*Literal); ok {
		if u := l.Measures[len(l.Measures)-1].Unit; u.Given() && u.Kind != Unit {
			c.noOperator(u) // ph < 4 loaded > 3: no unit was meant
			return
		}
	}
	again := c.next()
	left := x.String() + " " + op.Text() + " " + y.String()
	if _, fixed := x.(*Literal); fixed {
		left = y.String() + " " + flip[op.Text()] + " " + x.String()
	}
	right := "…"
	if z, ok := (&cursor{p: c.p, tokens: c.tokens, i: c.i, facts: c.facts, block: c.block, key: c.key, failed: true}).sum(); ok {
		right = z.String()
	}
	c.fail("44", again.Where(), "one comparison at a time", "Write "+left+" and "+y.String()+" "+again.Text()+" "+right+".")
}

func (c *cursor) comparesNothing(sign Token) {
	c.fail("46", sign.Where(), sign.typed()+" compares nothing here",
		"Measured values are compared with < and >; states with is, for example fan is off.")
}

// state reads `is [not] NAME` behind x.
func (c *cursor) state(x Expr) (Expr, bool) {
	is := &Is{X: x, Word: c.next()}
	if c.word("not") {
		is.Not = c.next()
	}
	switch t := c.peek(); {
	case t.Kind == Name && c.after().Kind != Open:
		is.State = c.next()
	case !t.Given():
		c.says(t)
		return nil, false
	default:
		c.comparesNothing(is.Word)
		return nil, false
	}
	return is, c.node(is.Word)
}

// sum reads product { ( "+" | "-" ) product }.
func (c *cursor) sum() (Expr, bool) {
	x, ok := c.product()
	for ok && c.operator("+", "-") {
		x, ok = c.behind(x, (*cursor).product)
	}
	return x, ok
}

func (c *cursor) product() (Expr, bool) {
	x, ok := c.factor()
	for ok && c.operator("*", "/") {
		x, ok = c.behind(x, (*cursor).factor)
	}
	return x, ok
}

// operator tells whether one of the two comes next.
func (c *cursor) operator(one, other string) bool {
	return c.is(Operator) && (c.token(c.i).Text() == one || c.token(c.i).Text() == other)
}

// behind reads an operator and its second operand.
func (c *cursor) behind(x Expr, operand func(*cursor) (Expr, bool)) (Expr, bool) {
	op := c.next()
	y, ok := operand(c)
	if !ok {
		return x, false
	}
	return c.binary(x, op, y), c.node(op)
}

func (c *cursor) binary(x Expr, op Token, y Expr) *Binary {
	b := c.p.room.binaries.Next()
	b.X, b.Op, b.Y = x, op, y
	return b
}

// node counts what a formula is made of.
func (c *cursor) node(t Token) bool {
	c.nodes++
	if c.nodes > maxNodes {
		c.fail("75", t.Where(), fmt.Sprintf("%s has more than %d parts, at most %d", c.name(), maxNodes, maxNodes),
			"Give a part of it a name of its own, with a block point.")
		return false
	}
	return true
}

// deeper goes into a parenthesis or a call.
func (c *cursor) deeper(open Token) bool {
	c.depth++
	if c.depth > maxDepth {
		c.fail("75", open.Where(), fmt.Sprintf("parentheses stand %d deep, at most %d", c.depth, maxDepth),
			"Give a part of it a name of its own, with a block point.")
		return false
	}
	return true
}

func (c *cursor) factor() (Expr, bool) {
	t := c.peek()
	if !c.node(t) {
		return nil, false
	}
	switch t.Kind {
	case Number:
		a, ok := c.amount()
		l := c.p.room.literals.Next()
		l.Amount = a
		return l, ok
	case Ref:
		return refTo(c.next()), true
	case Open:
		return c.paren()
	case Name:
		c.next()
		if c.is(Open) {
			return c.function(t)
		}
		n := c.p.room.names.Next()
		n.Token = t
		return n, true
	}
	c.noOperand(t)
	return nil, false
}

func refTo(t Token) *RefTo {
	r := &RefTo{Token: t, Station: t, Point: t}
	r.Station.Kind, r.Point.Kind = Name, Name
	slash := strings.IndexByte(t.typed(), '/')
	r.Station.size = uint16(slash)
	r.Point.at, r.Point.size = t.at+uint32(slash+1), t.size-uint16(slash+1)
	return r
}

func (c *cursor) paren() (Expr, bool) {
	p := &Paren{Open: c.next()}
	if !c.deeper(p.Open) {
		return nil, false
	}
	defer func() { c.depth-- }()
	var ok bool
	if p.X, ok = c.formula(); !ok {
		return nil, false
	}
	p.Close, ok = c.shut(p.Open, func() string { return p.X.String() })
	return p, ok
}

// shut reads the ) of that (.
func (c *cursor) shut(open Token, inside func() string) (Token, bool) {
	if c.is(Close) {
		return c.next(), true
	}
	if t := c.peek(); t.Given() && t.Kind != Comma {
		c.noOperator(t)
		return t, false
	}
	c.fail("54", open.Where(), "a parenthesis is not closed", "Add ) after "+inside()+".")
	return Token{}, false
}

func (c *cursor) function(name Token) (Expr, bool) {
	call := c.p.room.calls.Next()
	call.Func, call.Args = name, c.p.room.args.Take(2)[:0]
	open := c.next()
	if !c.deeper(open) {
		return nil, false
	}
	defer func() { c.depth-- }()
	for !c.is(Close) || len(call.Args) > 0 {
		arg, ok := c.argument()
		if !ok {
			return nil, false
		}
		call.Args = append(call.Args, arg)
		if !c.is(Comma) {
			break
		}
		c.next()
	}
	var ok bool
	call.Close, ok = c.shut(open, func() string { return strings.TrimSuffix(call.String(), ")") })
	return call, ok
}

func (c *cursor) argument() (a Argument, ok bool) {
	switch t := c.peek(); {
	case t.Kind == Span || t.Kind == Clock:
		c.clock(t)
		a.Word = c.next()
		return a, true
	case c.word("each"):
		a.Word = c.next()
		if !c.is(Ref) {
			if c.i < len(c.tokens) {
				c.stray(c.peek(), "Behind each a kind and its point are due, for example each bin/temperature.")
			} else {
				c.says(c.peek())
			}
			return a, false
		}
		a.Expr = refTo(c.next())
		return a, true
	}
	if a.Expr, ok = c.formula(); !ok {
		return a, false
	}
	if c.word("ago") {
		a.Word = c.next()
	}
	return a, true
}

// noOperand says what is wrong where a value should stand.
func (c *cursor) noOperand(t Token) {
	switch {
	case !t.Given():
		c.says(t)
	case t.Kind == Word && glued(t.Text()) == "":
		c.noNumberOrName(t)
	case t.Kind == Word:
		c.stray(t, "+ - * / stand between spaces: "+glued(t.Text())+".")
	case t.Kind == Operator && t.Text() == "-" && c.after().Kind == Number:
		c.stray(t, "A number below zero is written without a space: -"+c.after().Text()+".")
	case c.word("not"):
		c.stray(t, "not stands before a comparison, a name or a parenthesis: (not …).")
	case t.Kind == Text:
		c.stray(t, "A text is no value; names stand without quotes.")
	case t.Kind == Stray:
		c.stray(t, "Formulas have no braces, only ( and ).")
	default:
		c.stray(t, "A point, a number with its unit or a parenthesis is due here.")
	}
}

func (c *cursor) noNumberOrName(t Token) {
	if first := strings.TrimPrefix(t.Text(), "-"); first != "" && first[0] >= '0' && first[0] <= '9' {
		c.noNumber(t)
		return
	}
	c.noName(t)
}

// noOperator says what is wrong where an operator or the end should stand.
func (c *cursor) noOperator(t Token) {
	switch {
	case t.Kind == Close:
		c.stray(t, "No ( stands before it.")
	case t.Kind == Number && strings.HasPrefix(t.Text(), "-"):
		c.stray(t, "Minus needs spaces: "+c.last().typed()+" - "+t.Text()[1:]+".")
	case t.Kind == Word && glued(t.Text()) != "":
		c.stray(t, "+ - * / stand between spaces: "+glued(t.Text())+".")
	case t.Kind == Stray:
		c.stray(t, "Formulas have no braces, only ( and ).")
	default:
		c.stray(t, "and, or, a comparison or + - * / is missing before it.")
	}
}

// glued spreads a word that holds an operator without spaces: a*b. "" for other words.
func glued(text string) string {
	i := strings.IndexAny(text, "+*×-/")
	if i <= 0 {
		return ""
	}
	for _, sign := range []string{"*", "×", "+", "/", "-"} {
		x, y, found := strings.Cut(text, sign)
		if found && operand(x) && operand(y) {
			return x + " " + strings.ReplaceAll(sign, "×", "*") + " " + y
		}
	}
	return ""
}

func operand(text string) bool {
	return isName(text) || isRef(text) || isNumber(text)
}

// isFormula tells whether a key's value is one.
func (f form) isFormula() bool {
	return slices.Contains([]form{formFormula, formFormulaBecause, formEvidence}, f)
}
