package housekeeping

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"millwarden/drivers/bus"
	"millwarden/drivers/catalog"
	"millwarden/gateway/floor"
	"millwarden/internal/phrase"
	"millwarden/rules"
)

const sheets = "deploy/sheets"

// sheetsOf reads the sheets whose name begins so, by name.
func sheetsOf(t *testing.T, prefix string) map[string]string {
	t.Helper()
	list, err := filepath.Glob(filepath.Join(root, sheets, prefix+"*.md"))
	if err != nil || len(list) == 0 {
		t.Fatalf("no sheets %s*: %v", prefix, err)
	}
	texts := map[string]string{}
	for _, path := range list {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		texts[filepath.Base(path)] = string(text)
	}
	return texts
}

// What a sheet says a part can be told is what its driver can be told, word by word, and each part stands in one sheet. So with the buses whose block somebody has to write.
func TestSheets_optionsAreTheDrivers(t *testing.T) {
	want := map[string]bool{}
	for _, d := range catalog.All() {
		want[strings.TrimSpace(d.Declares)] = false
	}
	for _, kind := range []string{"serial", "i2c-mux"} {
		_, from, _ := strings.Cut(bus.Declares, "bus "+kind+" ")
		from, _, _ = strings.Cut(from, "\nbus ")
		want["bus "+kind+" "+strings.TrimSpace(from)] = false
	}
	for name, text := range sheetsOf(t, "part-") {
		for _, block := range paragraphs(text) {
			stands, declared := want[block]
			switch isDeclaration := strings.Contains(block, "\n    reads ") || strings.Contains(block, "\n    phrase "); {
			case declared && stands:
				t.Errorf("%s says again what another sheet says:\n%s", name, block)
			case declared:
				want[block] = true
			case isDeclaration:
				t.Errorf("%s says what no driver does:\n%s", name, block)
			}
		}
	}
	for declaration, stands := range want {
		if !stands {
			t.Errorf("no sheet has\n%s", declaration)
		}
	}
}

// paragraphs are the examples of a document, parted at empty lines.
func paragraphs(document string) (list []string) {
	for _, example := range examples(document) {
		for p := range strings.SplitSeq(example, "\n\n") {
			list = append(list, strings.TrimSpace(p))
		}
	}
	return list
}

// Every sheet of a part has for each of its parts a block that checks, and the blocks use every option.
func TestSheets_rulesCheck(t *testing.T) {
	const site = `site example
    timezone        America/Lima
    altitude        1450 m

station tank-1 is tank
station bin-1 is bin
station dryer-1 is dryer
station roaster-1 is roaster
station room-1 is room
station yard-1 is yard
station board-case is room

`
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{} // "part key"
	for name, text := range sheetsOf(t, "part-") {
		buses := ""
		for _, block := range paragraphs(text) {
			first, _, _ := strings.Cut(block, " ")
			if strings.Contains(block, "\n    phrase ") || first != "bus" && first != "probe" {
				continue
			}
			part := ""
			for line := range strings.Lines(block) {
				fields := strings.Fields(line)
				if fields[0] == "part" {
					part = fields[1]
				}
				used[part+" "+fields[0]] = true
			}
			if first == "bus" {
				buses += block + "\n\n"
				continue
			}
			given := site + buses + block + "\n"
			if strings.Contains(block, "compensated by") {
				given += "\nprobe tank-1-thermometer\n    part            ds18b20 28-0316a2794bff\n    gives           temperature at tank-1\n    every           5 s\n"
			}
			_, said, sources := rules.Load(fstest.MapFS{"sheet.rules": {Data: []byte(given)}}, "sheet.rules", words)
			if said.HasErrors() {
				var b bytes.Buffer
				_ = said.Print(&b, sources)
				t.Errorf("%s:\n%s", name, &b)
			}
		}
	}
	for _, d := range words {
		if d.Class != phrase.Part {
			continue
		}
		for _, p := range append(d.Phrases, phrase.Phrase{Key: "part"}) {
			if !used[d.Name+" "+p.Key] {
				t.Errorf("no example of a sheet uses %s of part %s", p.Key, d.Name)
			}
		}
	}
}

// caution is the form of ANSI Z535.6: signal word, hazard, what happens, how to avoid it.
var caution = regexp.MustCompile(`^> (WARNING|CAUTION|NOTICE) — [A-Z][^.]*\. [^.]+[.:;] .+\.$`)

// Every sheet warns in that form, before its first step, of at most three things, and leaves the licensed trades and the codes of the place their say.
func TestSheets_cautions(t *testing.T) {
	const defers = "for a licensed electrician or gas fitter, under the local electrical, fuel-gas and fire\ncodes. Where this sheet and they differ, they are right. Millwarden is no safety function: cut-outs, burner controls and listed fire detection stay."
	for _, prefix := range []string{"part-", "station-"} {
		for name, text := range sheetsOf(t, prefix) {
			before, after, _ := strings.Cut(text, "\n| |")
			count := 0
			for line := range strings.SplitSeq(before, "\n") {
				if !strings.HasPrefix(line, ">") {
					continue
				}
				if count++; !caution.MatchString(line) {
					t.Errorf("%s: %q is not signal word — hazard. What happens. How to avoid it.", name, line)
				}
			}
			if count < 1 || count > 3 || strings.Contains(after, "\n>") {
				t.Errorf("%s: %d cautions before the table, want 1 to 3 and none behind it", name, count)
			}
			if !strings.Contains(after, defers) {
				t.Errorf("%s does not defer to the licensed trades and the codes", name)
			}
		}
	}
}
