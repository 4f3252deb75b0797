package check

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"millwarden/internal/diag"
	"millwarden/internal/phrase"
	"millwarden/rules/formula"
)

// maxNodes of a condition [LANGUAGE section 7]; the parser counts them.
const maxNodes = 256

// Aim: whatever it is given, Load answers. Every message is whole and stands in a line of its file; the list is in order; a plan comes with
// no error and only then; what is taken has every formula within its bounds, of points that are there.
func FuzzLoad(f *testing.F) {
	text, err := os.ReadFile("../../testdata/rules/mistakes.txtar")
	if err != nil {
		f.Fatal(err)
	}
	var base string
	for _, s := range sections(string(text)) {
		if s.name == "base.rules" {
			base = s.text
		}
	}
	for _, s := range sections(string(text)) {
		if strings.HasSuffix(s.name, ".rules") {
			f.Add(base + s.text)
		}
	}
	good, _ := filepath.Glob("../../testdata/rules/good/*.rules")
	for _, name := range good {
		if text, err := os.ReadFile(name); err == nil {
			f.Add(string(text))
		}
	}
	words := declared(f)
	f.Fuzz(func(t *testing.T, text string) {
		plan, list, sources := Load(fstest.MapFS{"fuzz.rules": {Data: []byte(text)}}, "fuzz.rules", words)
		if (plan == nil) != list.HasErrors() {
			t.Fatalf("plan %v with %v", plan != nil, list)
		}
		sorted := slices.Clone(list)
		sorted.Sort()
		for i, d := range list {
			if d.Code != "more" && sorted[i] != d {
				t.Fatalf("the list is not in order: %v", list)
			}
			checkPlace(t, d, sources)
		}
		if plan != nil {
			checkPlan(t, plan)
		}
	})
}

func checkPlace(t *testing.T, d diag.Diagnostic, sources diag.Sources) {
	t.Helper()
	source, ok := sources[d.Subject.File]
	if !ok || d.Summary == "" || strings.Contains(d.Summary, "  ") && !strings.Contains(source, "  ") {
		t.Fatalf("message without file or text: %+v", d)
	}
	if lines := strings.Count(source, "\n") + 1; d.Subject.Line < 1 || d.Subject.Line > lines {
		t.Fatalf("message at line %d of %d: %+v", d.Subject.Line, lines, d)
	}
	width := utf8.RuneCountInString(sources.Line(d.Subject.File, d.Subject.Line))
	if d.Subject.Column < 1 || d.Subject.Column > width+1 {
		t.Fatalf("message at column %d of %d: %+v", d.Subject.Column, width, d)
	}
}

func checkPlan(t *testing.T, plan *Plan) {
	t.Helper()
	points := map[string]bool{}
	for _, p := range plan.Engine.Points {
		if points[p.Name] {
			t.Fatalf("the plan holds %s twice", p.Name)
		}
		points[p.Name] = true
	}
	ids := map[string]bool{}
	for _, a := range plan.Engine.Alarms {
		if ids[a.ID] || a.When == nil {
			t.Fatalf("alarm %s stands twice or has no condition", a.ID)
		}
		ids[a.ID] = true
		for _, n := range []*formula.Node{a.When, a.While, a.SuppressedWhile, a.Due} {
			checkFormula(t, n, points)
		}
	}
	for _, p := range plan.Engine.Points {
		checkFormula(t, p.Formula, points)
	}
}

func checkFormula(t *testing.T, n *formula.Node, points map[string]bool) {
	t.Helper()
	nodes := 0
	n.Walk(func(m *formula.Node) {
		nodes++
		if m.Over < 0 || m.Over > greatestWindow || m.Value != m.Value {
			t.Fatalf("%s reaches over %v with %v", m.Text, m.Over, m.Value)
		}
	})
	if nodes > maxNodes {
		t.Fatalf("%s has %d parts", n.Text, nodes)
	}
	if n != nil {
		for _, name := range n.Points() {
			if !points[name] {
				t.Fatalf("%s reads %s, which is not there", n.Text, name)
			}
		}
	}
}

func loadOne(text string, words []phrase.Declaration) (*Plan, diag.List, diag.Sources) {
	return Load(fstest.MapFS{"mill.rules": {Data: []byte(text)}}, "mill.rules", words)
}
