package syntax

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"millwarden/internal/diag"
)

// Kind tells what a token is.
type Kind uint8

const (
	None      Kind = iota // no token stood there
	Name                  // tank-1; its Text as typed, Word() small
	Keyword               // and or not is at by for each every from in ago because except
	Number                // 12, 0.5, -3
	Unit                  // °C, pH/h; only behind a Number
	Ref                   // station/point
	Clock                 // 18:00
	Span                  // 18:00-08:00
	Text                  // "…": Text holds what stood inside, escapes resolved
	Word                  // anything else without spaces: addresses, paths, ids
	Relation              // < <= > >=
	Operator              // + - * /
	Comma                 //
	Semicolon             //
	Open                  // (
	Close                 // )
	To                    // ..
	Stray                 // a mark that belongs nowhere
)

// Token is one word or mark of the file. It stands in one line. A tree holds more of them than of all else, so they are kept small: text,
// line and column are reckoned when somebody asks for them.
type Token struct {
	file *File
	lexeme
}

// lexeme is a token of a known file, as the scanner gives it.
type lexeme struct {
	at   uint32 // byte where it begins
	size uint16 // bytes, the quotes of a Text included: a line has at most 1,000
	Kind Kind
	as   spelling
}

// spelling tells how the text of a token comes from what stands in the file.
type spelling uint8

const (
	asNothing spelling = iota // no token stood there
	asQuoted                  // what stands between the quotes
	asPrinted                 // some marks have another form than they were typed in
	asMeant                   // the word of the block that was meant
	asTyped                   //
	asSmall                   // a name or keyword, as typed and as Word gives it: most are
)

// Text is the token as it stands in the file; marks in their printed form (− is -, ≤ is <=); of a Text what stands between the quotes.
func (t Token) Text() string {
	if t.as >= asTyped {
		return t.file.Text[t.at : t.at+uint32(t.size)] // typed, written out: so small a function costs no call
	}
	return t.printed()
}

// printedMarks are the marks that are printed in one form, however they were typed.
var printedMarks = strings.NewReplacer("−", "-", "×", "*", "≤", "<=", "≥", ">=", "=", "is", ",", ".")

func (t Token) printed() string {
	if t.as == asNothing {
		return ""
	}
	typed := t.typed()
	switch {
	case t.as == asQuoted:
		return typed[1 : len(typed)-1]
	case t.as == asMeant:
		return meantBlock(strings.ToLower(typed))
	case t.Kind == Text:
		return unquoted(typed)
	case t.Kind == To:
		return ".."
	case t.Kind == Unit && typed[0] == '%':
		return "% " + strings.TrimLeftFunc(typed[1:], unicode.IsSpace)
	}
	return printedMarks.Replace(typed)
}

// unquoted is what stands between quotes, escapes resolved; the second quote may be missing.
func unquoted(typed string) string {
	end := '"'
	if strings.HasPrefix(typed, "“") && strings.ContainsRune(typed, '”') {
		end = '”'
	}
	var b strings.Builder
	escaped := false
	for _, r := range typed[runeLen(typed):] {
		if r == end && !escaped {
			break
		}
		if escaped = r == '\\' && !escaped; !escaped {
			b.WriteRune(r)
		}
	}
	if escaped {
		b.WriteByte('\\')
	}
	return b.String()
}

// Given tells that the token stood in the file.
func (t Token) Given() bool { return t.Kind != None }

// Where is the place of the token; none where it did not stand.
func (t Token) Where() diag.Range {
	if t.file == nil {
		return diag.Range{}
	}
	return t.file.where(int(t.at), int(t.size))
}

// File is the name of its file.
func (t Token) File() string {
	if t.file == nil {
		return ""
	}
	return t.file.Name
}

// Line is the number of its line, from 1.
func (t Token) Line() int {
	if t.file == nil {
		return 0
	}
	return t.file.lineAt(t.at) + 1
}

// Touches tells that another token begins where this one ends.
func (t Token) Touches(next Token) bool { return t.end() == int(next.at) }

// typed is the token as it stands in the file.
func (t Token) typed() string { return t.file.Text[t.at : t.at+uint32(t.size)] }

// end is the byte behind the token.
func (t lexeme) end() int { return int(t.at) + int(t.size) }

// Word is the token as words are compared: small.
func (t Token) Word() string {
	if t.as == asSmall {
		return t.file.Text[t.at : t.at+uint32(t.size)]
	}
	return t.lowered()
}

func (t Token) lowered() string { return strings.ToLower(t.Text()) }

// Is tells whether the token is that word, which is given small. Words of the language have letters of one byte.
func (t Token) Is(word string) bool {
	if t.as == asSmall {
		return t.typed() == word
	}
	text := t.Text()
	return len(text) == len(word) && strings.EqualFold(text, word)
}

// Comment is one comment, from its # to the end of the line.
type Comment struct {
	Text string // with the #, without space at the end
	diag.Range
	Own bool // it has the line to itself
}

// File is one rules file as read. Blocks and lines with mistakes are kept, marked Refused.
type File struct {
	Name     string
	Text     string
	Blocks   []*Block
	Comments []Comment // in the order of the file

	lines  []uint32 // byte at which each line begins
	faulty bool     // it has mistakes of writing: the formatter leaves it alone
}

func newFile(name, text string) *File {
	f := &File{Name: name, Text: text, lines: make([]uint32, 1, strings.Count(text, "\n")+1)}
	for at := strings.IndexByte(text, '\n'); at >= 0; {
		start := at + 1
		f.lines = append(f.lines, uint32(start))
		if at = strings.IndexByte(text[start:], '\n'); at >= 0 {
			at += start
		}
	}
	return f
}

// line is the text of line n, counted from 0, without its end.
func (f *File) line(n int) string {
	end := len(f.Text)
	if n+1 < len(f.lines) {
		end = int(f.lines[n+1]) - 1
	}
	return strings.TrimSuffix(f.Text[f.lines[n]:end], "\r")
}

// lineAt is the line in which a byte stands, counted from 0.
func (f *File) lineAt(at uint32) int {
	n, begins := slices.BinarySearch(f.lines, at)
	if !begins {
		n--
	}
	return n
}

// where is the place of a stretch of one line, in bytes.
func (f *File) where(from, size int) diag.Range {
	n := f.lineAt(uint32(from))
	return diag.Range{Position: diag.Position{File: f.Name, Line: n + 1, Column: utf8.RuneCountInString(f.Text[f.lines[n]:from]) + 1, Byte: from},
		Width: utf8.RuneCountInString(f.Text[from : from+size])}
}

// Block is a header and the lines under it. Which of its fields are set depends on its word.
type Block struct {
	Word    Token // "probe", "outside-watcher"
	Name    Token // not of broker, store, page, outside-watcher, use, include
	Kind    Token // station, bus, channel NAME is KIND; words LANG for ALARM: the alarm
	Scope   Scope // of point, limit, alarm, prompt, event; `at` of without and change
	Formula Expr  // point NAME … is FORMULA
	Amount  *Amount
	Names   []Token // use SUBJECT, …
	Path    Token   // include "PATH"
	Because *Texts  // without
	Lines   []*Line
	Refused bool    // its header could not be read to its end: what is missing in it was said already
	Head    []Token // all tokens of the header
	stands  uint64  // the places of its lines' keys, a bit each: most keys that are asked for do not stand
}

// add takes in a line of that key.
func (b *Block) add(l *Line, key string) {
	b.Lines = append(b.Lines, l)
	l.place = placeOf(key)
	b.stands |= 1 << l.place
	if l.meant {
		b.stands |= 1 << placeOf(l.key.Name)
	}
}

// Title is the block as messages name it: "alarm too-sour", "broker".
func (b *Block) Title() string {
	if !b.Name.Given() {
		return b.Word.Word()
	}
	return b.Word.Word() + " " + b.Name.Word()
}

// Find returns the lines of that key which are not refused, in their order.
func (b *Block) Find(key string) []*Line {
	if b.stands&(1<<placeOf(key)) == 0 {
		return nil
	}
	var found []*Line
	for _, l := range b.Lines {
		if !l.Refused && l.is(key) {
			found = append(found, l)
		}
	}
	return found
}

// First returns the first line of that key which is not refused, or nil.
func (b *Block) First(key string) *Line {
	place := placeOf(key)
	if b.stands&(1<<place) == 0 {
		return nil
	}
	for _, l := range b.Lines {
		if l.place == place && l.is(key) && !l.Refused {
			return l
		}
	}
	return nil
}

// Has tells whether a line of that key stands, refused or meant ones too: nobody is told that what he mistyped is missing.
func (b *Block) Has(key string) bool {
	place := placeOf(key)
	if b.stands&(1<<place) == 0 {
		return false
	}
	for _, l := range b.Lines {
		if l.place == place && l.is(key) || l.meant && l.key.Name == key {
			return true
		}
	}
	return false
}

// Scope is `at STATION, …` or `for each KIND, … [in AREA] [except STATION, …]`.
type Scope struct {
	At     []Token
	Each   []Token
	In     Token
	Except []Token
}

// Line is one key with its value. The one-line form of a watch's steps is split into lines, whose Key is the word `after`.
type Line struct {
	Key     Token
	Value   Value
	tokens  *[]Token // what stood behind the key; nil where nobody will ask
	key     *Key     // of the table of keys; nil where it is declared elsewhere, or none
	meant   bool     // no key of the block stood there, but one near it
	place   uint8    // of its key
	Refused bool     // it was said to be wrong; Value may be nil
}

// Tokens are those that stood behind the key, of a file that may be written again and in blocks that hold declared lines; else none.
func (l *Line) Tokens() []Token {
	if l.tokens == nil {
		return nil
	}
	return *l.tokens
}

// is tells whether the line has that key.
func (l *Line) is(key string) bool {
	if l.key != nil && !l.meant {
		return l.key.Name == key
	}
	return l.Key.Is(key)
}

// Facts are what the table of keys says of the line's key; nil of a declared one.
func (l *Line) Facts() *Key {
	if l.meant {
		return nil
	}
	return l.key
}

// Value is what stands behind a key; the table of keys says which of the types below.
type Value interface{ Where() diag.Range }

type (
	// Texts are one or more quoted pieces, joined by a space. Of `when` and the like it is never empty.
	Texts struct {
		Value  string
		Pieces []Token
		one    [1]Token // room for it, where there is one
	}
	// Formula is a condition or an expression.
	Formula struct {
		Expr
		asPrinted bool // it stands in the file as it is printed
	}
	// Amount is a plain number or a quantity; a time may have several measures: 1 h 30 min.
	Amount struct {
		Measures []Measure
		one      [1]Measure // room for it, where there is one
	}
	// Bound is an amount or the name of a limit.
	Bound struct {
		Amount *Amount
		Name   Token
	}
	// Between is LOW .. HIGH; the low one may be plain and leave its unit to the high one.
	Between struct{ Low, High *Amount }
	// Perhaps is an amount, or `no`.
	Perhaps struct {
		Amount *Amount // nil: no
		No     Token
	}
	// Flag is yes or no.
	Flag struct {
		Yes  bool
		Word Token
	}
	// One is a single name, word, place, time of day or span: what kind of token the key takes.
	One struct{ Token }
	// Names are one or more, parted by commas.
	Names struct{ List []Token }
	// Gives is POINT, … at STATION [as CHANNEL].
	Gives struct {
		Points  []Token
		Station Token
		As      Token
	}
	// Hours are `always`, or a span with its days; no days: every day.
	Hours struct {
		Always Token
		Span   Token
		Days   []Token
		Every  Token // the word `every` of `every day`
	}
	// People are names with the channels by which they are called.
	People struct {
		Names []Token
		By    []Token
	}
	// Step is a time and people: a line `after` of a watch.
	Step struct {
		After *Amount
		People
	}
	// Daily is a time of day and people: all-well.
	Daily struct {
		At Token
		People
	}
	// Deadband is a list of amounts, or none.
	Deadband struct {
		None    Token
		Amounts []*Amount
	}
	// Evidence is a list of expressions and texts: one of the two in each.
	Evidence struct{ Items []EvidenceItem }
	// EvidenceItem is one of them.
	EvidenceItem struct {
		Expr  Expr
		Texts *Texts
	}
	// Pieces are the tokens of a declared line; `part` has the part's name as the first.
	Pieces struct{ List []Token }
)

// Measure is a number and its unit, if it has one.
type Measure struct {
	Number Token
	Unit   Token
}

// Expr is a node of a formula.
type Expr interface {
	Where() diag.Range
	String() string // in the one layout, on one line
	append(b []byte) []byte
	first() Token
	last() Token
}

type (
	// Literal is a number or a quantity in a formula.
	Literal struct{ *Amount }
	// NameOf is a bare name: a point, a limit, night, watched, value, or a moment.
	NameOf struct{ Token }
	// RefTo is station/point.
	RefTo struct {
		Token
		Station, Point Token
	}
	// Call is a function with its arguments.
	Call struct {
		Func  Token
		Args  []Argument
		Close Token
	}
	// Argument is a formula, with `ago` a window's end; `each KIND/x`; a span or a time of day.
	Argument struct {
		Expr Expr  // formula, or *RefTo behind each
		Word Token // each, ago, or the span or time of day itself
	}
	// Paren is a formula in parentheses.
	Paren struct {
		Open, Close Token
		X           Expr
	}
	// Not is `not X`.
	Not struct {
		Word Token
		X    Expr
	}
	// Binary is X op Y: + - * / < <= > >=.
	Binary struct {
		X  Expr
		Op Token
		Y  Expr
	}
	// Is is `X is [not] STATE`.
	Is struct {
		X     Expr
		Word  Token
		Not   Token
		State Token
	}
	// Junction is two or more terms, all with `and` or all with `or` between them.
	Junction struct {
		And   bool
		Terms []Expr
		Words []Token // between the terms
	}
)

// cover is the stretch from a to b, as far as it lies in one line.
func cover(a, b diag.Range) diag.Range {
	if !a.Valid() {
		return b
	}
	if a.Line == b.Line && b.Column >= a.Column {
		a.Width = b.Column + b.Width - a.Column
	}
	return a
}

func coverTokens(tokens []Token) diag.Range {
	var r diag.Range
	for _, t := range tokens {
		if at := t.Where(); !r.Valid() || at.Line == r.Line {
			r = cover(r, at)
		}
	}
	return r
}

// Where is the place of a value or a node: from its first word to its last, or to the end of its first line.
func (t *Texts) Where() diag.Range   { return coverTokens(t.Pieces) }
func (f *Formula) Where() diag.Range { return f.Expr.Where() }
func (b *Bound) Where() diag.Range {
	if b.Amount != nil {
		return b.Amount.Where()
	}
	return b.Name.Where()
}
func (b *Between) Where() diag.Range { return cover(b.Low.Where(), b.High.Where()) }
func (p *Perhaps) Where() diag.Range {
	if p.Amount != nil {
		return p.Amount.Where()
	}
	return p.No.Where()
}
func (f *Flag) Where() diag.Range  { return f.Word.Where() }
func (n *Names) Where() diag.Range { return coverTokens(n.List) }
func (g *Gives) Where() diag.Range {
	return coverTokens(append(append([]Token{}, g.Points...), g.Station, g.As))
}
func (h *Hours) Where() diag.Range {
	return coverTokens(append([]Token{h.Always, h.Span, h.Every}, h.Days...))
}
func (p *People) Where() diag.Range {
	return coverTokens(append(append([]Token{}, p.Names...), p.By...))
}
func (s *Step) Where() diag.Range  { return cover(s.After.Where(), s.People.Where()) }
func (d *Daily) Where() diag.Range { return cover(d.At.Where(), d.People.Where()) }
func (d *Deadband) Where() diag.Range {
	r := d.None.Where()
	for _, a := range d.Amounts {
		r = cover(r, a.Where())
	}
	return r
}
func (e *Evidence) Where() diag.Range {
	var r diag.Range
	for _, i := range e.Items {
		r = cover(r, i.Where())
	}
	return r
}

// Where is the place of the item.
func (i EvidenceItem) Where() diag.Range {
	if i.Expr != nil {
		return i.Expr.Where()
	}
	return i.Texts.Where()
}
func (p *Pieces) Where() diag.Range { return coverTokens(p.List) }

// Where is the place of the amount, its unit included.
func (a *Amount) Where() diag.Range {
	var r diag.Range
	for _, m := range a.Measures {
		r = cover(r, m.Number.Where())
		if m.Unit.Given() {
			r = cover(r, m.Unit.Where())
		}
	}
	return r
}

// Plain tells that the amount is a number without a unit.
func (a *Amount) Plain() bool { return len(a.Measures) == 1 && !a.Measures[0].Unit.Given() }

func (c *Call) Where() diag.Range   { return cover(c.Func.Where(), c.Close.Where()) }
func (p *Paren) Where() diag.Range  { return cover(p.Open.Where(), p.Close.Where()) }
func (n *Not) Where() diag.Range    { return cover(n.Word.Where(), n.X.Where()) }
func (b *Binary) Where() diag.Range { return cover(b.X.Where(), b.Y.Where()) }
func (i *Is) Where() diag.Range     { return cover(i.X.Where(), i.State.Where()) }
func (j *Junction) Where() diag.Range {
	return cover(j.Terms[0].Where(), j.Terms[len(j.Terms)-1].Where())
}

// IsTime tells that the argument is a span or a time of day.
func (a Argument) IsTime() bool { return a.Word.Kind == Span || a.Word.Kind == Clock }

// IsEach tells that it is each KIND/x.
func (a Argument) IsEach() bool { return a.Word.Kind == Keyword && a.Word.Is("each") }

// IsAgo tells that it is the time ago at which a window ends.
func (a Argument) IsAgo() bool { return a.Word.Kind == Keyword && a.Word.Is("ago") }

// Where is the place of the argument.
func (a Argument) Where() diag.Range {
	switch {
	case a.IsTime():
		return a.Word.Where()
	case a.IsEach():
		return cover(a.Word.Where(), a.Expr.Where())
	case a.IsAgo():
		return cover(a.Expr.Where(), a.Word.Where())
	default:
		return a.Expr.Where()
	}
}
