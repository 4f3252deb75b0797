package saying

import (
	"go/ast"
	"path"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// refusals are the sentences of a folder that stand where something is refused.
func refusals(t *testing.T, folder string, found map[string]string) {
	t.Helper()
	sources(t, folder, func(_ string, file *ast.File, at func(ast.Node) string) {
		ast.Inspect(file, func(n ast.Node) bool {
			var all []ast.Expr
			switch n := n.(type) {
			case *ast.CompositeLit:
				kind := n.Type
				if s, is := kind.(*ast.SelectorExpr); is {
					kind = s.Sel
				}
				if id, is := kind.(*ast.Ident); is && id.Name == "Refusal" {
					for _, e := range n.Elts {
						if kv, is := e.(*ast.KeyValueExpr); is {
							e = kv.Value
						}
						all = append(all, e)
					}
				}
			case *ast.CallExpr:
				f, is := n.Fun.(*ast.Ident)
				if is && (f.Name == "refuse" && path.Base(folder) != "floor" || f.Name == "input") { // that of floor writes into the logbook
					all = n.Args
				}
			}
			for _, e := range all {
				if text := written(e); strings.Contains(text, " ") && text != "%s" {
					found[text] = at(n)
				}
			}
			return true
		})
	})
}

// forPrograms are what only who writes a program meets: the form of a question. They begin small, with the word that is wrong.
var forPrograms = regexp.MustCompile(`^(days|to|from|columns|before|limit) `)

// Aim: what a person may be refused has its Spanish, with a place for each of its words that vary.
func TestRefusals_everySentence(t *testing.T) {
	found := map[string]string{}
	for _, folder := range []string{"../../gateway/web", "../../gateway/floor", "../../rules/engine"} {
		refusals(t, folder, found)
	}
	if len(found) < 80 {
		t.Fatalf("only %d refusals were found: the test looks in the wrong places", len(found))
	}
	forms := Forms("es", "sentences")
	for english, at := range found {
		if forPrograms.MatchString(english) {
			continue
		}
		spanish, known := forms[english]
		if !known {
			t.Errorf("%s: %q has no Spanish", at, english)
			continue
		}
		for i := range verb.FindAllString(strings.ReplaceAll(english, "%%", ""), -1) {
			if n := strconv.Itoa(i + 1); !strings.Contains(spanish, "$"+n) && !strings.Contains(spanish, "&"+n) {
				t.Errorf("%q leaves out %s of %q", spanish, n, english)
			}
		}
	}
}
