package syntax

import (
	"errors"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// editable is laid out by hand, unlike the formatter would: what an edit does not touch must keep it.
const editable = `site   x
  timezone America/Lima     # as it is

area a
area b

station tank-1 is tank
station tank-2 is tank

probe one
   part ds18b20 28-1
   gives temperature at tank-1   # the first
# about two
probe two
   part ds18b20 28-2
   # how often
   every 10 s,   # wrong on purpose below
   gives temperature at tank-2

limit cold at tank-1 16 ºC   # maker
   choice "ours"
# the end
`

func readEditable(t *testing.T, text string) *File {
	t.Helper()
	f, list := Parse("x", text)
	if len(list) > 0 {
		t.Fatal(list)
	}
	return f
}

// TestEdit: each edit changes its block and nothing else; the untouched rest is compared byte for byte.
func TestEdit(t *testing.T) {
	text := strings.Replace(editable, "10 s,", "10 s", 1)
	for _, ending := range []string{"\n", "\r\n"} {
		text := strings.ReplaceAll(text, "\n", ending)
		f := readEditable(t, text)
		probe, limit := f.Blocks[6], f.Blocks[7]
		for _, c := range []struct {
			name     string
			edit     func() (string, error)
			old, new string
		}{
			{"a probe goes behind the last of its station", func() (string, error) { return Add(f, "probe new\n part ds18b20 28-3\n gives temperature at tank-1") },
				"# about two\n", "\nprobe new\n    part            ds18b20 28-3\n    gives           temperature at tank-1\n\n# about two\n"},
			{"a probe of a new station goes behind the last probe", func() (string, error) { return Add(f, "probe new\n part ds18b20 28-3\n gives temperature at bin-1") },
				"gives temperature at tank-2\n", "gives temperature at tank-2\n\nprobe new\n    part            ds18b20 28-3\n    gives           temperature at bin-1\n"},
			{"an area stands with the others", func() (string, error) { return Add(f, "area c") }, "area b\n", "area b\narea c\n"},
			{"a person goes to the end", func() (string, error) { return Add(f, "person ana\n phone \"+51 1\"") },
				"# the end\n", "# the end\n\nperson ana\n    phone           \"+51 1\"\n"},
			{"a changed line keeps its comments", func() (string, error) { return SetLine(f, probe, "every", "30 s") },
				"probe two\n   part ds18b20 28-2\n   # how often\n   every 10 s   # wrong on purpose below\n   gives temperature at tank-2\n",
				"probe two\n    part            ds18b20 28-2\n    # how often\n    every           30 s  # wrong on purpose below\n    gives           temperature at tank-2\n"},
			{"a new line goes behind the others", func() (string, error) { return SetLine(f, probe, "mounted", `"low"`) },
				"probe two\n   part ds18b20 28-2\n   # how often\n   every 10 s   # wrong on purpose below\n   gives temperature at tank-2\n",
				"probe two\n    part            ds18b20 28-2\n    # how often\n    every           10 s  # wrong on purpose below\n    gives           temperature at tank-2\n    mounted         \"low\"\n"},
			{"an amount", func() (string, error) { return SetAmount(f, limit, "17 C") },
				"limit cold at tank-1 16 ºC   # maker\n   choice \"ours\"\n", "limit cold at tank-1 17 °C  # maker\n    choice          \"ours\"\n"},
			{"a whole block", func() (string, error) { return Replace(f, limit, "limit cold 3 C\n choice \"no\"") },
				"limit cold at tank-1 16 ºC   # maker\n   choice \"ours\"\n", "limit cold 3 °C\n    choice          \"no\"\n"},
		} {
			got, err := c.edit()
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
				continue
			}
			old, changed := strings.ReplaceAll(c.old, "\n", ending), strings.ReplaceAll(c.new, "\n", ending)
			if want := strings.Replace(text, old, changed, 1); got != want || want == text {
				t.Errorf("%s: got\n%s\nwant\n%s", c.name, got, want)
			}
		}
	}
}

// TestEdit_refuses: what does not parse is not put into a file, and a file that does not parse is not touched.
func TestEdit_refuses(t *testing.T) {
	f := readEditable(t, "person ana\n")
	for _, block := range []string{"", "person b\nperson c", "preson b", "person b\n phone 3", "# nothing"} {
		if got, err := Add(f, block); err == nil {
			t.Errorf("Add(%q) gives\n%s", block, got)
		}
	}
	if _, err := SetAmount(f, f.Blocks[0], "3 s"); err == nil {
		t.Error("SetAmount of a person")
	}
	bad, _ := Parse("x", "person ana\n  phon 3\n")
	if _, err := Add(bad, "person b"); !errors.Is(err, ErrFaulty) {
		t.Errorf("Add to a file with mistakes: %v, want %v", err, ErrFaulty)
	}
}

// TestEdit_keepsTheRest replaces single blocks of a whole estate by themselves: the file does not change, as it is in the one layout.
func TestEdit_keepsTheRest(t *testing.T) {
	text, err := os.ReadFile("testdata/rules/fern-hollow.rules")
	if err != nil {
		t.Fatal(err)
	}
	f := readEditable(t, string(text))
	rng := rand.New(rand.NewPCG(1, 3)) // chosen
	for range 20 {
		b := f.Blocks[rng.IntN(len(f.Blocks))]
		from, to := f.extent(b)
		if got, err := Replace(f, b, f.Text[from:to]); err != nil || got != f.Text {
			t.Errorf("Replace(%s) by itself changes the file: %v", b.Title(), err)
		}
	}
}
