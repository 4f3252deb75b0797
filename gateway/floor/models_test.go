package floor_test

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
	"millwarden/internal/reading"
)

// value is the reading that stands at a point on the page.
func value(mill *floor.Floor, point string) reading.Reading {
	var s web.Snapshot
	mill.Snapshot(&s)
	for _, p := range s.Points {
		if p.Name == point {
			return p.Reading
		}
	}
	return reading.Reading{Quality: reading.Bad, Cause: "nowhere"}
}

// Aim: a restart does not blind the crew. The wash of tank 2 is forecast before it, and within a minute after it, from the saved state and the history; with the saved
// state damaged the history alone is enough. Not so without both, which shows that the test can fail.
func TestModels_comeBack(t *testing.T) {
	for _, c := range []struct {
		name  string
		harm  func(folder string) error
		comes bool
	}{
		{"saved", func(string) error { return nil }, true},
		{"damaged state", func(folder string) error {
			return os.WriteFile(filepath.Join(folder, "models.json"), []byte(`{"Version":1,"Stat`), 0o600)
		}, true},
		{"neither", func(folder string) error {
			old, err := filepath.Glob(filepath.Join(folder, "history*"))
			for _, name := range append(old, filepath.Join(folder, "models.json")) {
				if err == nil {
					err = os.Remove(name)
				}
			}
			return err
		}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			bubble(t, func(t *testing.T) { comeBack(t, c.harm, c.comes) })
		})
	}
}

func comeBack(t *testing.T, harm func(string) error, comes bool) {
	plan, said := load(t, estate.Files)
	if said != "" {
		t.Fatal(said)
	}
	c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1}
	folder := memoryFolder(t)
	if err := estate.Begin(folder, c.Start); err != nil {
		t.Fatal(err)
	}
	world := estate.New(c, estate.NewTruth(18, 3), nil)
	worldEnds, endWorld := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { _ = world.Run(worldEnds) })
	run := func(d time.Duration) reading.Reading {
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, BootID: "one", Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true,
			Log: slog.New(slog.DiscardHandler), Channels: map[string]callout.Channel{"mail": &phone{clock: c}},
			Clock: func(boot uint32) clock.Clock { b := c; b.Boot = boot; return b }})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		var ends sync.WaitGroup
		ends.Go(func() {
			if err := mill.Run(ctx); err != nil {
				t.Errorf("Run() = %v", err)
			}
		})
		time.Sleep(d)
		got := value(mill, "tank-2/wash-in")
		stop()
		ends.Wait()
		if err := mill.Close(); err != nil {
			t.Error(err)
		}
		return got
	}
	before := run(85 * time.Minute)
	if err := harm(folder); err != nil {
		t.Fatal(err)
	}
	after := run(time.Minute)
	endWorld()
	running.Wait()
	if before.Quality == reading.Bad {
		t.Fatalf("no forecast before the restart: %s", before.Cause)
	}
	if known := after.Quality != reading.Bad; known != comes {
		t.Errorf("a minute after the restart the wash is in %v s (%s %s), before it was in %v s", after.Value, after.Quality, after.Cause, before.Value)
	}
}
