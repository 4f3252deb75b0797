package syntax

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"millwarden/internal/diag"
)

// Bounds of LANGUAGE section 7 and section 1.
const (
	maxFile  = 1 << 20
	maxLine  = 1000
	maxName  = 40
	maxText  = 500
	maxTitle = 40
	maxDepth = 32
	maxNodes = 256
)

// row is one physical line.
type row struct {
	number  int
	indent  int     // 0: at the margin; a tab goes to the next multiple of 8
	tokens  []Token // its stretch of the one array of the file
	comment *Comment
	faulty  bool // something in it was said to be wrong
}

// scanner turns one line into tokens. Byte positions are of the whole file.
type scanner struct {
	file   string
	list   *diag.List
	line   string
	number int
	start  int  // byte of the line's start
	at     int  // byte in line
	column int  // of at, from 1
	plain  bool // every character of the line is one byte
	minus  bool // a − stands in it, which is read as -
	row    *row
}

// scanRow reads one line into r, whose tokens are empty and have room for what comes.
func (s *scanner) scanRow(line string, start int, r *row) {
	*s = scanner{file: s.file, list: s.list, line: line, number: r.number, start: start, column: 1, row: r}
	if r.number == 1 && strings.HasPrefix(line, "\ufeff") {
		s.step() // a byte order mark, as some editors put it
	}
	if !s.plausible() {
		return
	}
	s.indent()
	for s.scan() {
	}
}

// plausible refuses a line that is no text before anybody tries to read it.
func (s *scanner) plausible() bool {
	var text bool
	s.plain, text = looks(s.line)
	s.minus = !s.plain && strings.Contains(s.line, "−")
	if text && len(s.line) <= maxLine {
		return true
	}
	column := 0
	for at, r := range s.line {
		column++
		var what string
		switch {
		case r == utf8.RuneError && !strings.HasPrefix(s.line[at:], "\ufffd"):
			what = fmt.Sprintf("the byte 0x%02x", s.line[at])
		case unicode.IsControl(r) && r != '\t':
			what = fmt.Sprintf("the character %U", r)
		case column > maxLine:
			what = fmt.Sprintf("%d characters", utf8.RuneCountInString(s.line))
		default:
			continue
		}
		where := diag.Range{Position: diag.Position{File: s.file, Line: s.number, Column: column, Byte: s.start + at}, Width: 1}
		s.fault("9", where, "this line is no text",
			"It holds "+what+". Save the file as UTF-8 with lines of at most 1,000 characters.")
		return false
	}
	return true
}

// odd are the bytes of which a line is looked at more closely: control characters and what is not ASCII.
var odd = func() (odd [256]bool) {
	for b := range odd {
		odd[b] = b < ' ' && b != '\t' || b >= 0x7f
	}
	return odd
}()

// looks tells that a line holds nothing but tabs and what ASCII prints, as most lines do, which are read byte for byte; and whether it is text.
func looks(line string) (plain, text bool) {
	plain = true
	for i := 0; i < len(line); i++ {
		if !odd[line[i]] {
			continue
		}
		r, size := utf8.DecodeRuneInString(line[i:])
		if r == utf8.RuneError && size == 1 || isControl(r) {
			return false, false
		}
		plain, i = false, i+size-1
	}
	return plain, true
}

func isControl(r rune) bool { return r != '\t' && unicode.IsControl(r) }

func (s *scanner) indent() {
	for s.at < len(s.line) && s.line[s.at] == ' ' {
		s.at, s.column, s.row.indent = s.at+1, s.column+1, s.row.indent+1
	}
	for s.at < len(s.line) {
		r := s.peek()
		if !unicode.IsSpace(r) {
			return
		}
		s.row.indent++
		if r == '\t' {
			s.row.indent = (s.row.indent + 7) / 8 * 8
		}
		s.step()
	}
}

func (s *scanner) fault(code string, where diag.Range, summary, detail string) {
	if !s.row.faulty {
		*s.list = append(*s.list, diag.Diagnostic{Code: code, Subject: where, Summary: summary, Detail: detail})
	}
	s.row.faulty = true
}

func (s *scanner) peek() rune {
	if b := s.line[s.at]; b < utf8.RuneSelf {
		return rune(b)
	}
	r, _ := utf8.DecodeRuneInString(s.line[s.at:])
	return r
}

func (s *scanner) step() {
	size := 1
	if s.at < len(s.line) && s.line[s.at] >= utf8.RuneSelf {
		_, size = utf8.DecodeRuneInString(s.line[s.at:])
	}
	s.at += size
	s.column++
}

// width is how many characters a part of the line has.
func (s *scanner) width(text string) int {
	if s.plain {
		return len(text)
	}
	return utf8.RuneCountInString(text)
}

// place is the range of the next width characters.
func (s *scanner) place(width int) diag.Range {
	return diag.Range{Position: diag.Position{File: s.file, Line: s.number, Column: s.column, Byte: s.start + s.at}, Width: width}
}

func (s *scanner) add(kind Kind, text string, where diag.Range) {
	s.row.tokens = append(s.row.tokens, Token{Kind: kind, Text: text, Range: where})
}

// take adds a token; typed is how it stands in the line, where it comes next.
func (s *scanner) take(kind Kind, text, typed string) {
	width := s.width(typed)
	s.add(kind, text, s.place(width))
	s.at, s.column = s.at+len(typed), s.column+width
}

// markOf is what a mark that stands for itself is.
func markOf(r rune) Kind {
	switch r {
	case ',':
		return Comma
	case ';':
		return Semicolon
	case '(':
		return Open
	case ')':
		return Close
	case '{', '}', '”':
		return Stray
	}
	return None
}

// comparisons in the order in which they are tried.
var comparisons = []struct {
	typed string
	kind  Kind
	text  string
}{
	{"<=", Relation, "<="}, {">=", Relation, ">="}, {"≤", Relation, "<="}, {"≥", Relation, ">="}, {"<>", Stray, "<>"}, {"=<", Stray, "=<"},
	{"=>", Stray, "=>"}, {"==", Stray, "=="}, {"!=", Stray, "!="}, {"≠", Stray, "≠"}, {"<", Relation, "<"}, {">", Relation, ">"}, {"=", Keyword, "is"},
}

// scan reads one token, or the comment that ends the line.
func (s *scanner) scan() bool {
	s.blanks()
	if s.at >= len(s.line) {
		return false
	}
	if isLetter(s.line[s.at]) { // most words
		if !s.plainName() {
			s.chunk()
		}
		return true
	}
	r := s.peek()
	if r == '#' {
		s.comment()
		return false
	}
	if r == '"' || r == '“' {
		s.quoted(r)
		return true
	}
	if kind := markOf(r); kind != None {
		mark := s.line[s.at : s.at+utf8.RuneLen(r)]
		s.take(kind, mark, mark)
		return true
	}
	if !s.comparison(r) {
		s.chunk()
	}
	return true
}

// blanks goes over spaces, and what else counts as one.
func (s *scanner) blanks() {
	for s.at < len(s.line) {
		switch b := s.line[s.at]; {
		case b == ' ':
			s.at, s.column = s.at+1, s.column+1
		case (b < ' ' || b >= utf8.RuneSelf) && unicode.IsSpace(s.peek()):
			s.step()
		default:
			return
		}
	}
}

func (s *scanner) comparison(r rune) bool {
	switch r {
	case '<', '>', '≤', '≥', '=', '!', '≠':
	default:
		return false
	}
	for _, c := range comparisons {
		if strings.HasPrefix(s.line[s.at:], c.typed) {
			s.take(c.kind, c.text, c.typed)
			return true
		}
	}
	return false
}

func (s *scanner) comment() {
	text := strings.TrimRightFunc(s.line[s.at:], unicode.IsSpace)
	s.row.comment = &Comment{Text: text, Range: s.place(s.width(text)), Own: len(s.row.tokens) == 0}
	s.at = len(s.line)
}

// quoted reads a text. One that begins with “ ends with ”, or with " where no ” follows.
func (s *scanner) quoted(open rune) {
	end := '"'
	if open == '“' && strings.ContainsRune(s.line[s.at:], '”') {
		end = '”'
	}
	where, from := s.place(1), s.column
	s.step()
	if text, _, closed := strings.Cut(s.line[s.at:], `"`); closed && s.plain && strings.IndexByte(text, '\\') < 0 { // as it stands: no copy
		s.at, s.column = s.at+len(text)+1, s.column+len(text)+1
		where.Width = len(text) + 2
		s.add(Text, text, where)
		return
	}
	var b strings.Builder
	for s.at < len(s.line) && s.peek() != end {
		r := s.peek()
		if r == '\\' {
			r = s.escape()
		} else {
			s.step()
		}
		b.WriteRune(r)
	}
	if s.at >= len(s.line) {
		s.fault("1", where, "this text is not closed", `End it with " on the same line; a long text goes on with another "…" on the next line.`)
	} else {
		s.step()
	}
	where.Width = s.column - from
	s.add(Text, b.String(), where)
}

func (s *scanner) escape() rune {
	where := s.place(2)
	s.step()
	if s.at >= len(s.line) {
		return '\\'
	}
	r := s.peek()
	if r != '"' && r != '\\' {
		s.fault("80", where, fmt.Sprintf(`"\%c" is no escape`, r), `Only \" and \\ are; write other letters as they are.`)
	}
	s.step()
	return r
}

// The shapes of words.
var (
	numberHead   = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?`)
	commaHead    = regexp.MustCompile(`^-?[0-9]+,[0-9]+`)
	clockShape   = regexp.MustCompile(`^[0-9]{1,2}:[0-9]{2}$`)
	spanShape    = regexp.MustCompile(`^[0-9]{1,2}:[0-9]{2}-[0-9]{1,2}:[0-9]{2}$`)
	rangeEndings = regexp.MustCompile(`^(-?[0-9].*)?$`)
)

// isName tells whether a word has the shape of a name: letters a to z, digits and single hyphens, a letter first.
func isName(text string) bool {
	if text == "" || len(text) > maxName || !isLetter(text[0]) || text[len(text)-1] == '-' {
		return false
	}
	for i := 1; i < len(text); i++ {
		if b := text[i]; !isLetter(b) && !(b >= '0' && b <= '9') && (b != '-' || text[i-1] == '-') {
			return false
		}
	}
	return true
}

// isNumber tells whether a word is digits, perhaps with a minus before them and a point and digits behind.
func isNumber(text string) bool {
	whole, part, point := strings.Cut(strings.TrimPrefix(text, "-"), ".")
	return isDigits(whole) && (!point || isDigits(part))
}

func isDigits(text string) bool {
	for i := range len(text) {
		if text[i] < '0' || text[i] > '9' {
			return false
		}
	}
	return text != ""
}

func isLetter(b byte) bool { return b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' }

func isRef(text string) bool {
	station, point, found := strings.Cut(text, "/")
	return found && isName(station) && isName(point)
}

// What a byte is within a name.
const (
	noName = iota
	smallOrDigit
	capital
	hyphen
)

var inName = func() (in [256]uint8) {
	for b := range in {
		switch c := byte(b); {
		case c >= 'a' && c <= 'z' || c >= '0' && c <= '9':
			in[b] = smallOrDigit
		case c >= 'A' && c <= 'Z':
			in[b] = capital
		case c == '-':
			in[b] = hyphen
		}
	}
	return in
}()

// plainName reads a name with a space, a comma or a parenthesis behind it, or the end of the line, in one go: most words are such. It gives up where a
// closer look is due: behind a quantity, where a unit or `to` may stand, and at anything else than a name.
func (s *scanner) plainName() bool {
	rest := s.line[s.at:]
	end, small, before := 0, true, uint8(hyphen)
	for ; end < len(rest); end++ {
		is := inName[rest[end]]
		if is == noName {
			break
		}
		if is == hyphen && before == hyphen {
			return false
		}
		small = small && is != capital
		before = is
	}
	if end < len(rest) {
		switch rest[end] {
		case ' ', ',', '(', ')':
		default:
			return false
		}
	}
	if last := s.last(); before == hyphen || end > maxName || last == Number || last == Unit {
		return false
	}
	s.name(rest[:end], rest[:end], small)
	return true
}

// chunk reads what stands up to the next space or mark, and tells what it is.
func (s *scanner) chunk() {
	rest := s.line[s.at:]
	if beginsWithComma(rest) {
		if head := commaHead.FindString(strings.ReplaceAll(rest, "−", "-")); head != "" {
			s.commaNumber(head)
			return
		}
	}
	end := 0
	for end < len(rest) && !endsPlain[rest[end]] { // most words are of plain letters
		end++
	}
	if end < len(rest) && rest[end] != ' ' {
		end = chunkEnd(rest, end)
	}
	s.classify(rest[:end])
}

// endsPlain are the bytes at which chunkEnd looks: those that end a chunk or may do so.
var endsPlain = func() (ends [256]bool) {
	for b := range ends {
		ends[b] = b >= utf8.RuneSelf || b == '=' || endsChunk(rune(b))
	}
	return ends
}()

// chunkEnd is where the chunk ends that goes on to from at least.
func chunkEnd(text string, from int) int {
	for at, r := range text[from:] {
		if at += from; endsChunk(r) || r == '=' && splitsAt(text, at) {
			return at
		}
	}
	return len(text)
}

// beginsWithComma tells whether digits, perhaps with a minus before them, and a comma begin the text: only then is it looked at closely.
func beginsWithComma(text string) bool {
	text = strings.TrimPrefix(strings.TrimPrefix(text, "-"), "−")
	digits := 0
	for digits < len(text) && text[digits] >= '0' && text[digits] <= '9' {
		digits++
	}
	return digits > 0 && digits < len(text) && text[digits] == ','
}

// endsChunk tells which characters no word holds.
func endsChunk(r rune) bool {
	switch r {
	case ' ', '\t', ',', ';', '(', ')', '<', '>', '≤', '≥', '"', '“', '”', '{', '}', '#':
		return true
	}
	return r >= utf8.RuneSelf && unicode.IsSpace(r)
}

// splitsAt tells whether the = at that byte compares: ph=4.2. The = within an address or at the end of a secret does not.
func splitsAt(text string, at int) bool {
	before, after := text[:at], strings.TrimLeft(text[at:], "=")
	if !isName(before) && !isRef(before) {
		return false
	}
	r, _ := utf8.DecodeRuneInString(after)
	return after != "" && (unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' || unicode.IsSpace(r) && strings.TrimSpace(after) != "")
}

func (s *scanner) commaNumber(head string) {
	point := strings.Replace(head, ",", ".", 1)
	write := point
	if whole, thousands, _ := strings.Cut(head, ","); len(thousands) == 3 && strings.TrimLeft(whole, "-0") != "" {
		write = whole + thousands + " or " + point // 1,450 m: many write so what is not a decimal
	}
	s.fault("2", s.place(len(head)), head+" has a comma, the decimal mark is a point", "Write "+write+".")
	s.take(Number, point, s.typed(head))
}

func (s *scanner) last() Kind {
	if n := len(s.row.tokens); n > 0 {
		return s.row.tokens[n-1].Kind
	}
	return None
}

// classify adds the token or tokens that a chunk is.
func (s *scanner) classify(typed string) {
	text := typed
	if s.minus {
		text = strings.ReplaceAll(typed, "−", "-")
	}
	switch {
	case isLetter(text[0]) && s.last() != Number && isName(text) && !strings.EqualFold(text, "to"): // most words
		s.name(text, typed, isSmall(text))
	case text == "+" || text == "-" || text == "*" || text == "/":
		s.take(Operator, text, typed)
	case text == "×":
		s.take(Operator, "*", typed)
	case text == "..":
		s.take(To, "..", typed)
	case s.last() == Number && s.unit(text, typed):
	case !isLetter(text[0]) && s.numeral(typed, text):
	case strings.EqualFold(text, "to") && (s.last() == Number || s.last() == Unit):
		s.take(To, "..", typed)
	case isName(text):
		s.name(text, typed, isSmall(text))
	case isRef(text):
		s.take(Ref, text, typed)
	case strings.HasSuffix(text, ":") && isName(text[:len(text)-1]):
		s.take(Name, text[:len(text)-1], typed[:len(typed)-1])
		s.take(Stray, ":", ":")
	default:
		s.take(Word, typed, typed) // a path keeps what stood in it
	}
}

// name takes what has the shape of a name; small tells that no capital stands in it.
func (s *scanner) name(text, typed string, small bool) {
	kind := Name
	if isKeyword(text) {
		kind = Keyword
	}
	s.take(kind, text, typed)
	s.row.tokens[len(s.row.tokens)-1].small = small
}

func isSmall(name string) bool {
	for i := range len(name) {
		if name[i] >= 'A' && name[i] <= 'Z' {
			return false
		}
	}
	return true
}

// numeral takes a chunk that begins with a digit, or with what may stand before one.
func (s *scanner) numeral(typed, text string) bool {
	switch {
	case isNumber(text):
		s.take(Number, text, typed)
	case clockShape.MatchString(text):
		s.take(Clock, text, typed)
	case spanShape.MatchString(text):
		s.take(Span, text, typed)
	default:
		return s.split(typed)
	}
	return true
}

// unit takes a unit behind a number; a per cent sign goes with the letters behind it.
func (s *scanner) unit(text, typed string) bool {
	if text == "%" {
		rest := s.line[s.at+1:]
		word := strings.TrimLeftFunc(rest, unicode.IsSpace)
		if len(word) < len(rest) && len(word) >= 2 {
			_, known := unitsRead["% "+word[:2]]
			if ends := len(word) == 2 || !isWordByte(word[2]); known && ends {
				s.take(Unit, "% "+word[:2], text+rest[:len(rest)-len(word)+2])
				return true
			}
		}
	}
	if _, ok := lookUnit(text); !ok {
		return false
	}
	s.take(Unit, text, typed)
	return true
}

func isWordByte(b byte) bool {
	return b == '-' || b == '/' || b == '.' || b == ':' || b >= '0' && b <= '9' || b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' || b >= 0x80
}

// split takes a chunk of several tokens without spaces: 0..60, 5min, 1h30min.
func (s *scanner) split(typed string) bool {
	text := strings.ReplaceAll(typed, "−", "-")
	if before, after, found := strings.Cut(text, ".."); found && rangeEndings.MatchString(before) && rangeEndings.MatchString(after) &&
		!strings.Contains(after, "..") {
		for _, part := range []string{before, "..", after} {
			if part != "" {
				s.classify(s.typed(part))
			}
		}
		return true
	}
	measures, ok := splitMeasures(text)
	if !ok {
		return false
	}
	for _, m := range measures {
		s.take(Number, m[0], s.typed(m[0]))
		s.unit(m[1], s.typed(m[1]))
	}
	return true
}

// typed is the next part of the line as it stands there: as many characters as text has.
func (s *scanner) typed(text string) string {
	rest := s.line[s.at:]
	n := 0
	for range utf8.RuneCountInString(text) {
		_, size := utf8.DecodeRuneInString(rest[n:])
		n += size
	}
	return rest[:n]
}

// splitMeasures cuts 1h30min into its numbers and units.
func splitMeasures(text string) (measures [][2]string, ok bool) {
	for text != "" {
		number := numberHead.FindString(text)
		if number == "" {
			return nil, false
		}
		text = text[len(number):]
		unit := text
		if i := strings.IndexFunc(text, unicode.IsDigit); i > 0 && isTime(printedUnit(text[:i])) {
			unit = text[:i]
		}
		if _, known := lookUnit(unit); !known {
			return nil, false
		}
		measures = append(measures, [2]string{number, unit})
		text = text[len(unit):]
	}
	return measures, true
}
