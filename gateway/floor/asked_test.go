package floor_test

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/logbook/lots"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
)

// Aim: what nobody entered is asked about within the hour by the whole gateway, from the chips to the page: a tank that was washed, a bin that was emptied, cherry that went into
// the washed tank. Once it is entered nobody is asked any more. Control: until then nobody was.
func TestForgotten_isAskedAbout(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan, said := load(t, estate.Files)
		if said != "" {
			t.Fatal(said)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		truth := estate.NewTruth(18, 2)
		faults := []estate.Fault{
			{At: 10 * time.Minute, Do: func(_ *estate.Estate, now *estate.Truth) { now.Tanks[0].Wash(); now.Bins[0].Moisture = 3.4 }},
			{At: 82 * time.Minute, Do: func(_ *estate.Estate, now *estate.Truth) { now.Tanks[0].Load(); now.Tanks[0].Celsius += 2 }},
		}
		world := estate.New(c, truth, faults)
		folder := memoryFolder(t)
		if err := estate.Begin(folder, c.Start); err != nil {
			t.Fatal(err)
		}
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true,
			Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return c }})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		var lives sync.WaitGroup
		lives.Go(func() { _ = world.Run(ctx) })
		lives.Go(func() {
			if err := mill.Run(ctx); err != nil {
				t.Errorf("Run() = %v", err)
			}
		})
		asked := func() (list []string) {
			var s web.Snapshot
			mill.Snapshot(&s)
			for _, p := range s.Prompts {
				if strings.HasPrefix(p.ID, "was-") {
					list = append(list, p.ID)
				}
			}
			slices.Sort(list)
			return list
		}
		at := func(after time.Duration, want ...string) {
			t.Helper()
			time.Sleep(time.Until(c.Begun.Add(after)))
			if got := asked(); !slices.Equal(got, want) {
				t.Errorf("after %v people are asked %q, want %q", after, got, want)
			}
		}
		enter := func(station string, do lots.Do, lot string) {
			t.Helper()
			if _, err := mill.Enter(ctx, web.Entering{By: "ana", Step: lots.Step{Do: do, Station: station, Lot: lot}}); err != nil {
				t.Error(err)
			}
		}
		at(35 * time.Minute)
		at(75*time.Minute, "was-it-emptied@tank-1", "was-the-bin-emptied@bin-1")
		enter("tank-1", lots.Empty, "")
		enter("bin-1", lots.Empty, "")
		at(80 * time.Minute)
		at(105 * time.Minute)
		at(138*time.Minute, "was-it-loaded@tank-1")
		enter("tank-1", lots.Load, "160")
		at(140 * time.Minute)
		stop()
		lives.Wait()
		if err := mill.Close(); err != nil {
			t.Error(err)
		}
	})
}
