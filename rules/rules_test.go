package rules

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

// TestLoad_whatIsAcceptedRuns: every good rules file gives a plan that the engine takes and works on for an hour, with readings of every point.
func TestLoad_whatIsAcceptedRuns(t *testing.T) {
	text, err := os.ReadFile("check/testdata/vocabulary.txt")
	if err != nil {
		t.Fatal(err)
	}
	vocabulary, err := phrase.Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	const good = "../testdata/rules/good"
	names, err := filepath.Glob(good + "/*.rules")
	if err != nil {
		t.Fatal(err)
	}
	ran := 0
	for _, path := range names {
		name := filepath.Base(path)
		t.Run(strings.TrimSuffix(name, ".rules"), func(t *testing.T) {
			plan, list, _ := Load(os.DirFS(good), name, vocabulary)
			if plan == nil {
				t.Fatalf("refused: %v", list)
			}
			at := func(mono time.Duration) reading.Stamp {
				return reading.Stamp{Wall: time.Date(2026, 3, 4, 23, 30, 0, 0, time.UTC).Add(mono), Mono: mono, Boot: 1, Set: true}
			}
			e, err := engine.New(plan.Engine, nil, at(0))
			if err != nil {
				t.Fatal(err)
			}
			ran += len(plan.Engine.Alarms)
			usual := map[units.Quantity]float64{units.Temperature: 24, units.PH: 5.5, units.Humidity: 60, units.Moisture: 20, units.YesNo: 1}
			var said []engine.Transition
			for mono := time.Duration(0); mono < time.Hour; mono += 10 * time.Second {
				for _, p := range plan.Engine.Points {
					r := reading.Reading{Point: p.Name, Quantity: p.Quantity, Value: usual[p.Quantity], Stamp: at(mono)}
					said = e.Observe(&r, said)
				}
			}
			for _, s := range said {
				if s.Because == "" || !strings.Contains(s.Because, "; rule ") {
					t.Errorf("%s %s without its because: %q", s.Alarm.ID, s.Event, s.Because)
				}
			}
		})
	}
	if ran < 500 {
		t.Errorf("%d alarms ran, too few to prove anything", ran)
	}
}
