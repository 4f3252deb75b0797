package floor_test

import (
	"context"
	"io"
	"io/fs"
	"log/slog"
	"math"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
)

// outside is the double of who watches from outside: it counts the calls, and keeps the longest time between two.
type outside struct {
	clock clock.Clock

	mu        sync.Mutex // guards what stands below
	calls     int
	last, gap time.Duration
}

func (o *outside) RoundTrip(r *http.Request) (*http.Response, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	now := o.clock.Now().Mono
	o.calls++
	o.last, o.gap = now, max(o.gap, now-o.last)
	return &http.Response{StatusCode: http.StatusOK, Body: http.NoBody, Request: r}, nil
}

// nobodyOutside in the rules leaves the outside watcher out.
const nobodyOutside = "# nobody outside"

// evening runs the demo's estate with a modem, an outside watcher and a daily message for so long; meanwhile people do something.
func evening(t *testing.T, d time.Duration, faults []estate.Fault, meanwhile func(context.Context, *floor.Floor, *texttest.Modem)) (*texttest.Modem, *outside, []logbook.Entry) {
	t.Helper()
	return eveningOf(t, memoryFolder(t), d, func(rules string) string { return rules }, faults, meanwhile)
}

// eveningOf is evening in a folder that may have one behind it, with other rules.
func eveningOf(t *testing.T, folder string, d time.Duration, edit func(string) string, faults []estate.Fault, meanwhile func(context.Context, *floor.Floor, *texttest.Modem)) (*texttest.Modem, *outside, []logbook.Entry) {
	t.Helper()
	modem, far := texttest.New(), &outside{}
	text, err := fs.ReadFile(withModem(t), estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	// 23:00 UTC is 18:00 in Lima.
	rules := edit(string(text))
	if !strings.Contains(rules, nobodyOutside) {
		rules += "\noutside-watcher\n    address https://watcher.example/mill\n    every 1 min\n    all-well 18:10 ana by text\n"
	}
	bubble(t, func(t *testing.T) {
		plan, said := load(t, fstest.MapFS{estate.RulesFile: {Data: []byte(rules)}})
		if said != "" {
			t.Fatal(said)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		far.clock = c
		world := estate.New(c, estate.NewTruth(18, 1), faults)
		if err := estate.Begin(folder, c.Start); err != nil {
			t.Fatal(err)
		}
		var lives sync.WaitGroup
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true, Outside: far,
			Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return c },
			OpenModem: func(string, int) (io.ReadWriteCloser, error) {
				ours, its := net.Pipe()
				lives.Go(func() { modem.Serve(its) })
				return ours, nil
			}})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithTimeout(t.Context(), d)
		defer stop()
		lives.Go(func() { _ = world.Run(ctx) })
		if meanwhile != nil {
			lives.Go(func() { meanwhile(ctx, mill, modem) })
		}
		if err := mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
		modem.Vanish()
		lives.Wait()
		if err := mill.Close(); err != nil {
			t.Error(err)
		}
	})
	book, err := logbook.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	entries, err := book.Entries(context.Background(), logbook.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	return modem, far, entries
}

func count(entries []logbook.Entry, words string) (n int) {
	for _, e := range entries {
		if strings.Contains(e.Text, words) {
			n++
		}
	}
	return n
}

// Aim: the whole way of a drill. Ana's phone gets a message marked as an exercise; her answer is written down once, with how long it took; the answer of
// another number, of an unknown drill and a second one change nothing. The daily message comes once at its hour, and the outside is told every minute.
func TestDrill_wholeWay(t *testing.T) {
	modem, far, entries := evening(t, 15*time.Minute, nil, func(ctx context.Context, mill *floor.Floor, modem *texttest.Modem) {
		time.Sleep(2 * time.Minute)
		if err := mill.Act(ctx, web.Act{Do: web.DoDrill, Person: "ana", By: "ben", Via: "page"}); err != nil {
			t.Error(err)
		}
		var s web.Snapshot
		mill.Snapshot(&s)
		signal := slices.IndexFunc(s.Points, func(p web.Point) bool { return p.Name == "text/signal" })
		if signal < 0 || math.Abs(s.Points[signal].Reading.Value-100*20./31) > 0.1 { // in per cent, as all shares; the double says 20 of 31
			t.Errorf("the modem's signal stands as point %d of %+v", signal, s.Points)
		}
		if err := mill.Act(ctx, web.Act{Do: web.DoDrill, Person: "eve", By: "ben", Via: "page"}); err == nil {
			t.Error("a drill of nobody was taken")
		}
		time.Sleep(30 * time.Second)
		modem.Receive("+51900000002", "1 1000001")
		modem.Receive("+51900000001", "1 1000077")
		time.Sleep(time.Second)
		modem.Receive("+51900000001", "1 1000001")
		modem.Receive("+51900000001", "1 1000001")
	})
	var exercises, daily int
	for _, sent := range modem.Sent() {
		if strings.HasPrefix(sent.Text, "EXERCISE. Ana, this is a test.") && strings.Contains(sent.Text, "Reply 1 1000001 = I got it.") {
			exercises++
		}
		if strings.Contains(sent.Text, "probes give readings") {
			daily++
		}
	}
	if exercises != 1 || daily != 1 {
		t.Errorf("%d exercises and %d daily messages, want one of each: %+v", exercises, daily, modem.Sent())
	}
	for words, want := range map[string]int{"EXERCISE: drill 1000001 of Ana begun": 1, "EXERCISE: Ana answered drill 1000001 by text after 3": 1, "accepted by text after": 1, "daily message:": 1} {
		if got := count(entries, words); got != want {
			t.Errorf("%q stands %d times in the record, want %d", words, got, want)
		}
	}
	if far.calls < 13 || far.calls > 16 || far.gap > 61*time.Second {
		t.Errorf("%d calls to the outside in 15 min, %v the longest time between two, want one a minute", far.calls, far.gap)
	}
}

// Control: nobody answers that the dryer's fan has stopped with the burner on. From 3 min after, when an answer is too late by the alarm's own word, the
// outside is no longer told that all is well, until the burner is off by itself some 6 min later.
func TestOutsideWatcher_fallsSilent(t *testing.T) {
	modem, far, _ := evening(t, 15*time.Minute, []estate.Fault{{At: 2 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }}}, nil)
	if len(modem.Sent()) == 0 {
		t.Fatal("nobody was called: the evening proves nothing")
	}
	if far.gap < 5*time.Minute {
		t.Errorf("the longest silence was %v", far.gap)
	}
}
