package floor_test

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
	"millwarden/rules/check"
)

// file is a rules file that a test rewrites.
type file struct {
	t *testing.T

	mu      sync.Mutex // guards what stands below
	text    string
	changed bool
}

func (f *file) write(text string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.text, f.changed = text, true
}

func (f *file) Changed() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	was := f.changed
	f.changed = false
	return was
}

func (f *file) Load() (*check.Plan, string, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	plan, said := load(f.t, fstest.MapFS{"demo.rules": {Data: []byte(f.text)}})
	if said != "" {
		return nil, "", errors.New(said)
	}
	return plan, f.text, nil
}

// quality says how a point stands on the page: "good", the cause if it is not, or "nowhere".
func quality(mill *floor.Floor, point string) string {
	var s web.Snapshot
	mill.Snapshot(&s)
	for _, p := range s.Points {
		if p.Name == point {
			return strings.TrimSpace(p.Reading.Quality.String() + " " + p.Reading.Cause)
		}
	}
	return "nowhere"
}

// standing tells whether an alarm stands.
func standing(mill *floor.Floor, id string) (web.Alarm, bool) {
	var s web.Snapshot
	mill.Snapshot(&s)
	for _, a := range s.Alarms {
		if a.ID == id && a.State != "normal" {
			return a, true
		}
	}
	return web.Alarm{}, false
}

// Aim: a technician adds a probe in six lines while the gateway runs, and a typing mistake takes nothing down: the old rules go on, the board's own
// alarm says so, and the mended file is taken.
func TestReload_addsAProbeAndSurvivesAMistake(t *testing.T) {
	whole, err := fs.ReadFile(estate.Files, estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	from, to := strings.Index(string(whole), "probe deck-a-beans"), strings.Index(string(whole), "probe dryer-1-panel")
	without := string(whole[:from]) + string(whole[to:])
	bubble(t, func(t *testing.T) {
		rulesFile := &file{t: t, text: without}
		plan, _, err := rulesFile.Load()
		if err != nil {
			t.Fatal(err)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		world := estate.New(c, estate.NewTruth(18, 3), nil)
		folder := memoryFolder(t)
		if err := estate.Begin(folder, c.Start); err != nil {
			t.Fatal(err)
		}
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true, Rules: rulesFile,
			Log: slog.New(slog.DiscardHandler), Channels: map[string]callout.Channel{"mail": &phone{clock: c}}, Clock: func(uint32) clock.Clock { return c }})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		var running sync.WaitGroup
		running.Go(func() { _ = world.Run(ctx) })
		running.Go(func() {
			if err := mill.Run(ctx); err != nil {
				t.Errorf("Run() = %v", err)
			}
		})
		const beans, kept = "deck-a/bean-temperature", "tank-1/ph"
		time.Sleep(time.Minute)
		if got := quality(mill, beans); got != "nowhere" {
			t.Errorf("before: %s is %s", beans, got)
		}

		rulesFile.write(string(whole))
		time.Sleep(time.Minute)
		if got := quality(mill, beans); got != "good" {
			t.Errorf("a minute after it was added: %s is %s, want good", beans, got)
		}

		rulesFile.write(strings.Replace(string(whole), "every           10 s", "evry            10 s", 1))
		time.Sleep(2 * time.Minute)
		if a, stands := standing(mill, "rules-refused@board"); !stands {
			t.Errorf("no alarm about the refused file: %+v", a)
		} else if want := "demo.rules:"; !strings.HasPrefix(a.Because, want) || !strings.Contains(a.Because, "evry is no line of ads1115") {
			t.Errorf("the alarm about the refused file says %q, want file, line and fault", a.Because)
		}
		for _, point := range []string{beans, kept} {
			if got := quality(mill, point); got != "good" {
				t.Errorf("after the mistake: %s is %s, want good: the old rules go on", point, got)
			}
		}

		rulesFile.write(string(whole))
		time.Sleep(3 * time.Minute)
		if a, stands := standing(mill, "rules-refused@board"); stands && a.Active {
			t.Error("the file was mended, and the alarm about it is still active")
		}
		stop()
		running.Wait()
		if err := mill.Close(); err != nil {
			t.Errorf("Close() = %v", err)
		}
	})
}
