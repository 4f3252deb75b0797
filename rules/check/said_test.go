package check

import (
	std "flag" // flag is a function here
	"fmt"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"millwarden/internal/diag"
)

var update = std.Bool("update", false, "write the golden files anew; read them before they are committed")

// printedOf prints what is said of one file, as check does.
func printedOf(t *testing.T, list diag.List, sources diag.Sources, file string) string {
	t.Helper()
	var kept diag.List
	for _, d := range list {
		if d.Subject.File == file {
			kept = append(kept, d)
		}
	}
	var b strings.Builder
	if err := kept.Print(&b, sources); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// golden holds what was printed to a file of testdata, or writes it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(name, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s should hold\n%s", name, got)
	}
}

// Aim: warnings and notes are the product as errors are. Each file of the archive is checked behind base.rules of the mistakes, and beside it stands all
// that is said of it, word for word; read by hand before it was kept. Its causes are those of TestWarnings.
func TestLoad_warnings(t *testing.T) {
	const name = "../../testdata/rules/warnings.txtar"
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var now strings.Builder
	head, _, _ := strings.Cut(string(text), "-- ")
	now.WriteString(head)
	for _, f := range sections(string(text)) {
		rules, is := strings.CutSuffix(f.name, ".rules")
		if !is {
			continue
		}
		list, sources := afterBase(t, f.name, f.text)
		fmt.Fprintf(&now, "-- %s --\n%s-- %s.out --\n%s", f.name, f.text, rules, printedOf(t, list, sources, f.name))
	}
	golden(t, name, now.String())
}

// afterBase checks a file behind base.rules of the mistakes, or alone if it has a site of its own.
func afterBase(t *testing.T, name, text string) (diag.List, diag.Sources) {
	t.Helper()
	mains, files := []string{name}, fstest.MapFS{name: {Data: []byte(text)}}
	if !strings.Contains(text, "site ") {
		mains = []string{"base.rules", name}
		files["base.rules"] = &fstest.MapFile{Data: []byte(baseRules(t))}
	}
	_, list, sources := load(files, mains, declared(t))
	return list, sources
}

func baseRules(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../../testdata/rules/mistakes.txtar")
	if err != nil {
		t.Fatal(err)
	}
	return sections(string(text))[0].text
}

// Aim: no message is without a file that shows its text: every row of the table of messages comes in the archive of mistakes or in that of warnings.
func TestMessages_eachIsShown(t *testing.T) {
	seen := map[string]bool{}
	for _, archive := range []string{"mistakes", "warnings"} {
		text, err := os.ReadFile("../../testdata/rules/" + archive + ".txtar")
		if err != nil {
			t.Fatal(err)
		}
		files := fstest.MapFS{}
		for _, f := range sections(string(text)) {
			_, path, inside := strings.Cut(f.name, "/")
			if !inside {
				path = strings.TrimSuffix(f.name, " (alone)")
			}
			files[path] = &fstest.MapFile{Data: []byte(f.text)}
		}
		for _, f := range sections(string(text)) {
			name, alone := strings.CutSuffix(f.name, " (alone)")
			mains := []string{"base.rules", name}
			if alone || strings.Contains(f.text, "site ") {
				mains = mains[1:]
			}
			if files["base.rules"] == nil {
				files["base.rules"] = &fstest.MapFile{Data: []byte(baseRules(t))}
			}
			if !strings.HasSuffix(name, ".rules") {
				continue
			}
			_, list, _ := load(files, mains, declared(t))
			for _, d := range list {
				seen[d.Code] = true
			}
		}
	}
	for number, m := range messages {
		if !seen[number] {
			t.Errorf("no file shows message %s: %s", number, m.says)
		}
	}
}

// Aim: each bound of section 7 is said with its text, its number and the count; read by hand before it was kept. The files are made here, for they are long.
func TestBounds_say(t *testing.T) {
	many := func(n int, form string) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, form, i)
		}
		return b.String()
	}
	prompt := "prompt p at tank-1\n    say \"x\"\n    when "
	pairs := strings.TrimSuffix(many(maxPairs+1, "%[1]d mV is %[1]d kg, "), ", ")
	includes := fstest.MapFS{}
	for i := range maxDeep + 1 {
		includes[fmt.Sprintf("%d.rules", i)] = &fstest.MapFile{Data: fmt.Appendf(nil, "include \"%d.rules\"\n", i+1)}
	}
	for i := range maxFiles {
		includes[fmt.Sprintf("flat-%d.rules", i)] = &fstest.MapFile{Data: []byte("# nothing\n")}
	}
	includes["half.rules"] = &fstest.MapFile{Data: []byte(strings.Repeat("# nothing at all\n", maxText/2/17))}
	includes["other-half.rules"] = includes["half.rules"]
	var out strings.Builder
	for _, tt := range []struct{ name, text string }{
		{"bytes of one file", strings.Repeat("# nothing at all\n", maxText/17+1)},
		{"bytes of all files", "include \"half.rules\"\ninclude \"other-half.rules\"\n"},
		{"files", many(maxFiles, "include \"flat-%d.rules\"\n")},
		{"include in include", "include \"0.rules\"\n"},
		{"characters of a line", "# " + strings.Repeat("x", 1000) + "\n"},
		{"characters of a name", "area " + strings.Repeat("x", 41) + "\n"},
		{"characters of a title", "area a\n    title \"" + strings.Repeat("x", 41) + "\"\n"},
		{"characters of a text", "area a\n    note \"" + strings.Repeat("x", 501) + "\"\n"},
		{"stations", many(maxStations+1, "station s%d is yard\n")},
		{"probes", many(maxProbes+1, "probe p%d\n    part ds18b20 28-%012[1]x\n    gives lid%[1]d at bin-1\n    note \"x\"\n")},
		{"points", many(2700, "point x%d for each tank is temperature + 1 K\n")},
		{"persons", many(maxPeople+1, "person p%d\n    phone \"+51 900 000 003\"\n")},
		{"watches", crew + many(maxWatches+1, "watch w%d\n    hours always\n    call ana\n")},
		{"steps", crew + fulltime + many(maxSteps, "    after 1%d min ben\n")},
		{"alarms", many(maxAlarms/3+1, "prompt x%d for each tank\n    when temperature > 30 °C\n    say \"x\"\n")},
		{"parentheses", prompt + strings.Repeat("(", maxDepth+1) + "loaded" + strings.Repeat(")", maxDepth+1) + "\n"},
		{"parts as written", prompt + "loaded" + strings.Repeat("\n        or loaded", 128) + "\n"},
		{"parts inside one another", prompt + "temperature" + strings.Repeat(" - 1 K", maxDepth) + " > 20 °C\n"},
		{"memory of windows", many(5000, "prompt w%d at tank-1\n    when mean(temperature, 1%04[1]d s) > 20 °C\n    say \"x\"\n")},
		{"one window", prompt + "mean(temperature, 32 d) > 20 °C\n"},
		{"pairs of a table", "probe more\n    part ads1115 on i2c-9 at 0x48\n    channel ain0\n    table " + strings.ReplaceAll(pairs, ", ", ",\n        ") + "\n    gives weight at bin-1\n"},
		{"messages", many(maxMessages+51, "area x%d y\n")},
	} {
		includes["mill.rules"] = &fstest.MapFile{Data: []byte(floor + tt.text)}
		_, list, sources := Load(includes, "mill.rules", declared(t))
		if tt.name == "messages" {
			list = list[len(list)-1:]
		}
		fmt.Fprintf(&out, "-- %s --\n%s", tt.name, shortLines(errorsOrLast(t, list, sources)))
	}
	golden(t, "testdata/bounds.txt", out.String())
}

func errorsOrLast(t *testing.T, list diag.List, sources diag.Sources) string {
	t.Helper()
	if len(list) == 1 {
		return printedOf(t, list, sources, list[0].Subject.File)
	}
	return errorsOf(t, list, sources)
}

// shortLines cuts the source lines that are too long to be read.
func shortLines(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		if r := []rune(strings.TrimSuffix(line, "\n")); len(r) > 160 {
			line = string(r[:150]) + " [and so on]\n"
		}
		b.WriteString(line)
	}
	return b.String()
}
