package web

import (
	"go/ast"
	"go/parser"
	"go/token"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// written is the sentence that an expression writes, %s in the place of what varies; "" where it is none.
func written(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.BasicLit:
		if e.Kind == token.STRING {
			text, _ := strconv.Unquote(e.Value)
			return text
		}
	case *ast.BinaryExpr:
		left, right := written(e.X), written(e.Y)
		if left == "" && right == "" {
			return ""
		}
		if left == "" {
			left = "%s"
		}
		if right == "" {
			right = "%s"
		}
		return left + right
	case *ast.CallExpr:
		if f, is := e.Fun.(*ast.SelectorExpr); is && f.Sel.Name == "Sprintf" {
			return written(e.Args[0])
		}
	}
	return ""
}

// refusals are the sentences of a folder that stand where something is refused.
func refusals(t *testing.T, folder string, found map[string]string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*.go"))
	must(t, err)
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		source, err := os.ReadFile(name)
		must(t, err)
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, name, source, 0)
		must(t, err)
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
				if is && (f.Name == "refuse" && folder != "../floor" || f.Name == "input") { // that of floor writes into the logbook
					all = n.Args
				}
			}
			for _, e := range all {
				if text := written(e); strings.Contains(text, " ") && text != "%s" {
					found[text] = set.Position(n.Pos()).String()
				}
			}
			return true
		})
	}
}

// forPrograms are what only who writes a program meets: the form of a question. They begin small, with the word that is wrong.
var forPrograms = regexp.MustCompile(`^(days|to|from|columns|before|limit) `)

// Aim: what a person may be refused has its Spanish, with a place for each of its words that vary.
func TestRefusals_everySentence(t *testing.T) {
	found := map[string]string{}
	for _, folder := range []string{".", "../floor", "../../rules/engine"} {
		refusals(t, folder, found)
	}
	if len(found) < 80 {
		t.Fatalf("only %d refusals were found: the test looks in the wrong places", len(found))
	}
	forms := spanishForms()
	for english, at := range found {
		if forPrograms.MatchString(english) {
			continue
		}
		spanish, known := forms[english]
		if !known {
			t.Errorf("%s: %q has no Spanish", at, english)
			continue
		}
		for i := range verb.FindAllString(strings.NewReplacer("%%", "", "%wb", "").Replace(english), -1) {
			if n := strconv.Itoa(i + 1); !strings.Contains(spanish, "$"+n) && !strings.Contains(spanish, "&"+n) {
				t.Errorf("%q leaves out %s of %q", spanish, n, english)
			}
		}
	}
}

// Aim: a refusal comes in the language that the page asks in, with its varying words, and says which language that is; another language, and what is not
// refused, are the controls.
func TestRefusals_inLanguage(t *testing.T) {
	for _, c := range []struct{ path, body, language, want, says string }{
		{"/api/acts", `{"do":"note","station":"tank-1","why":"x","by":"nobody-here"}`, "es", "es", "En el archivo de reglas no hay nadie con ese nombre."},
		{"/api/acts", `{"do":"note","station":"tank-1","why":"x","by":"nobody-here"}`, "en", "en", "There is no person of that name in the rules file."},
		{"/api/acts", `{"do":"note","station":"tank-1","why":"x","by":"nobody-here"}`, "de", "en", "There is no person of that name in the rules file."},
		{"/api/acts", `{"do":"shelve","alarm":"over-fermented@tank-1","why":"x","by":"ana","for":"9 h"}`, "es-PE", "es", "se puede aplazar 1 h a lo sumo"},
		{"/api/acts", `{"do":"acknowledge","alarm":"over-fermented@tank-1","occurrence":7,"by":"ana"}`, "es", "", ""},
	} {
		f := newFake().night()
		if strings.Contains(c.body, "shelve") {
			f.refusal = &Refusal{RefusedState, "it may be shelved for 1 h at most"}
		}
		r := httptest.NewRequest("POST", "http://127.0.0.1:8420"+c.path, strings.NewReader(c.body))
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Accept-Language", c.language)
		got := ask(t, newWeb(t, f), r)
		if language := got.Header().Get("Content-Language"); language != c.want || !strings.Contains(got.Body.String(), c.says) {
			t.Errorf("%s in %s: Content-Language %q, %s; want %q, %q", c.body, c.language, language, got.Body, c.want, c.says)
		}
	}
}
