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

// scanner turns lines into tokens, one after the other.
type scanner struct {
	file     *File
	list     *diag.List
	tokens   []lexeme // those of the line are added to them
	comments []Comment
	line     string
	start    int  // byte of the file at which the line begins
	at       int  // byte of the line
	first    int  // of the tokens, that of the line
	indent   int  // of the line; 0: at the margin; a tab goes to the next multiple of 8
	last     Kind // of the tokens of the line, that of the last
	minus    bool // a − stands in the line, which is read as -
	faulty   bool // something in the line was said to be wrong
}

// scanLine reads line n of the file, counted from 0.
func (s *scanner) scanLine(n int) {
	s.line, s.start, s.at = s.file.line(n), int(s.file.lines[n]), 0
	s.first, s.last, s.minus, s.faulty = len(s.tokens), None, false, false
	if !isPlain(s.line) && !s.plausible() {
		return
	}
	if n == 0 && strings.HasPrefix(s.line, "\ufeff") {
		s.step() // a byte order mark, as some editors put it
	}
	s.spaces()
	if s.indent = s.at; s.at < len(s.line) {
		s.indents()
		s.scan()
	}
}

// isPlain tells of a line of ordinary length that holds nothing but what ASCII prints, as most lines do: eight bytes are looked at together.
func isPlain(line string) bool {
	if len(line) > maxLine {
		return false
	}
	if len(line) < 8 {
		for i := range len(line) {
			if b := line[i]; b < ' ' || b >= 0x7f {
				return false
			}
		}
		return true
	}
	odd := oddOf(line[len(line)-8:]) // the last eight, some of which were looked at before
	for ; len(line) > 8; line = line[8:] {
		odd |= oddOf(line)
	}
	return odd == 0
}

// oddOf tells of the eight bytes that a text begins with which are no printed ASCII, by the highest bit of each.
func oddOf(text string) uint64 {
	const each = 0x0101010101010101 // times a byte: that byte eight times
	_ = text[7]
	b := uint64(text[0]) | uint64(text[1])<<8 | uint64(text[2])<<16 | uint64(text[3])<<24 |
		uint64(text[4])<<32 | uint64(text[5])<<40 | uint64(text[6])<<48 | uint64(text[7])<<56
	return (b | (b + each) | (b - each*' ')) & (each * 0x80) // from 0x80; 0x7f; below a space. What one byte lends the next was odd itself.
}

// plausible refuses a line that is no text before anybody tries to read it.
func (s *scanner) plausible() bool {
	line, odd := s.line, len(s.line) > maxLine
	for at := 0; at < len(line); {
		if len(line)-at >= 8 && oddOf(line[at:]) == 0 {
			at += 8
			continue
		}
		if b := line[at]; b >= ' ' && b < 0x7f {
			at++
			continue
		}
		r, size := utf8.DecodeRuneInString(line[at:])
		at += size
		switch {
		case r == '−':
			s.minus = true
		case r < ' ' && r != '\t' || r < 0xa0 && r >= 0x7f || r == utf8.RuneError:
			odd = true
		}
	}
	if !odd {
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
		where := s.file.where(s.start+at, 0)
		where.Width = 1
		s.fault("9", where, "this line is no text",
			"It holds "+what+". Save the file as UTF-8 with lines of at most 1,000 characters.")
		return false
	}
	return true
}

// indents reads what stands behind the first spaces, if it is blank too.
func (s *scanner) indents() {
	for s.at < len(s.line) && begins[s.line[s.at]] <= blank {
		r := s.peek()
		if !unicode.IsSpace(r) {
			return
		}
		s.indent++
		if r == '\t' {
			s.indent = (s.indent + 7) / 8 * 8
		}
		s.step()
	}
}

func (s *scanner) spaces() {
	line, at := s.line, s.at
	for at < len(line) && line[at] == ' ' {
		at++
	}
	s.at = at
}

func (s *scanner) fault(code string, where diag.Range, summary, detail string) {
	if !s.faulty {
		*s.list = append(*s.list, diag.Diagnostic{Code: code, Subject: where, Summary: summary, Detail: detail})
	}
	s.faulty = true
}

func (s *scanner) peek() rune {
	if b := s.line[s.at]; b < utf8.RuneSelf {
		return rune(b)
	}
	r, _ := utf8.DecodeRuneInString(s.line[s.at:])
	return r
}

func (s *scanner) step() { s.at += runeLen(s.line[s.at:]) }

// runeLen is how many bytes the first character of a text has; of none, none.
func runeLen(text string) int {
	_, size := utf8.DecodeRuneInString(text)
	return size
}

// where is the place of the next size bytes.
func (s *scanner) where(size int) diag.Range { return s.file.where(s.start+s.at, size) }

// take adds a token; size is how many bytes it has in the line, where it comes next.
func (s *scanner) take(kind Kind, as spelling, size int) {
	s.tokens = append(s.tokens, lexeme{uint32(s.start + s.at), uint16(size), kind, as})
	s.at += size
	s.last = kind
}

// What a token may begin with.
const (
	other   = iota // units, words, what is not ASCII
	blank          //
	letter         // most words
	number         // most numbers
	mark           // a mark that stands for itself
	quote          //
	comment        //
	relate         // < > = !
)

// begins tells what a token that begins with a byte may be.
var begins = func() (what [256]uint8) {
	for b := range what {
		switch c := byte(b); {
		case isLetter(c):
			what[b] = letter
		case isDigit(c):
			what[b] = number
		case c == ' ' || c == '\t':
			what[b] = blank
		case marks[c] != None:
			what[b] = mark
		case c == '"':
			what[b] = quote
		case c == '#':
			what[b] = comment
		case strings.IndexByte("<>=!", c) >= 0:
			what[b] = relate
		}
	}
	return what
}()

// marks stand for themselves.
var marks = [256]Kind{',': Comma, ';': Semicolon, '(': Open, ')': Close, '{': Stray, '}': Stray}

// comparison is a sign as it may be typed.
type comparison struct {
	typed string
	kind  Kind
	as    spelling
}

// comparisons by their first byte, in the order in which they are tried.
var comparisons = func() (by [256][]comparison) {
	for _, c := range []comparison{
		{"<=", Relation, asTyped}, {">=", Relation, asTyped}, {"≤", Relation, asPrinted}, {"≥", Relation, asPrinted}, {"<>", Stray, asTyped},
		{"=<", Stray, asTyped}, {"=>", Stray, asTyped}, {"==", Stray, asTyped}, {"!=", Stray, asTyped}, {"≠", Stray, asTyped},
		{"<", Relation, asTyped}, {">", Relation, asTyped}, {"=", Keyword, asPrinted},
	} {
		by[c.typed[0]] = append(by[c.typed[0]], c)
	}
	return by
}()

// scan reads the tokens of the line, up to the comment that ends it.
func (s *scanner) scan() {
	for ; s.at < len(s.line); s.spaces() {
		b := s.line[s.at]
		what := begins[b]
		if s.last == Number && what != mark && s.plainUnit() {
			continue
		}
		switch what {
		case letter:
			s.word()
		case number:
			if !s.plainNumber() {
				s.chunk()
			}
		case blank:
			s.step()
		case mark:
			s.take(marks[b], asTyped, 1)
		case quote:
			s.quoted('"')
		case relate:
			if !s.comparison() {
				s.chunk()
			}
		case comment:
			s.comment()
			return
		default:
			s.beyond()
		}
	}
}

// word reads what begins with a letter. Behind a quantity a unit or `to` may stand.
func (s *scanner) word() {
	size := plainName(s.line[s.at:])
	if size == 0 || size > maxName || s.last == Number || s.last == Unit {
		s.chunk()
		return
	}
	kind := Name
	if isKeyword(s.line[s.at : s.at+size]) {
		kind = Keyword
	}
	s.take(kind, asSmall, size)
}

// beyond reads what begins with a sign, or with a character that is not ASCII.
func (s *scanner) beyond() {
	switch r := s.peek(); {
	case r < utf8.RuneSelf:
		s.chunk()
	case r == '“':
		s.quoted(r)
	case r == '”':
		s.take(Stray, asTyped, len("”"))
	case unicode.IsSpace(r):
		s.step()
	case (r == '≤' || r == '≥' || r == '≠') && s.comparison():
	default:
		s.chunk()
	}
}

func (s *scanner) comparison() bool {
	for _, c := range comparisons[s.line[s.at]] {
		if strings.HasPrefix(s.line[s.at:], c.typed) {
			s.take(c.kind, c.as, len(c.typed))
			return true
		}
	}
	return false
}

func (s *scanner) comment() {
	text := strings.TrimRightFunc(s.line[s.at:], unicode.IsSpace)
	s.comments = append(s.comments, Comment{Text: text, Range: s.where(len(text)), Own: len(s.tokens) == s.first})
	s.at = len(s.line)
}

// quoted reads a text. One that begins with “ ends with ”, or with " where no ” follows.
func (s *scanner) quoted(open rune) {
	from, end, as := s.at, '"', asQuoted
	if open == '“' {
		if as = asPrinted; strings.ContainsRune(s.line[s.at:], '”') {
			end = '”'
		}
	}
	if text, _, closed := strings.Cut(s.line[s.at+1:], `"`); as == asQuoted && closed && strings.IndexByte(text, '\\') < 0 { // most are such
		s.take(Text, asQuoted, len(text)+2)
		return
	}
	s.step()
	for s.at < len(s.line) && s.peek() != end {
		if s.line[s.at] == '\\' {
			as = asPrinted
			s.escape()
		} else {
			s.step()
		}
	}
	size := min(s.at+utf8.RuneLen(end), len(s.line)) - from
	if s.at >= len(s.line) {
		as = asPrinted
		s.at = from
		s.fault("1", s.where(utf8.RuneLen(open)), "this text is not closed", `End it with " on the same line; a long text goes on with another "…" on the next line.`)
	}
	s.at = from
	s.take(Text, as, size)
}

// escape reads \" or \\.
func (s *scanner) escape() {
	from := s.at
	s.step()
	if s.at >= len(s.line) {
		return
	}
	if r := s.peek(); r != '"' && r != '\\' {
		s.fault("80", s.file.where(s.start+from, 1+runeLen(s.line[s.at:])), fmt.Sprintf(`"\%c" is no escape`, r), `Only \" and \\ are; write other letters as they are.`)
	}
	s.step()
}

// spelt tells whether a text, in its printed form, stands so in the file. Marks that are printed otherwise have another length.
func spelt(text, typed string) spelling {
	if len(text) == len(typed) {
		return asTyped
	}
	return asPrinted
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
		if b := text[i]; !isLetter(b) && !isDigit(b) && (b != '-' || text[i-1] == '-') {
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
		if !isDigit(text[i]) {
			return false
		}
	}
	return text != ""
}

func isDigit(b byte) bool { return b >= '0' && b <= '9' }

func isLetter(b byte) bool { return b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' }

func isRef(text string) bool {
	station, point, found := strings.Cut(text, "/")
	return found && isName(station) && isName(point)
}

// What a byte is to a word.
const (
	letterOrDigit = iota // small: what names are made of
	joining              // the hyphen between them
	ending               // it ends a word whatever stands before it
	within               // all else
)

// toWords tells it.
var toWords = func() (is [256]uint8) {
	for b := range is {
		switch c := byte(b); {
		case c >= 'a' && c <= 'z' || isDigit(c):
			is[b] = letterOrDigit
		case c == '-':
			is[b] = joining
		case c == ' ' || c == ',' || c == '(' || c == ')':
			is[b] = ending
		default:
			is[b] = within
		}
	}
	return is
}()

// endsAt tells whether a word of the line ends before a byte whatever stands before it; so it does at the end of the line.
func (s *scanner) endsAt(at int) bool { return at >= len(s.line) || toWords[s.line[at]] == ending }

// plainName is the length of the small name that a text begins with; most words are such. It is 0 where a closer look is due: at anything else
// than such a name, and where something else than a space, a comma or a parenthesis follows.
func plainName(text string) int {
	joint := 0 // behind the last hyphen
	for i := range len(text) {
		switch toWords[text[i]] {
		case letterOrDigit:
		case joining:
			if i == joint {
				return 0
			}
			joint = i + 1
		case ending:
			if i == joint {
				return 0
			}
			return i
		default:
			return 0
		}
	}
	if len(text) == joint {
		return 0
	}
	return len(text)
}

// plainNumber reads digits, perhaps with a point and digits behind, in one go. It gives up as plainName does, and at a comma within digits.
func (s *scanner) plainNumber() bool {
	line := s.line
	end := s.at + digits(line[s.at:])
	if end < len(line) && line[end] == '.' {
		part := digits(line[end+1:])
		if part == 0 {
			return false
		}
		end += 1 + part
	}
	if !s.endsAt(end) || end+1 < len(line) && line[end] == ',' && isDigit(line[end+1]) {
		return false
	}
	s.take(Number, asTyped, end-s.at)
	return true
}

// plainUnit reads a unit behind a number in one go. It gives up at anything else, and at a per cent sign, which goes with the letters behind it.
func (s *scanner) plainUnit() bool {
	line, end := s.line, s.at
	for end < len(line) && toWords[line[end]] != ending {
		end++
	}
	unit := line[s.at:end]
	if _, ok := lookUnit(unit); !ok || unit == "%" {
		return false
	}
	s.take(Unit, asTyped, end-s.at)
	return true
}

// digits is how many digits a text begins with.
func digits(text string) int {
	n := 0
	for n < len(text) && isDigit(text[n]) {
		n++
	}
	return n
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
	s.classify(rest[:chunkEnd(rest)])
}

// endsChunkAt are the bytes at which chunkEnd looks: those that end a chunk or may do so.
var endsChunkAt = func() (ends [256]bool) {
	for b := range ends {
		ends[b] = b >= utf8.RuneSelf || b == '=' || endsChunk(rune(b))
	}
	return ends
}()

// chunkEnd is where the chunk ends.
func chunkEnd(text string) int {
	from := 0
	for from < len(text) && !endsChunkAt[text[from]] {
		from++
	}
	if from < len(text) && text[from] == ' ' {
		return from
	}
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
	n := digits(text)
	return n > 0 && n < len(text) && text[n] == ','
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
	value := strings.TrimSpace(after)
	if value == "" || value[0] == '#' { // the = ends the line, or stands before its comment
		return false
	}
	r, _ := utf8.DecodeRuneInString(after)
	return unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' || unicode.IsSpace(r)
}

func (s *scanner) commaNumber(head string) {
	point := strings.Replace(head, ",", ".", 1)
	write := point
	if whole, thousands, _ := strings.Cut(head, ","); len(thousands) == 3 && strings.TrimLeft(whole, "-0") != "" {
		write = whole + thousands + " or " + point // 1,450 m: many write so what is not a decimal
	}
	typed := s.typed(head)
	s.fault("2", s.where(len(typed)), head+" has a comma, the decimal mark is a point", "Write "+write+".")
	s.take(Number, asPrinted, len(typed))
}

// classify adds the token or tokens that a chunk is.
func (s *scanner) classify(typed string) {
	text := typed
	if s.minus {
		text = strings.ReplaceAll(typed, "−", "-")
	}
	as := spelt(text, typed)
	switch {
	case isLetter(text[0]) && s.last != Number && isName(text) && !strings.EqualFold(text, "to"): // most words
		s.name(text, typed, isSmall(text))
	case text == "+" || text == "-" || text == "*" || text == "/":
		s.take(Operator, as, len(typed))
	case text == "×":
		s.take(Operator, asPrinted, len(typed))
	case text == "..":
		s.take(To, asPrinted, len(typed))
	case s.last == Number && s.unit(text, typed):
	case !isLetter(text[0]) && s.numeral(typed, text):
	case strings.EqualFold(text, "to") && (s.last == Number || s.last == Unit):
		s.take(To, asPrinted, len(typed))
	case isName(text):
		s.name(text, typed, isSmall(text))
	case isRef(text):
		s.take(Ref, as, len(typed))
	case strings.HasSuffix(text, ":") && isName(text[:len(text)-1]):
		s.take(Name, as, len(typed)-1)
		s.take(Stray, asTyped, 1)
	default:
		s.take(Word, asTyped, len(typed)) // a path keeps what stood in it
	}
}

// name takes what has the shape of a name; without capitals it is as words are compared.
func (s *scanner) name(text, typed string, small bool) {
	kind, as := Name, spelt(text, typed)
	if isKeyword(strings.ToLower(text)) {
		kind = Keyword
	}
	if small && as == asTyped {
		as = asSmall
	}
	s.take(kind, as, len(typed))
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
		s.take(Number, spelt(text, typed), len(typed))
	case clockShape.MatchString(text):
		s.take(Clock, spelt(text, typed), len(typed))
	case spanShape.MatchString(text):
		s.take(Span, spelt(text, typed), len(typed))
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
			_, known := unitsRead.find("% " + word[:2])
			if ends := len(word) == 2 || !isWordByte(word[2]); known && ends {
				s.take(Unit, asPrinted, 1+len(rest)-len(word)+2)
				return true
			}
		}
	}
	if _, ok := lookUnit(text); !ok {
		return false
	}
	s.take(Unit, spelt(text, typed), len(typed))
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
		number := s.typed(m[0])
		s.take(Number, spelt(m[0], number), len(number))
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
