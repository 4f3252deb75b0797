package check

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"millwarden/internal/diag"
	"millwarden/internal/units"
	"millwarden/rules/syntax"
)

// keyOf is what the language says about the key of a line.
func keyOf(l *syntax.Line) *syntax.Key {
	if k := l.Facts(); k != nil {
		return k
	}
	return &syntax.Key{}
}

// valueWord is the single word behind a key, small; "" if there is none.
func valueWord(l *syntax.Line) string {
	switch v := l.Value.(type) {
	case *syntax.One:
		return v.Word()
	case syntax.One:
		return v.Word()
	case *syntax.Flag:
		return v.Word.Word()
	}
	return ""
}

// valueToken is the single token behind a key.
func valueToken(l *syntax.Line) (syntax.Token, bool) {
	switch v := l.Value.(type) {
	case *syntax.One:
		return v.Token, true
	case syntax.One:
		return v.Token, true
	case *syntax.Texts:
		if len(v.Pieces) == 1 {
			return v.Pieces[0], true
		}
	}
	return syntax.Token{}, false
}

// wrong is message 17: the key's own words on what it needs.
func (c *checker) wrong(l *syntax.Line, at diag.Range, before string) {
	k := keyOf(l)
	c.say("17", at, facts{"key": l.Key.Word(), "says when wrong": k.Says, "meaning": before + k.Sentence()})
}

// parsed reads a bound of the tables: "5 min", "-400 m", "0.5".
func parsed(text string, q units.Quantity) float64 {
	a, err := units.Parse(text, q)
	if err != nil {
		panic("check: table of keys: " + err.Error()) // a fault of this package, found by its own tests
	}
	return a.Value
}

// ends are the least and the greatest that a key takes, in base units.
type ends struct{ low, high float64 }

// endsOf reads them once.
func (c *checker) endsOf(k *syntax.Key, q units.Quantity) ends {
	e, known := c.ends[k]
	if !known {
		e = ends{parsed(k.Least, q), parsed(k.Most, q)}
		c.ends[k] = e
	}
	return e
}

// placed is what stands somewhere in a file. Where it is asked only once something is said about it.
type placed interface{ Where() diag.Range }

// inside says 18 if the value lies beyond the key's ends.
func (c *checker) inside(l *syntax.Line, at placed, value float64, q units.Quantity) bool {
	k := keyOf(l)
	if k.Least == "" {
		return true
	}
	if e := c.endsOf(k, q); value < e.low || value > e.high {
		c.say("18", at.Where(), facts{"key": l.Key.Word(), "least": k.Least, "greatest": k.Most, "meaning": k.Sentence()})
		return false
	}
	return true
}

// amountOf is the amount behind a key, whichever form it has.
func amountOf(l *syntax.Line) *syntax.Amount {
	switch v := l.Value.(type) {
	case *syntax.Amount:
		return v
	case *syntax.Perhaps:
		return v.Amount
	case *syntax.Bound:
		return v.Amount
	}
	return nil
}

// duration reads the time behind a key; given is false where it does not stand or is wrong.
func (c *checker) duration(b *block, name string) (d time.Duration, given bool) {
	l := line(b, name)
	if l == nil {
		return 0, false
	}
	a := amountOf(l)
	if a == nil {
		return 0, false
	}
	return c.time(l, a)
}

// time reads an amount that must be a time.
func (c *checker) time(l *syntax.Line, a *syntax.Amount) (time.Duration, bool) {
	key := l.Key.Word()
	if a.Plain() {
		n := a.Measures[0].Number.Text()
		y := n + " s or " + n + " min"
		if strings.HasSuffix(keyOf(l).Example(), " d") {
			y = n + " h or " + n + " d"
		}
		c.say("5", a.Where(), facts{"x": n, "what": key, "quantity": "a time", "y": y})
		return 0, false
	}
	value, ok := c.convert(a, units.Duration, key)
	if !ok || !c.inside(l, a, value, units.Duration) {
		return 0, false
	}
	return seconds(value), true
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// convert brings an amount with units into the base unit of the quantity that key needs, or says why not.
func (c *checker) convert(a *syntax.Amount, want units.Quantity, key string) (float64, bool) {
	total := 0.0
	for _, m := range a.Measures {
		n, ok := c.number(m.Number)
		if !ok {
			return 0, false
		}
		if !m.Unit.Given() {
			if !takesPlain(want) {
				c.say("5", m.Number.Where(), facts{"x": m.Number.Text(), "y": withUnit(m.Number.Text(), want)})
				return 0, false
			}
			total += n
			continue
		}
		u, ok := units.Choose(m.Unit.Text(), want)
		if !ok {
			c.wrongUnit(a, m, want, key)
			return 0, false
		}
		total += u.ToBase(n)
	}
	return total, true
}

// wrongUnit says why a unit does not fit.
func (c *checker) wrongUnit(a *syntax.Amount, m syntax.Measure, want units.Quantity, key string) {
	meant := units.Lookup(m.Unit.Text())
	switch {
	case len(meant) == 0:
		c.unknownUnit(m.Unit, want)
	case want == units.Duration && meant[0].Quantity == units.Length && m.Unit.Text() == "m":
		c.say("6", a.Where(), facts{"x": source(a), "key": key, "y": m.Number.Text() + " min"})
	default:
		c.say("79", a.Where(), facts{"x": source(a), "qb": meant[0].Quantity.Article(), "key": key, "qa": want.Article(), "y": example(want)})
	}
}

// unknownUnit is message 4.
func (c *checker) unknownUnit(unit syntax.Token, want units.Quantity) {
	known := units.Of(want)
	c.say("4", unit.Where(), facts{"x": unit.Text(), "near": near(unit.Text(), known), "quantity": want.String(), "list": unitList(want)})
}

// unitList names the units of a quantity for message 4.
func unitList(q units.Quantity) string {
	if q == units.Temperature || q == units.Difference {
		return "°C (or C), °F (or F), and K for differences"
	}
	if list := units.Of(q); len(list) > 0 {
		return strings.Join(list, ", ")
	}
	return "none, it is a plain number"
}

// source is an amount as it was typed: "5m" stays "5m".
func source(a *syntax.Amount) string {
	var b strings.Builder
	for i, m := range a.Measures {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(m.Number.Text())
		if m.Unit.Given() {
			if !m.Number.Touches(m.Unit) {
				b.WriteByte(' ')
			}
			b.WriteString(m.Unit.Text())
		}
	}
	return b.String()
}

func (c *checker) number(t syntax.Token) (float64, bool) {
	n, err := units.ParseNumber(t.Text())
	if err != nil {
		c.say("8", t.Where(), facts{"x": t.Text()})
		return 0, false
	}
	return n, true
}

// takesPlain tells which quantities may be written without a unit.
func takesPlain(q units.Quantity) bool {
	return q == units.Count || q == units.PH || q == units.WaterActivity
}

// withUnit writes a bare number with the units it may have.
func withUnit(number string, q units.Quantity) string {
	switch {
	case q == units.Duration:
		return number + " min"
	case q == units.Temperature:
		y := number + " °C"
		if n, err := strconv.ParseFloat(number, 64); err == nil {
			y += " or " + strconv.FormatFloat(units.Celsius(n).Fahrenheit(), 'f', -1, 64) + " °F"
		}
		return y
	case q == units.Moisture:
		return number + " %wb or " + number + " %db"
	}
	if list := units.Of(q); len(list) > 0 {
		return number + " " + list[0]
	}
	return number
}

// example is an amount of a quantity as people write it.
func example(q units.Quantity) string {
	if q == units.Temperature {
		return "60 °C"
	}
	return units.Example(q)
}

// printed prints a value as people would write it in a rules file: "45 °C", "4.2 pH", "5 min".
func printed(value float64, q units.Quantity) string {
	if q == units.Duration {
		return printedTime(value)
	}
	list := units.Of(q)
	if len(list) == 0 {
		return trimmed(value)
	}
	u, _ := units.Choose(list[0], q)
	return trimmed(u.FromBase(value)) + " " + list[0]
}

func trimmed(value float64) string {
	return strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(value, 'f', 4, 64), "0"), ".")
}

// printedTime takes the largest unit that leaves a whole number: "90 min", "2 d", "500 ms".
func printedTime(s float64) string {
	for _, u := range []struct {
		scale float64
		name  string
	}{{86400, "d"}, {3600, "h"}, {60, "min"}, {1, "s"}} {
		if n := s / u.scale; s != 0 && n == float64(int64(n)) {
			return trimmed(n) + " " + u.name
		}
	}
	if s == 0 {
		return "0 s"
	}
	return trimmed(s*1000) + " ms"
}

// perhaps reads a duration or no.
func (c *checker) perhaps(b *block, name string) Perhaps {
	l := line(b, name)
	if l == nil {
		return Perhaps{}
	}
	if p, ok := l.Value.(*syntax.Perhaps); ok && p.Amount == nil {
		return Perhaps{Given: true}
	}
	d, ok := c.duration(b, name)
	return Perhaps{Given: ok, For: d}
}

// flag reads yes or no.
func flag(b *block, name string, without bool) bool {
	if l := line(b, name); l != nil {
		if f, ok := l.Value.(*syntax.Flag); ok {
			return f.Yes
		}
	}
	return without
}

// word reads one of a few words.
func (c *checker) word(b *block, name string, list []string, without string) string {
	l := line(b, name)
	if l == nil {
		return without
	}
	t, ok := valueToken(l)
	if !ok {
		return without
	}
	if !slices.Contains(list, t.Word()) {
		c.say("20", t.Where(), facts{"x": t.Text(), "list": strings.Join(list, ", "), "near": near(t.Word(), list),
			"meaning": keyOf(l).Sentence()})
		return without
	}
	return t.Word()
}

// namesOf are the tokens of a list behind a key.
func namesOf(l *syntax.Line) []syntax.Token {
	if l == nil {
		return nil
	}
	switch v := l.Value.(type) {
	case *syntax.Names:
		return v.List
	case *syntax.One:
		return []syntax.Token{v.Token}
	}
	return nil
}

func wordsOf(tokens []syntax.Token) []string {
	words := make([]string, 0, len(tokens))
	for _, t := range tokens {
		words = append(words, t.Word())
	}
	return words
}
