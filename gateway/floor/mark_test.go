package floor

import (
	"os"
	"slices"
	"strings"
	"testing"
)

// Aim: what people can mark is what the declarations of rules/check call a moment of that kind, so that a rule can look at it.
func TestMarkable_isDeclared(t *testing.T) {
	text, err := os.ReadFile("../../rules/check/kinds.txt")
	if err != nil {
		t.Fatal(err)
	}
	declared, kind := map[string][]string{}, ""
	for line := range strings.Lines(string(text)) {
		switch words := strings.Fields(line); {
		case len(words) > 1 && words[0] == "kind":
			kind = words[1]
		case len(words) > 1 && words[0] == "moment":
			declared[kind] = words[1:]
		}
	}
	found := []string{"loaded", "emptied", "charged", "dropped", "rain-started"} // by entries and by models
	for kind, moments := range markable {
		for _, m := range moments {
			if !slices.Contains(declared[kind], m) {
				t.Errorf("%s of a %s can be marked and is not declared", m, kind)
			}
		}
		for _, m := range declared[kind] {
			if !slices.Contains(moments, m) && !slices.Contains(found, m) {
				t.Errorf("%s of a %s is declared, and nobody can mark it", m, kind)
			}
		}
	}
}
