package floor_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/gateway/floor"
	"millwarden/internal/clock"
	"millwarden/internal/phrase"
)

// busLog opens panels and writes down what is opened, closed and asked, in order.
type busLog struct {
	mu    sync.Mutex // guards what stands below
	lines []string
}

func (l *busLog) add(what, bus string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lines = append(l.lines, what+" "+bus)
}

func (l *busLog) open(_ context.Context, _ drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
	l.add("open", name)
	panel := modbustest.New()
	panel.SetInteger(1, drivers.InputRegisters, 0, 1, 4)
	return drivers.Bus{Name: name, Modbus: panel}, closing(func() { l.add("close", name) }), nil
}

func (l *busLog) all() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.lines)
}

type closing func()

func (c closing) Close() error { c(); return nil }

// Aim: a new plan is opened before the old one is closed, what both read is opened once and never closed, and a file that is refused opens and closes nothing
// [LANGUAGE.md section 6]. The room's gas is read through it all.
func TestReload_newBeforeOld(t *testing.T) {
	rulesOf := func(second string) string {
		text := "site mill\n    timezone UTC\n    altitude 0 m\nstation room is room\nuse instruments\n"
		for name, host := range map[string]string{"co": "192.0.2.1", "co2": second} {
			text += fmt.Sprintf("probe %s\n    part modbus on tcp %s:502 unit 1\n    register input 0 as uint16 x 1 ppm is %[1]s\n    gives %[1]s at room\n    every 5 s\n", name, host)
		}
		return text
	}
	bubble(t, func(t *testing.T) {
		rulesFile := &file{t: t, text: rulesOf("192.0.2.2")}
		plan, _, err := rulesFile.Load()
		if err != nil {
			t.Fatal(err)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		var log busLog
		mill, err := floor.Open(floor.Options{Plan: plan, Data: memoryFolder(t), Drivers: knownDrivers(), OpenBus: log.open, NoPage: true, Rules: rulesFile,
			Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return c }})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		var running sync.WaitGroup
		running.Go(func() {
			if err := mill.Run(ctx); err != nil {
				t.Errorf("Run() = %v", err)
			}
		})
		time.Sleep(time.Minute)
		before := log.all()
		slices.Sort(before)
		if want := []string{"open tcp 192.0.2.1:502", "open tcp 192.0.2.2:502"}; !slices.Equal(before, want) {
			t.Errorf("after the start: %q, want %q", before, want)
		}
		rulesFile.write(rulesOf("192.0.2.3") + "alarm\n")
		time.Sleep(time.Minute)
		if got := log.all()[len(before):]; len(got) > 0 {
			t.Errorf("after a refused file: %q, want nothing", got)
		}
		rulesFile.write(rulesOf("192.0.2.3"))
		time.Sleep(time.Minute)
		if got, want := log.all()[len(before):], []string{"open tcp 192.0.2.3:502", "close tcp 192.0.2.2:502"}; !slices.Equal(got, want) {
			t.Errorf("after the reload: %q, want %q", got, want)
		}
		for _, point := range []string{"room/co", "room/co2"} {
			if got := quality(mill, point); got != "good" {
				t.Errorf("%s is %s, want good", point, got)
			}
		}
		stop()
		running.Wait()
		if err := mill.Close(); err != nil {
			t.Errorf("Close() = %v", err)
		}
	})
}
