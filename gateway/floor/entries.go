package floor

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// enterReading takes what a person read from an instrument: written into the logbook first, then decided upon.
func (f *Floor) enterReading(ctx context.Context, a web.Act) error {
	p, err := f.entered(a.Point)
	if err != nil {
		return err
	}
	amount, err := units.Parse(a.Value, p.Quantity)
	if err != nil {
		return &web.Refusal{Kind: web.RefusedInput, Says: err.Error() + "."}
	}
	show := f.plan().Site.Choice
	if r := p.Range; r != nil && !(amount.Value >= r.Low && amount.Value <= r.High) {
		return &web.Refusal{Kind: web.RefusedInput, Says: fmt.Sprintf("%s goes from %s to %s; %s lies beyond. Read it again.", p.Name, show.Print(r.Low, p.Quantity),
			show.Print(r.High, p.Quantity), a.Value)}
	}
	var failed error
	err = f.onFlow(ctx, func() {
		now := f.clock.Now()
		if failed = f.slip(p, amount.Value, now); failed != nil {
			return
		}
		f.deciding.Lock()
		lot := f.stays[p.Station].Lot
		f.deciding.Unlock()
		_, failed = f.logbook.Write(logbook.Entry{At: now, Kind: logbook.Act, Place: p.Name, Lot: lot, Who: a.By, Why: a.Why,
			Text: "read by hand: " + show.Print(amount.Value, p.Quantity)})
		if failed == nil {
			f.take(p, amount.Value)
		}
	})
	return errors.Join(err, failed)
}

// surprising are steps from what stands that are asked about once: a finger slips so. Chosen, above what a tank, a layer or a bin does between two rounds of the crew.
var surprising = map[units.Quantity]float64{units.PH: 1, units.Moisture: 15, units.Temperature: 15, units.Humidity: 30}

// doubted is an entry that was asked about.
type doubted struct {
	value float64
	at    time.Duration
}

// slip refuses an entry that lies far from what stands, until it is entered once more within ten minutes.
func (f *Floor) slip(p *check.Point, value float64, now reading.Stamp) error {
	const again = 10 * time.Minute
	stands, most := f.newest[p.Name], surprising[p.Quantity]
	if most == 0 || stands.Quality == reading.Bad || stands.Point == "" || math.Abs(value-stands.Value) <= most {
		return nil
	}
	if was, asked := f.doubts[p.Name]; asked && was.value == value && now.Mono-was.at <= again {
		delete(f.doubts, p.Name)
		return nil
	}
	f.doubts[p.Name] = doubted{value, now.Mono}
	show := f.plan().Site.Choice
	return &web.Refusal{Kind: web.RefusedInput, Says: fmt.Sprintf("%s was %s. If it is %s now, enter it once more.", p.Name, show.Print(stands.Value, p.Quantity), show.Print(value, p.Quantity))}
}

// take makes what people read at a point a reading of now. It is called on the flow's goroutine.
func (f *Floor) take(p *check.Point, value float64) {
	if c := f.plan().corrected[p.Name]; c.Slope != 0 {
		value = value*c.Slope + c.Offset
	}
	f.observe([]reading.Reading{{Point: p.Name, Quantity: p.Quantity, Value: value, Stamp: f.clock.Now()}})
	f.saveEngine() // the next one may be hours away: a restart must not blind the point
}

// entered finds a point that people enter.
func (f *Floor) entered(name string) (*check.Point, error) {
	plan := f.plan()
	i := slices.IndexFunc(plan.Points, func(p check.Point) bool { return p.Name == name })
	if i < 0 {
		return nil, &web.Refusal{Kind: web.RefusedUnknown, Says: fmt.Sprintf("There is no point %q.", name)}
	}
	if !plan.entered[name] {
		return nil, &web.Refusal{Kind: web.RefusedState, Says: name + " is not read by people: only the points of a probe with part by-hand are entered."}
	}
	return &plan.Points[i], nil
}

// readByHandAt is the station at which people read a probe, where they follow its reminder; "" for every other place.
func (f *Floor) readByHandAt(probe string) string {
	for i := range f.plan().Probes {
		if p := &f.plan().Probes[i]; p.Name == probe && p.Part == check.ByHand && len(p.Gives) > 0 {
			return f.stationNamed(p.Gives[0].Point)
		}
	}
	return ""
}

// recallEntries lets what people entered before a restart stand on the page, as it stands in the engine.
func (f *Floor) recallEntries() {
	for i := range f.plan().Points {
		p := &f.plan().Points[i]
		if state, known := f.engine.Look(p.Name); known && f.plan().entered[p.Name] && state.Known {
			f.newest[p.Name] = reading.Reading{Point: p.Name, Quantity: p.Quantity, Value: state.Value, Quality: state.Quality, Cause: state.Cause, Stamp: state.At}
			f.known[p.Name] = state.At
		}
	}
}

// restEntries lets people owe no reading of a station without a lot, and what they read of the lot before say nothing of the next one. Where nobody enters
// lots, the reminders come as written. The caller holds deciding.
func (f *Floor) restEntries(now reading.Stamp, transitions []engine.Transition) []engine.Transition {
	if !f.entersLots.Load() {
		return transitions
	}
	for _, g := range f.plan().ofLots {
		_, loaded := f.stays[g.Station]
		transitions = f.engine.Rest(g.Point, !loaded, now, transitions)
		state, _ := f.engine.Look(g.Point)
		if _, shown := f.newest[g.Point]; shown && !state.Seen {
			r := reading.Missing(g.Point, g.Quantity, now, state.Cause)
			f.models.Observe(&r)
			delete(f.newest, g.Point)
			delete(f.known, g.Point)
		}
	}
	return transitions
}

// entryDue tells when the next entry of a probe is due, by its oldest point; what nobody entered yet is due since the gateway started, or the lot came;
// nothing is due where no lot stands.
func (f *Floor) entryDue(p *check.Probe, now reading.Stamp, add func(place, name string, q units.Quantity, value float64)) {
	if p.Part != check.ByHand || p.Remote {
		return
	}
	f.deciding.Lock()
	defer f.deciding.Unlock()
	due := p.Every
	for _, g := range p.Gives {
		if _, loaded := f.stays[g.Station]; !loaded && f.entersLots.Load() && f.plan().pointKnown[g.Station+"/loaded"] {
			continue
		}
		due = min(due, p.Every-f.entryAge(g.Point, p.Every, now))
	}
	add(p.Name, "entry-due-in", units.Duration, due.Seconds())
}

// entryAge is how long ago a point was entered; as long as the reminder where nobody knows.
func (f *Floor) entryAge(point string, otherwise time.Duration, now reading.Stamp) time.Duration {
	at, seen := f.known[point]
	switch {
	case seen && at.Boot == now.Boot:
		return now.Mono - at.Mono
	case seen && at.Set && now.Set:
		return f.wall.even(now).Sub(at.Wall)
	}
	return otherwise
}
