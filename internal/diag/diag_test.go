package diag

import (
	"errors"
	"strings"
	"testing"
)

func at(file string, line, column, width int) Range {
	return Range{Position: Position{File: file, Line: line, Column: column}, Width: width}
}

// TestPrint_form: the first case is the form that the specification of the language prints, section 8, letter for letter.
func TestPrint_form(t *testing.T) {
	sources := Sources{
		"fern-hollow.rules": strings.Repeat("\n", 13) + "    when            air-temperature > 60 %RH\n",
		"tabs.rules":        "\twhen\tph < 4,2\r\nlast line without an end: °C·h is Ω",
	}
	for _, c := range []struct {
		name string
		d    Diagnostic
		want string
	}{
		{"specification", Diagnostic{Subject: at("fern-hollow.rules", 14, 39, 6), Summary: "air-temperature is a temperature, but 60 %RH is a humidity",
			Detail: "dryer-1/air-temperature is given by dryer-1-air (fern-hollow.rules:3:7). Write a temperature, for example 60 °C."}, "" +
			"fern-hollow.rules:14:39: error: air-temperature is a temperature, but 60 %RH is a humidity\n" +
			"   14 |     when            air-temperature > 60 %RH\n" +
			"      |                                       ^^^^^^\n" +
			"   dryer-1/air-temperature is given by dryer-1-air (fern-hollow.rules:3:7). Write a temperature, for example 60 °C.\n"},
		{"a tab is one column, and CR is no character", Diagnostic{Severity: Warning, Subject: at("tabs.rules", 1, 12, 3), Summary: "s", Detail: "d"}, "" +
			"tabs.rules:1:12: warning: s\n" +
			"    1 |  when ph < 4,2\n" +
			"      |            ^^^\n" +
			"   d\n"},
		{"columns are characters", Diagnostic{Severity: Note, Subject: at("tabs.rules", 2, 35, 1), Summary: "s"}, "" +
			"tabs.rules:2:35: note: s\n" +
			"    2 | last line without an end: °C·h is Ω\n" +
			"      |                                   ^\n"},
		{"a line that is not there", Diagnostic{Subject: at("tabs.rules", 9, 1, 1), Summary: "s", Detail: "d"}, "tabs.rules:9:1: error: s\n   d\n"},
		{"a file that is not there", Diagnostic{Subject: at("none", 1, 1, 1), Summary: "s"}, "none:1:1: error: s\n"},
		{"no width still has a mark", Diagnostic{Subject: at("tabs.rules", 1, 2, 0), Summary: "s"}, "tabs.rules:1:2: error: s\n    1 |  when ph < 4,2\n      |  ^\n"},
	} {
		var b strings.Builder
		if err := (List{c.d}).Print(&b, sources); err != nil {
			t.Fatal(err)
		}
		if b.String() != c.want {
			t.Errorf("%s: Print gives\n%swant\n%s", c.name, b.String(), c.want)
		}
	}
}

// TestPrint_most: the hundredth is printed, what is beyond is counted.
func TestPrint_most(t *testing.T) {
	for n, want := range map[int]string{Most: "", Most + 1: "and 1 more\n", Most + 250: "and 250 more\n"} {
		var b strings.Builder
		if err := make(List, n).Print(&b, nil); err != nil {
			t.Fatal(err)
		}
		_, tail, _ := strings.Cut(b.String(), "and")
		if strings.Count(b.String(), "error") != min(n, Most) || (want != "") != (tail != "") || !strings.HasSuffix(b.String(), want) {
			t.Errorf("%d: %d printed, then %q, want %q", n, strings.Count(b.String(), "error"), tail, want)
		}
	}
}

type full struct{}

var errFull = errors.New("disk full")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestPrint_passesErrorsOn(t *testing.T) {
	if err := make(List, 3).Print(full{}, nil); !errors.Is(err, errFull) {
		t.Errorf("Print() = %v, want %v", err, errFull)
	}
}

// TestSort_order: file, line, column, severity; between equals the order in which they were added.
func TestSort_order(t *testing.T) {
	l := List{
		{Summary: "7", Subject: at("b", 1, 1, 1)},
		{Summary: "6", Subject: at("a", 10, 1, 1)},
		{Summary: "5", Subject: at("a", 2, 3, 1), Severity: Note},
		{Summary: "3", Subject: at("a", 2, 3, 1), Severity: Warning},
		{Summary: "4", Subject: at("a", 2, 3, 9), Severity: Warning},
		{Summary: "2", Subject: at("a", 2, 3, 1)},
		{Summary: "1", Subject: at("a", 2, 1, 1), Severity: Note},
	}
	l.Sort()
	got := ""
	for _, d := range l {
		got += d.Summary
	}
	if got != "1234567" {
		t.Errorf("Sort() gives %s", got)
	}
	if !l.HasErrors() || (List{{Severity: Warning}, {Severity: Note}}).HasErrors() || (List)(nil).HasErrors() {
		t.Error("HasErrors does not tell errors from warnings and notes")
	}
}

// TestNear: the distances are those of the restricted Damerau-Levenshtein measure, worked out by hand.
func TestNear(t *testing.T) {
	known := []string{"alarm", "area", "tank", "tank-1", "priority", "humidity", "mean", "café"}
	for word, want := range map[string]string{
		"alert":    "alarm", // two changes
		"prority":  "priority",
		"humidty":  "humidity",
		"tnak":     "tank", // one swap; two changes would be too many for four letters
		"tonk":     "tank",
		"toonk":    "tank",
		"tnka":     "",       // two swaps, four letters
		"tank-11":  "tank-1", // one letter too many
		"average":  "",
		"alarm":    "", // known already
		"are":      "area",
		"ar":       "",
		"piroirty": "priority", // two swaps
		"cafe":     "café",     // letters, not bytes
		"":         "",
	} {
		if got := Near(word, known); got != want {
			t.Errorf("Near(%q) = %q, want %q", word, got, want)
		}
	}
	if got := Near("tank-", []string{"tank-22", "tank-2", "tank-1"}); got != "tank-2" {
		t.Errorf("Near gives %q of equally near words, want the first of the nearest", got)
	}
}

// FuzzNear: swapping the words changes nothing, a word is nearest to itself, and no panic.
func FuzzNear(f *testing.F) {
	f.Add("tank", "tnak")
	f.Add("ñandú", "nandu")
	f.Fuzz(func(t *testing.T, a, b string) {
		const most = 50
		x, y := []rune(a), []rune(b)
		if len(x) > most || len(y) > most {
			return
		}
		d := distance(x, y, most)
		if back := distance(y, x, most); d != back {
			t.Errorf("distance(%q, %q) = %d, the other way %d", a, b, d, back)
		}
		if (d == 0) != (string(x) == string(y)) || d > max(len(x), len(y)) {
			t.Errorf("distance(%q, %q) = %d", a, b, d)
		}
	})
}
