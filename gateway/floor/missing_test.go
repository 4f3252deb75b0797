package floor_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
)

// missingRules have everything that can be missing: a second bus, a modem, the site's own broker and store.
const missingRules = `
bus roaster-line is serial
    port            /dev/ttyUSB9

station roaster-1 is roaster

probe roaster-1-panel
    part            modbus on roaster-line unit 1
    register        input 0 as int16 x 0.1 °C is bean-temperature
    gives           bean-temperature at roaster-1
    every           10 s

channel text
    modem           /dev/ttyUSB0

broker
    address         127.0.0.1:1883

store
    address         http://127.0.0.1:8086
    org             estate
    bucket          mill
    durable-after   0 s
`

// start is one start of a gateway with something missing.
type start struct {
	name   string
	folder func(*testing.T) string // nil: an empty one
	unset  bool                    // the clock is, and says 1970
	away   string                  // "roaster-line", "modem", "broker" or "store"
	says   func(*web.Snapshot) bool
}

// saysAlarm tells whether an alarm stands whose name begins so, with words.
func saysAlarm(prefix string) func(*web.Snapshot) bool {
	return func(s *web.Snapshot) bool {
		for _, a := range s.Alarms {
			if strings.HasPrefix(a.ID, prefix) && a.Active && a.Title != "" {
				return true
			}
		}
		return false
	}
}

// saysLink tells whether a link of the page does not work, with its cause.
func saysLink(kind string) func(*web.Snapshot) bool {
	return func(s *web.Snapshot) bool {
		for _, l := range s.Links {
			if l.Kind == kind && l.Set && !l.Works && l.Cause != "" {
				return true
			}
		}
		return false
	}
}

func damaged(t *testing.T) string {
	folder := memoryFolder(t)
	if err := os.WriteFile(filepath.Join(folder, logbookName), []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	return folder
}

const logbookName = "logbook.db"

// sealed is a folder with a logbook on a disk that takes nothing, as a whole or its history alone.
func sealed(onlyHistory bool) func(*testing.T) string {
	return func(t *testing.T) string {
		folder := t.TempDir()
		if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=64m"); err != nil {
			t.Skipf("mounting a small file system: %v", err)
		}
		t.Cleanup(func() { _ = syscall.Unmount(folder, syscall.MNT_DETACH) })
		oldReadings(t, folder, noon.AddDate(0, 0, -2))
		book, err := logbook.Open(folder)
		if err == nil {
			_, err = book.Write(logbook.Entry{Kind: logbook.Note, Text: "before the card failed"})
			err = errors.Join(err, book.Close())
		}
		at := folder
		if onlyHistory && err == nil {
			at = filepath.Join(folder, "history.db")
			err = syscall.Mount(at, at, "", syscall.MS_BIND, "")
			t.Cleanup(func() { _ = syscall.Unmount(at, syscall.MNT_DETACH) })
		}
		if err == nil {
			err = syscall.Mount("", at, "", syscall.MS_REMOUNT|syscall.MS_BIND|syscall.MS_RDONLY, "")
		}
		if err != nil {
			t.Fatal(err)
		}
		t.Setenv("TMPDIR", t.TempDir())
		return folder
	}
}

// open opens the gateway of the room with what is there.
func (s *start) open(t *testing.T, folder string, c clock.Clock) (room, *brokerAlone) {
	t.Helper()
	text := strings.Replace(onePanel, "use instruments", "use air, instruments", 1) + missingRules
	plan, said := load(t, fstest.MapFS{"demo.rules": {Data: []byte(text)}})
	if said != "" {
		t.Fatal(said)
	}
	r := room{panel: modbustest.New(), phone: &phone{clock: c}}
	r.gas(4)
	silent := modbustest.New()
	silent.SetInteger(1, drivers.InputRegisters, 0, 1, 200)
	broker := &brokerAlone{}
	if s.away != "broker" {
		broker.start(t)
	}
	channels := map[string]callout.Channel{"mail": r.phone, "text": r.phone}
	if s.away == "modem" {
		delete(channels, "text") // the one of the rules file
	}
	shop := &shop{rows: map[string]bool{}, away: s.away == "store"}
	var err error
	r.mill, err = floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), NoPage: true, Log: slog.New(slog.DiscardHandler), BootID: "room",
		Clock: func(uint32) clock.Clock { return c }, Channels: channels,
		OpenModem:  func(string, int) (io.ReadWriteCloser, error) { return nil, syscall.ENOENT },
		DialBroker: broker.dial, Store: &http.Client{Transport: shop},
		OpenBus: func(_ context.Context, _ drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
			switch {
			case name != "roaster-line":
				return drivers.Bus{Name: name, Modbus: r.panel}, nil, nil
			case s.away == name:
				return drivers.Bus{}, nil, syscall.ENOENT
			}
			return drivers.Bus{Name: name, Modbus: silent}, nil, nil
		}})
	if err != nil {
		t.Fatalf("Open() = %v, want it to start", err)
	}
	return r, broker
}

// Aim: with any one part missing the gateway starts, says within a minute what is missing, and gas rings. The control is a start with everything there: it
// says none of this. Only the page is asked for the words; telephones for the alarm.
func TestStart_anythingMissing(t *testing.T) {
	silentBus := func(s *web.Snapshot) bool {
		for _, p := range s.Points {
			if p.Name == "roaster-1/bean-temperature" && p.Reading.Quality == reading.Bad && p.Reading.Cause != "" && p.Reading.Cause != "not yet read" {
				return true
			}
		}
		return false
	}
	starts := []start{
		{name: "bus", away: "roaster-line", says: silentBus},
		{name: "broker", away: "broker", says: saysLink("broker")},
		{name: "store", away: "store", says: saysLink("store")},
		{name: "modem", away: "modem", says: saysLink("channel")},
		{name: "logbook damaged", folder: damaged, says: saysAlarm("file-set-aside@")},
		{name: "history read-only", folder: sealed(true), says: saysAlarm("logbook-stuck@")},
		{name: "folder read-only", folder: sealed(false), says: saysAlarm("logbook-stuck@")},
		{name: "clock", unset: true, says: func(s *web.Snapshot) bool { return !s.Now.Set }},
	}
	for i := range starts {
		s := &starts[i]
		t.Run(s.name, func(t *testing.T) { s.play(t, nil) })
	}
	t.Run("nothing", func(t *testing.T) { (&start{}).play(t, starts) })
}

// play starts the gateway, and wants the gas to ring. Without others, what is missing must be said; with others, nothing of what they say.
func (s *start) play(t *testing.T, others []start) {
	folder := ""
	if s.folder == nil {
		folder = memoryFolder(t)
	} else {
		folder = s.folder(t)
	}
	bubble(t, func(t *testing.T) {
		c := &powerClock{begun: time.Now(), wall: noon, isSet: true}
		if s.unset {
			c.wall, c.isSet = time.Unix(60, 0), false
		}
		r, broker := s.open(t, folder, c)
		go func() {
			time.Sleep(time.Minute)
			var page web.Snapshot
			r.mill.Snapshot(&page)
			if others == nil && !s.says(&page) {
				t.Errorf("after a minute the page says nothing of it: links %+v, alarms %+v", page.Links, page.Alarms)
			}
			for i := range others {
				if others[i].says(&page) {
					t.Errorf("nothing is missing, and the page says so of: %s", others[i].name)
				}
			}
			r.gas(400)
		}()
		runRoom(t, r, 3*time.Minute)
		if s.away != "broker" {
			broker.kill()
		}
		if r.about("ROOM 1") == 0 {
			t.Error("nobody was called about the gas")
		}
	})
}
