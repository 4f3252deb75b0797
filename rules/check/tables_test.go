package check

import (
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// extraPoints are the points that the program computes although the specification of the language does not name them; DEVELOPERS.md says what they are.
var extraPoints = []string{"board/damaged-readings", "board/files-set-aside", "bin/looks-empty", "deck/looks-empty", "dryer/looks-empty", "probe/entry-due-in", "channel/registered", "channel/card-works"}

// declaredPoints are the points and moments of kinds.txt, as "kind word name".
func declaredPoints() map[string]bool {
	all, kind := map[string]bool{}, ""
	for line := range strings.Lines(kindsText) {
		words := strings.Fields(line)
		switch {
		case len(words) < 2 || words[0] == "#":
		case !strings.HasPrefix(line, " "):
			kind = words[1]
		case words[0] == "moment":
			for _, m := range words[1:] {
				all[kind+" moment "+m] = true
			}
		case words[0] == "computed" || words[0] == "measured":
			all[kind+" "+words[0]+" "+words[1]] = true
		}
	}
	return all
}

// ofKind are the kinds of which a part of a cell may speak alone.
var ofKind = regexp.MustCompile(`^(tank|deck|dryer|bin|store|bus|channel|probe|point): (.*)$`)

// namesFor reads a cell of the table for one kind: "a, b(-x, -y); store: c".
func namesFor(kind, cell string) (names []string) {
	cell = regexp.MustCompile(`\(([^)]*)\)`).ReplaceAllStringFunc(cell, func(s string) string { return strings.ReplaceAll(s, ", ", "+") })
	for part := range strings.FieldsFuncSeq(cell, func(r rune) bool { return r == ';' || r == '·' }) {
		part = strings.TrimSpace(part)
		if m := ofKind.FindStringSubmatch(part); m != nil {
			if m[1] != kind {
				continue
			}
			part = m[2]
		}
		for name := range strings.SplitSeq(part, ", ") {
			name, ends, _ := strings.Cut(strings.TrimSuffix(name, ")"), "(")
			if name != "" {
				names = append(names, name)
			}
			for end := range strings.SplitSeq(ends, "+") {
				if end != "" {
					names = append(names, name+end)
				}
			}
		}
	}
	return names
}

// TestKinds_table holds points and moments of the kinds to the table of section 3 of the specification, where that is at hand: none is missing, and what is beyond it is known and
// told in the guide.
func TestKinds_table(t *testing.T) {
	spec, err := os.ReadFile("../../../shared/LANGUAGE.md")
	if err != nil {
		t.Skipf("the specification is not here: %v", err)
	}
	_, rest, _ := strings.Cut(string(spec), "\n## 3. ")
	section, _, _ := strings.Cut(rest, "\n## 4. ")
	want := map[string]bool{}
	for line := range strings.Lines(section) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if len(cells) != 5 || strings.HasPrefix(strings.TrimSpace(cells[0]), "kind") || strings.HasPrefix(strings.TrimSpace(cells[0]), "---") {
			continue
		}
		for kind := range strings.FieldsFuncSeq(strings.TrimPrefix(strings.TrimSpace(cells[0]), "each "), func(r rune) bool { return r == ',' || r == '·' }) {
			kind = strings.TrimSpace(kind)
			for i, word := range []string{2: "measured", 3: "computed", 4: "moment"} {
				if word == "" {
					continue
				}
				for _, name := range namesFor(kind, strings.TrimSpace(cells[i])) {
					want[kind+" "+word+" "+name] = true
				}
			}
		}
	}
	for _, b := range extraPoints {
		kind, name, _ := strings.Cut(b, "/")
		want[kind+" computed "+name] = true
	}
	got := declaredPoints()
	for _, k := range slices.Sorted(maps.Keys(want)) {
		if !got[k] {
			t.Errorf("%s is in the specification and not in the program", k)
		}
	}
	for _, k := range slices.Sorted(maps.Keys(got)) {
		if !want[k] {
			t.Errorf("%s is in the program and not in the specification", k)
		}
	}
	if len(want) < 150 {
		t.Errorf("only %d points and moments compared", len(want))
	}
}

// What the program has beyond the specification stands in the guide.
func TestKinds_beyondIsTold(t *testing.T) {
	guide, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(guide), "\n## The language, beyond its specification\n")
	section, _, _ := strings.Cut(rest, "\n## ")
	for _, b := range extraPoints {
		if _, name, _ := strings.Cut(b, "/"); !strings.Contains(section, "`"+name+"`") {
			t.Errorf("the guide does not tell of %s", b)
		}
	}
}
