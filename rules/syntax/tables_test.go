package syntax

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

var bold = regexp.MustCompile(`\*\*([a-z-]+)\*\*`)

// tableOf reads section 5 of the specification: of each block's keys the default, the least, the greatest, what is said when wrong, and whether it may stand several times.
func tableOf(t *testing.T, spec string) map[string][]Key {
	t.Helper()
	_, rest, _ := strings.Cut(spec, "\n## 5. ")
	section, _, found := strings.Cut(rest, "\n### 5.1")
	if !found {
		t.Fatal("the specification has no section 5")
	}
	keys := map[string][]Key{}
	var blocks []string
	for line := range strings.SplitSeq(section, "\n") {
		if !strings.HasPrefix(line, "|") {
			if found := bold.FindAllStringSubmatch(line, -1); found != nil && strings.HasPrefix(line, "**") {
				blocks = nil
				for _, m := range found {
					blocks = append(blocks, m[1])
				}
			}
			continue
		}
		cells := strings.Split(strings.Trim(line, "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if len(cells) != 7 || cells[0] == "key" || strings.HasPrefix(cells[0], "---") {
			continue
		}
		name, many := strings.CutSuffix(cells[0], " ✻")
		for n := range strings.SplitSeq(name, ", ") {
			for _, b := range blocks {
				keys[b] = append(keys[b], Key{Name: n, Default: cells[2], Least: cells[3], Most: cells[4], Says: cells[6], Many: many})
			}
		}
	}
	return keys
}

// TestKeys_tables holds the keys of the blocks to the tables of section 5, where the specification is at hand: bounds, defaults, and what is said when wrong.
func TestKeys_tables(t *testing.T) {
	spec, err := os.ReadFile("../../../shared/LANGUAGE.md")
	if err != nil {
		t.Skipf("the specification is not here: %v", err)
	}
	compared := 0
	for block, rows := range tableOf(t, string(spec)) {
		for _, want := range rows {
			got, known := FindKey(block, want.Name)
			if !known {
				continue // a key of another block of the same table; TestGrammar_keys holds which has which
			}
			compared++
			if got.Least != want.Least || got.Most != want.Most || got.Says != want.Says || got.Many != want.Many {
				t.Errorf("%s, %s: from %q to %q, many %v, %q; the table has from %q to %q, many %v, %q", block, want.Name, got.Least, got.Most, got.Many, got.Says,
					want.Least, want.Most, want.Many, want.Says)
			}
			if got.Default != want.Default {
				t.Errorf("%s, %s: default %q, the table has %q", block, want.Name, got.Default, want.Default)
			}
		}
	}
	if compared < 100 {
		t.Errorf("only %d keys compared", compared)
	}
}
