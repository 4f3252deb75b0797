package markup

import (
	"bytes"
	"html/template"
	"strings"
	"testing"
)

type inner struct {
	Text  string
	Count int
	None  *inner
	Part  *float64
}

type outer struct {
	inner
	List  []inner
	Empty []string
	Form  form
	Time  func(int) string
	Any   any
}

type form string

func (f form) String() string { return "form " + string(f) }

// Aim: what comes out is what html/template makes of the same text, a filler we did not write. That one escapes "+" besides, which means the same.
func TestFill_againstTheStandardLibrary(t *testing.T) {
	half := 0.5
	data := &outer{inner: inner{Text: `a<b & "c" 'd'`, Count: 3, Part: &half}, Form: "wet", Any: 7,
		List: []inner{{Text: "one"}, {Text: "<two>", Count: 2, Part: &half}}, Time: func(n int) string { return strings.Repeat("i", n) }}
	funcs := Funcs{"up": strings.ToUpper, "half": func(v float64) float64 { return v / 2 }, "three": func() []string { return []string{"x", "y>", "z"} },
		"of": func(p *float64) string {
			if p == nil {
				return "none"
			}
			return "some"
		}}
	for _, text := range []string{
		`<p title="{{.Text}}">{{.Text}} {{.Count}} {{.Form}} {{.Any}}</p>`,
		`{{range .List}}<b>{{.Text}}</b>{{if .Count}} {{.Count}}{{else}} none{{end}} of {{$.Count}}{{else}}nothing{{end}}`,
		`{{range $i, $x := .List}}{{if $i}}, {{end}}{{$i}}:{{$x.Text}}{{end}}`,
		`{{range $x := .List}}{{range three}}{{.}}{{$x.Text}}{{end}}{{end}}`,
		`{{range .Empty}}{{.}}{{else}}<i>empty</i>{{end}}{{with .None}}{{.Text}}{{else}}no inner{{end}}`,
		`{{with .Text}}{{.}}{{end}}{{with $x := .Count}}{{$x}}{{end}}`,
		`{{up .Text}} {{half 3}} {{half 2.5}} {{call .Time 2}} {{of .Part}}{{range .List}} {{of .Part}}{{end}}`,
		`{{if and .Text (ne .Count 4)}}yes{{end}}{{if or .Empty (gt .Count 5) (lt .Count 4)}}small{{end}}{{if not .Empty}}none{{end}}`,
		`{{or .Empty "–"}} {{or .Text "–"}} {{if eq .Text "x"}}x{{else if eq (len .List) 2}}two{{end}}{{printf "%s %d %.2f" .Text .Count 1.5}}`,
		`{{define "part"}}[{{.Text}}{{with .Part}} {{printf "%v" true}}{{end}}]{{end}}{{range .List}}{{template "part" .}}{{end}}{{template "part" .}}`,
		`{{$c := .Count}}{{if $c}}{{$c := "inner"}}{{$c}}{{end}}{{$c}}`,
		`<input name="n"{{if .Count}} value="{{.Count}}"{{end}}><a href="/lots/{{up "x"}}">to</a> {{- " near" -}} .`,
	} {
		want := new(bytes.Buffer)
		if err := template.Must(template.New("page").Funcs(template.FuncMap(funcs)).Parse(text)).Execute(want, data); err != nil {
			t.Fatal(err)
		}
		page, err := Parse("page", text, funcs)
		if err != nil {
			t.Error(err)
			continue
		}
		got := new(bytes.Buffer)
		if err := page.Fill(got, data); err != nil {
			t.Error(err)
		}
		if got.String() != strings.ReplaceAll(want.String(), "&#43;", "+") {
			t.Errorf("%s\n gives %s\n want  %s", text, got, want)
		}
	}
}

// Aim: markup that could not be made safe by escaping is refused before anything is filled.
func TestParse_refusesUnsafePlaces(t *testing.T) {
	for _, text := range []string{
		`<p {{.Text}}>`, `<p title={{.Text}}>`, `<{{.Text}}>`, `<a href="{{.Text}}">`, `<b onclick="{{.Text}}">`, `<b style="{{.Text}}">`,
		`<script>{{.Text}}</script>`, `<script src="/x">{{.Text}}</script>`, `<p title='{{.Text}}'>`, `<p{{if .Text}}>{{end}}`, `<p title="{{.Text}}`,
		`<p title="{{template "x"}}">{{define "x"}}{{end}}`, `{{break}}`, `{{nothing .Text}}`, `{{.Text`,
	} {
		if _, err := Parse("page", text, nil); err == nil {
			t.Errorf("%s is taken", text)
		}
	}
	if _, err := Parse("page", `<p title="{{.Text}}" class="x">{{.Text}}</p>`, nil); err != nil {
		t.Errorf("a good page is refused: %v", err)
	}
}

// Aim: a mistake in a page is told, and nothing is written then.
func TestFill_mistakes(t *testing.T) {
	for _, text := range []string{`x{{.Nothing}}`, `x{{.Text.More}}`, `x{{$y := .Text | up}}`, `x{{up .Count}}`, `x{{up}}`, `x{{range .Text}}{{end}}`, `x{{eq .Text .Count}}`, `x{{len .Count}}`,
		`x{{not}}`, `x{{call}}`, `x{{call .Text}}`, `x{{printf 3}}`, `x{{template "none"}}`, `x{{.None.Text}}`} {
		page, err := Parse("page", text, Funcs{"up": strings.ToUpper})
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		got := new(bytes.Buffer)
		if err := page.Fill(got, &outer{}); err == nil || got.Len() > 0 {
			t.Errorf("%s: error %v, written %q", text, err, got)
		}
	}
}
