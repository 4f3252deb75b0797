package floor_test

import (
	"context"
	"io"
	"log/slog"
	"net"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/notify"
	"millwarden/internal/phrase"
)

const onePanel = `site small
    timezone        America/Lima
    altitude        1450 m

station room-1 is room

probe panel
    part            modbus on tcp 127.0.0.1:1502 unit 1
    register        input 0 as uint16 x 1 ppm is co
    gives           co at room-1
    every           10 s

use instruments, board

person ana
    mail            ana@fern-hollow.example

channel mail
    server          127.0.0.1:2525
    sender          mill@fern-hollow.example
`

// line is a Modbus line that can hang: then it looks at nothing any more, not even at the end of its context.
type line struct {
	*modbustest.Device
	mu   sync.Mutex    // guards hang
	hang chan struct{} // nil: it answers
}

func (l *line) Ask(ctx context.Context, unit uint8, table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	l.mu.Lock()
	hang := l.hang
	l.mu.Unlock()
	if hang != nil {
		<-hang
	}
	return l.Device.Ask(ctx, unit, table, address, count, into)
}

// hangs makes it hang, until the function that it gives is called.
func (l *line) hangs() (release func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	hang := make(chan struct{})
	l.hang = hang
	return func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.hang = nil
		close(hang)
	}
}

// openSmall opens a gateway with one probe on a line.
func openSmall(t *testing.T, folder string, c clock.Clock, m floor.Manager) (*floor.Floor, *line) {
	t.Helper()
	plan, said := load(t, fstest.MapFS{"demo.rules": {Data: []byte(onePanel)}})
	if said != "" {
		t.Fatal(said)
	}
	l := &line{Device: modbustest.New()}
	l.SetInteger(1, drivers.InputRegisters, 0, 1, 4)
	mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), NoPage: true, Log: slog.New(slog.DiscardHandler), Manager: m,
		Clock: func(uint32) clock.Clock { return c }, OpenBus: func(_ context.Context, _ drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
			return drivers.Bus{Name: name, Modbus: l}, nil, nil
		}})
	if err != nil {
		t.Fatal(err)
	}
	return mill, l
}

// manager hears what the gateway tells.
type manager struct {
	mu    sync.Mutex // guards heard
	heard []string
}

func (m *manager) Tell(assignments ...string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.heard = append(m.heard, assignments...)
	return nil
}

func (*manager) Within() time.Duration { return 30 * time.Second }

// take gives what was heard since the last time.
func (m *manager) take() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	heard := m.heard
	m.heard = nil
	return heard
}

func fed(heard []string) (n int) {
	for _, what := range heard {
		if what == notify.Alive {
			n++
		}
	}
	return n
}

// Aim: the manager is fed while every worker moves, and no longer once one hangs in a bus; when it moves again the feeding goes on.
func TestWatchdog_starvesWhenAWorkerHangs(t *testing.T) {
	bubble(t, func(t *testing.T) {
		m := &manager{}
		mill, l := openSmall(t, memoryFolder(t), clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}, m)
		ctx, stop := context.WithCancel(t.Context())
		var running sync.WaitGroup
		running.Go(func() {
			if err := mill.Run(ctx); err != nil {
				t.Errorf("Run() = %v", err)
			}
		})
		time.Sleep(5 * time.Minute)
		if heard := m.take(); fed(heard) < 28 || !slices.Contains(heard, notify.Ready) {
			t.Errorf("in 5 min of health it heard %d signs of life, want 30: %q", fed(heard), heard)
		}
		release := l.hangs()
		time.Sleep(3 * time.Minute) // it counts as standing still after a minute and a half
		m.take()
		time.Sleep(5 * time.Minute)
		if heard := m.take(); fed(heard) > 0 {
			t.Errorf("a worker hangs, and it was fed %d times", fed(heard))
		}
		var s web.Snapshot
		if mill.Snapshot(&s); s.Stopping {
			t.Error("the page says that it stops")
		}
		release()
		time.Sleep(time.Minute)
		if heard := m.take(); fed(heard) < 4 {
			t.Errorf("the worker moves again, and it was fed %d times in a minute", fed(heard))
		}
		stop()
		running.Wait()
		if heard := m.take(); !slices.Contains(heard, notify.Stopping) {
			t.Errorf("at the end it heard %q, want %s", heard, notify.Stopping)
		}
		if mill.Snapshot(&s); !s.Stopping {
			t.Error("the page does not say that it stops")
		}
		if err := mill.Close(); err != nil {
			t.Error(err)
		}
	})
}

// Aim: the same through a real socket of the kernel, as the service manager opens one; and an orderly stop stands in the logbook.
func TestWatchdog_realSocket(t *testing.T) {
	folder := t.TempDir()
	name := filepath.Join(folder, "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	values := map[string]string{"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "600000"}
	m, err := notify.From(func(name string) string { return values[name] }, 1)
	if err != nil {
		t.Fatal(err)
	}
	mill, _ := openSmall(t, folder, &clock.System{Boot: 1, Trust: true}, m)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- mill.Run(ctx) }()
	var heard strings.Builder
	hear := func(enough func(string) bool) {
		t.Helper()
		buffer := make([]byte, 4096)
		_ = conn.SetReadDeadline(time.Now().Add(time.Minute))
		for !enough(heard.String()) {
			n, err := conn.Read(buffer)
			if err != nil {
				t.Fatalf("heard %q, then %v", heard.String(), err)
			}
			heard.Write(buffer[:n])
		}
	}
	hear(func(text string) bool {
		return strings.Contains(text, "READY=1\nSTATUS=watching small: 1 probes") && strings.Count(text, "WATCHDOG=1\n") >= 3
	})
	stop()
	hear(func(text string) bool { return strings.Contains(text, "STOPPING=1\nSTATUS=stopping: it was told to\n") })
	if err := <-ended; err != nil {
		t.Errorf("Run() = %v", err)
	}
	if err := mill.Close(); err != nil {
		t.Error(err)
	}
	book, err := logbook.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	entries, err := book.Entries(t.Context(), logbook.Filter{Kinds: []logbook.Kind{logbook.Start}})
	if err != nil || !slices.ContainsFunc(entries, func(e logbook.Entry) bool { return e.Text == "gateway stopping: it was told to" }) {
		t.Errorf("the logbook says %+v, %v", entries, err)
	}
}
