package syntax

import (
	"millwarden/internal/diag"
)

// statement is a header or a line with all lines of the file that it goes on over.
type statement struct {
	key     *Key // of the present block that its first token is; nil for none
	head    bool // it begins a block
	slipped bool // it does so though it is indented
	margin  bool // a key of the present block at the left margin
	faulty  bool
}

// reader puts the lines of a stretch of a file together into statements, by the rules of continuation. It knows the block in which the
// next line stands.
type reader struct {
	scanner
	declared  Declared
	next, end int         // lines, counted from 0
	block     *blockFacts // as meant; nil for none known
	inner     int         // indent of the block's first line; 0 before it
	open      statement   // the one that is being read
	from      int         // of the scanner's tokens, the first of it
}

// spent is how many tokens lie behind before their room is used again. Chosen: some tens of lines.
const spent = 256

func newReader(file *File, part piece, list *diag.List, declared Declared) *reader {
	return &reader{scanner: scanner{file: file, list: list}, declared: declared, next: part.from, end: part.to}
}

// read gives the next statement and its tokens, which are good until the one behind it is read; without tokens there is none.
func (r *reader) read() (statement, []lexeme) {
	if r.from > spent {
		r.tokens, r.from = append(r.tokens[:0], r.tokens[r.from:]...), 0
	}
	for r.next < r.end {
		r.scanLine(r.next)
		r.next++
		switch {
		case r.first == len(r.tokens): // an empty line
		case r.first == r.from:
			r.open = r.begin()
		case r.goesOn():
			r.open.faulty = r.open.faulty || r.faulty
		default:
			read, tokens := r.open, r.tokens[r.from:r.first]
			r.open, r.from = r.begin(), r.first
			return read, tokens
		}
	}
	tokens := r.tokens[r.from:]
	r.from = len(r.tokens)
	return r.open, tokens
}

// isKey tells whether a word is a key of the present block, fixed or declared.
func (r *reader) isKey(word string) bool {
	if r.block.key(word) != nil {
		return true
	}
	return r.takesSettings() && r.declared != nil && r.declared(r.block.word, word)
}

func (r *reader) takesSettings() bool { return r.block != nil && r.block.settings }

// token is one of those of the line.
func (r *reader) token(i int) Token { return Token{r.file, r.tokens[r.first+i]} }

// begin makes a statement of what begins with the line.
func (r *reader) begin() statement {
	word := r.token(0).Word()
	st := statement{key: r.block.key(word), faulty: r.faulty}
	switch {
	case r.indent == 0 && st.key != nil && factsOf(word) == nil:
		st.margin = true
	case r.indent == 0 || st.key == nil && r.slipped(word):
		st.head, st.slipped = true, r.indent > 0
		r.block, r.inner = factsOf(meantBlock(word)), 0
	case r.inner == 0:
		r.inner = r.indent
	}
	return st
}

// slipped tells whether an indented line that begins with no key of the block is a header all the same.
func (r *reader) slipped(word string) bool {
	if r.block == nil || factsOf(word) == nil {
		return false
	}
	// Of the words that begin blocks, parts declare but `channel` as a line; that one is a header only in full.
	return !r.takesSettings() || word != "channel" || len(r.tokens)-r.first == 4 && r.token(2).Is("is")
}

// goesOn tells whether the line continues the open statement.
func (r *reader) goesOn() bool {
	if r.indent == 0 {
		return false
	}
	switch r.tokens[r.first].Kind {
	case Comma, Close, Text, Relation, Operator:
		return true
	case Keyword:
		if first := r.token(0); first.Is("and") || first.Is("or") || first.Is("is") {
			return true // is: = is read so, and = is an operator
		}
	}
	switch r.tokens[r.first-1].Kind {
	case Operator, Relation, Comma, Semicolon, Open:
		return true
	case Keyword:
		if last := r.token(-1); last.Is("and") || last.Is("or") || last.Is("not") || last.Is("is") {
			return true
		}
	}
	return !r.open.head && r.inner > 0 && r.indent > r.inner && !r.isKey(r.token(0).Word())
}

// meantBlock is the block that a word begins, or the near one that was meant.
func meantBlock(word string) string {
	if factsOf(word) != nil {
		return word
	}
	return diag.Near(word, Blocks())
}
