package syntax

import "strings"

// parseHeader reads what stands behind the word that begins a block.
func (c *cursor) parseHeader() {
	b := c.block
	switch c.facts.word {
	case "broker", "store", "page", "outside-watcher":
	case "use":
		b.Names, _ = c.names()
	case "include":
		b.Path = c.next()
		if b.Path.Kind != Text {
			c.headerSays(b.Path)
		}
	default:
		b.Name = c.newName()
		if !c.failed {
			c.headerTail()
		}
	}
	c.end()
}

// headerTail reads what stands behind the name.
func (c *cursor) headerTail() {
	b := c.block
	switch c.facts.word {
	case "station", "bus":
		c.kind()
	case "channel":
		if c.i < len(c.tokens) {
			c.kind()
		}
	case "words":
		if c.expect("for") {
			b.Kind, _ = c.oneName()
		}
	case "point":
		if c.scope(true) && c.expect("is") {
			b.Formula, _ = c.formula()
		}
	case "limit":
		if c.scope(false) {
			b.Amount, _ = c.amount()
		}
	case "alarm", "prompt", "event":
		c.scope(false)
	case "change", "without":
		if c.word("at") {
			c.scope(true)
		}
		if c.facts.word == "without" {
			b.Because = c.because()
		}
	}
}

func (c *cursor) kind() {
	if c.expect("is") {
		c.block.Kind, _ = c.oneName()
	}
}

// expect reads that word.
func (c *cursor) expect(word string) bool {
	if c.word(word) {
		c.next()
		return true
	}
	c.says(c.peek())
	return false
}

// scope reads `at STATION, …` or `for each KIND, … [in AREA] [except STATION, …]`.
func (c *cursor) scope(needed bool) (ok bool) {
	s := &c.block.Scope
	switch {
	case c.word("at"):
		c.next()
		s.At, ok = c.names()
		return ok
	case c.word("for"):
		c.next()
		if !c.expect("each") {
			return false
		}
		if s.Each, ok = c.names(); !ok {
			return false
		}
		if c.word("in") {
			c.next()
			if s.In, ok = c.oneName(); !ok {
				return false
			}
		}
		if c.word("except") {
			c.next()
			s.Except, ok = c.names()
		}
		return ok
	case needed:
		c.says(c.peek())
		return false
	}
	return true
}

// because reads `because "…"` where it may stand.
func (c *cursor) because() *Texts {
	if !c.word("because") {
		return nil
	}
	c.next()
	return c.texts()
}

// texts reads one quoted text or more.
func (c *cursor) texts() *Texts {
	from := c.i
	for c.is(Text) {
		c.i++
	}
	if c.i == from {
		c.says(c.peek())
		return nil
	}
	t := c.p.room.texts.Next()
	if c.i == from+1 {
		t.one[0] = c.token(from)
		t.Pieces, t.Value = t.one[:], t.one[0].Text() // no copy
	} else {
		t.Pieces = c.keep(from)
		t.Value = spoken(t.Pieces)
	}
	c.length(t)
	return t
}

// spoken is the text of several pieces, with a space between them.
func spoken(pieces []Token) string {
	var texts []string
	for _, p := range pieces {
		texts = append(texts, p.Text())
	}
	return strings.Join(texts, " ")
}
