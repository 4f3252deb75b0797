package models

import (
	"os"
	"strings"
	"testing"
)

// Aim: no number is shown that cannot be traced: every point that the declarations of rules/check compute at a station with a model has a formula and a source, and no formula is of a
// point that is not there.
func TestExplain_everyComputedPoint(t *testing.T) {
	text, err := os.ReadFile("../check/kinds.txt")
	if err != nil {
		t.Fatal(err)
	}
	kind, declared, seen := "", map[string]bool{}, 0
	for line := range strings.Lines(string(text)) {
		words := strings.Fields(line)
		switch {
		case len(words) > 1 && words[0] == "kind":
			kind = words[1]
		case len(words) > 1 && words[0] == "each":
			kind = ""
		case len(words) > 1 && words[0] == "computed" && kinds[kind]:
			declared[kind+" "+words[1]], declared[" "+words[1]] = true, true
			f, ok := Explain(kind, words[1])
			if !ok || f.Text == "" || f.Source == "" {
				t.Errorf("%s/%s is shown and not explained", kind, words[1])
			}
			seen++
		}
	}
	if seen < 60 {
		t.Errorf("only %d computed points were found in the declarations", seen)
	}
	for kind, points := range formulas {
		for point := range points {
			if !declared[kind+" "+point] {
				t.Errorf("a formula stands for %q/%s, which is not declared", kind, point)
			}
		}
	}
	if _, ok := Explain("board", "disk-free"); ok {
		t.Error("the board's own points are no model's")
	}
}
