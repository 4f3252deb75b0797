package check

import (
	"slices"
	"strings"

	"millwarden/internal/diag"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
	"millwarden/rules/syntax"
)

// matcher reads the tokens of one line by its declared pattern, with one token of foresight.
type matcher struct {
	c       *checker
	name    string         // as messages call the line: "loop", "part sht4x"
	owner   string         // whose slot: "loop", "sht4x"
	key     syntax.Token   // marked where nothing follows it
	tokens  []syntax.Token //
	at      int
	written string           // the pattern with its key, for "It is written"
	wants   []units.Quantity // what a unit of several meanings is taken for
	slots   []phrase.Slot
	found   []found
	failed  bool
}

// found is a slot whose meaning is checked by those who know the floor.
type found struct {
	element *phrase.Element
	token   syntax.Token
	amount  *syntax.Amount
	index   int // of the slot
}

// matchLine reads a whole line; ok is false if something was said.
func (m *matcher) matchLine(p phrase.Pattern) bool {
	m.sequence(p)
	if !m.failed && m.at < len(m.tokens) {
		m.surplus()
	}
	return !m.failed
}

func (m *matcher) surplus() {
	m.failed = true
	rest := m.tokens[m.at:]
	if m.at == 0 {
		m.c.say("19", rest[0].Where(), facts{"x": rest[0].Text(), "key": m.name, "y": m.name})
		return
	}
	m.c.say("19", rest[0].Where(), facts{"x": rest[0].Text(), "key": m.name, "y": joined(m.tokens[:m.at])})
}

// joined writes tokens with one space between them.
func joined(tokens []syntax.Token) string {
	var parts []string
	for _, t := range tokens {
		parts = append(parts, t.Text())
	}
	return strings.Join(parts, " ")
}

func (m *matcher) peek() syntax.Token {
	if m.at < len(m.tokens) {
		return m.tokens[m.at]
	}
	return syntax.Token{}
}

func (m *matcher) sequence(p phrase.Pattern) {
	for i := range p {
		if m.failed {
			return
		}
		m.element(&p[i])
	}
}

func (m *matcher) element(e *phrase.Element) {
	switch e.Kind {
	case phrase.Optional:
		if !begins(e.Inner, m.peek()) {
			m.slots = append(m.slots, left(phrase.Pattern{*e})...)
			return
		}
		if e.Bare() {
			from := m.at
			m.sequence(e.Inner)
			m.slots = append(m.slots, phrase.Slot{Given: true, Text: joined(m.tokens[from:m.at])})
			return
		}
		m.sequence(e.Inner)
	case phrase.Repeat:
		for !m.failed && begins(e.Inner, m.peek()) {
			m.sequence(e.Inner)
		}
	case phrase.Choice:
		m.choice(e)
	case phrase.Word:
		if !fits(e, m.peek()) {
			m.misfit()
			return
		}
		m.at++
	case phrase.SlotOf:
		m.slot(e)
	}
}

func (m *matcher) choice(e *phrase.Element) {
	chosen := -1
	for _, wordsFirst := range []bool{true, false} {
		for i, o := range e.Options {
			if chosen < 0 && (o[0].Kind == phrase.Word) == wordsFirst && begins(o, m.peek()) {
				chosen = i
			}
		}
	}
	if chosen < 0 {
		m.misfit()
		return
	}
	index, from := len(m.slots), m.at
	m.slots = append(m.slots, phrase.Slot{Given: true})
	for i, o := range e.Options {
		if i == chosen {
			m.sequence(o)
		} else {
			m.slots = append(m.slots, empty(o)...)
		}
	}
	m.slots[index].Text = chosenText(e.Options[chosen], m.tokens[from:min(m.at, len(m.tokens))])
}

// chosenText is the printed form of a choice: words alone as declared ("K", not "k"), else as typed.
func chosenText(o phrase.Pattern, typed []syntax.Token) string {
	var words []string
	for i := range o {
		if o[i].Kind != phrase.Word {
			return joined(typed)
		}
		words = append(words, o[i].Text)
	}
	return strings.Join(words, " ")
}

// misfit says that the next token does not fit, or that there is none.
func (m *matcher) misfit() {
	m.failed = true
	if m.at < len(m.tokens) {
		t := m.tokens[m.at]
		m.c.say("78", t.Where(), facts{"x": t.Text(), "key": m.name, "pattern": m.written})
		return
	}
	m.c.say("27", m.lastPiece(), facts{"key": m.name, "pattern": m.written})
}

// lastPiece is the place of the last word, a number together with its unit.
func (m *matcher) lastPiece() diag.Range {
	n := len(m.tokens)
	if n == 0 {
		return m.key.Where()
	}
	last := m.tokens[n-1].Where()
	if m.tokens[n-1].Kind == syntax.Unit && n > 1 {
		number := m.tokens[n-2].Where()
		number.Width = last.Column + last.Width - number.Column
		return number
	}
	return last
}

// begins tells whether a pattern may begin with the token.
func begins(p phrase.Pattern, t syntax.Token) bool {
	for i := range p {
		e := &p[i]
		switch e.Kind {
		case phrase.Optional, phrase.Repeat:
			if begins(e.Inner, t) {
				return true
			}
			continue
		case phrase.Choice:
			return slices.ContainsFunc(e.Options, func(o phrase.Pattern) bool { return begins(o, t) })
		}
		return fits(e, t)
	}
	return false
}

// fits tells whether a token can stand for a word or in a slot.
func fits(e *phrase.Element, t syntax.Token) bool {
	if e.Kind == phrase.Word {
		return t.Given() && t.Kind != syntax.Text && t.Word() == strings.ToLower(e.Text)
	}
	switch e.Text {
	case "TEXT":
		return t.Kind == syntax.Text
	case "ADDRESS":
		return t.Kind == syntax.Number || strings.HasPrefix(t.Word(), "0x")
	case "POINT":
		return t.Kind == syntax.Ref
	case "PATH", "HOST", "TOPIC", "ID", "MAIL", "URL", "CREDENTIAL":
		switch t.Kind {
		case syntax.Name, syntax.Word, syntax.Ref, syntax.Text, syntax.Number, syntax.Keyword:
			return true
		}
		return false
	case "NAME", "PERSON", "CHANNEL", "STATION", "BUS", "I2C", "SPI", "GPIO", "IIO", "HWMON":
		return t.Kind == syntax.Name
	default:
		return t.Kind == syntax.Number
	}
}

func (m *matcher) slot(e *phrase.Element) {
	t := m.peek()
	if !fits(e, t) {
		m.misfit()
		return
	}
	m.at++
	s := phrase.Slot{Given: true, Text: t.Text()}
	switch {
	case e.Text == "ADDRESS":
		m.address(e, t, &s)
	case e.Text == "NUMBER":
		n, ok := m.c.number(t)
		m.failed = m.failed || !ok
		s.Amount = units.Amount{Value: n, Quantity: units.Count}
		m.bounds(e, t.Where(), n)
	case e.Text == "AMOUNT" || e.Text == "ANY" || e.Quantity() != units.None:
		m.amount(e, t, &s)
	default:
		if t.Kind == syntax.Name {
			s.Text = t.Word()
		}
		m.found = append(m.found, found{element: e, token: t, index: len(m.slots)})
	}
	m.slots = append(m.slots, s)
}

func (m *matcher) address(e *phrase.Element, t syntax.Token, s *phrase.Slot) {
	n, ok := hexNumber(t.Word())
	if !ok {
		m.failed = true
		m.c.say("78", t.Where(), facts{"x": t.Text(), "key": m.name, "pattern": m.written})
		return
	}
	s.Text = t.Word()
	s.Amount = units.Amount{Value: n, Quantity: units.Count}
	m.bounds(e, t.Where(), n)
}

func hexNumber(text string) (float64, bool) {
	digits, hex := strings.CutPrefix(text, "0x")
	n := 0.0
	if digits == "" || len(digits) > 8 {
		return 0, false
	}
	for _, r := range digits {
		v := strings.IndexRune("0123456789abcdef", r)
		if v < 0 || (!hex && v > 9) {
			return 0, false
		}
		if hex {
			n = n*16 + float64(v)
		} else {
			n = n*10 + float64(v)
		}
	}
	return n, true
}

// bounds says 18 for a value beyond the slot's ends.
func (m *matcher) bounds(e *phrase.Element, at diag.Range, value float64) {
	if !e.Bounded || m.failed || value >= e.Least.Value && value <= e.Greatest.Value {
		return
	}
	m.failed = true
	least, greatest, _ := strings.Cut(e.Bounds, " .. ")
	if q := e.Quantity(); q != units.Count && q != units.None {
		least, greatest = printedUnits(least), printedUnits(greatest)
	}
	m.c.say("18", at, facts{"key": "the " + strings.ToLower(e.Text) + " of " + m.owner, "least": least, "greatest": greatest,
		"meaning": "It is written: " + m.written + "."})
}

// printedUnits writes a declared bound as the formatter would: "10 ohm" is "10 Ω".
func printedUnits(bound string) string {
	number, unit, _ := strings.Cut(bound, " ")
	if meant := units.Lookup(unit); len(meant) > 0 {
		unit = meant[0].Printed
	}
	return number + " " + unit
}

// amount reads a number with its unit.
func (m *matcher) amount(e *phrase.Element, t syntax.Token, s *phrase.Slot) {
	a := &syntax.Amount{Measures: []syntax.Measure{{Number: t}}}
	want := e.Quantity()
	if next := m.peek(); next.Kind == syntax.Unit && (want != units.None || len(units.Lookup(next.Text())) > 0) {
		a.Measures[0].Unit = next
		m.at++
		for want == units.Duration && m.peek().Kind == syntax.Number && m.at+1 < len(m.tokens) && m.tokens[m.at+1].Kind == syntax.Unit {
			a.Measures = append(a.Measures, syntax.Measure{Number: m.tokens[m.at], Unit: m.tokens[m.at+1]})
			m.at += 2
		}
	}
	s.Text = a.String()
	if want != units.None {
		value, ok := m.c.convert(a, want, m.owner)
		m.failed = m.failed || !ok
		s.Amount = units.Amount{Value: value, Quantity: want}
		m.bounds(e, a.Where(), value)
		return
	}
	n, ok := m.c.number(t)
	m.failed = m.failed || !ok
	unit := a.Measures[0].Unit.Text()
	if unit == "" {
		unit = m.unitAhead()
	}
	u, ok := m.chooseUnit(unit)
	if !ok {
		s.Amount = units.Amount{Value: n, Quantity: units.Count}
		return
	}
	s.Unit = u.Printed
	s.Amount = units.Amount{Value: u.ToBase(n), Quantity: u.Quantity}
	if e.Text == "AMOUNT" {
		s.Amount.Value = n * u.Scale // what one count is worth, without the shift of °F
	}
	m.found = append(m.found, found{element: e, amount: a, index: len(m.slots)})
}

// unitAhead is the unit of the high end in "0 .. 20 %wb".
func (m *matcher) unitAhead() string {
	if m.at+2 < len(m.tokens) && m.tokens[m.at].Kind == syntax.To && m.tokens[m.at+1].Kind == syntax.Number && m.tokens[m.at+2].Kind == syntax.Unit {
		return m.tokens[m.at+2].Text()
	}
	return ""
}

// chooseUnit takes the meaning of a unit that is wanted, else its first.
func (m *matcher) chooseUnit(text string) (units.Unit, bool) {
	for _, q := range m.wants {
		if u, ok := units.Choose(text, q); ok {
			return u, true
		}
	}
	if meant := units.Lookup(text); len(meant) > 0 {
		return meant[0], true
	}
	return units.Unit{}, false
}

// left gives the slots of what was left out, with their defaults.
func left(p phrase.Pattern) []phrase.Slot {
	var slots []phrase.Slot
	for i := range p {
		switch e := &p[i]; e.Kind {
		case phrase.Optional:
			if e.Bare() {
				slots = append(slots, phrase.Slot{})
			} else {
				slots = append(slots, left(e.Inner)...)
			}
		case phrase.Choice:
			slots = append(slots, phrase.Slot{Text: chosenText(e.Options[0], nil)})
			for _, o := range e.Options {
				slots = append(slots, empty(o)...)
			}
		case phrase.SlotOf:
			s := phrase.Slot{}
			if e.Default != nil {
				s.Amount, s.Text = *e.Default, e.Printed
			}
			slots = append(slots, s)
		}
	}
	return slots
}

// empty gives the slots of an option that was not chosen.
func empty(p phrase.Pattern) []phrase.Slot {
	slots := left(p)
	for i := range slots {
		slots[i] = phrase.Slot{}
	}
	return slots
}

// hasDefault tells whether a line that was left out has a meaning all the same.
func hasDefault(p phrase.Pattern) bool {
	needs := false
	for i := range p {
		switch e := &p[i]; e.Kind {
		case phrase.SlotOf:
			if e.Default == nil {
				return false
			}
			needs = true
		case phrase.Choice:
			needs = true
		case phrase.Word:
			return false
		}
	}
	return needs
}
