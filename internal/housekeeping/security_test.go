package housekeeping

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"millwarden/rules/syntax"
)

var (
	inBrackets = regexp.MustCompile(`\([^)]*\)`)
	codeOrName = regexp.MustCompile("`[^`]+`|[A-Z][A-Za-z_]+")
	testNames  = regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)\w+)\(`)
)

// testsOf are the tests of a package; the table shortens those of gateway.
func testsOf(t *testing.T, name string) (names []string) {
	t.Helper()
	for _, folder := range []string{filepath.Join(root, "gateway", name), filepath.Join(root, name)} {
		files, err := filepath.Glob(filepath.Join(folder, "*_test.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range testNames.FindAllStringSubmatch(string(text), -1) {
				names = append(names, m[1])
			}
		}
	}
	return names
}

// Every row of the table in SECURITY.md names what tests it, and what it names is there; rows that nothing can test say that they are read, or what is not offered.
func TestSecurity_tableNamesTests(t *testing.T) {
	rows, named := 0, 0
	for line := range strings.Lines(read(t, "SECURITY.md")) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if len(cells) != 3 || !regexp.MustCompile(`^ ?[56]\.`).MatchString(cells[0]) {
			continue
		}
		rows++
		tested := strings.TrimSpace(inBrackets.ReplaceAllString(cells[2], ""))
		if tested == "read" || tested == "" && strings.Contains(cells[1], "not offered") {
			continue
		}
		tested, _, _ = strings.Cut(tested, ":")
		before, inPackage, ofRow := "", []string(nil), 0
		for _, at := range codeOrName.FindAllStringIndex(tested, -1) {
			word := tested[at[0]:at[1]]
			code, isCode := strings.CutPrefix(word, "`")
			code = strings.TrimSuffix(code, "`")
			file, _, _ := strings.Cut(code, " ")
			switch {
			case !isCode && !slices.ContainsFunc(inPackage, func(test string) bool { return strings.Contains(test, word) }):
				t.Errorf("%s: %s has no test %s", cells[0], before, word)
			case !isCode:
			case strings.HasSuffix(strings.TrimSpace(tested[:at[0]]), "script"):
				read(t, "testdata/script/"+code+".txtar")
			case file == "grep":
			case strings.HasSuffix(file, ".sh"):
				read(t, file)
			default:
				if before, inPackage = code, testsOf(t, code); len(inPackage) == 0 {
					t.Errorf("%s: %s has no tests", cells[0], code)
				}
			}
			ofRow++
		}
		if named += ofRow; ofRow == 0 {
			t.Errorf("%s names no test", cells[0])
		}
	}
	if rows < 25 || named < 50 {
		t.Errorf("%d rows with %d names were looked at: the table is another one", rows, named)
	}
}

// section is what stands under a heading of SECURITY.md.
func section(t *testing.T, heading string) string {
	t.Helper()
	_, text, found := strings.Cut(read(t, "SECURITY.md"), "\n## "+heading+"\n")
	if !found {
		t.Fatalf("SECURITY.md has no section %q", heading)
	}
	text, _, _ = strings.Cut(text, "\n## ")
	return text
}

// Aim: whoever finds a weakness is told where to write and when he hears of it [ETSI EN 303 645, provision 5.2-1, as quoted: contact, and times for the answer and for updates
// until it is mended].
func TestSecurity_saysWhereToReport(t *testing.T) {
	text := section(t, "Reporting a weakness")
	for _, want := range []string{`private report form of the repository`, `by mail to the address`, `answer within \d+ working days`, `first judgement within \d+`, `aim at \d+ days`, `millwarden version`} {
		if !regexp.MustCompile(want).MatchString(text) {
			t.Errorf("%q is not told:\n%s", want, text)
		}
	}
	if !strings.Contains(read(t, "README.md"), "weakness: [SECURITY.md](SECURITY.md)") {
		t.Error("README.md does not lead there")
	}
}

// Aim: the support period that SECURITY.md promises is the one that a release carries [5.3-13]: by default, not shorter when asked for, and none without a signature. That the
// program prints what it was built with: TestVersion_support of gateway/command.
func TestSecurity_supportPeriod(t *testing.T) {
	if text := section(t, "Support"); !strings.Contains(text, "two years") || !strings.Contains(text, "`millwarden version` shows") {
		t.Errorf("the period is not told:\n%s", text)
	}
	for _, c := range []struct {
		key, end, says string
		fails          bool
	}{
		{"", "", "no release: not supported", false},
		{"", "2031-01-01", "no release: not supported", false},
		{"key", "", "2028-03-01", false},
		{"key", "2030-12-31", "2030-12-31", false},
		{"key", "2028-02-29", "promises two years", true},
		{"key", "for ever", "is no date", true},
	} {
		build := exec.CommandContext(t.Context(), "sh", filepath.Join(root, "deploy/package.sh"), "--support")
		build.Env = append(os.Environ(), "SOURCE_DATE_EPOCH=1772323200", "SIGNING_KEY="+c.key, "SUPPORT_END="+c.end) // 2026-03-01
		out, err := build.CombinedOutput()
		if (err != nil) != c.fails || !strings.Contains(string(out), c.says) {
			t.Errorf("key %q, end %q: %v, %s, want %q", c.key, c.end, err, out, c.says)
		}
	}
}

// reaches is every file of the program that opens a connection or takes a client from the standard library, and by which words SECURITY.md tells of it; "" says why it need not.
var reaches = map[string][2]string{
	"gateway/callout/mail/mail.go":       {"its channels"},
	"gateway/callout/push/push.go":       {"its channels"},
	"gateway/callout/push/public.go":     {"its channels"},
	"gateway/callout/webhook/webhook.go": {"its channels"},
	"gateway/callout/watcher/watcher.go": {"its outside watcher"},
	"gateway/forward/store.go":           {"its store"},
	"internal/link/dial.go":              {"its broker"},
	"gateway/command/client.go":          {"", "a command asks the gateway"},
	"internal/link/link.go":              {"its broker"},
	"internal/notify/notify.go":          {"", "the service manager's socket on this machine"},
}

var dials = regexp.MustCompile(`net\.Dial|\.Dial(Context|TLS|Timeout|Unix)?\(|http\.(Client\{|DefaultClient|DefaultTransport|Get\(|Post)|tls\.Dial`)

// Aim: what the program holds and sends is told, and all of it [6.1, 5.10-1]: each thing a person's block may hold is named or is none of a person's; each kind of channel and each
// block with an address is covered by the sentence on what leaves the site; and no other file of the program reaches out.
func TestSecurity_tellsWhatIsHeldAndSent(t *testing.T) {
	text := section(t, "What the program holds and sends")
	personal := map[string]string{"phone": "phone numbers", "mail": "mail addresses", "title": "Names", "note": "notes", "by": "", "rights": "", "language": "", "show": ""}
	for _, key := range syntax.Keys("person") {
		if words, known := personal[key.Name]; !known || !strings.Contains(text, words) {
			t.Errorf("the key %s of a person is not told of: %q", key.Name, words)
		}
	}
	for _, block := range syntax.Blocks() {
		if _, has := syntax.FindKey(block, "address"); has && !strings.Contains(text, "its "+strings.ReplaceAll(block, "-", " ")) {
			t.Errorf("%s has an address, and nothing says that something is sent there", block)
		}
	}
	seen := map[string]bool{}
	for _, file := range programFiles(t) {
		if !dials.MatchString(read(t, file)) {
			continue
		}
		seen[file] = true
		if told, known := reaches[file]; !known {
			t.Errorf("%s opens connections, and nobody says what it sends where", file)
		} else if !strings.Contains(text, told[0]) {
			t.Errorf("%s: %q does not stand in SECURITY.md", file, told[0])
		}
	}
	for file := range reaches {
		if !seen[file] {
			t.Errorf("%s opens no connection: take it off the list", file)
		}
	}
}

// programFiles are the sources of the program, without tests and what only tests use.
func programFiles(t *testing.T) (files []string) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "go", "list", "-deps", "-f", "{{if not .Standard}}{{$p := .ImportPath}}{{range .GoFiles}}{{$p}}/{{.}}\n{{end}}{{end}}", "millwarden/gateway").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range strings.Fields(string(out)) {
		if name, ours := strings.CutPrefix(f, "millwarden/"); ours {
			files = append(files, name)
		}
	}
	if len(files) < 200 {
		t.Fatalf("%d files: these are not all", len(files))
	}
	return files
}
