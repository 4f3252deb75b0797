package syntax

import (
	"slices"
	"strings"

	"millwarden/internal/diag"
)

// cursor reads the tokens of one statement. After its first fault it says nothing more: one a line from one cause.
type cursor struct {
	p      *parser
	tokens []lexeme
	kept   []Token // the same, where they stay; nil: they do not
	i      int
	facts  *blockFacts
	block  *Block
	key    *Key // of the line; noKey in a header
	failed bool
	depth  int // of parentheses and calls in the present formula
	nodes  int
}

// noKey stands where a header is read.
var noKey = &Key{}

func (c *cursor) peek() Token {
	if c.i < len(c.tokens) {
		return c.token(c.i)
	}
	return Token{}
}

func (c *cursor) token(i int) Token { return Token{c.p.file, c.tokens[i]} }

// after is the token behind the next.
func (c *cursor) after() Token {
	if c.i+1 < len(c.tokens) {
		return c.token(c.i + 1)
	}
	return Token{}
}

func (c *cursor) next() Token {
	t := c.peek()
	c.i = min(c.i+1, len(c.tokens))
	return t
}

// keep gives the tokens from there to here, to stay in the tree.
func (c *cursor) keep(from int) []Token {
	if c.kept != nil {
		return c.kept[from:c.i:c.i]
	}
	return c.p.keep(c.tokens[from:c.i])
}

// last is the token read last.
func (c *cursor) last() Token { return c.token(max(0, c.i-1)) }

func (c *cursor) is(kind Kind) bool { return c.i < len(c.tokens) && c.tokens[c.i].Kind == kind }

// word tells whether the next token is that word.
func (c *cursor) word(text string) bool {
	if c.i >= len(c.tokens) {
		return false
	}
	kind := c.tokens[c.i].Kind
	return (kind == Name || kind == Keyword) && c.token(c.i).Is(text)
}

func (c *cursor) fail(code string, where diag.Range, summary, detail string) {
	if !c.failed {
		c.p.say(code, where, summary, detail)
	}
	c.failed = true
}

// remark says what is wrong without refusing the statement: it can be read all the same.
func (c *cursor) remark(code string, where diag.Range, summary, detail string) {
	if !c.failed {
		c.p.say(code, where, summary, detail)
	}
}

// source is what stands in the file at a place.
func (c *cursor) source(r diag.Range) string {
	text := c.p.file.Text[min(r.Byte, len(c.p.file.Text)):]
	end := 0
	for range r.Width {
		end += runeLen(text[end:])
	}
	return text[:end]
}

// rest is the place of the tokens not yet read, as far as they stand in one line.
func (c *cursor) rest() diag.Range { return c.cover(c.i, len(c.tokens)) }

// cover is the place of a stretch of the tokens, as far as they stand in one line.
func (c *cursor) cover(from, to int) diag.Range { return coverTokens(c.p.keep(c.tokens[from:to])) }

func (c *cursor) stray(t Token, why string) {
	typed := `"` + t.typed() + `"`
	if t.Kind == Text {
		typed = t.typed()
	}
	c.fail("7", t.Where(), typed+" does not belong here", why)
}

// colon refuses and skips a colon behind the key.
func (c *cursor) colon() {
	if !c.is(Stray) || c.peek().Text() != ":" {
		return
	}
	t := c.next()
	c.remark("7", t.Where(), `":" does not belong here`,
		"A key stands without a colon: "+strings.TrimSpace(c.token(0).Word()+" "+c.source(c.rest()))+".")
}

// says is message 17, or what fits better: the key's own words about its value.
func (c *cursor) says(t Token) {
	switch {
	case !t.Given() && c.i > 1:
		c.fail("27", c.last().Where(), c.name()+" stops too early", "It is written: "+c.pattern()+".")
	case c.key.Name == "":
		c.headerSays(t)
	case !t.Given():
		c.fail("17", c.token(0).Where(), c.key.Name+" "+c.key.Says, c.key.Sentence())
	case t.Kind == Stray:
		c.stray(t, "Blocks have no braces; a word with marks in it is put in quotes.")
	default:
		where := t.Where()
		if c.i == 1 {
			where = c.rest() // nothing of the value could be read: all of it is meant
		}
		c.fail("17", where, c.key.Name+" "+c.key.Says, c.key.Sentence())
	}
}

// name is what messages call the statement.
func (c *cursor) name() string {
	if c.key.Name != "" {
		return c.key.Name
	}
	return c.facts.word
}

// pattern shows how the statement is written.
func (c *cursor) pattern() string {
	if c.key.Name == "" {
		return c.facts.header
	}
	if example := c.key.Example(); example != "" {
		return c.key.Name + " " + example
	}
	return c.key.Name + " " + strings.TrimPrefix(c.key.Says, "is ")
}

func (c *cursor) headerSays(t Token) {
	if !t.Given() {
		c.fail("27", c.last().Where(), c.facts.word+" stops too early", "It is written: "+c.facts.header+".")
		return
	}
	c.stray(t, "Write for example: "+c.facts.header+".")
}

// end refuses what is left.
func (c *cursor) end() {
	if c.i >= len(c.tokens) {
		return
	}
	t := c.peek()
	switch {
	case c.key.form.isFormula() || c.key.Name == "" && c.facts.word == "point" && c.block.Formula != nil:
		c.noOperator(t)
	case t.Kind == Stray || c.key.Name == "" || c.i == 1:
		c.says(t)
	default:
		rest := c.rest()
		c.fail("19", rest, c.source(rest)+" is too much here", c.key.Name+" ends after "+c.source(c.cover(1, c.i))+".")
	}
}

// newName reads the name that a header gives. It may not be a word of the language.
func (c *cursor) newName() Token {
	t := c.next()
	switch {
	case !t.Given():
		c.headerSays(t)
	case t.Kind == Keyword || t.Kind == Name && Reserved(t.Word()):
		c.fail("23", t.Where(), t.Word()+" is a word of the language", "Choose another, for example "+t.Word()+"-1.")
	case t.Kind == Name:
		return t
	case t.Kind == Stray:
		c.headerSays(t)
	default:
		c.noName(t)
	}
	return t
}

// noName is message 3.
func (c *cursor) noName(t Token) {
	c.fail("3", t.Where(), t.typed()+" is not a name", "Names are a to z, 0 to 9 and single -, begin with a letter and have at most 40 characters: "+
		suggestName(t.Text(), c.facts.word)+". Put accents and spaces into title.")
}

// oneName reads a name that must stand somewhere else.
func (c *cursor) oneName() (Token, bool) {
	t := c.peek()
	switch t.Kind {
	case Name:
		return c.next(), true
	case Word, Text:
		if c.key.Name == "" || c.key.Example() != "" {
			c.noName(t)
			return t, false
		}
	}
	c.says(t)
	return t, false
}

// names reads NAME { "," NAME }.
func (c *cursor) names() ([]Token, bool) {
	from := c.i
	first, ok := c.oneName()
	if !ok {
		return nil, false
	}
	if !c.is(Comma) {
		return c.keep(from), true
	}
	list := []Token{first}
	for c.is(Comma) {
		c.next()
		t, ok := c.oneName()
		if !ok {
			return list, false
		}
		list = append(list, t)
	}
	return list, true
}

// plainLetters maps letters with accents to what stands in a name for them.
var plainLetters = strings.NewReplacer("á", "a", "à", "a", "â", "a", "ä", "a", "ã", "a", "å", "a", "é", "e", "è", "e", "ê", "e", "ë", "e", "í", "i", "ì", "i",
	"î", "i", "ï", "i", "ó", "o", "ò", "o", "ô", "o", "ö", "o", "õ", "o", "ú", "u", "ù", "u", "û", "u", "ü", "u", "ñ", "n", "ç", "c", "ß", "ss")

// suggestName makes a name, or station/point, of what was typed.
func suggestName(typed, block string) string {
	if station, point, found := strings.Cut(typed, "/"); found && station != "" && point != "" && !strings.Contains(point, "/") {
		return suggestName(station, "station") + "/" + suggestName(point, "point")
	}
	parts := strings.FieldsFunc(plainLetters.Replace(strings.ToLower(typed)), func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9')
	})
	if len(parts) == 0 || parts[0][0] <= '9' {
		parts = slices.Insert(parts, 0, block)
	}
	name := strings.Join(parts, "-")
	if len(name) > maxName {
		name = strings.TrimRight(name[:maxName], "-")
	}
	return name
}
