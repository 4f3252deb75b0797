package syntax

import "strings"

// String is the amount in the one layout: numbers as typed, one space, the printed unit.
func (a *Amount) String() string {
	var b strings.Builder
	for i, m := range a.Measures {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(m.Number.Text)
		if m.Unit.Given() {
			b.WriteString(" " + printedUnit(m.Unit.Text))
		}
	}
	return b.String()
}

func (n *NameOf) String() string { return n.Word() }
func (r *RefTo) String() string  { return r.Word() }
func (p *Paren) String() string  { return "(" + p.X.String() + ")" }
func (n *Not) String() string    { return "not " + n.X.String() }
func (b *Binary) String() string { return b.X.String() + " " + b.Op.Text + " " + b.Y.String() }

func (i *Is) String() string {
	if i.Not.Given() {
		return i.X.String() + " is not " + i.State.Word()
	}
	return i.X.String() + " is " + i.State.Word()
}

func (j *Junction) String() string {
	word := " or "
	if j.And {
		word = " and "
	}
	var terms []string
	for _, t := range j.Terms {
		terms = append(terms, t.String())
	}
	return strings.Join(terms, word)
}

func (c *Call) String() string {
	var args []string
	for _, a := range c.Args {
		args = append(args, a.String())
	}
	return c.Func.Word() + "(" + strings.Join(args, ", ") + ")"
}

// String is the argument in the one layout.
func (a Argument) String() string {
	switch {
	case a.Time.Given():
		return a.Time.Text
	case a.Each.Given():
		return "each " + a.Expr.String()
	case a.Ago.Given():
		return a.Expr.String() + " ago"
	default:
		return a.Expr.String()
	}
}
