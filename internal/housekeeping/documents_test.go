package housekeeping

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"millwarden/drivers/catalog"
	"millwarden/gateway/command"
	"millwarden/gateway/floor"
	"millwarden/internal/phrase"
	"millwarden/rules"
)

const root = "../.."

func read(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// examples are the indented blocks of a document, without their indent.
func examples(document string) []string {
	var blocks []string
	var block []string
	for line := range strings.Lines(document + "\n.") {
		line = strings.TrimSuffix(line, "\n")
		switch {
		case strings.HasPrefix(line, "    "):
			block = append(block, line[4:])
		case strings.TrimSpace(line) != "" && len(block) > 0:
			blocks = append(blocks, strings.TrimSpace(strings.Join(block, "\n")))
			block = nil
		case len(block) > 0:
			block = append(block, "")
		}
	}
	return blocks
}

// Every rules example of README.md is one: it checks, in a site that has what it names.
func TestReadme_rulesCheck(t *testing.T) {
	const site = `site example
    timezone        America/Lima
    altitude        1450 m

station tank-1 is tank

probe tank-1-thermometer
    part            ds18b20 28-0316a2794bff
    gives           temperature at tank-1
    every           5 s

person ana
    mail            ana@estate.example

channel mail
    server          mail.estate.example
    sender          mill@estate.example

`
	const electrode = `
probe tank-1-electrode
    part            ads1115 on i2c-1 at 0x48
    channel         ain0 range 2.048 V
    electrode       compensated by tank-1/temperature
    gives           ph at tank-1
    every           10 s

`
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, example := range examples(read(t, "README.md")) {
		first, _, _ := strings.Cut(example, " ")
		if first != "probe" && first != "alarm" {
			continue
		}
		checked++
		text := site + example + "\n"
		if first == "alarm" {
			text = site + electrode + example + "\n"
		}
		_, said, sources := rules.Load(fstest.MapFS{"example.rules": {Data: []byte(text)}}, "example.rules", words)
		if said.HasErrors() {
			var b bytes.Buffer
			_ = said.Print(&b, sources)
			t.Errorf("an example of README.md has faults:\n%s", &b)
		}
	}
	if checked < 2 {
		t.Errorf("%d rules examples found in README.md, want at least 2", checked)
	}
}

// Every command that a document names is one.
func TestDocuments_nameRealCommands(t *testing.T) {
	var help bytes.Buffer
	command.Main(context.Background(), []string{"help"}, command.IO{Out: &help, Err: &help})
	named := regexp.MustCompile("(?:\\./|`)millwarden ([a-z]+)")
	found := 0
	for _, document := range []string{"README.md", "DEVELOPERS.md", "SECURITY.md"} {
		for _, match := range named.FindAllStringSubmatch(read(t, document), -1) {
			found++
			if match[1] != "help" && !strings.Contains(help.String(), "millwarden "+match[1]+" ") {
				t.Errorf("%s names `millwarden %s`, which is no command", document, match[1])
			}
		}
	}
	if found < 5 {
		t.Errorf("%d commands found in the documents, want at least 5: is the pattern right?", found)
	}
}

// Each driver of the catalog that turns words into values has its table of such words with the source.
func TestDrivers_haveVectors(t *testing.T) {
	for _, d := range catalog.All() {
		if d.Kind == "by-hand" {
			continue // people read it
		}
		text := read(t, "testdata/vectors/"+d.Kind+".txt")
		if !regexp.MustCompile(`(?i)source|datasheet|specification|RFC`).MatchString(text) {
			t.Errorf("testdata/vectors/%s.txt names no source", d.Kind)
		}
	}
}

// allowedTop is everything that may lie at the top of the repository, besides dot files.
var allowedTop = []string{"gateway", "drivers", "rules", "internal", "deploy", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md", "LICENSE", "SECURITY.md"}

// The top level is fixed, and no file names a machine's folder or the host of a registry.
func TestRepository_topLevelAndPaths(t *testing.T) {
	out, err := exec.Command("git", "-C", root, "ls-files").Output()
	if err != nil {
		t.Skipf("no git here: %v", err)
	}
	// Written apart, so that this file does not find itself.
	wrong := regexp.MustCompile(`/wo` + `rk/|/ro` + `ot/|registry\.npm` + `js|proxy\.go` + `lang`)
	for name := range strings.Lines(string(out)) {
		name = strings.TrimSpace(name)
		top, _, _ := strings.Cut(name, "/")
		if !strings.HasPrefix(top, ".") && !slices.Contains(allowedTop, top) {
			t.Errorf("%s does not belong at the top level", top)
		}
		if slices.Contains([]string{".png", ".gz", ".bin", ".sum"}, filepath.Ext(name)) {
			continue
		}
		text, err := os.ReadFile(filepath.Join(root, name))
		if err != nil {
			continue // removed, not yet committed
		}
		if at := wrong.FindIndex(text); at != nil {
			t.Errorf("%s names a path or host of a machine: %q", name, text[at[0]:min(len(text), at[1]+20)])
		}
	}
}
