package syntax

import (
	"millwarden/internal/diag"
)

// statement is a header or a line with all rows that it goes on over.
type statement struct {
	head    bool // it begins a block
	slipped bool // it does so though it is indented
	margin  bool // a key of the present block at the left margin
	tokens  []Token
	word    string // the first of them, small
	key     *Key   // of the present block that the word is; nil for none
	faulty  bool
}

// pages scans a text piece by piece. The rows and tokens of a piece lie where those of the one before lay: a long file costs the memory of
// a short one, which stays near the processor.
type pages struct {
	scanner
	next, end int // lines, counted from 0
	rows      []row
}

// pageSize is the least that a piece has in bytes, but the last. Chosen: some 2,000 tokens, which fit the second cache of a small board.
const pageSize = 16 << 10

// bytesPerToken of an ordinary file: examples have 9 to 12.
const bytesPerToken = 8

func newPages(file *File, part piece, list *diag.List) *pages {
	return &pages{scanner: scanner{file: file, list: list}, next: part.from, end: part.to}
}

// page scans at least so many bytes, if they are left. It ends before a line at the margin, which no line before it goes on in.
func (p *pages) page(size int) []row {
	if p.tokens == nil {
		p.tokens = make([]Token, 0, min(size, len(p.file.Text))/bytesPerToken*5/4+1)
	}
	p.rows, p.tokens = p.rows[:0], p.tokens[:0]
	for end := -1; p.next < p.end; p.next++ {
		begins := int(p.file.lines[p.next])
		if end < 0 {
			end = begins + size
		}
		if begins >= end && begins < len(p.file.Text) && isLetter(p.file.Text[begins]) {
			break
		}
		p.rows = append(p.rows, row{})
		p.scanRow(p.next, &p.rows[len(p.rows)-1])
	}
	return p.rows
}

// scanAll turns a whole file into rows.
func scanAll(file *File, list *diag.List) []row {
	return newPages(file, piece{to: len(file.lines)}, list).page(len(file.Text))
}

// group puts all rows of a text together into statements.
func group(rows []row, declared Declared) []statement {
	return (&grouper{declared: declared}).group(rows)
}

// group puts rows together into statements, by the rules of continuation. They lie where those of the piece before lay.
func (g *grouper) group(rows []row) []statement {
	out := g.statements[:0]
	for i := range rows {
		r := &rows[i]
		if len(r.tokens) == 0 {
			continue
		}
		if len(out) > 0 && g.goesOn(r, &out[len(out)-1]) {
			last := &out[len(out)-1]
			last.tokens = append(last.tokens, r.tokens...)
			last.faulty = last.faulty || r.faulty
			continue
		}
		out = append(out, g.begin(r))
	}
	g.statements = out
	return out
}

// grouper knows the block in which the next row stands.
type grouper struct {
	declared Declared
	block    *blockFacts // as meant; nil for none known
	first    int         // indent of the block's first line; 0 before it

	statements []statement
}

// key tells whether a word is a key of the present block, fixed or declared.
func (g *grouper) key(word string) bool {
	if g.block.key(word) != nil {
		return true
	}
	return g.takesSettings() && g.declared != nil && g.declared(g.block.word, word)
}

func (g *grouper) takesSettings() bool { return g.block != nil && g.block.settings }

func (g *grouper) begin(r *row) statement {
	word := r.tokens[0].Word()
	st := statement{tokens: r.tokens, word: word, key: g.block.key(word), faulty: r.faulty}
	switch {
	case r.indent == 0 && st.key != nil && factsOf(word) == nil:
		st.margin = true
	case r.indent == 0 || st.key == nil && g.slipped(&st):
		st.head, st.slipped = true, r.indent > 0
		g.block, g.first = factsOf(meantBlock(word)), 0
	case g.first == 0:
		g.first = r.indent
	}
	return st
}

// slipped tells whether an indented row that begins with no key of the block is a header all the same.
func (g *grouper) slipped(st *statement) bool {
	if g.block == nil || factsOf(st.word) == nil {
		return false
	}
	// Of the words that begin blocks, parts declare but `channel` as a line; that one is a header only in full.
	return !g.takesSettings() || st.word != "channel" || len(st.tokens) == 4 && st.tokens[2].Is("is")
}

// goesOn tells whether a row continues the statement before it.
func (g *grouper) goesOn(r *row, before *statement) bool {
	if r.indent == 0 {
		return false
	}
	t := &r.tokens[0]
	switch t.Kind {
	case Comma, Close, Text, Relation, Operator:
		return true
	case Keyword:
		if t.Is("and") || t.Is("or") || t.Is("is") {
			return true // is: = is read so, and = is an operator
		}
	}
	switch last := &before.tokens[len(before.tokens)-1]; last.Kind {
	case Operator, Relation, Comma, Semicolon, Open:
		return true
	case Keyword:
		if last.Is("and") || last.Is("or") || last.Is("not") || last.Is("is") {
			return true
		}
	}
	if before.head || g.first == 0 || r.indent <= g.first {
		return false
	}
	return !g.key(t.Word())
}

// meantBlock is the block that a word begins, or the near one that was meant.
func meantBlock(word string) string {
	if factsOf(word) != nil {
		return word
	}
	return diag.Near(word, Blocks())
}
