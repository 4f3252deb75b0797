package syntax

// Append puts x behind b, in the one layout, on one line.
func Append(b []byte, x Expr) []byte { return x.append(b) }

// AsPrinted tells whether the formula stands in the file as it is printed. Then so do all its parts.
func (f *Formula) AsPrinted() bool { return f.asPrinted }

// Typed is x as it stands in the file, from its first word to its last.
func Typed(x Expr) string {
	first := x.first()
	return first.file.Text[first.at:x.last().end()]
}

func printed(x interface{ append(b []byte) []byte }) string { return string(x.append(nil)) }

// String is the amount in the one layout: numbers as typed, one space, the printed unit.
func (a *Amount) String() string { return printed(a) }

func (n *NameOf) String() string   { return n.Word() }
func (r *RefTo) String() string    { return r.Word() }
func (p *Paren) String() string    { return printed(p) }
func (n *Not) String() string      { return printed(n) }
func (b *Binary) String() string   { return printed(b) }
func (i *Is) String() string       { return printed(i) }
func (j *Junction) String() string { return printed(j) }
func (c *Call) String() string     { return printed(c) }

// String is the argument in the one layout.
func (a Argument) String() string { return printed(a) }

func (a *Amount) append(b []byte) []byte {
	for i := range a.Measures {
		m := &a.Measures[i]
		if i > 0 {
			b = append(b, ' ')
		}
		b = append(b, m.Number.Text()...)
		if m.Unit.Given() {
			b = append(append(b, ' '), printedUnit(m.Unit.Text())...)
		}
	}
	return b
}

func (n *NameOf) append(b []byte) []byte { return append(b, n.Word()...) }
func (r *RefTo) append(b []byte) []byte  { return append(b, r.Word()...) }
func (p *Paren) append(b []byte) []byte  { return append(p.X.append(append(b, '(')), ')') }
func (n *Not) append(b []byte) []byte    { return n.X.append(append(b, "not "...)) }

func (x *Binary) append(b []byte) []byte {
	b = append(append(x.X.append(b), ' '), x.Op.Text()...)
	return x.Y.append(append(b, ' '))
}

func (i *Is) append(b []byte) []byte {
	b = append(i.X.append(b), " is "...)
	if i.Not.Given() {
		b = append(b, "not "...)
	}
	return append(b, i.State.Word()...)
}

func (j *Junction) append(b []byte) []byte {
	word := " or "
	if j.And {
		word = " and "
	}
	for i, t := range j.Terms {
		if i > 0 {
			b = append(b, word...)
		}
		b = t.append(b)
	}
	return b
}

func (c *Call) append(b []byte) []byte {
	b = append(append(b, c.Func.Word()...), '(')
	for i := range c.Args {
		if i > 0 {
			b = append(b, ", "...)
		}
		b = c.Args[i].append(b)
	}
	return append(b, ')')
}

func (a Argument) append(b []byte) []byte {
	switch {
	case a.IsTime():
		return append(b, a.Word.Text()...)
	case a.IsEach():
		return a.Expr.append(append(b, "each "...))
	case a.IsAgo():
		return append(a.Expr.append(b), " ago"...)
	default:
		return a.Expr.append(b)
	}
}

func (l *Literal) first() Token { return l.Measures[0].Number }
func (l *Literal) last() Token {
	m := &l.Measures[len(l.Measures)-1]
	if m.Unit.Given() {
		return m.Unit
	}
	return m.Number
}
func (n *NameOf) first() Token   { return n.Token }
func (n *NameOf) last() Token    { return n.Token }
func (r *RefTo) first() Token    { return r.Token }
func (r *RefTo) last() Token     { return r.Token }
func (c *Call) first() Token     { return c.Func }
func (c *Call) last() Token      { return c.Close }
func (p *Paren) first() Token    { return p.Open }
func (p *Paren) last() Token     { return p.Close }
func (n *Not) first() Token      { return n.Word }
func (n *Not) last() Token       { return n.X.last() }
func (x *Binary) first() Token   { return x.X.first() }
func (x *Binary) last() Token    { return x.Y.last() }
func (i *Is) first() Token       { return i.X.first() }
func (i *Is) last() Token        { return i.State }
func (j *Junction) first() Token { return j.Terms[0].first() }
func (j *Junction) last() Token  { return j.Terms[len(j.Terms)-1].last() }
