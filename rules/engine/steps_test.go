package engine_test

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// mostLooks is how often one reading may have an alarm judged: each look works every part out twice, open and strict, and LANGUAGE.md section 7 allows 64 steps a part.
const mostLooks = 64 / 2

// stepped runs what check accepts: an engine is made of it, every point speaks ten times with values around and beyond its range, and no reading may cost more than its
// bound. It gives how many readings were taken.
func stepped(t *testing.T, plan *check.Plan, seed byte) (readings int) {
	now := reading.Stamp{Wall: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC), Mono: time.Hour, Boot: 1, Set: true}
	e, err := engine.New(plan.Engine, nil, now)
	if err != nil {
		t.Fatalf("check accepted what the engine refuses: %v", err)
	}
	e.Tick(now, nil) // all is judged once
	for turn := range 10 {
		now.Mono += time.Duration(1+int(seed)%7) * time.Second
		now.Wall = now.Wall.Add(time.Duration(1+int(seed)%7) * time.Second)
		e.Tick(now, nil) // what is due by time alone is not the reading's
		for i, p := range plan.Points {
			r := reading.Reading{Point: p.Name, Quantity: p.Quantity, Stamp: now, Value: valueAt(p, (turn+i+int(seed))%5)}
			if math.IsNaN(r.Value) {
				r.Quality, r.Cause = reading.Bad, "no answer"
			}
			before := e.Judged()
			e.Observe(&r, nil)
			readings++
			if looks := e.Judged() - before; looks > mostLooks*len(plan.Engine.Alarms) {
				t.Fatalf("a reading of %s had %d alarms judged %d times", p.Name, len(plan.Engine.Alarms), looks)
			}
		}
	}
	return readings
}

// valueAt is a value below, at the ends of, within or beyond the range of a point; NaN is none.
func valueAt(p check.Point, which int) float64 {
	low, high := 0.0, 100.0
	if p.Range != nil {
		low, high = p.Range.Low, p.Range.High
	}
	return [...]float64{low, (low + high) / 2, high, high + 1, math.NaN()}[which]
}

func vocabulary(t testing.TB) []phrase.Declaration {
	t.Helper()
	text, err := os.ReadFile("../check/testdata/vocabulary.txt")
	if err != nil {
		t.Fatal(err)
	}
	words, err := phrase.Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	return words
}

func goodFiles(t testing.TB) []string {
	t.Helper()
	names, err := filepath.Glob("../../testdata/rules/good/*.rules")
	if err != nil || len(names) == 0 {
		t.Fatalf("no rules files to begin with: %v", err)
	}
	return names
}

// FuzzSteps: what check accepts, the engine runs, and no reading costs more than its bound.
func FuzzSteps(f *testing.F) {
	for i, name := range goodFiles(f) {
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text), byte(i))
	}
	words := vocabulary(f)
	f.Fuzz(func(t *testing.T, text string, seed byte) {
		if plan, _, _ := check.Load(fstest.MapFS{"fuzz.rules": {Data: []byte(text)}}, "fuzz.rules", words); plan != nil {
			stepped(t, plan, seed)
		}
	})
}

// TestSteps_examples: the property is not empty: the examples are accepted and take readings.
func TestSteps_examples(t *testing.T) {
	for _, name := range goodFiles(t) {
		plan, list, _ := check.Load(os.DirFS(filepath.Dir(name)), filepath.Base(name), vocabulary(t))
		if plan == nil {
			t.Errorf("%s: %v", name, list)
			continue
		}
		if stepped(t, plan, 3) == 0 {
			t.Errorf("%s: no reading was taken", name)
		}
	}
}
