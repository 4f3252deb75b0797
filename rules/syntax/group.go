package syntax

import (
	"slices"
	"strings"

	"millwarden/internal/diag"
)

// statement is a header or a line with all rows that it goes on over.
type statement struct {
	head    bool // it begins a block
	slipped bool // it does so though it is indented
	margin  bool // a key of the present block at the left margin
	tokens  []Token
	faulty  bool
}

// scanAll turns a text into rows. The tokens of a file stand in one array, row behind row: one allocation for all rows instead of several
// for each. Where it was too small, the rows behind get arrays of their own.
func scanAll(name, text string, list *diag.List) []row {
	rows := make([]row, 0, strings.Count(text, "\n")+1)
	tokens := make([]Token, 0, len(text)/bytesPerToken+1)
	for start, number := 0, 1; start < len(text); number++ {
		line, _, _ := strings.Cut(text[start:], "\n")
		r := row{number: number, tokens: tokens[len(tokens):]}
		scanRow(name, strings.TrimSuffix(line, "\r"), start, &r, list)
		tokens = r.tokens
		r.tokens = slices.Clip(r.tokens)
		rows = append(rows, r)
		start += len(line) + 1
	}
	return rows
}

// bytesPerToken of an ordinary file: examples have 9 to 12.
const bytesPerToken = 8

// group puts rows together into statements, by the rules of continuation.
func group(rows []row, declared Declared) []statement {
	out := make([]statement, 0, len(rows))
	g := grouper{declared: declared}
	for _, r := range rows {
		if len(r.tokens) == 0 {
			continue
		}
		if len(out) > 0 && g.goesOn(r, out[len(out)-1]) {
			last := &out[len(out)-1]
			last.tokens = append(last.tokens, r.tokens...)
			last.faulty = last.faulty || r.faulty
			continue
		}
		out = append(out, g.begin(r))
	}
	return out
}

// grouper knows the block in which the next row stands.
type grouper struct {
	declared Declared
	block    string // its word, as meant; "" for none known
	first    int    // indent of the block's first line; 0 before it
}

// key tells whether a word is a key of the present block, fixed or declared.
func (g *grouper) key(word string) bool {
	if _, fixed := FindKey(g.block, word); fixed {
		return true
	}
	return TakesSettings(g.block) && g.declared != nil && g.declared(g.block, word)
}

func (g *grouper) begin(r row) statement {
	st := statement{tokens: r.tokens, faulty: r.faulty}
	word := r.tokens[0].Word()
	_, key := FindKey(g.block, word)
	switch {
	case r.indent == 0 && key && factsOf(word) == nil:
		st.margin = true
	case r.indent == 0 || g.slipped(r.tokens):
		st.head, st.slipped = true, r.indent > 0
		g.block, g.first = meantBlock(word), 0
	case g.first == 0:
		g.first = r.indent
	}
	return st
}

// slipped tells whether an indented row is a header all the same.
func (g *grouper) slipped(tokens []Token) bool {
	word := tokens[0].Word()
	if g.block == "" || factsOf(word) == nil {
		return false
	}
	if _, key := FindKey(g.block, word); key {
		return false
	}
	// Of the words that begin blocks, parts declare but `channel` as a line; that one is a header only in full.
	return !TakesSettings(g.block) || word != "channel" || len(tokens) == 4 && tokens[2].Word() == "is"
}

// goesOn tells whether a row continues the statement before it.
func (g *grouper) goesOn(r row, before statement) bool {
	if r.indent == 0 {
		return false
	}
	t := r.tokens[0]
	switch t.Kind {
	case Comma, Close, Text, Relation, Operator:
		return true
	case Keyword:
		if w := t.Word(); w == "and" || w == "or" || w == "is" {
			return true // is: = is read so, and = is an operator
		}
	}
	switch last := before.tokens[len(before.tokens)-1]; last.Kind {
	case Operator, Relation, Comma, Semicolon, Open:
		return true
	case Keyword:
		if w := last.Word(); w == "and" || w == "or" || w == "not" || w == "is" {
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
