package floor_test

import (
	"context"
	"io"
	"log/slog"
	"math"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/catalog"
	"millwarden/drivers/radio/radiotest"
	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules"
	"millwarden/rules/check"
)

// double is a probe of an example site: it gives what its points are due, as all probes of the site are told to. What a chip does with its registers is tried
// with each driver; here the whole site is.
type double struct {
	site drivers.Site
	says *atomic.Int32 // one of the says constants
	high map[units.Quantity]float64
}

const (
	saysUsual   = iota
	saysHighest // the top of what can be read
	saysNothing
)

func (d double) String() string { return "double" }

func (d double) Read(ctx context.Context) (drivers.Sample, error) {
	if err := context.Cause(ctx); err != nil {
		return drivers.Sample{}, err
	}
	says := d.says.Load()
	if says == saysNothing {
		return drivers.Sample{}, &drivers.Fault{Kind: drivers.NoAnswer, Part: "double", Place: "here"}
	}
	var s drivers.Sample
	for _, c := range d.site.Gives {
		value := usual[c.Quantity]
		if says == saysHighest && d.high[c.Quantity] > 0 {
			value = d.high[c.Quantity]
		}
		s.Values = append(s.Values, drivers.Value{Channel: c.Name, Quantity: c.Quantity, Value: value, Raw: value})
	}
	return s, nil
}

// usual are invented values within every range; of other quantities 0 is.
var usual = map[units.Quantity]float64{units.Temperature: 24, units.Humidity: 60, units.PH: 5.2, units.Moisture: 11, units.Concentration: 5, units.Mass: 100, units.Pressure: 100}

// doublesOf makes every part of the catalog a double.
func doublesOf(plan *check.Plan, says *atomic.Int32) map[string]drivers.Driver {
	high := map[units.Quantity]float64{}
	for _, p := range plan.Points { // the least of the tops: a value that every probe of that quantity can read
		if p.Range != nil && p.How == check.Measured && (high[p.Quantity] == 0 || p.Range.High < high[p.Quantity]) {
			high[p.Quantity] = p.Range.High
		}
	}
	known := map[string]drivers.Driver{}
	for _, d := range catalog.All() {
		d.Open = func(_ context.Context, site drivers.Site) (drivers.Probe, error) {
			return double{site, says, high}, nil
		}
		known[d.Kind] = d
	}
	return known
}

// Aim: each example of the language is a site that runs: started with doubles for its probes, every point that a probe of the board gives is read, and when the
// probes say the highest they can, and then nothing, something rings at a station. The hub of the three boards has no probe of its own.
func TestExamples_run(t *testing.T) {
	for _, name := range []string{"small.rules", "additions.rules", "fern-hollow.rules", "millers-twenty.rules", "three-boards/mill.rules", "three-boards/deck-house.rules",
		"three-boards/roastery.rules"} {
		t.Run(strings.ReplaceAll(name, "/", " "), func(t *testing.T) { bubble(t, func(t *testing.T) { runExample(t, name) }) })
	}
}

func runExample(t *testing.T, name string) {
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		t.Fatal(err)
	}
	plan, list, _ := rules.Load(os.DirFS("../../testdata/rules/good"), name, words)
	if plan == nil {
		t.Fatal(list)
	}
	plan.Broker, plan.Store, plan.Watcher = check.Broker{}, nil, nil // nothing outside: those are tried elsewhere
	plan.Page = check.Page{}
	phones := map[string]callout.Channel{}
	c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
	for _, channel := range plan.Channels {
		phones[channel.Name] = &phone{clock: c}
	}
	var says atomic.Int32
	mill, err := floor.Open(floor.Options{Plan: plan, Data: memoryFolder(t), Drivers: doublesOf(plan, &says), Radio: radiotest.New(), NoPage: true, Channels: phones,
		OpenBus: func(_ context.Context, _ drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
			return drivers.Bus{Name: name}, nil, nil
		}, Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return c }})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	var lives sync.WaitGroup
	lives.Go(func() {
		if err := mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
	})
	longest := 3 * time.Minute
	for i := range plan.Probes {
		if plan.Probes[i].Part != "by-hand" {
			longest = max(longest, plan.Probes[i].Every+time.Minute)
		}
	}
	time.Sleep(longest)
	read := 0
	for i := range plan.Probes {
		p := &plan.Probes[i]
		if p.Remote || p.Part == "by-hand" {
			continue
		}
		for _, g := range p.Gives {
			if r := value(mill, g.Point); r.Quality == reading.Bad || math.IsNaN(r.Value) {
				t.Errorf("%s of %s (%s) is %v: %s", g.Point, p.Name, p.Part, r.Value, r.Cause)
			}
			read++
		}
	}
	rings := map[string]bool{}
	for _, next := range []int32{saysHighest, saysNothing} {
		says.Store(next)
		time.Sleep(longest + 5*time.Minute)
		var s web.Snapshot
		mill.Snapshot(&s)
		for _, a := range s.Alarms {
			if a.Active && a.Station != "" {
				rings[a.ID] = true
			}
		}
	}
	elsewhere := name == "three-boards/mill.rules" // it has no alarms of its own: the hub judges its points
	if read == 0 || (len(rings) == 0) != elsewhere {
		t.Errorf("%d points read, %d alarms rang", read, len(rings))
	}
	ids := make([]string, 0, len(rings))
	for id := range rings {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	t.Logf("%d points read; %d alarms rang: %s", read, len(ids), strings.Join(ids[:min(3, len(ids))], ", "))
	stop()
	lives.Wait()
	if err := mill.Close(); err != nil {
		t.Error(err)
	}
}
