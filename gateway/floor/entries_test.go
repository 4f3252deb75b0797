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

alarm hand-says-wet at dryer-1
    when            moisture > 20 %wb
    while           loaded
    priority        low
    class           quality
    consequence     "It spoils."
    action          "Stir it."
    respond-within  8 h
`

// handMill is a mill whose dryer has a meter without a wire. begin lets the gateway run, also again; what begin gives last lets it end.
func handMill(t *testing.T) (begin func() (mill *floor.Floor, end func())) {
	t.Helper()
	rules, err := fs.ReadFile(estate.Files, estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	plan, said := load(t, fstest.MapFS{estate.RulesFile: {Data: append(slices.Clone(rules), handMeter...)}})
	if said != "" {
		t.Fatal(said)
	}
	c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
	world := estate.New(c, estate.NewTruth(18, 2), nil)
	folder := memoryFolder(t)
	return func() (*floor.Floor, func()) {
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
		return mill, func() {
			stop()
			lives.Wait()
			if err := mill.Close(); err != nil {
				t.Error(err)
			}
		}
	}
}

// standsOf tells whether an alarm rings and a prompt asks.
func standsOf(mill *floor.Floor, alarm, prompt string) string {
	var s web.Snapshot
	mill.Snapshot(&s)
	rings := slices.ContainsFunc(s.Alarms, func(a web.Alarm) bool { return a.ID == alarm && a.Active })
	asks := slices.ContainsFunc(s.Prompts, func(p web.Prompt) bool { return p.ID == prompt })
	return fmt.Sprintf("alarm %v, prompt %v", rings, asks)
}

// Aim: what a person reads from a meter without a wire is a reading like any other, and outlives a restart; people are reminded when it is due, and
// the alarm of a point that nobody reads comes in the end; what cannot be is refused in words.
func TestEnter_readByHand(t *testing.T) {
	bubble(t, func(t *testing.T) {
		begin := handMill(t)
		ctx := t.Context()
		mill, end := begin()
		const point = "dryer-1/moisture"
		enter := func(point, value string) error {
			return mill.Act(ctx, web.Act{Do: web.DoEnter, Point: point, Value: value, By: "ana"})
		}
		stands := func(what, alarm, prompt string) {
			t.Helper()
			if got := standsOf(mill, alarm, prompt); got != what {
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
		for _, value := range []string{"12 %wb", "21 %wb"} { // a finger may have slipped
			if err := enter(point, value); !errors.As(err, &r) || r.Says != "dryer-1/moisture was 41.5 %wb. If it is "+strings.Replace(value, " ", ".0 ", 1)+" now, enter it once more." {
				t.Errorf("%s after 41.5: %v", value, err)
			}
		}
		if v := value(mill, point); v.Value != 41.5 {
			t.Errorf("what was asked about stands: %v", v.Value)
		}
		if err := enter(point, "12 %wb"); !errors.As(err, &r) {
			t.Errorf("it was not the last one entered, and is taken: %v", err)
		}
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
	})
}

// Aim: of a station without a lot nobody owes a reading: no prompt asks, no alarm calls, and what was read of the lot before says nothing of the next one, also after a restart. With
// a lot there it is asked for at once, and the alarm comes when nobody has read it.
func TestEnter_onlyOfALot(t *testing.T) {
	bubble(t, func(t *testing.T) {
		const wet, reminder, point, overdue = "hand-says-wet@dryer-1", "enter-reading@hand-meter", "dryer-1/moisture", "measurement-overdue@dryer-1/moisture"
		begin := handMill(t)
		mill, end := begin()
		lot := func(s lots.Step) {
			t.Helper()
			if _, err := mill.Enter(t.Context(), web.Entering{Step: s, By: "ana"}); err != nil {
				t.Fatal(err)
			}
		}
		enter := func(value string) {
			t.Helper()
			if err := mill.Act(t.Context(), web.Act{Do: web.DoEnter, Point: point, Value: value, By: "ana"}); err != nil {
				t.Fatal(err)
			}
		}
		stands := func(after time.Duration, what, alarm string) {
			t.Helper()
			time.Sleep(after)
			if got := standsOf(mill, alarm, reminder); got != what {
				t.Errorf("%s: %s, want %s", alarm, got, what)
			}
		}
		lot(lots.Step{Do: lots.Load, Station: "dryer-1", Lot: "150", Kg: 200})
		stands(time.Minute, "alarm false, prompt true", wet)
		enter("41.5 %wb")
		stands(time.Minute, "alarm true, prompt false", wet)
		lot(lots.Step{Do: lots.Empty, Station: "dryer-1", Kg: 100})
		stands(2*time.Minute, "alarm false, prompt false", wet)
		stands(2*time.Hour, "alarm false, prompt false", overdue)
		end()
		mill, end = begin()
		stands(2*time.Hour, "alarm false, prompt false", overdue)
		lot(lots.Step{Do: lots.Load, Station: "dryer-1", Lot: "151", Kg: 200})
		stands(2*time.Minute, "alarm false, prompt true", wet)
		if v := value(mill, point); v.Quality == reading.Good {
			t.Errorf("of the new lot nothing was read, and it is %v", v.Value)
		}
		stands(time.Hour, "alarm true, prompt true", overdue)
		enter("11 %wb")
		stands(time.Hour+time.Minute, "alarm true, prompt true", overdue)
		if v := value(mill, point); v.Cause != "not entered" {
			t.Errorf("what nobody has entered for an hour is %q", v.Cause)
		}
		enter("11 %wb")
		lot(lots.Step{Do: lots.Empty, Station: "dryer-1", Kg: 100})
		enter("12 %wb") // as it is taken off, and the next one comes
		lot(lots.Step{Do: lots.Load, Station: "dryer-1", Lot: "152", Kg: 200})
		stands(time.Minute, "alarm false, prompt false", wet)
		if v := value(mill, point); v.Quality != reading.Good || v.Value != 12 {
			t.Errorf("what was read while it stood empty is %v (%s)", v.Value, v.Cause)
		}
		end()
	})
}
