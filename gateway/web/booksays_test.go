package web

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"millwarden/internal/saying"
)

// sentences are the texts that gateway/logbook/lots says to people: what stands as a format in its refusals, warnings and entries, and what it says of missing fields.
func sentences(t *testing.T) map[string]string {
	t.Helper()
	found := map[string]string{}
	take := func(e ast.Expr, at string) {
		if l, ok := e.(*ast.BasicLit); ok && l.Kind == token.STRING {
			text, err := strconv.Unquote(l.Value)
			if err != nil {
				t.Fatal(err)
			}
			found[text] = at
		}
	}
	for _, name := range []string{"correct", "fields", "take", "work", "text"} {
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, "../logbook/lots/"+name+".go", nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CallExpr:
				called := ""
				switch f := n.Fun.(type) {
				case *ast.Ident:
					called = f.Name
				case *ast.SelectorExpr:
					called = f.Sel.Name
				}
				at := set.Position(n.Pos()).String()
				switch {
				case called == "input" || called == "state" || called == "unknown" || called == "warn":
					take(n.Args[0], at)
				case called == "add" && len(n.Args) > 1:
					take(n.Args[1], at)
				case called == "Sprintf" && name == "text" || called == "Sprintf" && name == "correct":
					take(n.Args[0], at)
				}
			case *ast.ValueSpec:
				if len(n.Names) == 1 && n.Names[0].Name == "missing" {
					for _, e := range n.Values[0].(*ast.CompositeLit).Elts {
						take(e.(*ast.KeyValueExpr).Value, "missing")
					}
				}
			}
			return true
		})
	}
	return found
}

var verb = regexp.MustCompile(`%[-+#.0-9]*[a-zA-Z]`)

func spanishForms() map[string]string {
	all := saying.Forms("es", "sentences")
	maps.Copy(all, saying.Forms("es", "entries"))
	return all
}

// Aim: each sentence of the book has its Spanish, with a place for each of its words that vary; and filled with any words it is found again.
func TestSpanishSays_everySentence(t *testing.T) {
	all := sentences(t)
	known := spanishForms()
	for english, at := range all {
		spanish, ok := known[english]
		if english == "%s" {
			continue // a part by itself
		}
		if !ok {
			t.Errorf("%s: %q has no Spanish", at, english)
			continue
		}
		var args []string
		filled := verb.ReplaceAllStringFunc(strings.ReplaceAll(english, "%%", "\x00"), func(string) string {
			args = append(args, fmt.Sprintf("zz%d", len(args)+1))
			return args[len(args)-1]
		})
		want := strings.ReplaceAll(spanish, "&", "$") // as it is, or said too: of these words the same
		for i := len(args); i > 0; i-- {
			if !strings.Contains(want, "$"+strconv.Itoa(i)) {
				t.Errorf("%q leaves out %d of %q", spanish, i, english)
			}
			want = strings.ReplaceAll(want, "$"+strconv.Itoa(i), args[i-1])
		}
		if got := saying.In("es", strings.ReplaceAll(filled, "\x00", "%")); got != want {
			t.Errorf("%q in Spanish is %q, want %q", filled, got, want)
		}
	}
	if len(all) < 90 {
		t.Errorf("only %d sentences were found", len(all))
	}
}

// Aim: a Spanish-speaking person reads refusals, warnings and entries in Spanish, on the plain forms and through the interface; the same in English is the control.
func TestBook_saysInSpanish(t *testing.T) {
	for _, c := range []struct{ path, fields, english, spanish string }{
		{"/book/143-b", "act=weigh&kg=900&by=ben", "cannot weigh 900 kg now: weigh it again", "no puede pesar ahora 900 kg: péselo otra vez"},
		{"/book/143", "act=correct&entry=99&by=ben", "There is no entry 99 about a lot.", "No hay ningún asiento 99 sobre un lote."},
		{"/book", "act=intake&lot=150&kg=640.5&cherry=bought&supplier=N-12&floaters=0&ripe=95&by=ben", "150 taken in: bought cherry, 640.5 kg, from N-12, floaters 0 %, ripe 95 %",
			"150 recibido: cereza comprada, 640.5 kg, de N-12, flotes 0 %, maduros 95 %"},
		{"/book/143-b", "act=check&gritty=yes&bite=&meter=11.8+%25wb&by=ben", "meter: 11.8 %wb", "medidor: 11.8 %wb"},
		{"/book", "act=intake&lot=150&kg=640&cherry=bought&by=ben", "Bought cherry has a supplier", "La cereza comprada tiene proveedor"},
		{"/book/143-a", "act=roast&in=12&kg=10.2&time=long&by=ben", "Write the time as minutes", "Escriba el tiempo en minutos"},
	} {
		for language, want := range map[string]string{"en": c.english, "es-PE,es;q=0.9": c.spanish} {
			r := httptest.NewRequest("POST", "http://127.0.0.1:8420"+c.path, strings.NewReader(c.fields))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set("Accept-Language", language)
			if got := strings.ReplaceAll(ask(t, newWeb(t, newFake().night()), r).Body.String(), "&#39;", "'"); !strings.Contains(got, want) {
				t.Errorf("%s %s in %s does not say %q:\n%.900s", c.path, c.fields, language, want, got)
			}
		}
	}
	for language, want := range map[string]string{"en": "cannot weigh 900 kg now", "es": "no puede pesar ahora 900 kg"} {
		r := httptest.NewRequest("POST", "http://127.0.0.1:8420/api/lots", strings.NewReader(`{"act":"weigh","lot":"143-b","kg":900,"by":"ben"}`))
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Accept-Language", language)
		if got := ask(t, newWeb(t, newFake().night()), r).Body.String(); !strings.Contains(got, want) {
			t.Errorf("the interface in %s says %s, want %q", language, got, want)
		}
	}
	r := httptest.NewRequest("GET", "http://127.0.0.1:8420/api/lots/143-b", nil)
	r.Header.Set("Accept-Language", "es")
	if got := ask(t, newWeb(t, newFake().night()), r).Body.String(); !strings.Contains(got, "dividido") && !strings.Contains(got, "cargado") {
		t.Errorf("the entries of a lot in Spanish: %s", got)
	}
}
