package syntax

import (
	"fmt"
	"runtime"
	"strings"

	"millwarden/internal/diag"
)

// Declared tells whether some part, bus, channel or kind declares a line of that key for blocks of that word. Several goroutines ask it at once.
type Declared func(block, key string) bool

// Parse reads a file. The tree holds all that could be read, whatever is wrong; the list, sorted, says what is.
func Parse(name, text string) (*File, diag.List) {
	return (&parser{file: newFile(name, text), whole: true}).parse(nil)
}

// ParseDeclared is Parse for who has the declared keys at hand, so that such a line is known even where it slipped to the right, and writes
// nothing back: lines of blocks that hold no declared ones come without their Tokens.
func ParseDeclared(name, text string, declared Declared) (*File, diag.List) {
	return (&parser{file: newFile(name, text)}).parse(declared)
}

func (p *parser) parse(declared Declared) (*File, diag.List) {
	name, text := p.file.Name, p.file.Text
	if len(text) > maxFile {
		where := diag.Range{Position: diag.Position{File: name, Line: 1, Column: 1}, Width: 1}
		p.say("75", where, fmt.Sprintf("this file has %d bytes, at most %d", len(text), maxFile), "Split it with include; all files together may have as many.")
		p.file.faulty = true
		return p.file, p.list
	}
	if pieces := cut(p.file, runtime.GOMAXPROCS(0)); len(pieces) == 1 {
		p.read(pieces[0], declared)
	} else {
		p.readPieces(pieces, declared)
	}
	p.file.Blocks, p.file.Comments = p.blocks, p.comments
	p.list.Sort()
	p.file.faulty = p.list.HasErrors()
	return p.file, p.list
}

// read goes through one piece of the text.
func (p *parser) read(part piece, declared Declared) {
	r := newReader(p.file, part, &p.list, declared)
	for st, tokens := r.read(); len(tokens) > 0; st, tokens = r.read() {
		p.statement(st, tokens)
	}
	p.close()
	p.comments = r.comments
}

// parser goes through the statements of one file, or of a piece of it.
type parser struct {
	file     *File
	blocks   []*Block
	comments []Comment
	list     diag.List
	block    *Block      // the present one; nil before the first, or within one that is unknown
	facts    *blockFacts // of it
	bare     bool        // the present block has no lines
	lost     bool        // lines here belong to no block, and that was said
	whole    bool        // all tokens are kept, for who writes the file again
	lines    []*Line     // room for those of the present block
	cursor   cursor      // of the present statement
	room     room        // of the tree
}

func (p *parser) say(code string, where diag.Range, summary, detail string) {
	p.list = append(p.list, diag.Diagnostic{Code: code, Subject: where, Summary: summary, Detail: detail})
}

func (p *parser) statement(st statement, tokens []lexeme) {
	c := &p.cursor
	c.p, c.tokens, c.kept, c.i, c.key, c.failed, c.nodes, c.depth = p, tokens, nil, 0, noKey, st.faulty, 0, 0
	if p.whole || st.head || p.facts == nil || p.facts.settings {
		c.kept = p.keep(tokens)
	}
	switch {
	case st.head:
		p.header(c, st)
	case p.block == nil || p.bare:
		p.homeless(c)
	default:
		if st.margin {
			word := c.token(0)
			c.remark("12", word.Where(), word.Word()+" is a line of a block",
				"Put spaces before it: it is a key of "+strings.Join(BlocksWith(word.Word()), ", ")+".")
		}
		p.line(c, st.key)
	}
}

// keep copies tokens to where they stay.
func (p *parser) keep(tokens []lexeme) []Token {
	kept := p.room.tokens.Take(len(tokens))
	for i, t := range tokens {
		kept[i] = Token{p.file, t}
	}
	return kept
}

// close ends the present block: its lines move to where they stay.
func (p *parser) close() {
	if b := p.block; b != nil {
		p.lines = b.Lines[:0]
		b.Lines = append(p.room.pointed.Take(len(b.Lines))[:0], b.Lines...)
	}
	p.block = nil
}

// homeless is an indented line where none can be; said once for each run of them.
func (p *parser) homeless(c *cursor) {
	if !p.lost {
		c.fail("10", c.token(0).Where(), "this line belongs to no block",
			"A block begins at the left margin, for example: probe tank-1-electrode.")
	}
	p.lost = true
}

// header opens a block, known, meant or unknown.
func (p *parser) header(c *cursor, st statement) {
	p.close()
	p.bare, p.lost = false, false
	word := c.next()
	facts := factsOf(word.Word())
	if facts == nil {
		facts = p.unknownBlock(c, word)
		if facts == nil {
			p.lost = true
			return
		}
		word.as = asMeant
	} else if st.slipped {
		c.remark("11", word.Where(), word.Word()+" begins a block", "Move it to the left margin; only the lines of a block are indented.")
	}
	p.block = p.room.blocks.Next()
	p.block.Word, p.block.Head, p.block.Lines = word, c.kept, p.lines
	p.bare = facts.bare
	p.blocks = append(p.blocks, p.block)
	p.facts = facts
	c.facts, c.block = facts, p.block
	c.parseHeader()
	p.block.Refused = c.failed
}

// unknownBlock says why a word begins no block, and gives the block that was meant, if one is near.
func (p *parser) unknownBlock(c *cursor, word Token) *blockFacts {
	if word.Kind == Stray {
		c.stray(word, "Blocks have no braces; the indented lines under a header belong to it.")
		return nil
	}
	typed := word.typed()
	if in := BlocksWith(word.Word()); len(in) > 0 {
		c.fail("12", word.Where(), word.Word()+" is a line of a block", "Put spaces before it: it is a key of "+strings.Join(in, ", ")+".")
		return nil
	}
	meant := meantBlock(word.Word())
	if meant == "" {
		c.fail("13", word.Where(), typed+" is not a block", "Blocks: "+strings.Join(Blocks(), ", ")+".")
		return nil
	}
	c.remark("13", word.Where(), typed+" is not a block", "Did you mean "+meant+"?")
	return factsOf(meant)
}

// line reads one line of the present block; known is its key, if that is one of the block's own.
func (p *parser) line(c *cursor, known *Key) {
	key := c.next()
	c.facts, c.block = p.facts, p.block
	l := p.room.lines.Next()
	l.Key = key
	if c.kept != nil {
		l.tokens = p.room.lists.Next()
		*l.tokens = c.kept[1:]
	}
	switch {
	case known != nil:
		l.key, c.key = known, known
		p.once(c, l, known)
		p.block.add(l, known.Name)
		c.colon()
		c.value(l)
	case c.facts.settings && key.Kind == Name:
		c.key = &Key{Name: key.Word(), form: formPart}
		p.block.add(l, c.key.Name)
		c.colon()
		l.Value = &Pieces{List: c.pieces()}
		c.end()
	default:
		p.noKey(c, l)
		p.block.add(l, key.Word())
	}
	l.Refused = c.failed
	if l.Value == nil {
		l.Refused = true
	}
}

// once refuses a key that stands already, unless it may stand several times.
func (p *parser) once(c *cursor, l *Line, key *Key) {
	if key.Many || p.block.stands&(1<<placeOf(key.Name)) == 0 {
		return
	}
	for _, other := range p.block.Lines {
		if other.Key.Is(key.Name) {
			c.fail("15", l.Key.Where(), key.Name+" stands twice in "+p.block.Title(), "The first is at "+other.Key.Where().Position.String()+".")
			return
		}
	}
}

// noKey says why a word is no key of the present block.
func (p *parser) noKey(c *cursor, l *Line) {
	key, block := l.Key, c.facts.word
	if key.Kind == Stray {
		c.stray(key, "Blocks have no braces; the indented lines under a header belong to it.")
		return
	}
	if key.Kind == Word && strings.Contains(key.Text(), ":") {
		name, value, _ := strings.Cut(key.Text(), ":")
		at := key.Where()
		at.Column += len([]rune(name))
		at.Byte, at.Width = at.Byte+len(name), 1
		c.fail("7", at, `":" does not belong here`, "A key stands without a colon: "+strings.ToLower(name)+" "+value+".")
		l.key = c.facts.key(strings.ToLower(name))
		l.meant = l.key != nil
		return
	}
	if block == "change" && len(BlocksWith(key.Word())) > 0 {
		c.fail("69", key.Where(), key.Word()+" of a built-in alarm stays as it is", "change takes "+strings.Join(KeyNames(block), ", ")+
			". To watch something else, leave it out with without and write an alarm of your own.")
		return
	}
	var names []string
	for _, k := range c.facts.keys {
		names = append(names, k.Name)
	}
	meant := diag.Near(key.Word(), names)
	l.key = c.facts.key(meant)
	l.meant = l.key != nil
	var detail string
	switch in := BlocksWith(key.Word()); {
	case meant != "":
		detail = "Did you mean " + meant + "?"
	case len(in) > 0:
		detail = "It is a key of " + strings.Join(in, ", ") + "."
	default:
		detail = block + " takes " + strings.Join(KeyNames(block), ", ") + "."
	}
	c.fail("14", key.Where(), key.typed()+" is no key of "+block, detail)
}
