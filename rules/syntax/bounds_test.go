package syntax

import (
	"os"
	"reflect"
	"strings"
	"testing"
)

// TestParse_bounds: at each bound of the specification (section 7, and the lengths of section 1) a file is taken, one step beyond it is
// refused with the message that names the bound.
func TestParse_bounds(t *testing.T) {
	alarm := func(when string) string { return "alarm a at b\n    when            " + when + "\n" }
	nest := func(n int) string { return strings.Repeat("(", n) + "a" + strings.Repeat(")", n) }
	sum := func(n int) string { // each line stays below 1,000 characters
		return "a" + strings.Repeat(" + a", n/2) + "\n " + strings.Repeat(" + a", n-n/2-1) + " > 3"
	}
	for _, c := range []struct {
		name, within, beyond, code string
	}{
		{"file", "# " + strings.Repeat(strings.Repeat("x", 997)+"\n# ", 1048) + "\n", strings.Repeat(strings.Repeat("\n", 1000), 1049), "75"},
		{"line", "# " + strings.Repeat("é", 998), "# " + strings.Repeat("é", 999), "9"},
		{"text", "person a\n    note \"" + strings.Repeat("é", 500) + `"`, "person a\n    note \"" + strings.Repeat("é", 501) + `"`, "75"},
		{"joined text", "person a\n    note \"" + strings.Repeat("é", 250) + `" "` + strings.Repeat("é", 249) + `"`,
			"person a\n    note \"" + strings.Repeat("é", 250) + `" "` + strings.Repeat("é", 250) + `"`, "75"},
		{"title", "person a\n    title \"" + strings.Repeat("é", 40) + `"`, "person a\n    title \"" + strings.Repeat("é", 41) + `"`, "75"},
		{"name", "person " + strings.Repeat("a", 40), "person " + strings.Repeat("a", 41), "3"},
		{"depth", alarm(nest(32)), alarm(nest(33)), "75"},
		{"calls", alarm(strings.Repeat("f(", 32) + "a" + strings.Repeat(")", 32)), alarm(strings.Repeat("f(", 33) + "a" + strings.Repeat(")", 33)), "75"},
		{"nodes", alarm(sum(127)), alarm(sum(128)), "75"}, // n operands, n-1 plus signs, 3, >: 2n+1
		{"time", "watch a\n    hours 23:59-24:00", "watch a\n    hours 23:59-24:01", "70"},
	} {
		if _, list := Parse("x", c.within); len(list) > 0 {
			t.Errorf("%s: within the bound Parse says %v", c.name, list)
		}
		_, list := Parse("x", c.beyond)
		if len(list) != 1 || list[0].Code != c.code {
			t.Errorf("%s: beyond the bound Parse says %v, want one message %s", c.name, list, c.code)
		}
	}
}

// TestParse_deepIsCheap: a text that is nothing but opening parentheses ends at the bound and not in the stack.
func TestParse_deepIsCheap(t *testing.T) {
	rows := strings.Repeat("    "+strings.Repeat("(", 900)+"\n", 500)
	if _, list := Parse("x", "alarm a at b\n    when (\n"+rows); len(list) != 1 || list[0].Code != "75" {
		t.Errorf("Parse says %v, want one message 75", list)
	}
}

// TestParse_inPieces: a long text gives the same tree and says the same, in however many pieces it is read.
func TestParse_inPieces(t *testing.T) {
	block := "alarm a at b # why\n    when c\n  and d\nwhile e\n    unit 5\n\n  lost 4,2\nalram f\n\n# between\nlimit g 4 °C\n because \"h\n"
	text := strings.Repeat(block, 4*leastPiece/len(block))
	file := newFile("x", text)
	whole := &parser{file: file, whole: true}
	whole.read(cut(file, 1)[0], nil)
	whole.list.Sort()
	for n := 2; n <= 5; n++ {
		pieces := cut(file, n)
		if len(pieces) != min(n, len(text)/leastPiece) {
			t.Fatalf("cut(%d) gives %d pieces", n, len(pieces))
		}
		p := &parser{file: file, whole: true}
		p.readPieces(pieces, nil)
		p.list.Sort()
		if !reflect.DeepEqual(p.blocks, whole.blocks) || !reflect.DeepEqual(p.comments, whole.comments) {
			t.Errorf("%d pieces: another tree", n)
		}
		if len(p.list) < 100 || !reflect.DeepEqual(p.list, whole.list) {
			t.Errorf("%d pieces: %d messages, whole %d, or others", n, len(p.list), len(whole.list))
		}
	}
	for _, short := range []string{"", "alarm a at b", strings.Repeat("# no header\n", leastPiece)} {
		file := newFile("x", short)
		if pieces := cut(file, 4); len(pieces) != 1 || pieces[0] != (piece{to: len(file.lines)}) {
			t.Errorf("cut(%.20q) gives %v, want one piece", short, pieces)
		}
	}
}

// BenchmarkParse reads the greatest built-in subject; against it, only cutting the same text into words.
func BenchmarkParse(b *testing.B) {
	text := benchmarkText(b)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, list := Parse("x", text); len(list) > 0 {
			b.Fatal(list)
		}
	}
}

func BenchmarkWordsOnly(b *testing.B) {
	text := benchmarkText(b)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if len(strings.Fields(text)) == 0 {
			b.Fatal("no words")
		}
	}
}

func benchmarkText(b *testing.B) string {
	b.Helper()
	text, err := os.ReadFile("../standard/drying.rules")
	if err != nil {
		b.Fatal(err)
	}
	return string(text)
}
