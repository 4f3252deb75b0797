package check

import (
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"millwarden/internal/diag"
	"millwarden/internal/phrase"
)

// declared is the vocabulary of parts, buses and channels that the language's own examples are written against.
func declared(t testing.TB) []phrase.Declaration {
	t.Helper()
	text, err := os.ReadFile("testdata/vocabulary.txt")
	if err != nil {
		t.Fatal(err)
	}
	list, err := phrase.Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// notYet are the mistakes whose message is not reached, and why.
var notYet = map[string]string{}

// Aim: the messages are the product. Each wrong file of the archive gives exactly the output that stands beside it: errors, all of them,
// no others, at their places. The archive was made with the specification of the language, not by this code; the ids of 1-Wire came later.
func TestLoad_mistakes(t *testing.T) {
	text, err := os.ReadFile("../../testdata/rules/mistakes.txtar")
	if err != nil {
		t.Fatal(err)
	}
	files := fstest.MapFS{}
	alone := map[string]bool{}
	var names []string
	want := map[string]string{}
	for _, f := range sections(string(text)) {
		name, isAlone := strings.CutSuffix(f.name, " (alone)")
		if base, ok := strings.CutSuffix(name, ".out"); ok {
			want[base] = f.text
			names = append(names, base)
			continue
		}
		files[name] = &fstest.MapFile{Data: []byte(f.text)}
		alone[strings.TrimSuffix(name, ".rules")] = isAlone
	}
	if len(names) != 112 {
		t.Errorf("the archive holds %d mistakes, want 112", len(names))
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			mains := []string{"base.rules", name + ".rules"}
			if alone[name] {
				mains = mains[1:]
			}
			fsys := fstest.MapFS{}
			for path, f := range files {
				fsys[strings.TrimPrefix(path, name+"/")] = f
			}
			_, list, sources := load(fsys, mains, declared(t))
			if got := errorsOf(t, list, sources); got != want[name] {
				if why := notYet[name]; why != "" {
					t.Skip(why)
				}
				t.Errorf("check prints\n%s\nwant\n%s", got, want[name])
			} else if notYet[name] != "" {
				t.Errorf("%s is reached: take it off the list", name)
			}
		})
	}
}

// section is one file of a text archive, which begins with a line "-- NAME --".
type section struct{ name, text string }

func sections(archive string) []section {
	var list []section
	for line := range strings.Lines(archive) {
		if rest, ok := strings.CutPrefix(line, "-- "); ok && strings.HasSuffix(rest, " --\n") {
			list = append(list, section{name: strings.TrimSuffix(rest, " --\n")})
		} else if len(list) > 0 {
			list[len(list)-1].text += line
		}
	}
	return list
}

func errorsOf(t *testing.T, list diag.List, sources diag.Sources) string {
	t.Helper()
	var kept diag.List
	for _, d := range list {
		if d.Severity == diag.Error {
			kept = append(kept, d)
		}
	}
	var b strings.Builder
	if err := kept.Print(&b, sources); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
