package syntax

import (
	_ "embed"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
)

//go:embed grammar.txt
var grammarText string

// TestGrammar_same holds grammar.txt to the text of the specification, letter for letter.
func TestGrammar_same(t *testing.T) {
	spec, err := os.ReadFile("../../../shared/LANGUAGE.md")
	if err != nil {
		t.Skipf("the specification is not here: %v", err)
	}
	_, rest, _ := strings.Cut(string(spec), "```ebnf\n")
	want, _, _ := strings.Cut(rest, "```")
	if want == "" || grammarText != want {
		t.Error("grammar.txt differs from section 10 of the specification")
	}
}

// The grammar as read: an element is one of these.
type (
	literal  string // "word" or "mark"
	class    string // NAME, QUANTITY, HEAD, END …
	rule     string // the name of a rule
	sequence []any  //
	either   []any  // one of
	optional struct{ x any }
	repeated struct{ x any }
)

// readGrammar reads EBNF as ISO/IEC 14977 writes it, but for the comma between the parts of a sequence, which is left out.
func readGrammar(t *testing.T, text string) map[string]any {
	t.Helper()
	rules := map[string]any{}
	for _, r := range strings.Split(text, " ;\n") {
		name, body, found := strings.Cut(r, "=")
		if !found {
			continue
		}
		g := &grammarReader{t: t, words: grammarWords(body)}
		rules[strings.TrimSpace(name)] = g.either("")
		if g.i != len(g.words) {
			t.Fatalf("rule %s: %q is left over", name, g.words[g.i:])
		}
	}
	return rules
}

// grammarWords cuts a rule into its words; quoted ones keep their quote in front.
func grammarWords(body string) []string {
	var words []string
	for body = strings.TrimSpace(body); body != ""; body = strings.TrimSpace(body) {
		end := 1
		switch {
		case body[0] == '"':
			end = strings.IndexByte(body[1:], '"') + 2
			words = append(words, body[:end-1])
		case strings.IndexByte("|[]{}()", body[0]) >= 0:
			words = append(words, body[:1])
		default:
			if end = strings.IndexAny(body, " \n|[]{}()"); end < 0 {
				end = len(body)
			}
			words = append(words, body[:end])
		}
		body = body[end:]
	}
	return words
}

type grammarReader struct {
	t     *testing.T
	words []string
	i     int
}

func (g *grammarReader) peek() string {
	if g.i < len(g.words) {
		return g.words[g.i]
	}
	return ""
}

func (g *grammarReader) either(end string) any {
	var options either
	for {
		options = append(options, g.sequence())
		if g.peek() != "|" {
			break
		}
		g.i++
	}
	if end != "" {
		if g.peek() != end {
			g.t.Fatalf("%s is missing in %q", end, g.words)
		}
		g.i++
	}
	if len(options) == 1 {
		return options[0]
	}
	return options
}

func (g *grammarReader) sequence() any {
	var parts sequence
	for {
		w := g.peek()
		switch {
		case w == "" || w == "|" || w == "]" || w == "}" || w == ")":
			return parts
		case w == "[":
			g.i++
			parts = append(parts, optional{g.either("]")})
			continue
		case w == "{":
			g.i++
			parts = append(parts, repeated{g.either("}")})
			continue
		case w == "(":
			g.i++
			parts = append(parts, g.either(")"))
			continue
		case w[0] == '"':
			parts = append(parts, literal(w[1:]))
		case strings.ToUpper(w) == w:
			parts = append(parts, class(w))
		default:
			parts = append(parts, rule(w))
		}
		g.i++
	}
}

// grammar with the sets of what its rules begin with.
type grammar struct {
	rules map[string]any
	sets  map[string]map[any]bool
	null  map[string]bool
}

func newGrammar(t *testing.T) *grammar {
	g := &grammar{rules: readGrammar(t, grammarText), sets: map[string]map[any]bool{}, null: map[string]bool{}}
	for changed := true; changed; {
		changed = false
		for name, body := range g.rules {
			set, null := g.first(body)
			if len(set) != len(g.sets[name]) || null != g.null[name] {
				changed = true
			}
			g.sets[name], g.null[name] = set, null
		}
	}
	return g
}

// first is what x may begin with, and whether it may be nothing.
func (g *grammar) first(x any) (map[any]bool, bool) {
	set := map[any]bool{}
	switch x := x.(type) {
	case literal, class:
		set[x] = true
		return set, false
	case rule:
		for k := range g.sets[string(x)] {
			set[k] = true
		}
		return set, g.null[string(x)]
	case optional:
		set, _ = g.first(x.x)
		return set, true
	case repeated:
		set, _ = g.first(x.x)
		return set, true
	case either:
		null := false
		for _, o := range x {
			s, n := g.first(o)
			null = null || n
			for k := range s {
				set[k] = true
			}
		}
		return set, null
	case sequence:
		for _, part := range x {
			s, n := g.first(part)
			for k := range s {
				set[k] = true
			}
			if !n {
				return set, false
			}
		}
		return set, true
	}
	panic(fmt.Sprintf("no element of a grammar: %T", x))
}

// clash tells that one token could be both: a literal that looks like a name is one, unless it is a keyword. SETTING is by its
// definition none of the keys beside it.
func clash(a, b any) bool {
	if a == b {
		return true
	}
	for range 2 {
		if l, ok := a.(literal); ok && b == class("NAME") && isName(string(l)) && !slices.Contains(keywords, string(l)) {
			return true
		}
		if a == class("SETTING") && b == class("NAME") {
			return true
		}
		a, b = b, a
	}
	return false
}

// conflicts are the places where one token does not decide.
func (g *grammar) conflicts(x any, follow map[any]bool) []string {
	var found []string
	meet := func(what string, a, b map[any]bool) {
		for i := range a {
			for j := range b {
				if clash(i, j) {
					found = append(found, fmt.Sprintf("%s: %v and %v", what, i, j))
				}
			}
		}
	}
	switch x := x.(type) {
	case either:
		for i, o := range x {
			s, null := g.first(o)
			for _, other := range x[i+1:] {
				s2, _ := g.first(other)
				meet("options", s, s2)
			}
			if null {
				meet("empty option", s, follow)
			}
			found = append(found, g.conflicts(o, follow)...)
		}
	case optional:
		s, _ := g.first(x.x)
		meet("option and what follows", s, follow)
		found = append(found, g.conflicts(x.x, follow)...)
	case repeated:
		s, _ := g.first(x.x)
		meet("repetition and what follows", s, follow)
		for k := range follow {
			s[k] = true
		}
		found = append(found, g.conflicts(x.x, s)...)
	case sequence:
		for i := range x {
			s, null := g.first(x[i+1:])
			if null {
				for k := range follow {
					s[k] = true
				}
			}
			found = append(found, g.conflicts(x[i], s)...)
		}
	}
	return found
}

// follows are what may stand behind each rule.
func (g *grammar) follows() map[string]map[any]bool {
	all := map[string]map[any]bool{}
	for name := range g.rules {
		all[name] = map[any]bool{}
	}
	for changed := true; changed; {
		changed = false
		var walk func(x any, follow map[any]bool)
		walk = func(x any, follow map[any]bool) {
			switch x := x.(type) {
			case rule:
				for k := range follow {
					if !all[string(x)][k] {
						all[string(x)][k], changed = true, true
					}
				}
			case optional:
				walk(x.x, follow)
			case repeated:
				s, _ := g.first(x.x)
				for k := range follow {
					s[k] = true
				}
				walk(x.x, s)
			case either:
				for _, o := range x {
					walk(o, follow)
				}
			case sequence:
				for i := range x {
					s, null := g.first(x[i+1:])
					if null {
						for k := range follow {
							s[k] = true
						}
					}
					walk(x[i], s)
				}
			}
		}
		for name, body := range g.rules {
			walk(body, all[name])
		}
	}
	return all
}

// TestGrammar_isLL1 proves that one token always decides, and that the proof would see it if not.
func TestGrammar_isLL1(t *testing.T) {
	g := newGrammar(t)
	follow := g.follows()
	for name, body := range g.rules {
		for _, c := range g.conflicts(body, follow[name]) {
			t.Errorf("rule %s: %s", name, c)
		}
	}
	g.rules["bound"] = either{rule("amount"), class("NAME"), literal("none")}
	if g.conflicts(g.rules["bound"], follow["bound"]) == nil {
		t.Error("the test sees no conflict between NAME and a word")
	}
}

// TestGrammar_keys holds the tables of keys to the grammar: the same keys in the same blocks.
func TestGrammar_keys(t *testing.T) {
	g := newGrammar(t)
	var words []string
	for _, option := range g.rules["block"].(either) {
		parts := option.(sequence)
		word := string(parts[0].(literal))
		words = append(words, word)
		var want []string
		settings := false
		if body, ok := parts[len(parts)-1].(repeated); ok {
			set, _ := g.first(body.x.(sequence)[1])
			for k := range set {
				if l, ok := k.(literal); ok {
					want = append(want, string(l))
				}
				settings = settings || k == class("SETTING")
			}
		}
		slices.Sort(want)
		if got := KeyNames(word); !slices.Equal(got, want) {
			t.Errorf("KeyNames(%s) = %v, the grammar has %v", word, got, want)
		}
		if TakesSettings(word) != settings {
			t.Errorf("TakesSettings(%s) = %v", word, !settings)
		}
	}
	if !slices.Equal(words, Blocks()) {
		t.Errorf("Blocks() = %v, the grammar has %v", Blocks(), words)
	}
}

// terminal is a token as the grammar knows it.
type terminal struct {
	class string
	word  string
}

func (t terminal) is(x any) bool {
	switch x := x.(type) {
	case literal:
		return t.word == string(x)
	case class:
		return t.class == string(x)
	}
	return false
}

func (t terminal) in(set map[any]bool) bool {
	return set[literal(t.word)] || set[class(t.class)]
}

// begins tells whether x may begin with that token, and whether it may be nothing.
func (g *grammar) begins(x any, t terminal) (yes, null bool) {
	switch x := x.(type) {
	case literal, class:
		return t.is(x), false
	case rule:
		return t.in(g.sets[string(x)]), g.null[string(x)]
	case optional:
		yes, _ = g.begins(x.x, t)
		return yes, true
	case repeated:
		yes, _ = g.begins(x.x, t)
		return yes, true
	case either:
		for _, o := range x {
			y, n := g.begins(o, t)
			yes, null = yes || y, null || n
		}
		return yes, null
	case sequence:
		for _, part := range x {
			if y, n := g.begins(part, t); y || !n {
				return y, false
			}
		}
		return false, true
	}
	panic("no element of a grammar")
}

var classes = map[Kind]string{Name: "NAME", Number: "NUMBER", Ref: "REF", Clock: "CLOCK", Span: "SPAN", Text: "TEXT", Word: "WORD", Relation: "RELATION"}

// terminals scans a text into what the grammar reads. Not ok: the scanner refused something.
func terminals(text string) (all []terminal, ok bool) {
	_, list := Parse("x", "") // nothing of the parser is used
	file := newFile("x", text)
	reader := newReader(file, piece{to: len(file.lines)}, &list, nil)
	block := ""
	keeper := &parser{file: file}
	for st, read := reader.read(); len(read) > 0; st, read = reader.read() {
		tokens := keeper.keep(read)
		first := tokens[0]
		if st.head && !st.slipped || st.margin {
			all = append(all, terminal{class: "HEAD"})
			block = first.Word()
		} else {
			all = append(all, terminal{class: "BODY"})
		}
		for i := 0; i < len(tokens); i++ {
			t := tokens[i]
			one := terminal{class: classes[t.Kind], word: t.Word()}
			_, key := FindKey(block, t.Word())
			switch {
			case t.Kind == Text || t.Kind == Word || t.Kind == Ref:
				one.word = ""
			case t.Kind == Number:
				for i+1 < len(tokens) && tokens[i+1].Kind == Unit {
					one.class = "QUANTITY"
					more := i+3 < len(tokens) && tokens[i+2].Kind == Number && tokens[i+3].Kind == Unit &&
						isTime(printedUnit(tokens[i+1].Text())) && isTime(printedUnit(tokens[i+3].Text()))
					if i++; more {
						i++
						continue
					}
					break
				}
			case i == 0 && !st.head && !st.margin && t.Kind == Name && !key:
				one.class = "SETTING"
			case i == 1 && st.head && block != "use" && t.Kind == Name && Reserved(t.Word()):
				one.class = "" // a word of the language names nothing
			}
			all = append(all, one)
		}
		all = append(all, terminal{class: "END"})
	}
	return all, !list.HasErrors()
}

// recogniser follows the grammar over terminals. One token decides, so it never goes back.
type recogniser struct {
	g  *grammar
	in []terminal
	i  int
}

func (r *recogniser) peek() terminal {
	if r.i < len(r.in) {
		return r.in[r.i]
	}
	return terminal{}
}

func (r *recogniser) begins(x any) bool {
	yes, _ := r.g.begins(x, r.peek())
	return yes
}

func (r *recogniser) read(x any) bool {
	switch x := x.(type) {
	case literal, class:
		r.i++
		return r.i <= len(r.in) && r.in[r.i-1].is(x)
	case rule:
		return r.read(r.g.rules[string(x)])
	case optional:
		if r.begins(x.x) {
			return r.read(x.x)
		}
		return true
	case repeated:
		for yes := r.begins(x.x); yes; yes = r.begins(x.x) {
			if !r.read(x.x) {
				return false
			}
		}
		return true
	case either:
		var empty any
		for _, o := range x {
			yes, null := r.g.begins(o, r.peek())
			if yes {
				return r.read(o)
			}
			if null {
				empty = o
			}
		}
		return empty != nil
	case sequence:
		for _, part := range x {
			if !r.read(part) {
				return false
			}
		}
		return true
	}
	panic("no element of a grammar")
}

func (g *grammar) accepts(text string) bool {
	in, ok := terminals(text)
	r := &recogniser{g: g, in: in}
	return ok && r.read(rule("file")) && r.i == len(in)
}

// lexemes are what random sentences are made of.
var lexemes = map[string][]string{
	"NAME":     {"tank-1", "ph", "fan", "on", "tank", "always", "yes", "no", "mean", "night", "text", "Ana", "x", "none", "day", "after", "when", "value"},
	"SETTING":  {"channel", "electrode", "loop", "holds", "q10"},
	"WORD":     {"/dev/ttyUSB0", "0x48", "https://a.example:8086", "28-0316a2794bff", "°C", "4-20", "ana@b.example"},
	"TEXT":     {`"a text"`, `“smart”`, `"with \" and \\"`},
	"NUMBER":   {"12", "0.5", "-3"},
	"QUANTITY": {"5 min", "4.2 pH", "45°C", "1 h 30 min", "60 % RH", "-0.4 C/min", "12 degree-hours"},
	"REF":      {"tank-1/ph", "yard/rain"},
	"CLOCK":    {"18:00", "24:00"},
	"SPAN":     {"18:00-08:00", "06:00-06:30"},
	"RELATION": {"<", "<=", ">", "≥"},
}

type generator struct {
	g    *grammar
	rng  *rand.Rand
	out  []string
	deep int
}

func (n *generator) write(x any) {
	switch x := x.(type) {
	case literal:
		n.out = append(n.out, string(x))
	case class:
		switch x {
		case "HEAD":
			n.out = append(n.out, "\n")
		case "BODY":
			n.out = append(n.out, "\n   ")
		case "END":
		default:
			n.out = append(n.out, lexemes[string(x)][n.rng.IntN(len(lexemes[string(x)]))])
		}
	case rule:
		n.deep++
		n.write(n.g.rules[string(x)])
		n.deep--
	case optional:
		if n.deep < 12 && n.rng.IntN(2) == 0 {
			n.write(x.x)
		}
	case repeated:
		for n.deep < 12 && n.rng.IntN(3) > 0 {
			n.write(x.x)
		}
	case either:
		if n.deep > 14 {
			n.write(x[0]) // the first of each rule in which it matters is short
			return
		}
		n.write(x[n.rng.IntN(len(x))])
	case sequence:
		for _, part := range x {
			n.write(part)
		}
	}
}

// mutate spoils a sentence in one place.
func (n *generator) mutate() {
	if len(n.out) < 2 {
		return
	}
	i := n.rng.IntN(len(n.out))
	others := []string{",", ";", "(", ")", "..", "+", "-", "*", "is", "=", "and", "or", "not", "at", "by", "for", "each", "every", "ago", "{", ":", "from", "in"}
	for _, list := range []string{"NAME", "WORD", "TEXT", "NUMBER", "QUANTITY", "REF", "CLOCK", "SPAN", "RELATION"} {
		others = append(others, lexemes[list][0])
	}
	other := others[n.rng.IntN(len(others))]
	switch n.rng.IntN(5) {
	case 4:
		n.out = slices.Insert(n.out, i, n.out[i])
	case 0:
		n.out = slices.Delete(n.out, i, i+1)
	case 1:
		n.out = slices.Insert(n.out, i, other)
	case 2:
		n.out[i] = other
	case 3:
		j := n.rng.IntN(len(n.out))
		n.out[i], n.out[j] = n.out[j], n.out[i]
	}
}

// beyond tells of a message about something that a grammar cannot say: keys that stand twice, times of day, bounds.
func beyond(code string) bool { return slices.Contains([]string{"15", "70", "71", "75"}, code) }

// TestParse_acceptsTheGrammar holds the parser to grammar.txt from both sides. Sentences are drawn from the grammar, and spoilt ones
// from those; a plain recogniser, driven by the text of the grammar, says of each whether it is one; the parser must say the same.
func TestParse_acceptsTheGrammar(t *testing.T) {
	g := newGrammar(t)
	seed := uint64(20261125) // chosen
	rng := rand.New(rand.NewPCG(seed, 1))
	good, bad := 0, 0
	for i := range 4000 {
		n := &generator{g: g, rng: rng}
		for range 1 + rng.IntN(2) {
			n.write(sequence{class("HEAD"), rule("block")})
		}
		if i%2 == 1 {
			for range 1 + rng.IntN(2) {
				n.mutate()
			}
		}
		text := strings.TrimPrefix(strings.Join(n.out, " "), "\n ")
		text = strings.ReplaceAll(text, "\n ", "\n") + "\n"
		if agree(t, g, text) {
			good++
		} else {
			bad++
		}
		if t.Failed() {
			return
		}
	}
	t.Logf("%d sentences accepted, %d refused by both", good, bad)
	if good < 1500 || bad < 800 {
		t.Errorf("%d accepted and %d refused: too few of one to prove anything", good, bad)
	}
}

// agree compares the parser with the grammar on one text, and gives what they say.
func agree(t *testing.T, g *grammar, text string) bool {
	t.Helper()
	want := g.accepts(text)
	file, list := Parse("x", text)
	said := 0
	for _, d := range list {
		if !beyond(d.Code) {
			said++
		}
	}
	if want && said > 0 {
		t.Errorf("the grammar accepts, the parser says %v of\n%s", list, text)
	}
	if !want && len(list) == 0 && len(unknownUnits(file)) == 0 {
		t.Errorf("the grammar refuses, the parser does not\n%s", text)
	}
	return want
}

// TestRecogniser_refuses shows that the recogniser of the test above can tell.
func TestRecogniser_refuses(t *testing.T) {
	g := newGrammar(t)
	good := "alarm a for each tank\n    when ph < 4.2 and (loaded or not fan is on)\n    on-delay 5 min\n"
	if !g.accepts(good) {
		t.Fatalf("the recogniser refuses\n%s", good)
	}
	for _, spoil := range []string{"for", "each", "ph", "<", "(", "is", "on-delay", "min", "alarm"} {
		if text := strings.Replace(good, spoil, "", 1); g.accepts(text) {
			t.Errorf("the recogniser accepts\n%s", text)
		}
	}
}
