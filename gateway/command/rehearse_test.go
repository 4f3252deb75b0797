package command

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
)

const nightRules = `site small-mill
    timezone        America/Lima
    altitude        1450 m

station tank-1 is tank

probe tank-1-thermometer
    part            ds18b20 28-0316a2794bff
    gives           temperature at tank-1
    every           5 min

probe tank-1-electrode
    part            ads1115 on i2c-1 at 0x48
    channel         ain0
    electrode       compensated by tank-1/temperature
    gives           ph at tank-1
    every           5 min

use fermentation, instruments
`

// kept puts a night into a data folder as a gateway does: readings into the history, the lot into the logbook.
func kept(t *testing.T, folder string, readings []reading.Reading, lots []reading.Stay) {
	t.Helper()
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	_, err = h.Append(readings)
	if err := errors.Join(err, h.Close()); err != nil {
		t.Fatal(err)
	}
	book, err := logbook.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range lots {
		if s.Empty {
			_, err = book.Empty(s.Station, s.Stamp, 0, "ana", s.Note) // not weighed
		} else {
			_, err = book.Load(logbook.Stay{Station: s.Station, Kind: "tank", Lot: s.Lot, From: s.Stamp, Loaded: s.Kg, Who: "ana"})
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
}

// Aim: one night told as CSV, as SenML and by the board's own history and logbook says the same to the byte, alone and against another rules file; and it does say something.
func TestRehearse_formsOfInput(t *testing.T) {
	folder := t.TempDir()
	lotsFile := filepath.Join("..", "..", "testdata", "nights", "fermentation-lots.csv")
	csvFile := filepath.Join("..", "..", "testdata", "nights", "fermentation.csv")
	lots, err := lotsOf(lotsFile)
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(csvFile)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := reading.NewRows(file, nil)
	if err != nil {
		t.Fatal(err)
	}
	var night []reading.Reading
	for {
		r, err := rows.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		r.Stamp.Boot = 1
		r.Stamp.Mono = r.Stamp.Wall.Sub(time.Date(2026, 6, 10, 0, 0, 0, 0, time.UTC))
		night = append(night, r)
	}
	board := filepath.Join(folder, "board")
	if err := os.Mkdir(board, 0o700); err != nil {
		t.Fatal(err)
	}
	kept(t, board, night, lots)
	senml := filepath.Join(folder, "night.json")
	if code, _, said := command(t, "export", "--data", board, "--senml", "--from", "2026-06-10T00:00:00Z", "--to", "2026-06-12T00:00:00Z", "--out", senml); code != exitWell {
		t.Fatalf("export: exit %d: %s", code, said)
	}
	mill, strict := filepath.Join(folder, "mill.rules"), filepath.Join(folder, "strict.rules")
	for name, text := range map[string]string{mill: nightRules, strict: nightRules + "\nlimit over-fermented-ph 4.4 pH\n    because         \"the buyer's wish\"\n"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, more := range [][]string{nil, {"--against", strict}, {"--json"}} {
		play := func(args ...string) string {
			t.Helper()
			code, out, said := command(t, append(append([]string{"rehearse", mill}, args...), more...)...)
			if code != exitWell {
				t.Fatalf("rehearse %v: exit %d: %s", args, code, said)
			}
			return out
		}
		want := play("--readings", csvFile, "--lots", lotsFile)
		if !strings.Contains(want, "over-fermented@tank-1") || !strings.Contains(want, "start-hand-checks@tank-1") && more == nil {
			t.Errorf("the night says only\n%s", want)
		}
		if got := play("--readings", senml, "--lots", lotsFile); got != want {
			t.Errorf("%v, from SenML:\n%swant\n%s", more, got, want)
		}
		if got := play("--readings", board); got != want { // which knows its lots itself
			t.Errorf("%v, from the board's own history:\n%swant\n%s", more, got, want)
		}
		if again := play("--readings", csvFile, "--lots", lotsFile); again != want {
			t.Errorf("%v: played again it says something else", more)
		}
	}
}
