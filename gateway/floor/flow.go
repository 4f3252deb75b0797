package floor

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// begin restores the engine: its saved state, the lots on their stations, and the readings of the last hours for its windows.
func (f *Floor) begin() error {
	saved, err := f.savedEngine()
	if err != nil {
		return err
	}
	now := f.clock.Now()
	if f.engine, err = engine.New(f.plan().Engine, saved, now); err != nil {
		return fmt.Errorf("starting the engine: %w", err)
	}
	f.recallHidings(context.Background())
	f.recallDrills(context.Background())
	f.began = f.firstEntry(context.Background())
	f.recallProven(context.Background())
	if err := f.openLots(); err != nil {
		return err
	}
	seen := now.Mono // what came later than this the engine has not seen
	if saved != nil && saved.At.Boot == now.Boot {
		seen = min(seen, saved.At.Mono)
	}
	f.takeUp(now, seen, f.beginModels(now))
	f.recallEntries()
	return nil
}

// takeUp gives the windows of the engine, and from a time on the models, what the history knows of this boot, so that a restart does not blind them. What
// came after the engine's state was saved is decided again: the state is saved at every transition, so nothing new comes of it but what stands.
func (f *Floor) takeUp(now reading.Stamp, seen, models time.Duration) {
	var reach time.Duration
	for _, p := range f.plan().Points {
		reach = max(reach, f.engine.Reach(p.Name))
	}
	windows := now.Mono - reach
	err := f.history.Recent(context.Background(), now.Boot, min(windows, models, seen), func(r *reading.Reading) error {
		switch {
		case r.Stamp.Mono > seen:
			f.missed = f.engine.Observe(r, f.missed)
		case r.Stamp.Mono >= windows:
			f.engine.Fill(r)
		}
		f.models.Fill(r)
		return nil
	})
	if err != nil {
		f.log.Warn("windows begin empty: the history cannot be read", "cause", err)
	}
	f.engine.Listen(now)
}

func (f *Floor) savedEngine() (*engine.Saved, error) {
	text, err := f.logbook.LoadEngine()
	if err == nil && text == nil || err != nil && !errors.Is(err, logbook.ErrDamaged) {
		return nil, err
	}
	saved := new(engine.Saved)
	if err == nil {
		err = json.Unmarshal(text, saved)
	}
	if err != nil {
		// Alarms begin anew rather than not at all; what stood before is in the logbook.
		f.log.Error("saved alarm states cannot be read, all alarms begin anew", "cause", err)
		return nil, nil
	}
	return saved, nil
}

// runFlow is the flow: readings, time and acts of people reach the engine here, one after the other.
func (f *Floor) runFlow(p *part) func(context.Context) error {
	return func(ctx context.Context) error {
		tick := time.NewTicker(max(f.clock.Real(time.Second), shortestTick))
		defer tick.Stop()
		for {
			p.alive()
			select {
			case <-ctx.Done():
				return nil
			case rs := <-f.incoming:
				f.observe(rs)
			case do := <-f.requests:
				do()
			case <-tick.C:
				f.tick()
			}
		}
	}
}

// shortestTick keeps a sped-up demo from ticking more often than anybody could see; chosen.
const shortestTick = 20 * time.Millisecond

// onFlow runs do on the flow's goroutine and waits for it.
func (f *Floor) onFlow(ctx context.Context, do func()) error {
	done := make(chan struct{})
	select {
	case f.requests <- func() { do(); close(done) }:
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	<-done
	return nil
}

// observe gives readings to the engine first, then to the history.
func (f *Floor) observe(rs []reading.Reading) {
	f.deciding.Lock()
	transitions := f.decide(rs, nil)
	f.deciding.Unlock()
	f.follow(transitions)
}

// decide gives readings to the engine, then to the models, then to the history. The caller holds deciding.
func (f *Floor) decide(rs []reading.Reading, transitions []engine.Transition) []engine.Transition {
	for i := range rs {
		rs[i] = history.Round(rs[i])
		transitions = f.engine.Observe(&rs[i], transitions)
		f.models.Observe(&rs[i])
		f.remember(&rs[i])
	}
	f.takeDerived()
	return transitions
}

func (f *Floor) tick() {
	f.deciding.Lock()
	now := f.clock.Now()
	f.wall.look(now)
	transitions := f.engine.Tick(now, nil)
	transitions = f.tickModels(now, transitions)
	f.deciding.Unlock()
	f.follow(transitions)
	f.tellStep()
	f.tellDoubt()
	f.look()
}

// takeDerived hands on what the engine worked out for derived points. The caller holds deciding.
func (f *Floor) takeDerived() {
	f.derived = f.engine.Derived(f.derived[:0])
	for i := range f.derived {
		f.remember(&f.derived[i])
	}
}

// restEvery is how often an unchanged reading that the gateway makes of itself goes to the history: chosen, so that a chart has its points.
const restEvery = time.Minute

// remember keeps the newest reading for the page, and hands it to the history. The caller holds deciding.
func (f *Floor) remember(r *reading.Reading) {
	f.newest[r.Point] = *r
	if r.Quality != reading.Bad {
		f.known[r.Point] = r.Stamp
	}
	if !f.plan().measured[r.Point] {
		last, seen := f.kept[r.Point]
		if seen && last.Value == r.Value && last.Quality == r.Quality && r.Stamp.Mono-last.Stamp.Mono < restEvery {
			return
		}
		f.kept[r.Point] = *r
	}
	if len(f.pending) >= pendingMost {
		f.lost++
		return
	}
	f.pending = append(f.pending, *r)
}

// follow does what comes of transitions: written first, then told.
func (f *Floor) follow(transitions []engine.Transition) {
	if len(transitions) == 0 {
		return
	}
	entries := make([]logbook.Entry, len(transitions))
	for i := range transitions {
		transitions[i].Because = f.withFault(transitions[i].Alarm.ID, transitions[i].Because)
		entries[i] = EntryOf(&transitions[i])
	}
	f.deciding.Lock()
	for i := range transitions {
		f.noteHiding(&transitions[i])
	}
	f.deciding.Unlock()
	f.write(entries...)
	f.closeOuts.stale.Store(true)
	f.count(transitions)
	f.saveEngine()
	f.publishAlarms(transitions)
	f.look()
}

func (f *Floor) saveEngine() {
	f.deciding.Lock()
	saved := f.engine.Save()
	f.deciding.Unlock()
	text, err := json.Marshal(saved)
	if err == nil {
		err = f.logbook.SaveEngine(text)
	}
	if err != nil {
		f.log.Error("alarm states cannot be saved", "cause", err)
	}
	f.links.logbookFault.Store(err != nil)
}

// tryEvery is how often the logbook is tried while it or the history cannot be written; chosen: with the delay of the alarm, people hear of a full disk
// within a minute, and a card that is well is spared.
const tryEvery = 10 * time.Second

// tryLogbook finds out whether the logbook can be written when there is reason to doubt it: it is written only when something happens, and a disk that
// is full, or has room again, would be told hours later.
func (f *Floor) tryLogbook() {
	doubt := f.links.logbookFault.Load() || f.links.historyBad.Load() != nil || f.diskLow.Load()
	if !doubt || time.Since(f.tried) < tryEvery {
		return
	}
	f.tried = time.Now()
	f.saveEngine()
}

// EntryOf is the line of the logbook about a transition.
func EntryOf(t *engine.Transition) logbook.Entry {
	data, err := json.Marshal(struct {
		Event, From, To string
		Values          []engine.Shown `json:",omitempty"`
	}{t.Event.String(), t.From.String(), t.To.String(), t.Values})
	if err != nil {
		data = nil // a value that JSON cannot hold; the text has it
	}
	return logbook.Entry{At: t.At, Kind: logbook.Transition, Alarm: t.Alarm.ID, Occurrence: t.Occurrence, Place: t.Alarm.Place, Who: t.By, Why: t.Why,
		Text: t.Because, Data: data}
}

// runKeeper takes what waits to the history, once a second by one durable commit.
func (f *Floor) runKeeper(p *part) func(context.Context) error {
	return func(ctx context.Context) error {
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		saved := f.clock.Now().Mono
		f.saveModels() // how old the stays are, before anybody sets the clock
		for {
			p.alive()
			select {
			case <-ctx.Done():
				f.keep()
				f.saveModels()
				return nil
			case <-tick.C:
				f.keep()
				f.tryLogbook()
				f.settle(ctx)
				f.retain(ctx)
				if now := f.clock.Now().Mono; now-saved >= modelsEvery {
					saved = now
					f.saveModels()
				}
			}
		}
	}
}

// settle gives the readings of an unset clock their time, once the clock is set.
func (f *Floor) settle(ctx context.Context) {
	now := f.clock.Now()
	if !now.Set {
		f.settled = false // also one that was set, and is not believed any more
	}
	if f.settled || !now.Set {
		return
	}
	count, err := f.history.Settle(ctx, now)
	if err != nil {
		f.log.Error("times of the unset clock cannot be settled", "cause", err)
		return // tried again at the next second
	}
	f.settled = true
	if count > 0 {
		f.write(logbook.Entry{Kind: logbook.ClockStep, Text: fmt.Sprintf("clock set: %d readings got their time", count)})
		f.links.wake()
	}
}

// retainEvery is how often old readings are looked for; chosen.
const retainEvery = time.Hour

// retain lets readings go that are older than the site keeps them and safe in the store, if there is one.
func (f *Floor) retain(ctx context.Context) {
	now := f.clock.Now()
	if !now.Set || time.Since(f.retained) < retainEvery || !f.wall.steady(now) {
		return
	}
	f.retained = time.Now()
	removed, err := f.history.Retain(ctx, now.Wall.Add(-f.plan().Site.Keep), f.nobodyStores())
	if err != nil {
		f.log.Error("old readings cannot be removed", "cause", err)
		return
	}
	if removed.Readings > 0 {
		f.log.Info("old readings removed", "readings", removed.Readings, "kept_unsent", removed.Kept)
	}
}

func (f *Floor) keep() {
	f.deciding.Lock()
	rs := f.pending
	f.pending = nil
	f.deciding.Unlock()
	if len(rs) == 0 {
		return
	}
	_, err := f.history.Append(rs)
	f.links.historyFault(err, f.log)
	f.links.wake()
}
