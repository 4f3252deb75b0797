package floor

import (
	"context"
	"fmt"
	"io"
	"reflect"
	"slices"
	"sync"
	"time"

	"millwarden/drivers"
	"millwarden/gateway/collect"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
)

// standsStill is how long, in real time, a worker may give no sign of life; chosen: some times the longest exchange of a bus.
const standsStill = 90 * time.Second

// workersOf makes one worker a bus, and the one that hears the broker for radio probes. A bus or a part that is missing is no reason not to start: it
// is opened when it is there.
func (f *Floor) workersOf(plan *planned) ([]*part, error) {
	probes := map[string][]*collect.Probe{}
	var order []string
	for i := range plan.Probes {
		p := &plan.Probes[i]
		if p.Remote || p.Part == check.ByHand {
			continue
		}
		driver, known := f.o.Drivers[p.Part]
		if !known {
			return nil, fmt.Errorf("probe %s: this version has no driver for part %s", p.Name, p.Part)
		}
		if probes[p.Bus] == nil {
			order = append(order, p.Bus)
		}
		probes[p.Bus] = append(probes[p.Bus], f.probe(plan, p, driver))
	}
	var parts []*part
	for _, name := range order {
		parts = append(parts, f.worker(name, probes[name]))
	}
	parts = append(parts, f.radio(plan)...)
	if h := f.hubOf(plan); h != nil {
		parts = append(parts, &part{name: "hub", run: h.run})
	}
	return parts, nil
}

func (f *Floor) worker(name string, probes []*collect.Probe) *part {
	p := &part{name: "bus " + name, quiet: standsStill}
	w := &collect.Worker{Bus: name, Probes: probes, Clock: f.clock, Standing: f.standingValue, Beat: p.alive, Log: f.log, Heard: f.heardProbes.hear,
		Missed: func(probe string) { f.metrics.ReadFailures.WithLabelValues(probe).Inc() }}
	p.run = func(ctx context.Context) error {
		w.Out = func(rs []reading.Reading) {
			select {
			case f.incoming <- rs:
			case <-ctx.Done():
			}
		}
		return w.Run(ctx)
	}
	return p
}

// runBuses runs the workers of the plan in force. After a reload the old ones end before the new ones ask the same buses; the buses stay open, and those
// that only the old plan read are closed.
func (f *Floor) runBuses(ctx context.Context) error {
	for ctx.Err() == nil {
		own, stop := context.WithCancel(ctx)
		var running sync.WaitGroup
		for _, p := range *f.workers.Load() {
			running.Go(func() { _ = f.runPart(own, p) }) // none is vital: it runs until own ends
		}
		select {
		case <-ctx.Done():
		case <-f.swapped:
		}
		stop()
		running.Wait()
		f.closeUnused(f.plan())
	}
	return nil
}

// standingValue is the newest value of a point, for compensation.
func (f *Floor) standingValue(point string) (float64, bool) {
	f.deciding.Lock()
	defer f.deciding.Unlock()
	return f.engine.Value(point)
}

func (f *Floor) probe(plan *planned, p *check.Probe, driver drivers.Driver) *collect.Probe {
	c := &collect.Probe{Name: p.Name, Every: p.Every, Slope: p.Slope, FrozenAfter: p.FrozenAfter.For,
		Reports: driver.Bus == drivers.Radio, SilentAfter: p.OverdueAfter}
	if p.Range != nil {
		c.Low, c.High = p.Range.Low, p.Range.High
	}
	if p.Offset != nil {
		c.Offset = p.Offset.Value
	}
	site := drivers.Site{Place: placeOf(p), Lines: p.Settings}
	kept := f.calibrations.of(p.Name)
	c.Between, c.Sampled = kept.between, kept.sampled(f.compensation(p))
	for _, g := range p.Gives {
		c.Gives = append(c.Gives, collect.Give{Point: g.Point, Channel: g.Channel, Quantity: g.Quantity, RateLimit: rateLimit(plan, p, g), Noise: noise[g.Quantity],
			Correct: kept.correct(g.Channel)})
		site.Gives = append(site.Gives, drivers.Channel{Name: g.Channel, Quantity: g.Quantity})
	}
	wiring := wiringOf(plan, p.Bus)
	c.Open = func(ctx context.Context) (drivers.Probe, error) {
		opened, err := f.bus(ctx, driver.Bus, driver.BusName(site.Place), wiring)
		if err != nil {
			return nil, err
		}
		site.Bus = opened
		probe, err := driver.Open(ctx, site)
		if err != nil {
			return nil, err
		}
		return probe, f.calibrateOpened(p.Name, probe)
	}
	return c
}

// wiringOf is what the block of a bus says of it; nothing for the host's own.
func wiringOf(plan *planned, bus string) phrase.Lines {
	i := slices.IndexFunc(plan.Buses, func(b check.Bus) bool { return b.Name == bus })
	if i < 0 {
		return nil
	}
	return plan.Buses[i].Settings
}

func placeOf(p *check.Probe) phrase.Line { return phrase.Line{Key: "place", Slots: p.Place} }

// rateLimits are the steps beyond which one reading is uncertain, per second, unless the rules file says otherwise [measurement notes, section 11:
// a proposal to tune]. A roaster's bean probe plunges at the charge, so it has none.
var rateLimits = map[string]float64{
	"tank/temperature": 1.0 / 60, "tank/ph": 0.05 / 60, "dryer/air-temperature": 10.0 / 60, "deck/air-temperature": 10.0 / 60,
	"bin/temperature": 0.2 / 60, "bin/moisture": 1.0 / 60,
}

// noise is what probes of a quantity waver by themselves: the deadbands of the rules language, which stand for the same [LANGUAGE section 2].
var noise = map[units.Quantity]float64{units.Temperature: 0.5, units.PH: 0.1, units.Humidity: 1, units.Moisture: 0.2}

func rateLimit(plan *planned, p *check.Probe, g check.Give) float64 {
	if p.RateLimit != nil {
		return p.RateLimit.Value
	}
	return rateLimits[plan.kinds[g.Station]+"/"+g.Point[len(g.Station)+1:]]
}

// bus gives an opened bus, opened once for all its probes, and anew when its block has changed: by then the workers of the old plan have ended.
func (f *Floor) bus(ctx context.Context, kind drivers.BusKind, name string, lines phrase.Lines) (drivers.Bus, error) {
	f.busLock.Lock()
	defer f.busLock.Unlock()
	if b, open := f.buses[name]; open {
		if reflect.DeepEqual(b.lines, lines) {
			return b.bus, nil
		}
		delete(f.buses, name)
		if b.closer != nil {
			_ = b.closer.Close() // it is given up
		}
	}
	if kind == drivers.Radio {
		return drivers.Bus{Name: name, Radio: f.feed()}, nil
	}
	opened, closer, err := f.o.OpenBus(ctx, kind, name, lines)
	if err != nil {
		return drivers.Bus{}, err
	}
	f.buses[name] = openBus{opened, closer, lines}
	return opened, nil
}

// feed is what radio probes say: the broker's, or the simulated one.
func (f *Floor) feed() drivers.Feed {
	if f.o.Radio != nil {
		return f.o.Radio
	}
	return f.heard
}

type openBus struct {
	bus    drivers.Bus
	closer io.Closer
	lines  phrase.Lines // of its block
}
