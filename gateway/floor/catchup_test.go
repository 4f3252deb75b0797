package floor_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/internal/clock"
	"millwarden/internal/peers"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const (
	outage    = 12 * time.Hour
	probeWait = 20 * time.Millisecond // between two decisions that are timed
	window    = 20 * time.Second      // of what comes to no end by itself
)

const warmAlarm = `
alarm tank-warm at tank-1
    when            t0 > 60 °C
    priority        high
    class           quality
    consequence     "Invented for the test."
    action          "Look."
    respond-within  45 min
`

// fillOutage puts what an outage leaves into a folder: each second of 64 points, none of it sent.
func fillOutage(b *testing.B, folder string, d time.Duration) uint64 {
	b.Helper()
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		b.Fatal(err)
	}
	rs := make([]reading.Reading, 64)
	begun := time.Now().Add(-d)
	for s := range int(d / time.Second) {
		at := reading.Stamp{Wall: begun.Add(time.Duration(s) * time.Second), Mono: time.Duration(s) * time.Second, Set: true}
		for i := range rs {
			rs[i] = reading.Reading{Point: fmt.Sprintf("tank-%d/t%d", i/8+1, i%8), Quantity: units.Temperature, Value: 20 + float64((s*7+i*13)%50)/10, Stamp: at}
		}
		if _, err := h.Append(rs); err != nil {
			b.Fatal(err)
		}
	}
	last := h.Last()
	if err := h.Close(); err != nil {
		b.Fatal(err)
	}
	return last
}

// BenchmarkCatchUp: 12 hours of 64 points a second go to the store, through mosquitto, while the same gateway reads 64 points a second and decides alarms.
// How long that takes without a limit, and the 99th percentile of a live alarm's decision: so, at the rate the gateway is built with, and without a
// backlog, the baseline. Goals: 15 s and 10 ms. The store discards; history and logbook are in memory, so that no card is measured.
func BenchmarkCatchUp(b *testing.B) {
	for _, c := range []struct {
		name    string
		rate    int
		backlog time.Duration
	}{{"no limit", -1, outage}, {"as built", 0, outage}, {"no backlog", 0, 0}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				catchUp(b, c.rate, c.backlog)
			}
		})
	}
}

func catchUp(b *testing.B, rate int, backlog time.Duration) {
	b.Helper()
	folder := b.TempDir()
	if memory, err := os.MkdirTemp("/dev/shm", "millwarden-catch-up-"); err == nil {
		folder = memory
		defer os.RemoveAll(memory)
	}
	last := fillOutage(b, folder, backlog)
	store := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		_, _ = io.Copy(io.Discard, req.Body)
		w.WriteHeader(http.StatusNoContent)
	}))
	defer store.Close()
	mill := openSixtyFour(b, folder, rate, peers.StartMosquitto(b).Address, store.URL)
	ctx, stop := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- mill.Run(ctx) }()
	begun := time.Now()
	var took []time.Duration
	for rate >= 0 && time.Since(begun) < window || rate < 0 && mill.Sent() < last {
		if time.Since(begun) > 5*time.Minute {
			b.Fatalf("sent %d of %d", mill.Sent(), last)
		}
		took = append(took, decideOne(b, mill, len(took)))
		time.Sleep(probeWait)
	}
	whole := time.Since(begun)
	stop()
	if err := errors.Join(<-ended, mill.Close()); err != nil {
		b.Fatal(err)
	}
	slices.Sort(took)
	n := len(took)
	b.ReportMetric(0, "ns/op")
	if rate < 0 {
		b.ReportMetric(whole.Seconds(), "s-to-the-end")
	}
	b.ReportMetric(float64(n), "decisions")
	b.ReportMetric(float64(took[n/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(took[n*99/100].Microseconds())/1000, "p99-ms")
}

// decideOne lets a tank be warm, or cool again, and gives how long the decision took.
func decideOne(b *testing.B, mill *floor.Floor, n int) time.Duration {
	b.Helper()
	r := reading.Reading{Point: "tank-1/t0", Quantity: units.Temperature, Value: 20 + 50*float64(n%2), Stamp: mill.Now()}
	took, err := mill.Decide(b.Context(), []reading.Reading{r})
	if err != nil {
		b.Fatal(err)
	}
	return took
}

func openSixtyFour(b *testing.B, folder string, rate int, broker, store string) *floor.Floor {
	b.Helper()
	text, panel := sixtyFour()
	text += warmAlarm
	if broker != "" {
		text += "\nbroker\n    address         " + broker + "\n\nstore\n    address         " + store + "\n    org             estate\n    bucket          mill\n    durable-after   0 s\n"
	}
	plan, said := loadFolder(fstest.MapFS{"demo.rules": {Data: []byte(text)}})
	if said != "" {
		b.Fatal(said)
	}
	mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), NoPage: true, Log: slog.New(slog.DiscardHandler), CatchUp: rate,
		Channels: map[string]callout.Channel{"mail": &phone{clock: clock.Scaled{Speed: 1}}},
		OpenBus: func(context.Context, drivers.BusKind, string, phrase.Lines) (drivers.Bus, io.Closer, error) {
			return drivers.Bus{Name: "tcp", Modbus: panel}, nil, nil
		}, Clock: func(boot uint32) clock.Clock { return &clock.System{Boot: boot, Trust: true} }})
	if err != nil {
		b.Fatal(err)
	}
	return mill
}
