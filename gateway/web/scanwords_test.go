package web

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// spoken are the texts of a source file that people read: of two words or more, without the lines of the rules language.
func spoken(t *testing.T, file string) []string {
	t.Helper()
	tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
	must(t, err)
	var texts []string
	ast.Inspect(tree, func(n ast.Node) bool {
		lit, is := n.(*ast.BasicLit)
		if !is || lit.Kind != token.STRING {
			return true
		}
		text, err := strconv.Unquote(lit.Value)
		must(t, err)
		if words := strings.Fields(text); len(words) > 1 && !strings.Contains(text, "\n") && !regexp.MustCompile(`^(on |gives |input |0|1|10000)|°C|%RH`).MatchString(text) {
			texts = append(texts, text)
		}
		return true
	})
	return texts
}

// Aim: all that a look at the buses can say has its Spanish: each text of the scanner's sources, cut at what is filled in, is among the pieces.
func TestScan_spanish(t *testing.T) {
	known, err := os.ReadFile("ui/src/words/scan.ts")
	must(t, err)
	checked := 0
	for _, file := range []string{"../../drivers/scan/i2c.go", "../../drivers/scan/kernel.go"} {
		for _, text := range spoken(t, file) {
			for _, piece := range regexp.MustCompile(`%[0-9]*[sXdx]+(?:%[0-9]*[sXdx]+)*( %[0-9]*[sXdx]+)*`).Split(text, -1) {
				if len(strings.Fields(piece)) == 0 {
					continue
				}
				checked++
				if !strings.Contains(string(known), `["`+piece+`"`) {
					t.Errorf("%s says %q, which words/scan.ts does not know", file, piece)
				}
			}
		}
	}
	if checked < 50 {
		t.Errorf("only %d texts were found: the scanner's sources are read wrongly", checked)
	}
}
