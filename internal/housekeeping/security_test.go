package housekeeping

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
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
