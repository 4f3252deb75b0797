package housekeeping

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"

	"millwarden/rules/syntax"
)

// colours is as much of a TextMate grammar as these tests look at.
type colours struct {
	ScopeName  string `json:"scopeName"`
	Repository map[string]struct {
		Patterns []struct {
			Name  string `json:"name"`
			Match string `json:"match"`
		} `json:"patterns"`
	} `json:"repository"`
}

// words are the words of the first alternative group that a pattern lists.
var alternatives = regexp.MustCompile(`\(([a-z]+(?:-[a-z]+)*(?:\|[a-z]+(?:-[a-z]+)*)+)\)`)

func listed(t *testing.T, c colours, part string) []string {
	t.Helper()
	for _, p := range c.Repository[part].Patterns {
		if m := alternatives.FindStringSubmatch(p.Match); m != nil {
			return strings.Split(m[1], "|")
		}
	}
	t.Fatalf("the grammar lists no words under %s", part)
	return nil
}

// The grammar for editors knows every word that begins a block, every key and every function of the language, and no others.
func TestEditor_knowsTheWordsOfTheLanguage(t *testing.T) {
	var c colours
	if err := json.Unmarshal([]byte(read(t, "deploy/editor/millwarden.tmLanguage.json")), &c); err != nil {
		t.Fatal(err)
	}
	var keys []string
	for _, block := range syntax.Blocks() {
		keys = append(keys, syntax.KeyNames(block)...)
	}
	for _, part := range []struct {
		name string
		want []string
	}{{"header", syntax.Blocks()}, {"key", keys}, {"value", syntax.Functions}} {
		got, want := listed(t, c, part.name), slices.Clone(part.want)
		slices.Sort(got)
		slices.Sort(want)
		if want = slices.Compact(want); !slices.Equal(got, want) {
			t.Errorf("deploy/editor: %s has\n%v\nwant\n%v", part.name, got, want)
		}
	}
}

// The words that stand between others, and those that stand for a value, are all known too: the latter are written down in sections 1 to 5 of the language.
func TestEditor_knowsTheWordsInLines(t *testing.T) {
	var c colours
	if err := json.Unmarshal([]byte(read(t, "deploy/editor/millwarden.tmLanguage.json")), &c); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string][]string{
		"keyword.operator.word.millwarden": append(syntax.Keywords(), "to"), // read as ..
		"constant.language.millwarden": {"yes", "no", "on", "off", "none", "always", "everyone", "value", "night", "watched", "high", "medium", "low", "safety", "food", "quality", "equipment",
			"good", "uncertain", "bad", "overdue", "frozen"},
	} {
		var got []string
		for _, p := range c.Repository["value"].Patterns {
			if p.Name == name {
				got = strings.Split(alternatives.FindStringSubmatch(p.Match)[1], "|")
			}
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("deploy/editor: %s has\n%v\nwant\n%v", name, got, want)
		}
	}
}

// Longer words stand before those they begin with: an editor takes the first that fits.
func TestEditor_longerWordsFirst(t *testing.T) {
	var c colours
	if err := json.Unmarshal([]byte(read(t, "deploy/editor/millwarden.tmLanguage.json")), &c); err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{"header", "key", "value"} {
		words := listed(t, c, part)
		for i, word := range words {
			for _, before := range words[:i] {
				if strings.HasPrefix(word, before) {
					t.Errorf("%s: %s stands before %s", part, before, word)
				}
			}
		}
	}
}
