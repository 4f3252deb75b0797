package syntax

import (
	"strings"
	"unicode/utf8"
)

// Columns of the one layout.
const (
	keyColumn   = 4
	valueColumn = 20
)

// Format prints a file in the one layout, comments and all. A file with mistakes of writing comes back as it was, and so does one whose
// lines would grow beyond what a file may hold.
func Format(f *File) []byte {
	if f.faulty {
		return []byte(f.Text)
	}
	var b strings.Builder
	items := layout(f)
	for i, it := range items {
		if i > 0 && blankBetween(items[i-1], it) {
			b.WriteByte('\n')
		}
		line := strings.Repeat(" ", it.depth) + it.text
		if utf8.RuneCountInString(line) > maxLine {
			return []byte(f.Text)
		}
		b.WriteString(line + "\n")
	}
	if b.Len() > maxFile {
		return []byte(f.Text)
	}
	return []byte(b.String())
}

// item is one printed line.
type item struct {
	line    int // where it stood
	depth   int
	text    string
	block   *Block // to which it belongs; nil: a comment behind the last block
	leads   bool   // the header's first row, or a comment above it
	comment bool
}

// layout makes the printed lines of a file, in order.
func layout(f *File) []item {
	var rows []item
	for _, b := range f.Blocks {
		rows = append(rows, headerRows(b)...)
		for _, l := range b.Lines {
			rows = append(rows, lineRows(b, l)...)
		}
	}
	return withComments(rows, f.Comments)
}

// withComments puts comments beside and between the rows.
func withComments(rows []item, comments []Comment) []item {
	var out []item
	for _, c := range comments {
		// Rows above the comment go first; of those in its line it stands beside the last.
		for len(rows) > 0 && (rows[0].line < c.Line || rows[0].line == c.Line && !c.Own) {
			out, rows = append(out, rows[0]), rows[1:]
		}
		if !c.Own {
			out[len(out)-1].text += "  " + c.Text
			continue
		}
		above := item{line: c.Line, text: c.Text, comment: true}
		if len(rows) > 0 {
			above.depth, above.block, above.leads = rows[0].depth, rows[0].block, rows[0].leads
		}
		out = append(out, above)
	}
	return append(out, rows...)
}

// blankBetween tells whether a blank line parts two printed lines: where the writer left one, and between blocks.
func blankBetween(a, b item) bool {
	if b.line > a.line+1 {
		return true
	}
	if !b.leads || a.block == b.block || a.block == nil {
		return false
	}
	return len(a.block.Lines) > 0 || len(b.block.Lines) > 0 || a.block.Word.Word() != b.block.Word.Word()
}

func headerRows(b *Block) []item {
	rows := rowsOf(b.Head, func(int) bool { return false })
	for i := range rows {
		rows[i].block, rows[i].leads = b, i == 0
		if i > 0 {
			rows[i].depth = valueColumn
		}
	}
	return rows
}

func lineRows(b *Block, l *Line) []item {
	key := l.Key.Word()
	column := max(valueColumn, keyColumn+len(key)+1)
	rows := []item{{line: l.Key.Line(), depth: keyColumn, text: key, block: b}}
	for i, r := range rowsOf(l.value(), l.keeps(b)) {
		if i == 0 && r.line == l.Key.Line() {
			rows[0].text = key + strings.Repeat(" ", column-keyColumn-len(key)) + r.text
			continue
		}
		r.depth, r.block = column, b
		rows = append(rows, r)
	}
	return rows
}

// value is what stands behind the key, without the steps that became lines of their own.
func (l *Line) value() []Token {
	if _, ok := l.Value.(*People); ok {
		for i, t := range l.Tokens() {
			if t.Kind == Semicolon {
				return l.Tokens()[:i]
			}
		}
	}
	return l.Tokens()
}

// keeps tells of which tokens of a line the letters stay as typed: of addresses, paths, topics, zones and ids, which may stand in any
// line that a part declares.
func (l *Line) keeps(b *Block) func(int) bool {
	k, known := FindKey(b.Word.Word(), l.Key.Word())
	switch {
	case !known || k.form == formPlace:
		return func(int) bool { return true }
	case k.form == formPart:
		return func(i int) bool { return i > 0 }
	}
	return func(int) bool { return false }
}

// rowsOf prints tokens, with a row for each line on which they stood.
func rowsOf(tokens []Token, keeps func(int) bool) []item {
	var rows []item
	for i, t := range tokens {
		text := t.laidOut(keeps(i) || i > 0 && tokens[i-1].Kind == Number)
		switch {
		case i == 0 || t.Line() > tokens[i-1].Line():
			rows = append(rows, item{line: t.Line(), text: text})
		case joined(tokens[i-1], t):
			rows[len(rows)-1].text += text
		default:
			rows[len(rows)-1].text += " " + text
		}
	}
	return rows
}

// joined tells that no space stands between two tokens.
func joined(a, b Token) bool {
	switch b.Kind {
	case Comma, Semicolon, Close:
		return true
	case Open:
		return a.Kind == Name || a.Kind == Open
	}
	return a.Kind == Open
}

var escaper = strings.NewReplacer(`\`, `\\`, `"`, `\"`)

// laidOut is a token in the one layout. A word behind a number keeps its letters whatever it is: small, it might become a unit.
func (t Token) laidOut(asTyped bool) string {
	switch t.Kind {
	case Text:
		return `"` + escaper.Replace(t.Text()) + `"`
	case Unit:
		return printedUnit(t.Text())
	case Keyword:
		return t.Word()
	case Name, Ref:
		if !asTyped {
			return t.Word()
		}
	}
	return t.Text()
}
