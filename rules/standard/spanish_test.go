package standard

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var (
	said  = regexp.MustCompile(`(?m)^\s+(?:title|note|cause|consequence|action|caution|say)\s+"(.+)"$`)
	named = regexp.MustCompile(`(?m)^(?:alarm|prompt|limit) ([a-z0-9-]+)`)
)

// english are all built-in texts that a person reads, and the names of alarms, prompts and limits as they are shown.
func english(t *testing.T) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	for _, subject := range Subjects() {
		text, _ := Text(subject)
		for _, m := range said.FindAllStringSubmatch(text, -1) {
			all[m[1]] = true
		}
		for _, m := range named.FindAllStringSubmatch(text, -1) {
			all[strings.ReplaceAll(m[1], "-", " ")] = true
		}
	}
	return all
}

// Aim: every built-in text has its Spanish, and no Spanish is left of a text that was changed.
func TestIn_complete(t *testing.T) {
	texts := english(t)
	if len(texts) < 350 {
		t.Fatalf("only %d texts found in the rules: the test looks in the wrong places", len(texts))
	}
	have := pairs(spanish)
	for text := range texts {
		if in := have[strings.ToLower(text)]; strings.TrimSpace(in) == "" {
			t.Errorf("es.txt lacks the Spanish of: %s", text)
		}
		delete(have, strings.ToLower(text))
	}
	for _, text := range slices.Sorted(maps.Keys(have)) {
		t.Errorf("es.txt holds the Spanish of what stands in no rules file: %s", text)
	}
}

// number finds figures, and the words of the rules language that a text names, which stay what they are in every language.
var number = regexp.MustCompile(`\d+(?:\.\d+)?|--[a-z-]+`)

// Aim: a translation holds the figures of its text, and warns as loudly: a translated caution that lost a number or its last sentence can hurt.
func TestIn_figures(t *testing.T) {
	for text := range english(t) {
		in := In("es", text)
		if a, b := number.FindAllString(text, -1), number.FindAllString(in, -1); !slices.Equal(a, b) {
			t.Errorf("%q has the figures %q, its Spanish %q has %q", text, a, in, b)
		}
		if a, b := strings.Count(text, ". "), strings.Count(in, ". "); a != b {
			t.Errorf("%q has %d sentences more than one, its Spanish %q has %d", text, a, in, b)
		}
	}
}

// Aim: other languages, and what the site wrote itself, stay as they are.
func TestIn_others(t *testing.T) {
	for _, c := range [][3]string{
		{"en", "Run a drill.", "Run a drill."}, {"", "Run a drill.", "Run a drill."}, {"es", "Run a drill.", "Haga un simulacro."},
		{"es", "pH has turned", "el pH se dio vuelta"}, {"es", "Ring the bell by the gate.", "Ring the bell by the gate."},
	} {
		if got := In(c[0], c[1]); got != c[2] {
			t.Errorf("In(%q, %q) = %q, want %q", c[0], c[1], got, c[2])
		}
	}
}
