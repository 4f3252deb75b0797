package saying

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
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
		return strings.ReplaceAll(left+right, "%s%s", "%s")
	case *ast.CallExpr:
		if f, is := e.Fun.(*ast.SelectorExpr); is && f.Sel.Name == "Sprintf" {
			return written(e.Args[0])
		}
	}
	return ""
}

// assigned are the sentences that a function gives to a variable, a += behind each of those before it.
func assigned(f *ast.FuncDecl, name string) (list []string) {
	ast.Inspect(f.Body, func(n ast.Node) bool {
		a, is := n.(*ast.AssignStmt)
		if !is {
			return true
		}
		for i, to := range a.Lhs {
			id, is := to.(*ast.Ident)
			if !is || id.Name != name || i >= len(a.Rhs) {
				continue
			}
			text := written(a.Rhs[i])
			if text == "" {
				continue
			}
			if a.Tok == token.ADD_ASSIGN {
				for _, before := range list {
					list = append(list, before+text)
				}
				continue
			}
			list = append(list, text)
		}
		return true
	})
	return list
}

// name of a called function or of a type.
func name(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return e.Sel.Name
	}
	return ""
}

// sources are the files of a folder, without its tests.
func sources(t *testing.T, folder string, each func(name string, file *ast.File, at func(ast.Node) string)) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%s: %v", folder, err)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		each(name, file, func(n ast.Node) string { return set.Position(n.Pos()).String() })
	}
}

// functions of a folder.
func functions(t *testing.T, folder string, each func(f *ast.FuncDecl, at func(ast.Node) string)) {
	t.Helper()
	sources(t, folder, func(_ string, file *ast.File, at func(ast.Node) string) {
		for _, d := range file.Decls {
			if f, is := d.(*ast.FuncDecl); is && f.Body != nil {
				each(f, at)
			}
		}
	})
}

// entries are the texts that a folder writes into the logbook: of an Entry or a Line of the callout, and what it notes of logins.
func entries(t *testing.T, folder string, found map[string]string) {
	t.Helper()
	functions(t, folder, func(f *ast.FuncDecl, at func(ast.Node) string) {
		take := func(e ast.Expr) {
			if id, is := e.(*ast.Ident); is {
				for _, text := range assigned(f, id.Name) {
					found[text] = at(e)
				}
			} else if text := written(e); text != "" {
				found[text] = at(e)
			}
		}
		ast.Inspect(f.Body, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CompositeLit:
				for _, e := range n.Elts {
					if kv, is := e.(*ast.KeyValueExpr); is && name(kv.Key) == "Text" && (name(n.Type) == "Entry" || name(n.Type) == "Line") {
						take(kv.Value)
					}
				}
			case *ast.CallExpr:
				if called := name(n.Fun); called == "note" {
					take(n.Args[len(n.Args)-1])
				} else if called == "enter" || called == "admit" {
					if text := written(n.Args[len(n.Args)-1]); text != "" {
						found[text+" from %s"] = at(n)
					}
				}
			case *ast.ReturnStmt:
				if f.Name.Name == "swapWords" || f.Name.Name == "swapOf" {
					for _, e := range n.Results {
						take(e)
					}
				}
			}
			return true
		})
	})
}

// filled has a word in the place of each verb.
func filled(form string) string {
	n := 0
	return strings.ReplaceAll(verb.ReplaceAllStringFunc(strings.ReplaceAll(form, "%%", "\x00"), func(string) string { n++; return fmt.Sprintf("zz%d", n) }), "\x00", "%")
}

// Aim: everything that the program writes into the logbook has its Spanish, and keeps what varies. The forms are taken from the sources, so that a new sentence without Spanish fails here.
func TestIn_everyEntry(t *testing.T) {
	found := map[string]string{}
	for _, folder := range []string{"../../gateway/floor", "../../gateway/callout", "../../gateway/web", "../../gateway/command", "../../gateway/logbook"} {
		entries(t, folder, found)
	}
	if len(found) < 50 {
		t.Fatalf("only %d sentences were found: the test looks in the wrong places", len(found))
	}
	for form, at := range found {
		text := filled(form)
		switch {
		case form == "%s from %s" || form == "%s: %s": // of login.go and people.go: what comes in is taken where it is given
			continue
		case strings.HasPrefix(at, "../../gateway/command/people.go"):
			text = "ana: " + text
		}
		said := In("es", text)
		if said == text && strings.Contains(text, " ") {
			t.Errorf("%s: %q has no Spanish", at, form)
		}
		for _, word := range regexp.MustCompile(`zz\d`).FindAllString(text, -1) {
			if !strings.Contains(said, word) {
				t.Errorf("%s: %q leaves out %s: %s", at, form, word, said)
			}
		}
	}
}

// ruleEnd is the end of every reason, which stays but for its first word.
const ruleEnd = "; rule %s, %s:%d."

// Aim: every part of why an alarm came, went, was shelved or taken over has its Spanish. The parts are taken from the engine's sources.
func TestReason_everyPart(t *testing.T) {
	found := map[string]string{}
	functions(t, "../../rules/engine", func(f *ast.FuncDecl, at func(ast.Node) string) {
		sentences := slices.Contains([]string{"exhibitsOf", "phrase", "opposite", "said", "lasted", "untilText"}, f.Name.Name)
		look := func(n ast.Node) bool {
			if e, is := n.(ast.Expr); is && sentences {
				if text := written(e); strings.Contains(strings.TrimSpace(text), " ") {
					found[text] = at(n)
					return false
				}
			}
			if kv, is := n.(*ast.KeyValueExpr); is && f.Name.Name == "said" {
				if deed := written(kv.Value); deed != "" {
					found[deed+" by %s"], found[deed+" by %s and %s"] = at(n), at(n)
				}
				return false
			}
			if kv, is := n.(*ast.KeyValueExpr); is && (name(kv.Key) == "why" || name(kv.Key) == "Because" || name(kv.Key) == "note") {
				if text := written(kv.Value); strings.Contains(text, " ") {
					found[text] = at(n)
				}
			}
			return true
		}
		ast.Inspect(f.Body, look)
		if f.Name.Name == "hides" {
			found["what it depends on has only just cleared"] = at(f)
		}
	})
	for _, joint := range []string{ruleEnd, " and %s", ": %s", "%s: %s", "%s by %s", " is not "} { // tried with what they join
		delete(found, joint)
	}
	if len(found) < 20 {
		t.Fatalf("only %d parts were found: the test looks in the wrong places", len(found))
	}
	for form, at := range found {
		part := strings.Trim(filled(form), ",;: ")
		if rest, noted := strings.CutPrefix(part, "zz1"); noted && rest[0] != ' ' {
			part = strings.TrimLeft(rest, "; ") // a note before it, a part of its own
		}
		if said := Reason("es", part); said == part {
			t.Errorf("%s: %q has no Spanish", at, form)
		}
	}
}

// Aim: every cause for which a reading is not known, or not for sure, and everything that a modem says of itself, has its Spanish.
func TestIn_everyCause(t *testing.T) {
	found := map[string]string{}
	drivers, err := filepath.Glob("../../drivers/*")
	if err != nil {
		t.Fatal(err)
	}
	folders := []string{"../../drivers", "../../rules/models", "../../rules/engine", "../../gateway/collect", "../../gateway/floor", "../../gateway/history", "../../gateway/callout/text", "../coffee"}
	for _, folder := range drivers {
		if files, _ := filepath.Glob(filepath.Join(folder, "*.go")); len(files) > 0 && !strings.HasSuffix(folder, "test") && !strings.HasSuffix(folder, "scan") {
			folders = append(folders, folder)
		}
	}
	for _, folder := range folders {
		causes(t, folder, found)
	}
	if len(found) < 80 {
		t.Fatalf("only %d causes were found: the test looks in the wrong places", len(found))
	}
	for form, at := range found {
		if text := filled(form); In("es", text) == text {
			t.Errorf("%s: %q has no Spanish", at, form)
		}
	}
}

// causes are the texts that a folder gives as a cause: constants so named, what is given to a Cause, and the tables of what modems and links say.
func causes(t *testing.T, folder string, found map[string]string) {
	t.Helper()
	named := regexp.MustCompile(`^(cause|says|Says|lost)[A-Z]|^faultNames$|Reasons$|^plain$`)
	sources(t, folder, func(file string, parsed *ast.File, at func(ast.Node) string) {
		take := func(e ast.Expr) {
			if text := written(e); strings.Contains(text, " ") && !strings.Contains(text, ": %") {
				found[text] = at(e)
			}
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.ValueSpec:
				for i, id := range n.Names {
					if !named.MatchString(id.Name) || i >= len(n.Values) {
						continue
					}
					take(n.Values[i])
					if table, is := n.Values[i].(*ast.CompositeLit); is {
						for _, e := range table.Elts {
							row := e
							if kv, is := e.(*ast.KeyValueExpr); is {
								row = kv.Value
							}
							if fields, is := row.(*ast.CompositeLit); is && id.Name == "plain" {
								take(fields.Elts[1])
							} else if is {
								take(fields.Elts[0])
							} else {
								take(row)
							}
						}
					}
				}
			case *ast.AssignStmt:
				for i, to := range n.Lhs {
					if called := name(to); (strings.EqualFold(called, "cause") || called == "doubt" || called == "because") && i < len(n.Rhs) {
						take(n.Rhs[i])
					}
				}
			case *ast.KeyValueExpr:
				if key := name(n.Key); key == "Cause" || key == "says" && strings.HasSuffix(folder, "text") {
					take(n.Value)
				}
			case *ast.ReturnStmt:
				if len(n.Results) == 1 && strings.HasSuffix(file, "because.go") && strings.HasSuffix(written(n.Results[0]), " yet") {
					take(n.Results[0])
				}
			case *ast.CallExpr:
				if called := name(n.Fun); called == "unknown" || called == "give" {
					take(n.Args[len(n.Args)-1])
				}
			}
			return true
		})
	})
}
