package syntax

import (
	"bytes"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"millwarden/internal/diag"
)

var update = flag.Bool("update", false, "write the expected files anew")

// goodFiles are whole files in the one layout: the built-in subjects, copies of the examples, and the examples themselves where they are.
func goodFiles(t testing.TB) []string {
	t.Helper()
	var files []string
	for _, pattern := range []string{"../standard/*.rules", "testdata/rules/*.rules", "../../testdata/rules/good/*.rules", "../../testdata/rules/good/*/*.rules", "../../../shared/examples/*.rules", "../../../shared/examples/*/*.rules"} {
		found, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, found...)
	}
	if len(files) < 24 { // the seven subjects, and the examples of this tree
		t.Fatalf("only %d files found", len(files))
	}
	return files
}

// TestFormat_leavesGoodFiles: files in the one layout parse without a word said, and come back byte for byte.
func TestFormat_leavesGoodFiles(t *testing.T) {
	for _, path := range goodFiles(t) {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		f, list := Parse(filepath.Base(path), string(text))
		if len(list) > 0 {
			t.Errorf("Parse(%s) says %v", path, list)
		}
		if !bytes.Equal(Format(f), text) {
			t.Errorf("Format(%s) changes it", path)
		}
		holds(t, string(text))
	}
}

// TestFormat_tidies prints a file that uses every freedom of typing: tabs, capitals, curly quotes, steps in one line, comments everywhere.
func TestFormat_tidies(t *testing.T) {
	text, err := os.ReadFile("testdata/untidy.txt")
	if err != nil {
		t.Fatal(err)
	}
	f, list := Parse("untidy.rules", string(text))
	if len(list) > 0 {
		t.Fatalf("Parse says %v", list)
	}
	got := Format(f)
	if *update {
		if err := os.WriteFile("testdata/tidy.txt", got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("testdata/tidy.txt")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("Format(untidy) =\n%s\nwant\n%s", got, want)
	}
	holds(t, string(text))
	crlf := strings.ReplaceAll(string(text), "\n", "\r\n")
	if g, list := Parse("untidy.rules", crlf); !bytes.Equal(Format(g), want) {
		t.Errorf("with CRLF Format gives another text; Parse says %v", list)
	}
}

// holds checks what must be true of any text: places lie in the file and say what stands there; a faulty file is left alone; of another
// the printed form is the same tree, and printing it again changes nothing.
func holds(t *testing.T, text string) {
	t.Helper()
	f, list := Parse("x.rules", text)
	for _, d := range list {
		inFile(t, text, d.Subject)
		if d.Summary == "" || d.Detail == "" || d.Code == "" {
			t.Errorf("a message is not whole: %+v", d)
		}
	}
	walk(reflect.ValueOf(f.Blocks), 0, func(_ int, v reflect.Value) bool {
		switch x := v.Interface().(type) {
		case Token:
			if x.Given() {
				inFile(t, text, x.Where())
			}
		case Formula:
			if x.AsPrinted() {
				standsAsPrinted(t, v)
			}
		}
		return true
	})
	printed := Format(f)
	if list.HasErrors() {
		if string(printed) != text {
			t.Errorf("Format changes a file with mistakes:\n%s", text)
		}
		return
	}
	g, list := Parse("x.rules", string(printed))
	if len(list) > 0 {
		t.Fatalf("Format gives what Parse refuses: %v\n%s\nfrom\n%s", list, printed, text)
	}
	if a, b := dump(f), dump(g); a != b {
		t.Errorf("Format changes the tree of\n%s\nprinted\n%s\nfrom\n%s\nto\n%s", text, printed, a, b)
	}
	if again := Format(g); !bytes.Equal(again, printed) {
		t.Errorf("Format twice: first\n%s\nthen\n%s", printed, again)
	}
}

// standsAsPrinted checks each part of a formula that is said to stand in the file as it is printed.
func standsAsPrinted(t *testing.T, formula reflect.Value) (parts int) {
	t.Helper()
	walk(formula, 0, func(_ int, v reflect.Value) bool {
		if !v.CanAddr() {
			return true
		}
		if x, ok := v.Addr().Interface().(Expr); ok && v.Type() != reflect.TypeFor[Formula]() && v.Type() != reflect.TypeFor[Amount]() {
			parts++
			if typed, printed := Typed(x), x.String(); typed != printed {
				t.Errorf("%T stands as %q and is printed %q", x, typed, printed)
			}
		}
		return true
	})
	return parts
}

// TestFormula_asPrinted: which formulas stand as they are printed, by hand; of those that do, each part does.
func TestFormula_asPrinted(t *testing.T) {
	for typed, want := range map[string]bool{
		"ph < 4.2 pH": true, "mean(temperature, 1 h) > 25 °C and humidity > 60 %RH": true, "not (a or b)": true, "(a + b) * 2 < c - -3": true,
		"fan is not off": true, "time-since(stirred) > 1 h 30 min": true, "during(18:00-08:00)": true, "rise(a, 1 h, 1 d ago) > 1 °C/h": true,
		"ph<4.2 pH": false, "ph < 4.2pH": false, "ph  < 4.2 pH": false, "Ph < 4.2 pH": false, "ph ≤ 4.2 pH": false, "a > 25 C": false, "a > 60 % RH": false,
		"fan = off": false, "( a or b)": false, "mean (temperature, 1 h) > 2 °C": false, "mean(temperature,1 h) > 2 °C": false, "a and\n        b": false,
		"a\tand b": false, "a × 2 > b": false, "tank-1/ph < 4.2 pH": false, "a > −3 °C": false,
	} {
		f, list := Parse("x", "alarm a at b\n    when "+typed)
		if len(list) > 0 {
			t.Errorf("%s: %v", typed, list)
			continue
		}
		formula := f.Blocks[0].Lines[0].Value.(*Formula)
		if formula.AsPrinted() != want {
			t.Errorf("%q stands as printed: %v, want %v", typed, !want, want)
		}
		if want && standsAsPrinted(t, reflect.ValueOf(formula)) == 0 {
			t.Errorf("%q has no parts", typed)
		}
	}
}

// inFile checks that line, column and byte of a place agree with each other, and that it ends within its line.
func inFile(t *testing.T, text string, r diag.Range) {
	t.Helper()
	if r.Byte > len(text) {
		t.Errorf("%v: byte %d of %d", r.Position, r.Byte, len(text))
		return
	}
	start := strings.LastIndexByte(text[:r.Byte], '\n') + 1
	line, column := strings.Count(text[:r.Byte], "\n")+1, utf8.RuneCountInString(text[start:r.Byte])+1
	if line != r.Line || column != r.Column {
		t.Errorf("%v is byte %d, which is %d:%d", r.Position, r.Byte, line, column)
	}
	rest, _, _ := strings.Cut(text[r.Byte:], "\n")
	if n := utf8.RuneCountInString(rest); r.Width > max(n, 1) || r.Width < 1 {
		t.Errorf("%v is %d wide, %d characters are left in its line", r.Position, r.Width, n)
	}
}

// TestFormat_ofSentences draws files from the grammar, breaks them into lines wherever that is allowed, puts comments between and beside
// the lines, and holds the printed form to the tree.
func TestFormat_ofSentences(t *testing.T) {
	g := newGrammar(t)
	rng := rand.New(rand.NewPCG(20261125, 2)) // chosen
	printed := 0
	for range 1000 {
		n := &generator{g: g, rng: rng}
		for range 1 + rng.IntN(3) {
			n.write(sequence{class("HEAD"), rule("block")})
		}
		text := scatter(rng, n.out)
		holds(t, text)
		if _, list := Parse("x", text); len(list) == 0 {
			printed++
		}
		if t.Failed() {
			return
		}
	}
	if printed < 500 {
		t.Errorf("only %d of 1000 could be printed", printed)
	}
}

// TestFormat_ofOddities: texts that Parse takes, each of which a simpler printer would spoil.
func TestFormat_ofOddities(t *testing.T) {
	for _, text := range []string{
		"",
		"\n\n",
		"# only a comment",
		"alarm a at b\n  when ph < 4 KM", // small, the word would become a unit
		"point p at s\n  = a - b",        // = begins a row, and is would not be an operator
		"watch a\n call b;\n # own\n after 5 min c # beside\n   ; after 6 min d",
		"station a is tank\n holds",
		"alarm a at b\n note \n  \"one\"\n  \"two\" # beside",
		"use a,\n  b\n ,c",
		"probe a\n part x “smart \\\" and \\\\”",
		"alarm a at b\n when a\n     - -3 < 4",
		"area a\n# between\narea b\n\n\n\narea c",
		"site a\n    # last, belongs to nothing",
	} {
		if _, list := Parse("x", text); len(list) > 0 {
			t.Errorf("Parse(%q) says %v", text, list)
		}
		holds(t, text)
	}
}

// scatter puts words into lines with what a person might leave between them.
func scatter(rng *rand.Rand, words []string) string {
	var b strings.Builder
	between := []string{"", "", "", "\n", "\n\n\n", "\n# a comment", "\n\n   # deep\n", "  # beside"}
	for i, w := range words {
		if strings.HasPrefix(w, "\n") {
			b.WriteString(between[rng.IntN(len(between))])
			b.WriteString("\n" + strings.Repeat(" ", rng.IntN(2)*strings.Count(w, " ")) + w[1:])
			continue
		}
		if i > 0 && rng.IntN(4) == 0 && (slices.Contains([]string{",", "+", "-", "*", "/", "<", ">"}, words[i-1]) || w == "and" || w == "," || w == ")") {
			b.WriteString(between[rng.IntN(len(between))])
			b.WriteString("\n" + strings.Repeat("\t", 1+rng.IntN(3)))
		}
		if i > 0 && words[i-1] != "\n" {
			w = " " + w
		}
		b.WriteString(w)
	}
	return b.String()
}

// FuzzParse: whatever the text, no panic, and holds is true of it.
func FuzzParse(f *testing.F) {
	for _, path := range goodFiles(f) {
		text, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		if len(text) < 4000 { // short seeds are changed more often where it matters
			f.Add(string(text))
		}
	}
	untidy, err := os.ReadFile("testdata/untidy.txt")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(untidy))
	messages, err := os.ReadFile("testdata/messages.txt")
	if err != nil {
		f.Fatal(err)
	}
	for _, part := range strings.Split(string(messages), "\n-- ") {
		f.Add(part)
	}
	f.Fuzz(func(t *testing.T, text string) { holds(t, text) })
}
