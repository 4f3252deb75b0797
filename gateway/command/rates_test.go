package command

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

const ratedRules = `site small-mill
    timezone        UTC
    altitude        1450 m
station shed is store
probe shed
    part            radio on topic shed
    gives           co, temperature at shed
    every           10 s
use air, instruments
`

// night30 are thirty days of a mill in a logbook: what a person would write who keeps it by hand.
func night30(t *testing.T, folder string, begin time.Time) {
	t.Helper()
	gas := &engine.Alarm{ID: "co-leave-now@shed", Name: "co-leave-now", Place: "shed", Priority: engine.High, Class: engine.Safety}
	lost := &engine.Alarm{ID: "measurement-lost@shed/co", Name: "measurement-lost", Place: "shed/co", Priority: engine.Medium}
	book, err := logbook.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	at := func(d time.Duration) reading.Stamp {
		return reading.Stamp{Wall: begin.Add(d), Mono: d, Boot: 1, Set: true}
	}
	step := func(a *engine.Alarm, after time.Duration, e engine.Event, from, to engine.State, number int64, by string) {
		if _, err := book.Write(floor.EntryOf(&engine.Transition{Alarm: a, Event: e, From: from, To: to, Occurrence: number, At: at(after), By: by})); err != nil {
			t.Fatal(err)
		}
	}
	// Begin is a noon. At 23:00 gas is told, ana answers; it goes after 25 h. At 02:00 of another night a probe is lost and nobody answers; ben takes the gas
	// probe out of service.
	step(gas, 11*time.Hour, engine.Occur, engine.Normal, engine.Unacknowledged, 1, "")
	step(gas, 11*time.Hour+time.Minute, engine.Acknowledge, engine.Unacknowledged, engine.Acknowledged, 1, "ana")
	step(gas, 36*time.Hour, engine.Clear, engine.Acknowledged, engine.Normal, 1, "")
	step(lost, 62*time.Hour, engine.Occur, engine.Normal, engine.Unacknowledged, 2, "")
	step(lost, 62*time.Hour+8*time.Second, engine.Clear, engine.Unacknowledged, engine.ReturnedUnacknowledged, 2, "")
	step(gas, 70*time.Hour, engine.Remove, engine.Normal, engine.OutOfService, 1, "ben")
	// The rules change by ana, by the file; the third is refused, the fourth told what is in force: neither changed anything.
	texts, err := json.Marshal(map[string]string{"old": "a", "new": "b"})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range []logbook.Entry{{Who: "ana", Data: texts}, {Who: floor.ByFile, Data: texts}, {Who: floor.ByFile, Text: "refused"}, {Data: json.RawMessage(`{"rules":"1f"}`)}} {
		e.Kind, e.At = logbook.RulesChange, at(100*time.Hour)
		if _, err := book.Write(e); err != nil {
			t.Fatal(err)
		}
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
}

// Aim: the figures of a record that was written by hand are those that were counted by hand; each line of the metrics is there. The definitions themselves are tried in
// gateway/logbook/rates.
func TestRates_ofARecord(t *testing.T) {
	folder := t.TempDir()
	begin := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	night30(t, folder, begin)
	file := filepath.Join(folder, "mill.rules")
	if err := os.WriteFile(file, []byte(ratedRules), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, said := command(t, "rates", "--rules", file, "--data", folder, "--from", "2026-05-01T12:00", "--to", "2026-05-31T12:00")
	if code != exitWell {
		t.Fatalf("exit %d: %s", code, said)
	}
	for what, want := range map[string]string{"annunciated": "2", "a day": "0.1", "an hour": "0.00", "in 10 min": "0.00", "hours with more than 30": "0.0 %", "10-min periods with more than 10": "0.0 %",
		"most in any 10 min": "1", "floods; time in flood": "0; 0.0 %", "the ten most frequent": "100.0 %", "fleeting": "1", "stale, most on any day": "1", "of them of class safety": "1",
		"calls between 21:00 and 05:00": "2 in 30 nights", "of them acted on by a person": "1", "suppressions, changes of rules": "3", "of them by nobody named": "1",
		"low, medium, high": "0 / 50 / 50 %"} {
		if !strings.Contains(out, "  "+what+strings.Repeat(" ", max(1, 35-len(what)))+want+" ") && !strings.Contains(out, "  "+what+strings.Repeat(" ", max(1, 35-len(what)))+want+"\n") {
			t.Errorf("%s: want %s", what, want)
		}
	}
	if t.Failed() {
		t.Log(out)
	}
}
