package floor_test

import (
	"context"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
)

// powerClock is a board's clock after a power cut: it says 1970 until somebody sets it, and then what it is told.
type powerClock struct {
	begun time.Time
	mu    sync.Mutex // guards what stands below
	wall  time.Time  // at begun, as the clock has it now
	isSet bool
}

func (c *powerClock) Now() reading.Stamp {
	passed := time.Since(c.begun)
	c.mu.Lock()
	defer c.mu.Unlock()
	return reading.Stamp{Wall: c.wall.Add(passed).UTC(), Mono: passed, Boot: 1, Set: c.isSet}
}

func (*powerClock) Real(d time.Duration) time.Duration { return d }

func (c *powerClock) set(wall time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wall, c.isSet = wall.Add(-time.Since(c.begun)), true
}

// room is a roastery with a gas probe, its crew, and a gateway on any clock.
type room struct {
	panel *modbustest.Device
	phone *phone
	mill  *floor.Floor
}

func openRoom(t *testing.T, folder string, c clock.Clock) room {
	t.Helper()
	return openRoomOf(t, onePanel, folder, c)
}

func openRoomOf(t *testing.T, rules, folder string, c clock.Clock) room {
	t.Helper()
	plan, said := load(t, fstest.MapFS{"demo.rules": {Data: []byte(strings.Replace(rules, "use instruments", "use air, instruments", 1))}})
	if said != "" {
		t.Fatal(said)
	}
	r := room{panel: modbustest.New(), phone: &phone{clock: c}}
	r.gas(4)
	var err error
	r.mill, err = floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), NoPage: true, Log: slog.New(slog.DiscardHandler), BootID: "room",
		Clock: func(uint32) clock.Clock { return c }, Channels: map[string]callout.Channel{"mail": r.phone},
		OpenBus: func(_ context.Context, _ drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
			return drivers.Bus{Name: name, Modbus: r.panel}, nil, nil
		}})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (r room) gas(ppm int64) { r.panel.SetInteger(1, drivers.InputRegisters, 0, 1, ppm) }

// settle acknowledges and resets what stands at the room.
func (r room) settle(ctx context.Context) {
	var s web.Snapshot
	r.mill.Snapshot(&s)
	for _, a := range s.Alarms {
		for _, do := range []string{web.DoAcknowledge, web.DoReset} {
			_ = r.mill.Act(ctx, web.Act{Do: do, Alarm: a.ID, Occurrence: a.Occurrence, By: "ana", Why: "the test goes on"}) // refused where it is not needed
		}
	}
}

// about counts the calls about gas so far.
func (r room) about(words string) (n int) {
	r.phone.mu.Lock()
	defer r.phone.mu.Unlock()
	for _, c := range r.phone.got {
		if strings.Contains(c.text, words) {
			n++
		}
	}
	return n
}

// Aim: alarms ring alike in 1970, after the clock was set, across a jump of 50 years and one of an hour back; each step stands in the logbook; and what was
// read in 1970 gets its time once the clock is set [standards notes, section 6].
func TestNight_wrongClock(t *testing.T) {
	folder := memoryFolder(t)
	noon := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
	bubble(t, func(t *testing.T) {
		c := &powerClock{begun: time.Now(), wall: time.Unix(60, 0)}
		r := openRoom(t, folder, c)
		ctx, stop := context.WithCancel(t.Context())
		var running sync.WaitGroup
		running.Go(func() {
			if err := r.mill.Run(ctx); err != nil {
				t.Errorf("Run() = %v", err)
			}
		})
		gasAlarm := func(when string) {
			t.Helper()
			before := r.about("ROOM 1")
			r.gas(400) // above the ceiling of 200 ppm
			time.Sleep(2 * time.Minute)
			if r.about("ROOM 1") == before {
				t.Errorf("%s: gas above the limit for 2 min, and nobody was called", when)
			}
			r.gas(4)
			time.Sleep(15 * time.Minute)
			r.settle(ctx) // so that it can come again
			time.Sleep(5 * time.Minute)
		}
		time.Sleep(2 * time.Minute)
		gasAlarm("in 1970")
		c.set(noon)
		time.Sleep(time.Minute)
		gasAlarm("after the clock was set")
		c.set(noon.AddDate(50, 0, 0))
		gasAlarm("50 years ahead")
		c.set(noon.Add(30 * time.Minute))
		gasAlarm("back again")
		c.set(c.Now().Wall.Add(-time.Hour))
		gasAlarm("an hour back")
		stop()
		running.Wait()
		if err := r.mill.Close(); err != nil {
			t.Error(err)
		}
		if n := r.about("not read"); n > 0 {
			t.Errorf("%d calls about readings that came all the time", n)
		}
	})
	book, err := logbook.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	entries, err := book.Entries(t.Context(), logbook.Filter{Kinds: []logbook.Kind{logbook.ClockStep}})
	if err != nil {
		t.Fatal(err)
	}
	var told []string
	for _, e := range entries {
		told = append(told, e.Text)
	}
	for _, words := range []string{"wall clock set forward by", "readings got their time", "wall clock not believed: it says 2076-06-10T12:0", "wall clock set back by 1h0m0s"} {
		if !slices.ContainsFunc(told, func(text string) bool { return strings.Contains(text, words) }) {
			t.Errorf("the logbook has no %q: %q", words, told)
		}
	}
	if len(told) != 7 { // four steps; that 50 years ahead was not believed; that 1970 and what was read 50 years ahead was settled
		t.Errorf("the logbook tells %d things of the clock, want 7: %q", len(told), told)
	}
	kept, err := history.Open(folder, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	var first history.Entry
	err = kept.Replay(t.Context(), func(e *history.Entry) error { // From passes over what is rolled up
		if first.Point == "" || e.Stamp.Mono < first.Stamp.Mono {
			first = *e
		}
		if e.Stamp.Set && e.Stamp.Wall.Sub(noon).Abs() > 3*time.Hour {
			t.Errorf("a reading of %v", e.Stamp.Wall)
		}
		return nil
	})
	// The clock was set to noon 24 minutes after the start.
	if err != nil || !first.Stamp.Set || first.Stamp.Wall.Sub(noon.Add(-24*time.Minute)).Abs() > 30*time.Second {
		t.Errorf("the first reading of 1970 is of %+v (%v), want some 24 min before %v", first, err, noon)
	}
}

// Aim: a logbook and a history that are no databases any more are set aside at the start, people hear of it within a minute, and alarms ring.
func TestNight_damagedFiles(t *testing.T) {
	folder := memoryFolder(t)
	for _, name := range []string{"logbook.db", "history.db"} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	bubble(t, func(t *testing.T) {
		c := &powerClock{begun: time.Now(), wall: time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC), isSet: true}
		r := openRoom(t, folder, c)
		ctx, stop := context.WithTimeout(t.Context(), 4*time.Minute)
		defer stop()
		go func() {
			time.Sleep(time.Minute)
			if n := r.about("files set aside 2"); n == 0 {
				t.Errorf("after a minute nobody was told: %+v", r.phone.got)
			}
			r.gas(400)
		}()
		if err := r.mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
		if err := r.mill.Close(); err != nil {
			t.Error(err)
		}
		if r.about("ROOM 1") == 0 {
			t.Error("nobody was called about the gas")
		}
	})
	for _, name := range []string{"logbook.db.damaged-1", "history.db.damaged-1"} {
		if _, err := os.Stat(filepath.Join(folder, name)); err != nil {
			t.Error(err)
		}
	}
}

// runRoom runs a gateway for a time, and closes it.
func runRoom(t *testing.T, r room, d time.Duration) {
	t.Helper()
	ctx, stop := contextFor(t, d)
	defer stop()
	if err := r.mill.Run(ctx); err != nil {
		t.Errorf("Run() = %v", err)
	}
	if err := r.mill.Close(); err != nil {
		t.Error(err)
	}
}

func contextFor(t *testing.T, d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(t.Context(), d)
}
