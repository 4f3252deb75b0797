package syntax

import (
	"os"
	"strings"
	"testing"

	"millwarden/internal/diag"
)

// archive reads a text archive: sections that begin with "-- NAME --".
func archive(t *testing.T, path string) map[string]string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Skipf("%s is not here: %v", path, err)
	}
	files, name := map[string]string{}, ""
	for line := range strings.Lines(string(data)) {
		if rest, ok := strings.CutPrefix(strings.TrimSuffix(line, "\n"), "-- "); ok && strings.HasSuffix(rest, " --") {
			name = strings.TrimSuffix(strings.TrimSuffix(rest, " --"), " (alone)")
			continue
		}
		files[name] += line
	}
	return files
}

// TestParse_mistakes holds every message of this package to the archive of wrong files that came with the specification of the
// language: what Parse says of a file stands in its expected output word for word, and of the mistakes of writing nothing is missing.
func TestParse_mistakes(t *testing.T) {
	files := archive(t, "../../../shared/examples/mistakes.txtar")
	whole := map[string]bool{}
	for _, name := range []string{"two-comparisons-in-one", "and-beside-or", "equals-sign", "braces", "parenthesis-open", "decimal-comma",
		"name-with-underscore", "text-not-closed", "colon-after-key", "unknown-block", "unknown-key", "key-of-another-block", "key-twice",
		"hours-that-are-none", "hours-of-no-length", "secret-in-the-file", "change-of-when", "number-with-exponent", "a-word-of-the-language",
		"too-much-on-the-line", "bad-escape", "line-without-a-block"} {
		whole[name] = true
	}
	said := 0
	for name, text := range files {
		base, ok := strings.CutSuffix(name, ".rules")
		if !ok {
			continue
		}
		_, list := Parse(name, text)
		var out strings.Builder
		if err := list.Print(&out, diag.Sources{name: text}); err != nil {
			t.Fatal(err)
		}
		want := files[base+".out"]
		if whole[base] && out.String() != want {
			t.Errorf("%s: Parse says\n%swant\n%s", name, out.String(), want)
		}
		for _, d := range list {
			var one strings.Builder
			if err := (diag.List{d}).Print(&one, diag.Sources{name: text}); err != nil {
				t.Fatal(err)
			}
			if !strings.Contains(want, one.String()) {
				t.Errorf("%s: Parse says\n%sbut expected is\n%s", name, one.String(), want)
			}
			said++
		}
		delete(whole, base)
	}
	if said < 27 || len(whole) > 0 { // counted by reading the archive
		t.Errorf("%d messages said, want 27 or more; not in the archive: %v", said, whole)
	}
}
