package floor_test

import (
	"context"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/catalog"
	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/internal/clock"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/diag"
	"millwarden/internal/estate"
	"millwarden/internal/phrase"
	"millwarden/rules"
	"millwarden/rules/check"
)

// phone keeps what the crew got, and when.
type phone struct {
	clock clock.Clock

	mu  sync.Mutex // guards got
	got []call
}

type call struct {
	after time.Duration
	text  string
}

func (p *phone) Send(_ context.Context, m callout.Message) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.got = append(p.got, call{p.clock.Now().Mono, m.Text})
	return nil
}

// first is the first call that holds the words; false if there is none.
func (p *phone) first(words string) (call, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.got {
		if strings.Contains(c.text, words) {
			return c, true
		}
	}
	return call{}, false
}

// night runs the demo's estate for so long on fake time, with the whole gateway on it but for the page, and gives the phones.
func night(t *testing.T, d time.Duration, truth *estate.Truth, faults []estate.Fault) *phone {
	t.Helper()
	crew := &phone{}
	bubble(t, func(t *testing.T) {
		plan, said := load(t, estate.Files)
		if said != "" {
			t.Fatalf("the demo's rules: %s", said)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		crew.clock = c
		world := estate.New(c, truth, faults)
		folder := memoryFolder(t)
		if err := estate.Begin(folder, c.Start); err != nil {
			t.Fatal(err)
		}
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true,
			Log: slog.New(slog.DiscardHandler), Channels: map[string]callout.Channel{"mail": crew}, Clock: func(uint32) clock.Clock { return c }})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithTimeout(t.Context(), d)
		defer stop()
		var lives sync.WaitGroup
		lives.Go(func() { _ = world.Run(ctx) })
		if err := mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
		lives.Wait()
		if err := mill.Close(); err != nil {
			t.Errorf("Close() = %v", err)
		}
	})
	return crew
}

// load checks the demo's rules file in a folder; said is its first fault.
func load(t *testing.T, folder fs.FS) (plan *check.Plan, said string) {
	t.Helper()
	return loadFolder(folder)
}

func loadFolder(folder fs.FS) (plan *check.Plan, said string) {
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		return nil, err.Error()
	}
	plan, list, _ := rules.Load(folder, estate.RulesFile, words)
	for _, d := range list {
		if d.Severity == diag.Error {
			return nil, d.Subject.String() + ": " + d.Summary
		}
	}
	return plan, ""
}

func knownDrivers() map[string]drivers.Driver {
	known := map[string]drivers.Driver{}
	for _, d := range catalog.All() {
		known[d.Kind] = d
	}
	return known
}

// bubble runs a night on fake time, without the race detector: with it a night takes ten times as long. deploy/test.sh runs these tests apart, so that
// they are never left out; the detector sees the same parts in the chain.
func bubble(t *testing.T, run func(*testing.T)) {
	t.Helper()
	if underRace {
		t.Skip("a night takes ten times as long under the race detector: run it without -race")
	}
	clocktest.Bubble(t, run)
}

// memoryFolder is a folder in memory where there is one: a night has thousands of durable commits.
func memoryFolder(t *testing.T) string {
	t.Helper()
	folder, err := os.MkdirTemp("/dev/shm", "millwarden-night-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	return folder
}

// Aim: truth and phones, not the inside. What goes wrong on the simulated estate rings within its on-delay, a poll and a margin; the same harness
// keeps still when nothing goes wrong.
func TestNight_rings(t *testing.T) {
	const (
		stickFails = 20 * time.Minute
		fanFails   = 40 * time.Minute
	)
	truth := estate.NewTruth(18, 1)
	for truth.Tanks[0].PH > 4.3 { // the night begins when tank 1 is nearly over-fermented: a long one under the race detector takes minutes
		truth.Advance(time.Minute)
	}
	truth.Now = 0
	var sour time.Duration // when tank 1 truly passed pH 4.2
	faults := []estate.Fault{
		{At: stickFails, Title: "stick 2 falls silent", Do: estate.FailStick(2)},
		{At: fanFails, Title: "the dryer's fan stops", Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }},
	}
	for at := time.Minute; at < 3*time.Hour; at += time.Minute {
		faults = append(faults, estate.Fault{At: at, Do: func(_ *estate.Estate, w *estate.Truth) {
			if sour == 0 && w.Tanks[0].PH < 4.2 {
				sour = w.Now
			}
		}})
	}
	estate.Sort(faults)
	crew := night(t, 150*time.Minute, truth, faults)
	if sour == 0 {
		t.Fatal("tank 1 never soured: the night proves nothing")
	}
	for _, c := range []struct {
		words        string
		after, later time.Duration
	}{
		{"BIN 2", stickFails, 10 * time.Minute},
		{"DRYER 1", fanFails, 10 * time.Minute},
		// The electrode wavers by 0.03 pH, which the tank needs some 18 min for: so much sooner or later, and the on-delay of 5 min.
		{"TANK 1", sour - 18*time.Minute, 18*time.Minute + 5*time.Minute + 18*time.Minute},
	} {
		got, rang := crew.first(c.words)
		if !rang {
			t.Errorf("nobody was called about %s", c.words)
			continue
		}
		if got.after < c.after || got.after > c.after+c.later {
			t.Errorf("%s: called after %v, want between %v and %v: %s", c.words, got.after, c.after, c.after+c.later, got.text)
		}
	}
}

// The control: nothing goes wrong, and nobody is woken.
func TestNight_staysQuiet(t *testing.T) {
	truth := estate.NewTruth(18, 2)
	truth.Tanks[0].Load()
	crew := night(t, time.Hour, truth, nil)
	var texts []string
	for _, c := range crew.got {
		texts = append(texts, fmt.Sprintf("%v %s", c.after, c.text))
	}
	if len(texts) > 0 {
		t.Errorf("a quiet night rang:\n%s", strings.Join(texts, "\n"))
	}
}
