package rules

import (
	"os"
	"path/filepath"
	"slices"
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

// Aim: a probe that dies is one alarm, whatever it measures: of its points the first calls and the others are suppressed by design; what is still missing when the first has come back
// calls after all. Control: the same with a point of another probe is two alarms.
func TestLoad_deadProbeIsOneAlarm(t *testing.T) {
	text, err := os.ReadFile("check/testdata/vocabulary.txt")
	if err != nil {
		t.Fatal(err)
	}
	vocabulary, err := phrase.Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	plan, list, _ := Load(os.DirFS("../testdata/rules/good"), "fern-hollow.rules", vocabulary)
	if plan == nil {
		t.Fatal(list)
	}
	const first, second, other = "bin-1/temperature", "bin-1/humidity", "bin-2/temperature"
	at := func(mono time.Duration) reading.Stamp {
		return reading.Stamp{Wall: time.Date(2026, 3, 4, 23, 30, 0, 0, time.UTC).Add(mono), Mono: mono, Boot: 1, Set: true}
	}
	e, err := engine.New(plan.Engine, nil, at(0))
	if err != nil {
		t.Fatal(err)
	}
	state := map[string]engine.State{}
	play := func(from, to time.Duration, dead ...string) {
		for mono := from; mono < to; mono += 10 * time.Second {
			for _, name := range []string{first, second, other} {
				r := reading.Reading{Point: name, Quantity: units.Temperature, Value: 20, Stamp: at(mono)}
				if name == second {
					r.Quantity, r.Value = units.Humidity, 60
				}
				if slices.Contains(dead, name) {
					r = reading.Missing(name, r.Quantity, at(mono), "no answer")
				}
				for _, s := range e.Observe(&r, nil) {
					state[s.Alarm.ID] = s.To
				}
			}
		}
	}
	expect := func(when string, want ...engine.State) {
		t.Helper()
		for i, name := range []string{first, second, other} {
			if got := state["measurement-lost@"+name]; got != want[i] {
				t.Errorf("%s: %s is %v, want %v", when, name, got, want[i])
			}
		}
	}
	play(0, 10*time.Minute)
	play(10*time.Minute, 20*time.Minute, first, second, other)
	expect("both dead", engine.Unacknowledged, engine.Suppressed, engine.Unacknowledged)
	play(20*time.Minute, 30*time.Minute, second)
	expect("the first has come back", engine.ReturnedUnacknowledged, engine.Unacknowledged, engine.ReturnedUnacknowledged)
}
