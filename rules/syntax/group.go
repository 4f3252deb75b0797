package syntax

import (
	"millwarden/internal/diag"
)

// statement is a header or a line with all lines of the file that it goes on over.
type statement struct {
	head    bool    // it begins a block
	slipped bool    // it does so though it is indented
	margin  bool    // a key of the present block at the left margin
	tokens  []Token // good until the statement behind the next is read
	key     *Key    // of the present block that the first of them is; nil for none
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
	open      statement   // the one that is being read; its tokens are the scanner's
	spare     []Token     // room for those of the next
}

func newReader(file *File, part piece, list *diag.List, declared Declared) *reader {
	return &reader{scanner: scanner{file: file, list: list}, declared: declared, next: part.from, end: part.to}
}

// read gives the next statement, if there is one.
func (r *reader) read() (statement, bool) {
	for r.next < r.end {
		r.scanLine(r.next)
		r.next++
		line := r.tokens[r.first:]
		switch {
		case len(line) == 0:
		case r.first == 0:
			r.open = r.begin(line)
		case r.goesOn(&line[0], &r.tokens[r.first-1]):
			r.open.faulty = r.open.faulty || r.faulty
		default:
			read := r.open
			read.tokens = r.tokens[:r.first]
			r.open = r.begin(line)
			r.tokens, r.spare = r.spare, r.tokens
			r.tokens = append(r.tokens[:0], line...)
			return read, true
		}
	}
	read := r.open
	read.tokens, r.tokens = r.tokens, r.tokens[:0]
	return read, len(read.tokens) > 0
}

// isKey tells whether a word is a key of the present block, fixed or declared.
func (r *reader) isKey(word string) bool {
	if r.block.key(word) != nil {
		return true
	}
	return r.takesSettings() && r.declared != nil && r.declared(r.block.word, word)
}

func (r *reader) takesSettings() bool { return r.block != nil && r.block.settings }

// begin makes a statement of what begins with these tokens.
func (r *reader) begin(tokens []Token) statement {
	word := tokens[0].Word()
	st := statement{key: r.block.key(word), faulty: r.faulty}
	switch {
	case r.indent == 0 && st.key != nil && factsOf(word) == nil:
		st.margin = true
	case r.indent == 0 || st.key == nil && r.slipped(word, tokens):
		st.head, st.slipped = true, r.indent > 0
		r.block, r.inner = factsOf(meantBlock(word)), 0
	case r.inner == 0:
		r.inner = r.indent
	}
	return st
}

// slipped tells whether an indented line that begins with no key of the block is a header all the same.
func (r *reader) slipped(word string, tokens []Token) bool {
	if r.block == nil || factsOf(word) == nil {
		return false
	}
	// Of the words that begin blocks, parts declare but `channel` as a line; that one is a header only in full.
	return !r.takesSettings() || word != "channel" || len(tokens) == 4 && tokens[2].Is("is")
}

// goesOn tells whether a line that begins with this token continues the statement whose last one is given.
func (r *reader) goesOn(first, last *Token) bool {
	if r.indent == 0 {
		return false
	}
	switch first.Kind {
	case Comma, Close, Text, Relation, Operator:
		return true
	case Keyword:
		if first.Is("and") || first.Is("or") || first.Is("is") {
			return true // is: = is read so, and = is an operator
		}
	}
	switch last.Kind {
	case Operator, Relation, Comma, Semicolon, Open:
		return true
	case Keyword:
		if last.Is("and") || last.Is("or") || last.Is("not") || last.Is("is") {
			return true
		}
	}
	return !r.open.head && r.inner > 0 && r.indent > r.inner && !r.isKey(first.Word())
}

// meantBlock is the block that a word begins, or the near one that was meant.
func meantBlock(word string) string {
	if factsOf(word) != nil {
		return word
	}
	return diag.Near(word, Blocks())
}
