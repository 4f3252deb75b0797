package floor_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers/catalog"
	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/gateway/publish"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/link"
	"millwarden/internal/peers"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules"
	"millwarden/rules/check"
)

// smallBoards is how many boards a large estate has: a bin's air each.
const smallBoards = 200

// smallFiles are the rules of so many boards, and of their hub.
func smallFiles() fstest.MapFS {
	files := fstest.MapFS{}
	var hub strings.Builder
	hub.WriteString("site big-farm\n    timezone UTC\n    board office\nuse storage, instruments, board\n")
	for i := range smallBoards {
		fmt.Fprintf(&hub, "station board-%d is board\n    rules \"board-%d.rules\"\n", i, i)
		text := fmt.Sprintf("site big-farm\n    timezone UTC\n    board board-%d\n    hub office\n", i)
		text += fmt.Sprintf("station bin-%[1]d is bin\nprobe air-%[1]d\n    part radio on topic a/%[1]d\n    every 1 s\n    gives temperature, humidity at bin-%[1]d\n", i)
		files[fmt.Sprintf("board-%d.rules", i)] = &fstest.MapFile{Data: []byte(text)}
	}
	files["hub.rules"] = &fstest.MapFile{Data: []byte(hub.String())}
	return files
}

// smallHistory is what a small board has read: its points once a second.
type smallHistory struct {
	mu      sync.Mutex // guards all
	entries []history.Entry
	mark    history.Mark
	wake    chan struct{}
}

func (h *smallHistory) From(position uint64, limit int, into []history.Entry) ([]history.Entry, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	first := min(int(max(position, 1)-1), len(h.entries))
	return append(into, h.entries[first:min(first+limit, len(h.entries))]...), nil
}

func (h *smallHistory) Last() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return uint64(len(h.entries))
}

func (h *smallHistory) Watermark() history.Mark { return h.mark }

func (h *smallHistory) SetWatermark(m history.Mark) error {
	h.mark = m
	return nil
}

func (h *smallHistory) read(board int, second int, now time.Time) {
	h.mu.Lock()
	bin := fmt.Sprintf("bin-%d/", board)
	for _, r := range []reading.Reading{{Point: bin + "temperature", Quantity: units.Temperature, Value: 20 + float64(second)/100},
		{Point: bin + "humidity", Quantity: units.Humidity, Value: 60}, {Point: "board/disk-free", Quantity: units.Share, Value: 50}} {
		r.Stamp = reading.Stamp{Wall: now.Truncate(time.Millisecond), Set: true}
		h.entries = append(h.entries, history.Entry{Position: uint64(len(h.entries) + 1), Reading: r})
	}
	h.mu.Unlock()
	select {
	case h.wake <- struct{}{}:
	default:
	}
}

// BenchmarkHub lets a hub judge two hundred small boards at mosquitto, 600 points once a second: what it takes of a core with all of them in one process, and how old
// its newest values are. No goal; each reading must have come.
func BenchmarkHub(b *testing.B) {
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		b.Fatal(err)
	}
	plan, list, _ := rules.Load(smallFiles(), "hub.rules", words)
	if plan == nil {
		b.Fatal(list)
	}
	broker := peers.StartMosquitto(b)
	plan.Broker, plan.Page = check.Broker{Address: broker.Address}, check.Page{}
	for b.Loop() {
		hub, err := floor.Open(floor.Options{Plan: plan, Data: b.TempDir(), NoPage: true, Log: slog.New(slog.DiscardHandler),
			Drivers: knownDrivers(), Clock: func(boot uint32) clock.Clock { return &clock.System{Boot: boot, Trust: true} }})
		if err != nil {
			b.Fatal(err)
		}
		ctx, stop := context.WithCancel(b.Context())
		var running sync.WaitGroup
		running.Go(func() { _ = hub.Run(ctx) })
		var boards [smallBoards]*smallHistory
		for i := range boards {
			h := &smallHistory{wake: make(chan struct{}, 1)}
			boards[i] = h
			p := publish.New(h, publish.Options{Root: "millwarden", Site: "big-farm", Board: fmt.Sprintf("board-%d", i), Dial: link.Dialer(broker.Address, nil), Wake: h.wake, LatestEvery: time.Second,
				Area: func(station string) string { return map[bool]string{true: "", false: "mill"}[station == "board"] }})
			running.Go(func() { _ = p.Run(ctx) })
		}
		var ages []float64
		var busy, from time.Duration
		began := time.Now()
		for second := range 40 {
			for i, h := range boards {
				h.read(i, second, time.Now())
			}
			time.Sleep(time.Until(began.Add(time.Duration(second+1) * time.Second)))
			if second < 20 {
				from = spent()
				continue
			}
			busy = spent() - from
			ages = append(ages, agesOf(b, hub)...)
		}
		stop()
		running.Wait()
		if err := hub.Close(); err != nil {
			b.Error(err)
		}
		slices.Sort(ages)
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(100*busy.Seconds()/20, "%-of-a-core")
		b.ReportMetric(ages[len(ages)/2], "s-old")
		b.ReportMetric(ages[len(ages)*99/100], "s-old-p99")
	}
}

// agesOf are the ages of all points of the boards, in s; one that never came fails.
func agesOf(b *testing.B, hub *floor.Floor) (ages []float64) {
	var s web.Snapshot
	hub.Snapshot(&s)
	for _, p := range s.Points {
		if strings.HasPrefix(p.Name, "bin-") && (p.Name[strings.IndexByte(p.Name, '/'):] == "/temperature" || strings.HasSuffix(p.Name, "/humidity")) {
			if math.IsNaN(p.Reading.Value) || p.Reading.Stamp.Wall.IsZero() {
				b.Fatalf("%s: %+v", p.Name, p.Reading)
			}
			ages = append(ages, time.Since(p.Reading.Stamp.Wall).Seconds())
		}
	}
	if len(ages) != 2*smallBoards {
		b.Fatalf("%d points of %d", len(ages), 2*smallBoards)
	}
	return ages
}

// spent is the processor time of this process.
func spent() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
