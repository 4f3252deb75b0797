package floor_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/logbook/lots"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
	"millwarden/internal/reading"
)

const handMeter = `
probe hand-meter
    part            by-hand
    instrument      "capacitance meter, serial 2231"
    gives           moisture at dryer-1
    every           20 min
    range           5 .. 60 %wb
`

// Aim: what a person reads from a meter without a wire is a reading like any other, and outlives a restart; people are reminded when it is due, and
// the alarm of a point that nobody reads comes in the end; what cannot be is refused in words.
func TestEnter_readByHand(t *testing.T) {
	bubble(t, func(t *testing.T) {
		rules, err := fs.ReadFile(estate.Files, estate.RulesFile)
		if err != nil {
			t.Fatal(err)
		}
		plan, said := load(t, fstest.MapFS{estate.RulesFile: {Data: append(slices.Clone(rules), handMeter+
			"\nalarm hand-says-wet at dryer-1\n    when moisture > 20 %wb\n    priority low\n    class quality\n    consequence \"It spoils.\"\n    action \"Stir it.\"\n    respond-within 8 h\n"...)}})
		if said != "" {
			t.Fatal(said)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		world := estate.New(c, estate.NewTruth(18, 2), nil)
		folder := memoryFolder(t)
		begin := func() (*floor.Floor, func()) {
			mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true,
				Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return c }})
			if err != nil {
				t.Fatal(err)
			}
			ctx, stop := context.WithCancel(t.Context())
			var lives sync.WaitGroup
			lives.Go(func() {
				if err := mill.Run(ctx); err != nil {
					t.Errorf("Run() = %v", err)
				}
			})
			return mill, func() {
				stop()
				lives.Wait()
				if err := mill.Close(); err != nil {
					t.Error(err)
				}
			}
		}
		ctx, stop := context.WithCancel(t.Context())
		var lives sync.WaitGroup
		lives.Go(func() { _ = world.Run(ctx) })
		mill, end := begin()
		const point = "dryer-1/moisture"
		enter := func(point, value string) error {
			return mill.Act(ctx, web.Act{Do: web.DoEnter, Point: point, Value: value, By: "ana"})
		}
		stands := func(what, alarm, prompt string) {
			t.Helper()
			var s web.Snapshot
			mill.Snapshot(&s)
			rings := slices.ContainsFunc(s.Alarms, func(a web.Alarm) bool { return a.ID == alarm && a.Active })
			asks := slices.ContainsFunc(s.Prompts, func(p web.Prompt) bool { return p.ID == prompt })
			if got := fmt.Sprintf("alarm %v, prompt %v", rings, asks); got != what {
				t.Errorf("%s: %s, want %s", alarm, got, what)
			}
		}
		const wet, reminder = "hand-says-wet@dryer-1", "enter-reading@hand-meter"
		time.Sleep(time.Minute)
		stands("alarm false, prompt true", wet, reminder) // nobody has entered one yet
		for value, says := range map[string]string{"41.5": "unit", "41.5 °C": "moisture", "4,2 %wb": "4,2", "75 %wb": "goes from 5.0 %wb to 60.0 %wb", "wet": "wet"} {
			var r *web.Refusal
			if err := enter(point, value); !errors.As(err, &r) || r.Kind != web.RefusedInput || !strings.Contains(r.Says, says) {
				t.Errorf("%q: %v, want it refused with %q", value, err, says)
			}
		}
		var r *web.Refusal
		if err := enter("tank-1/ph", "4.2"); !errors.As(err, &r) || r.Kind != web.RefusedState {
			t.Errorf("a point with a wire: %v", err)
		}
		if err := enter("tank-1/nothing", "4.2"); !errors.As(err, &r) || r.Kind != web.RefusedUnknown {
			t.Errorf("no point: %v", err)
		}
		if err := enter(point, "41.5 %wb"); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Minute)
		stands("alarm true, prompt false", wet, reminder)
		end()
		mill, end = begin()
		time.Sleep(time.Minute)
		if v := value(mill, point); v.Quality != reading.Good || v.Value != 41.5 {
			t.Errorf("after a restart it is %v (%s %s)", v.Value, v.Quality, v.Cause)
		}
		stands("alarm true, prompt false", wet, reminder)
		time.Sleep(20 * time.Minute)
		stands("alarm true, prompt true", wet, reminder)
		if err := enter(point, "12 %wb"); err != nil {
			t.Fatal(err)
		}
		time.Sleep(2 * time.Minute)
		stands("alarm false, prompt false", wet, reminder)
		time.Sleep(time.Hour + 2*time.Minute)
		stands("alarm true, prompt true", "measurement-overdue@"+point, reminder)
		// What a meter showed at a check by hand is a reading of that point too, and not less.
		for _, step := range []lots.Step{{Do: lots.Load, Lot: "143", Station: "dryer-1"}, {Do: lots.Check, Station: "dryer-1", Meter: "21.5 %wb"}} {
			if _, err := mill.Enter(ctx, web.Entering{By: "ana", Step: step}); err != nil {
				t.Error(err)
			}
		}
		time.Sleep(2 * time.Minute)
		stands("alarm true, prompt false", wet, reminder)
		if v := value(mill, point); v.Quality != reading.Good || v.Value != 21.5 {
			t.Errorf("after a check by hand it is %v (%s %s)", v.Value, v.Quality, v.Cause)
		}
		stands("alarm false, prompt false", "measurement-overdue@"+point, reminder)
		end()
		stop()
		lives.Wait()
	})
}
