package floor_test

import (
	"context"
	"io"
	"io/fs"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/gateway/callout/siren"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
	"millwarden/internal/phrase"
)

// coil is the double of an output.
type coil struct{ on atomic.Bool }

func (c *coil) Set(on bool) error { c.on.Store(on); return nil }
func (c *coil) Close() error      { return nil }

// Aim: the whole way of an answer on the wall. The dryer's fan stops, the siren sounds; the button that silences acknowledges nothing, the one of Ben, who is a reader,
// is refused and written down, the one of Ana acknowledges the occurrence with her name, and the lamp goes out.
func TestSirens_answer(t *testing.T) {
	rules, err := fs.ReadFile(estate.Files, estate.RulesFile)
	must(t, err)
	text := strings.Replace(string(rules), "call            ana by mail", "call            ana by siren", 1)
	text = strings.Replace(text, "    rights          owner", "    rights          reader", 1) + `
channel siren
    output          gpiochip0 line 12
    lamp            gpiochip0 line 14
    button          gpiochip0 line 13
    answer          gpiochip0 line 15 by ana
    answer          gpiochip0 line 16 by ben
`
	folder := memoryFolder(t)
	sound, lamp, buttons := &coil{}, &coil{}, drivertest.NewGPIO()
	bubble(t, func(t *testing.T) {
		plan, said := load(t, fstest.MapFS{estate.RulesFile: {Data: []byte(text)}})
		if said != "" {
			t.Fatal(said)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		world := estate.New(c, estate.NewTruth(18, 1), []estate.Fault{{At: 2 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }}})
		must(t, estate.Begin(folder, c.Start))
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), Radio: world.Sticks(), NoPage: true, Log: slog.New(slog.DiscardHandler),
			Clock: func(uint32) clock.Clock { return c }, OpenOutput: func(_ string, line int, _ bool) (siren.Output, error) {
				return map[int]*coil{12: sound, 14: lamp}[line], nil
			},
			OpenBus: func(ctx context.Context, kind drivers.BusKind, name string, lines phrase.Lines) (drivers.Bus, io.Closer, error) {
				if kind == drivers.GPIO {
					return drivers.Bus{Name: name, GPIO: buttons}, io.NopCloser(nil), nil
				}
				return world.OpenBus(ctx, kind, name, lines)
			}})
		must(t, err)
		ctx, stop := context.WithTimeout(t.Context(), 20*time.Minute)
		defer stop()
		var lives sync.WaitGroup
		lives.Go(func() { _ = world.Run(ctx) })
		lives.Go(func() { pressWall(ctx, t, buttons, sound, lamp); stop() })
		if err := mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
		lives.Wait()
		must(t, mill.Close())
	})
	var by []string
	book, err := logbook.Open(folder)
	must(t, err)
	defer book.Close()
	entries, err := book.Entries(t.Context(), logbook.Filter{Kinds: []logbook.Kind{logbook.Act, logbook.Transition}})
	must(t, err)
	for _, e := range entries {
		if strings.Contains(e.Text, "wall") || e.Kind == logbook.Transition && e.Who != "" {
			by = append(by, e.Who+": "+e.Text)
		}
	}
	got := strings.Join(by, "\n")
	for _, want := range []string{"ben: siren: the button of Ben on the wall was held: I am on it. Refused: Ben may not do that", "ana: siren: the button of Ana on the wall was held: I am on it"} {
		if !strings.Contains(got, want) {
			t.Errorf("the logbook lacks %q:\n%s", want, got)
		}
	}
}

// pressWall waits for the siren and presses one button after the other.
func pressWall(ctx context.Context, t *testing.T, buttons *drivertest.GPIO, sound, lamp *coil) {
	for !(sound.on.Load() && lamp.on.Load()) && ctx.Err() == nil { // the lamp is lit a moment later
		time.Sleep(50 * time.Millisecond)
	}
	for _, line := range []int{13, 16, 15} {
		if !lamp.on.Load() {
			t.Errorf("the lamp is out before line %d", line)
		}
		buttons.SetClosed(line, true)
		time.Sleep(3 * time.Second)
		buttons.SetClosed(line, false)
		time.Sleep(3 * time.Second)
	}
	if lamp.on.Load() || sound.on.Load() {
		t.Errorf("after the answer: lamp %v, siren %v", lamp.on.Load(), sound.on.Load())
	}
}
