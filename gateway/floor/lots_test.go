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

// Aim: what is entered about lots reaches the models at once: a load begins the computed points of a stay, a move carries the lot over, a correction that strikes the load ends
// them; and what cannot be is refused in words for a person.
func TestEnter_reachesTheModels(t *testing.T) {
	bubble(t, func(t *testing.T) {
		rules, err := fs.ReadFile(estate.Files, estate.RulesFile)
		if err != nil {
			t.Fatal(err)
		}
		const lately = "\nprompt %s at %s\n    when times(%s, 10 min) > 0\n    say \"done\"\n"
		plan, said := load(t, fstest.MapFS{estate.RulesFile: {Data: fmt.Appendf(rules, lately+lately+lately, "checked", "tank-1", "hand-checked", "washed-lately", "tank-1", "washed", "stirred-lately", "deck-a", "stirred")}})
		if said != "" {
			t.Fatal(said)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		world := estate.New(c, estate.NewTruth(18, 2), nil)
		mill, err := floor.Open(floor.Options{Plan: plan, Data: memoryFolder(t), Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true,
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
		enter := func(step lots.Step) web.Entered {
			t.Helper()
			done, err := mill.Enter(ctx, web.Entering{By: "ana", Step: step})
			if err != nil {
				t.Fatal(err)
			}
			return done
		}
		refused := func(step lots.Step, kind, says string) {
			t.Helper()
			var r *web.Refusal
			if _, err := mill.Enter(ctx, web.Entering{By: "ana", Step: step}); !errors.As(err, &r) || r.Kind != kind || !strings.Contains(r.Says, says) {
				t.Errorf("%+v: %v, want %s ...%s", step, err, kind, says)
			}
		}
		time.Sleep(time.Minute)
		enter(lots.Step{Do: lots.Intake, Lot: "150", Kg: 640, Cherry: "own"})
		loaded := enter(lots.Step{Do: lots.Load, Lot: "150", Station: "tank-1", When: c.Now().Wall.Add(-30 * time.Minute).UnixMilli()})
		time.Sleep(time.Minute)
		if r := value(mill, "tank-1/soak-time"); r.Quality != reading.Good || r.Value < 1790 || r.Value > 1880 { // said once a minute
			t.Errorf("a load entered half an hour late: soak time %v s (%s)", r.Value, r.Cause)
		}
		prompts := func() (list []string) {
			var s web.Snapshot
			mill.Snapshot(&s)
			for _, p := range s.Prompts {
				list = append(list, p.ID)
			}
			return list
		}
		prompted := func(id string, want bool) {
			t.Helper()
			if list := prompts(); slices.Contains(list, id) != want {
				t.Errorf("prompts %v, want %s: %v", list, id, want)
			}
		}
		prompted("checked@tank-1", false)
		enter(lots.Step{Do: lots.Check, Lot: "150", Gritty: "no"})
		prompted("checked@tank-1", true)
		refused(lots.Step{Do: lots.Load, Lot: "150", Station: "tank-2"}, web.RefusedState, "stands in tank-1")
		refused(lots.Step{Do: lots.Load, Lot: "151", Station: "tank-9"}, web.RefusedUnknown, "no station")
		prompted("washed-lately@tank-1", false)
		enter(lots.Step{Do: lots.Move, Station: "tank-1", To: "deck-a", Kg: 260})
		prompted("washed-lately@tank-1", true)
		if err := mill.Act(ctx, web.Act{Do: web.DoMark, Station: "deck-a", What: "chaff-emptied", By: "ana"}); err == nil || !strings.Contains(err.Error(), "stirred, covered") {
			t.Errorf("chaff of a deck: %v", err)
		}
		prompted("stirred-lately@deck-a", false)
		if err := mill.Act(ctx, web.Act{Do: web.DoMark, Station: "deck-a", What: "stirred", By: "ana"}); err != nil {
			t.Error(err)
		}
		prompted("stirred-lately@deck-a", true)
		time.Sleep(time.Minute)
		if tank, deck := value(mill, "tank-1/soak-time"), value(mill, "deck-a/drying-time"); tank.Quality != reading.Bad || deck.Quality != reading.Good {
			t.Errorf("after the move: soak time %v, drying time %v", tank, deck)
		}
		enter(lots.Step{Do: lots.Check, Lot: "150", Meter: "41.5 %wb"})
		time.Sleep(time.Minute)
		if r := value(mill, "deck-a/estimated-moisture"); r.Quality == reading.Bad || r.Value < 41 || r.Value > 41.6 {
			t.Errorf("after a hand meter of 41.5 %%wb the moisture is %v (%s %s)", r.Value, r.Quality, r.Cause)
		}
		refused(lots.Step{Do: lots.Correct, Entry: loaded.Entry}, web.RefusedState, "Then entry")
		if lot, ok := mill.Lot("150"); !ok || lot.Station != "deck-a" || lot.Form != lots.WetParchment || lot.Kg != 260 {
			t.Errorf("the lot: %+v", lot)
		}
		wrong := enter(lots.Step{Do: lots.Load, Lot: "999", Station: "tank-2"})
		enter(lots.Step{Do: lots.Correct, Entry: wrong.Entry, Note: "never was"})
		time.Sleep(time.Minute)
		if r := value(mill, "tank-2/soak-time"); r.Quality != reading.Bad {
			t.Errorf("a load that was struck still soaks: %v", r)
		}
		stop()
		lives.Wait()
		if err := mill.Close(); err != nil {
			t.Error(err)
		}
	})
}
