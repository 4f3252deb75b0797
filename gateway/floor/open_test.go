package floor_test

import (
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
)

// openIn opens the demo's gateway on a data folder.
func openIn(t *testing.T, folder string) (*floor.Floor, error) {
	t.Helper()
	plan, said := load(t, estate.Files)
	if said != "" {
		t.Fatal(said)
	}
	c := clock.Scaled{Start: time.Now(), Begun: time.Now(), Speed: 1}
	world := estate.New(c, estate.NewTruth(18, 1), nil)
	return floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true,
		Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return c }})
}

// A second instance on one data folder is refused with the folder and the process that holds it, and harms the first in nothing.
func TestOpen_secondInstance(t *testing.T) {
	folder := t.TempDir()
	first, err := openIn(t, folder)
	if err != nil {
		t.Fatal(err)
	}
	_, err = openIn(t, folder)
	if err == nil {
		t.Fatal("a second gateway opened the same folder")
	}
	for _, want := range []string{folder, strconv.Itoa(os.Getpid())} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("the refusal does not name %s: %v", want, err)
		}
	}
	if err := first.Close(); err != nil {
		t.Errorf("the first: Close() = %v", err)
	}
	again, err := openIn(t, folder)
	if err != nil {
		t.Fatalf("after the first ended: %v", err)
	}
	if err := again.Close(); err != nil {
		t.Error(err)
	}
}

// A data folder that cannot be there is a sentence with its name, not a crash.
func TestOpen_noFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := openIn(t, filepath.Join(file, "data"))
	if err == nil || !strings.Contains(err.Error(), file) {
		t.Errorf("Open() below a file = %v, want an error with its name", err)
	}
}

// A history that was damaged is set aside, and the gateway starts: alarms matter more than old readings.
func TestOpen_damagedHistory(t *testing.T) {
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "history.db"), []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	mill, err := openIn(t, folder)
	if err != nil {
		t.Fatalf("Open() = %v, want it to start", err)
	}
	if err := mill.Close(); err != nil {
		t.Error(err)
	}
	if left, err := filepath.Glob(filepath.Join(folder, "history.db*")); err != nil || len(left) < 2 {
		t.Errorf("the folder holds %v, want the damaged file set aside beside the new one", left)
	}
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		t.Fatalf("the new history: %v", err)
	}
	if err := h.Close(); err != nil {
		t.Error(err)
	}
}
