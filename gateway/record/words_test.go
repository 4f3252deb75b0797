package record

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"millwarden/internal/units"
)

// Aim: every word of the page has its Spanish, none is left over, and the page in Spanish has the same tags and actions.
func TestPage_spanish(t *testing.T) {
	known, err := os.ReadFile("es.txt")
	if err != nil {
		t.Fatal(err)
	}
	left := map[string]bool{}
	for line := range strings.Lines(string(known)) {
		if word := strings.TrimRight(line, "\n"); word != "" && word[0] != '#' && word[0] != ' ' {
			left[word] = true
		}
	}
	words := 0
	for _, run := range runs.Split(page, -1) {
		word := strings.TrimSpace(run)
		if !regexp.MustCompile(`[A-Za-z]`).MatchString(word) {
			continue
		}
		words++
		if !strings.Contains("\n"+string(known), "\n"+word+"\n    ") {
			t.Errorf("es.txt lacks %q", word)
		}
		delete(left, word)
	}
	for word := range left {
		t.Errorf("es.txt has %q, which is not on the page", word)
	}
	if words < 150 {
		t.Errorf("only %d words were looked at", words)
	}
	english, inSpanish := runs.FindAllString(page, -1), runs.FindAllString(spanishPage(), -1)
	if len(english) != len(inSpanish) {
		t.Errorf("%d tags and actions in English, %d in Spanish", len(english), len(inSpanish))
	}
}

// Aim: dates are said with the months of the language; English ones stay.
func TestRecord_date(t *testing.T) {
	r := &Record{}
	for _, c := range [][3]string{{"", "9 May 2026", "9 May 2026"}, {"es", "9 May 2026", "9 de mayo de 2026"}, {"es", "9 May 14:30", "9 may 14:30"}, {"es", "2 August 2026", "2 de agosto de 2026"}, {"es", "2 Dec 06:00", "2 dic 06:00"}} {
		if got := r.For(c[0], units.Choice{}).date(c[1]); got != c[2] {
			t.Errorf("%q in %q: %q, want %q", c[1], c[0], got, c[2])
		}
	}
}
