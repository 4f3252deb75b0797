package syntax

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// value reads what the key takes, to the end of the line.
func (c *cursor) value(l *Line) {
	if v := c.form(); v != nil && !isNil(v) {
		l.Value = v
	}
	c.end()
}

// isNil tells that a reader gave up: a typed nil would be a value to everybody else.
func isNil(v Value) bool {
	switch v := v.(type) {
	case *Texts:
		return v == nil
	case *Amount:
		return v == nil
	case *Formula:
		return v.Expr == nil
	}
	return false
}

func (c *cursor) form() Value {
	switch c.key.form {
	case formText:
		return c.texts()
	case formQuoted:
		return c.one(Text)
	case formPlace:
		return c.one(Name, Ref, Number, Word, Text)
	case formName:
		return c.nameValue()
	case formNumber:
		return c.one(Number)
	case formSpan:
		return c.time(Span)
	case formClock:
		return c.time(Clock)
	case formItems:
		return c.items()
	case formNames:
		list, _ := c.names()
		return &Names{list}
	case formQuantity:
		a, _ := c.quantity()
		return a
	case formAmount:
		a, _ := c.amount()
		return a
	case formPerhaps:
		return c.perhaps()
	case formFlag:
		return c.flag()
	case formBetween:
		return c.between()
	case formBound:
		return c.bound()
	default:
		return c.longForm()
	}
}

// longForm reads the values that hold several things.
func (c *cursor) longForm() Value {
	switch c.key.form {
	case formHours:
		return c.hours()
	case formCall:
		return c.call()
	case formStep:
		return c.step()
	case formDaily:
		d := &Daily{}
		if one := c.time(Clock); one != nil {
			d.At = one.(*One).Token
			d.People, _ = c.people()
		}
		return d
	case formFormula:
		return c.condition()
	case formFormulaBecause:
		f := c.condition()
		if f.Expr != nil {
			c.because() // for whoever reads the file
		}
		return f
	case formDeadband:
		return c.deadband()
	case formEvidence:
		return c.evidence()
	case formGives:
		return c.gives()
	default: // formPart
		if !c.is(Name) {
			c.says(c.peek())
		}
		return &Pieces{c.pieces()}
	}
}

// condition reads a formula as the value of a line.
func (c *cursor) condition() *Formula {
	f, from := c.p.room.formulas.Next(), c.i
	var ok bool
	f.Expr, ok = c.formula()
	f.asPrinted = ok && c.asPrinted(c.tokens[from:c.i])
	return f
}

// asPrinted tells of the words of a formula whether they stand as they are printed, one space between them where one belongs.
func (c *cursor) asPrinted(words []lexeme) bool {
	text := c.p.file.Text
	for i := range words {
		w := &words[i]
		switch w.Kind {
		case Name, Keyword:
			if w.as != asSmall {
				return false
			}
		case Number, Relation, Operator, Comma, Open, Close, Clock, Span:
			if w.as != asTyped {
				return false
			}
		case Unit:
			if typed := text[w.at:w.end()]; w.as != asTyped || printedUnit(typed) != typed {
				return false
			}
		default:
			return false
		}
		if i == 0 {
			continue
		}
		before := &words[i-1]
		spaced := before.Kind != Open && w.Kind != Comma && w.Kind != Close && !(w.Kind == Open && before.Kind == Name)
		if between := text[before.end():w.at]; spaced && between != " " || !spaced && between != "" {
			return false
		}
	}
	return true
}

// one reads a single token of one of the kinds.
func (c *cursor) one(kinds ...Kind) Value {
	t := c.peek()
	if !slices.Contains(kinds, t.Kind) {
		c.says(t)
		return nil
	}
	return c.newOne(c.next())
}

func (c *cursor) newOne(t Token) *One {
	one := c.p.room.ones.Next()
	one.Token = t
	return one
}

// nameValue reads one name. Where a secret stands instead of the name of a credential, that is said.
func (c *cursor) nameValue() Value {
	t := c.peek()
	if c.key.Name == "credential" && (t.Kind == Word || t.Kind == Text) {
		c.fail("26", t.Where(), "this looks like the secret itself",
			"Secrets never stand in this file. Keep it as a credential and write: credential "+c.key.Example()+".")
	}
	t, ok := c.oneName()
	if !ok {
		return nil
	}
	return c.newOne(t)
}

// time reads a time of day or hours.
func (c *cursor) time(kind Kind) Value {
	t := c.peek()
	if t.Kind != kind {
		c.says(t)
		return nil
	}
	c.clock(t)
	return c.newOne(c.next())
}

// clock refuses a time of day that is none, and hours of no length.
func (c *cursor) clock(t Token) {
	from, to, isSpan := strings.Cut(t.Text(), "-")
	for _, text := range []string{from, to} {
		if _, ok := Minutes(text); !ok && text != "" {
			c.fail("70", t.Where(), t.Text()+" is no time of day", "Hours go from 00:00 to 24:00, for example 18:00-08:00.")
			return
		}
	}
	a, _ := Minutes(from)
	if b, _ := Minutes(to); isSpan && a == b {
		c.fail("71", t.Where(), t.Text()+" begins and ends at the same time", "Write always, or 00:00-24:00 for the whole day.")
	}
}

// Minutes after midnight of a time of day from 00:00 to 24:00.
func Minutes(clock string) (int, bool) {
	hour, minute, found := strings.Cut(clock, ":")
	h, errHour := strconv.Atoi(hour)
	m, errMinute := strconv.Atoi(minute)
	if !found || errHour != nil || errMinute != nil || h < 0 || m < 0 || m > 59 || h*60+m > 24*60 {
		return 0, false
	}
	return h*60 + m, true
}

// length refuses texts that are too long.
func (c *cursor) length(t *Texts) {
	most := maxText
	if c.key.Name == "title" {
		most = maxTitle
	}
	if len(t.Value) <= most {
		return // a letter has one byte or more
	}
	if n := utf8.RuneCountInString(t.Value); n > most {
		c.fail("75", t.Where(), fmt.Sprintf("%s has %d characters, at most %d", c.name(), n, most), "Say it shorter: people read it standing.")
	}
}

// amount reads a number with or without its unit.
func (c *cursor) amount() (*Amount, bool) {
	t := c.peek()
	if t.Kind != Number {
		c.noNumber(t)
		return nil, false
	}
	a := c.p.room.amounts.Next()
	a.Measures = a.one[:]
	for m := &a.one[0]; ; m = &a.Measures[len(a.Measures)-1] {
		if c.measure(m); !c.measuresOn(m) {
			return a, true
		}
		a.Measures = append(a.Measures, Measure{})
	}
}

// measure reads a number and what may be its unit.
func (c *cursor) measure(m *Measure) {
	m.Number = c.next()
	if c.is(Unit) {
		m.Unit = c.next()
	} else if u := c.peek(); u.Kind == Name && c.unitDue() || u.Kind == Word && !strings.ContainsAny(u.Text(), "*+<>=") {
		m.Unit = c.next() // unknown: which units would fit is the checker's to say
	}
}

// measuresOn tells whether another measure follows: 1 h 30 min.
func (c *cursor) measuresOn(m *Measure) bool {
	return c.is(Number) && m.Unit.Given() && isTime(printedUnit(m.Unit.Text())) && c.after().Kind == Unit && isTime(printedUnit(c.after().Text()))
}

// unitDue tells whether the name behind a number can only be a unit that is none.
func (c *cursor) unitDue() bool {
	if c.key.form == formStep {
		return c.after().Kind == Name // else it is whom to call
	}
	return c.after().Kind != Open
}

// noNumber says why a token is no number.
func (c *cursor) noNumber(t Token) {
	if t.Kind == Word && strings.IndexFunc(strings.TrimPrefix(t.Text(), "-"), func(r rune) bool { return r >= '0' && r <= '9' }) == 0 {
		c.fail("8", t.Where(), t.typed()+" is not a number",
			"Plain digits with a point as decimal mark, for example 1200 or 0.5; no exponents, no thousands marks.")
		return
	}
	c.says(t)
}

// quantity reads a number that must have its unit.
func (c *cursor) quantity() (*Amount, bool) {
	a, ok := c.amount()
	if !ok || !a.Plain() {
		return a, ok
	}
	n := a.Measures[0].Number
	if c.key.Time {
		write := n.Text() + " s or " + n.Text() + " min"
		if strings.HasSuffix(c.key.Example(), " d") {
			write = n.Text() + " d"
		}
		c.fail("5", n.Where(), n.Text()+" has no unit", c.key.Name+" is a time. Write "+write+".")
	} else {
		c.says(n)
	}
	return a, false
}

func (c *cursor) perhaps() Value {
	if c.word("no") {
		return &Perhaps{No: c.next()}
	}
	a, ok := c.quantity()
	if !ok {
		return nil
	}
	return &Perhaps{Amount: a}
}

func (c *cursor) flag() Value {
	if c.word("yes") || c.word("no") {
		t := c.next()
		return &Flag{Yes: t.Word() == "yes", Word: t}
	}
	c.says(c.peek())
	return nil
}

// between reads LOW .. HIGH. A low end without a unit takes that of the high one.
func (c *cursor) between() Value {
	low, ok := c.amount()
	if !ok {
		return nil
	}
	if !c.is(To) {
		c.says(c.peek())
		return nil
	}
	c.next()
	high, ok := c.amount()
	if !ok {
		return nil
	}
	return &Between{Low: low, High: high}
}

func (c *cursor) bound() Value {
	if c.is(Name) {
		return &Bound{Name: c.next()}
	}
	a, ok := c.amount()
	if !ok {
		return nil
	}
	return &Bound{Amount: a}
}

func (c *cursor) items() Value {
	var list []Token
	for {
		if !c.is(Name) && !c.is(Word) {
			c.says(c.peek())
			return nil
		}
		list = append(list, c.next())
		if !c.is(Comma) {
			return &Names{list}
		}
		c.next()
	}
}

func (c *cursor) hours() Value {
	if c.word("always") {
		return &Hours{Always: c.next()}
	}
	one := c.time(Span)
	if one == nil {
		return nil
	}
	h := &Hours{Span: one.(*One).Token}
	switch {
	case c.word("every"):
		h.Every = c.next()
		if !c.expect("day") {
			return nil
		}
	case c.i < len(c.tokens):
		if !c.is(Name) {
			return h // the end says that it is too much
		}
		days, ok := c.names()
		if !ok {
			return nil
		}
		h.Days = days
	}
	return h
}

// people reads NAMES [ by NAMES ].
func (c *cursor) people() (People, bool) {
	var p People
	var ok bool
	if p.Names, ok = c.names(); !ok {
		return p, false
	}
	if c.word("by") {
		c.next()
		p.By, ok = c.names()
	}
	return p, ok
}

// step reads QUANTITY people.
func (c *cursor) step() Value {
	a, ok := c.quantity()
	if !ok {
		return nil
	}
	p, ok := c.people()
	if !ok {
		return nil
	}
	return &Step{After: a, People: p}
}

// call reads people, and steps behind semicolons, which become lines of their own.
func (c *cursor) call() Value {
	p, ok := c.people()
	if !ok {
		return nil
	}
	first := &p
	for c.is(Semicolon) {
		c.next()
		if !c.word("after") {
			c.says(c.peek())
			return first
		}
		l := &Line{Key: c.next(), key: factsOf("watch").key("after")}
		from := c.i
		own, steps := c.key, cursor{p: c.p, tokens: c.tokens, i: c.i, facts: c.facts, block: c.block, kept: c.kept, failed: c.failed}
		steps.key = l.key
		v := steps.step()
		c.i, c.failed, c.key = steps.i, steps.failed, own
		if v != nil {
			l.Value = v
		}
		tokens := c.keep(from)
		l.tokens, l.Refused = &tokens, c.failed
		c.block.add(l, l.key.Name)
		if v == nil {
			return first
		}
	}
	return first
}

func (c *cursor) deadband() Value {
	if c.word("none") {
		return &Deadband{None: c.next()}
	}
	d := c.p.room.deadbands.Next()
	d.Amounts = c.p.room.pointers.Take(2)[:0]
	for {
		a, ok := c.amount()
		if !ok {
			return nil
		}
		d.Amounts = append(d.Amounts, a)
		if !c.is(Comma) {
			return d
		}
		c.next()
	}
}

func (c *cursor) evidence() Value {
	e := &Evidence{}
	for {
		item := EvidenceItem{}
		if c.is(Text) {
			item.Texts = c.texts()
		} else {
			x, ok := c.formula()
			if !ok {
				return nil
			}
			item.Expr = x
		}
		e.Items = append(e.Items, item)
		if !c.is(Comma) {
			return e
		}
		c.next()
	}
}

func (c *cursor) gives() Value {
	g := &Gives{}
	var ok bool
	if g.Points, ok = c.names(); !ok || !c.expect("at") {
		return nil
	}
	if g.Station, ok = c.oneName(); !ok {
		return nil
	}
	if c.word("as") {
		c.next()
		if g.As, ok = c.oneName(); !ok {
			return nil
		}
	}
	return g
}

// pieces reads the tokens of a declared line, as far as such a line can have them.
func (c *cursor) pieces() []Token {
	from := c.i
	for c.i < len(c.tokens) {
		switch c.peek().Kind {
		case Name, Keyword, Ref, Number, Unit, Clock, Word, Text, Comma, To:
			c.next()
		default:
			c.stray(c.peek(), "A word with marks in it is put in quotes.")
			return c.keep(from)
		}
	}
	return c.keep(from)
}
