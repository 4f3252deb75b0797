package syntax

import (
	"os"
	"strings"
	"testing"

	"millwarden/internal/diag"
)

// TestParse_says holds what is said of wrong files of our own: testdata/messages.txt has them, testdata/said.txt the output. Every line
// of said.txt was read against the table of messages in the specification before it was kept.
func TestParse_says(t *testing.T) {
	files := archive(t, "testdata/messages.txt")
	var out strings.Builder
	for _, name := range []string{"values.rules", "formulas.rules", "blocks.rules", "lines.rules"} {
		if files[name] == "" {
			t.Fatalf("%s is not in testdata/messages.txt", name)
		}
		_, list := Parse(name, files[name])
		if err := list.Print(&out, diag.Sources{name: files[name]}); err != nil {
			t.Fatal(err)
		}
		holds(t, files[name])
	}
	if *update {
		if err := os.WriteFile("testdata/said.txt", []byte(out.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("testdata/said.txt")
	if err != nil {
		t.Fatal(err)
	}
	got := strings.SplitAfter(out.String(), "\n")
	for i, line := range strings.SplitAfter(string(want), "\n") {
		if i >= len(got) || got[i] != line {
			t.Fatalf("line %d differs: want\n%sgot\n%s", i+1, line, strings.Join(got[min(i, len(got)-1):min(i+3, len(got))], ""))
		}
	}
	if len(got) != strings.Count(string(want), "\n")+1 {
		t.Errorf("more is said than expected:\n%s", strings.Join(got[strings.Count(string(want), "\n"):], ""))
	}
}
