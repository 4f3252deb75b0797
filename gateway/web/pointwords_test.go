package web

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

// Aim: every point and moment of the language has its Spanish name, and none is named that the language does not have.
func TestPoints_spanish(t *testing.T) {
	kinds, err := os.ReadFile("../../rules/check/kinds.txt")
	must(t, err)
	table, err := os.ReadFile("../../rules/standard/es-points.txt")
	must(t, err)
	named := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^([a-z0-9][a-z0-9 -]*)\n {4}\S`).FindAllStringSubmatch(string(table), -1) {
		named[strings.ReplaceAll(m[1], " ", "-")] = false
	}
	count := 0
	for _, line := range strings.Split(string(kinds), "\n") {
		words := strings.Fields(line)
		if len(words) < 2 || words[0] != "measured" && words[0] != "computed" && words[0] != "moment" {
			continue
		}
		names := words[1:2]
		if words[0] == "moment" {
			names = words[1:]
		}
		for _, name := range names {
			count++
			if _, known := named[name]; !known {
				t.Errorf("%s has no Spanish name in es-points.txt", name)
			}
			named[name] = true
		}
	}
	if count < 100 {
		t.Errorf("kinds.txt gave %d names: it is read wrongly", count)
	}
	for name, used := range named {
		if !used {
			t.Errorf("es-points.txt names %s, which is in no kind", name)
		}
	}
}
