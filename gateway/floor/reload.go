package floor

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/gateway/record"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// RulesFile is the rules file on disk. File watcher, signal and page go one way: Load, then the same steps.
type RulesFile interface {
	// Changed tells whether any file of the plan in force is another than when it was loaded.
	Changed() bool
	// Load reads and checks it all. The text is that of all files, for the logbook. An error names file and line.
	Load() (plan *check.Plan, text string, err error)
}

// watchEvery is how often the rules file is looked at; chosen: a technician who saves it sees the effect at once.
const watchEvery = 2 * time.Second

func (f *Floor) buildWorkers() error {
	workers, err := f.workersOf(f.plan())
	if err != nil {
		return err
	}
	f.workers.Store(&workers)
	f.parts = append(f.parts, &part{name: "buses", run: f.runBuses})
	if f.o.Rules != nil {
		f.parts = append(f.parts, &part{name: "rules file", run: f.watchRules})
	}
	return nil
}

// What Reload is told where no person is known: who edited the file on the board is not told to the program.
const (
	ByFile   = "file"
	BySignal = "signal"
)

func (f *Floor) watchRules(ctx context.Context) error {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if f.o.Rules.Changed() {
				_ = f.Reload(ctx, ByFile) // told, logged, and an alarm; the old plan goes on
			}
		}
	}
}

// Reload takes over the rules file as it is now. Whatever fails, the old plan stays in force, the fault stands in the log, the logbook and the board's
// own alarm, and the watch goes on.
func (f *Floor) Reload(ctx context.Context, by string) error {
	f.reloading.Lock()
	defer f.reloading.Unlock()
	plan, text, err := f.o.Rules.Load()
	if err == nil {
		err = f.swap(ctx, plan, text, by)
	}
	if err != nil {
		said := err.Error()
		f.refused.Store(&said)
		f.log.Error("rules file refused, the old rules stay in force", "cause", err)
		f.write(logbook.Entry{Kind: logbook.RulesChange, Who: by, Text: "rules file refused, the old rules stay in force: " + said})
		return err
	}
	f.refused.Store(nil)
	return nil
}

// withFault puts file, line and fault of a refused rules file before the because of the alarm about it; other alarms keep theirs.
func (f *Floor) withFault(alarm, because string) string {
	if said := f.refused.Load(); said != nil && alarm == "rules-refused@"+ownBoard {
		return *said + "; " + because
	}
	return because
}

// swap opens what is new, puts it in force, and then closes what is old.
func (f *Floor) swap(ctx context.Context, plan *check.Plan, text, by string) error {
	old, next := f.plan(), planOf(plan)
	if plan.Site.Name != old.Site.Name || plan.Site.Board != old.Site.Board {
		return errors.New("the site or the board has another name: that needs a start, not a reload")
	}
	workers, err := f.workersOf(next)
	if err != nil {
		return err
	}
	roster := RosterOf(plan)
	var failed error
	err = f.onFlow(ctx, func() {
		f.deciding.Lock()
		var transitions []engine.Transition
		transitions, failed = f.engine.Reload(plan.Engine, f.clock.Now(), by, nil)
		if failed == nil {
			f.current.Store(next)
			f.reloadModels(f.clock.Now())
		}
		f.deciding.Unlock()
		f.follow(transitions)
	})
	if err = errors.Join(err, failed); err != nil {
		return err
	}
	if err := f.callout.SetRoster(roster); err != nil {
		f.log.Error("roster not changed", "cause", err)
	}
	f.openNew(ctx, next)
	f.workers.Store(&workers)
	select {
	case f.swapped <- struct{}{}:
	default:
	}
	f.links.publisher.Rules(next.Rules)
	f.logChange(old.Plan, plan, text, by)
	return nil
}

// openNew opens the buses of a plan that are not open yet, while the old plan goes on reading. One that does not open is no fault of the rules: its
// probes say so, and try again, as after a start.
func (f *Floor) openNew(ctx context.Context, plan *planned) {
	for i := range plan.Probes {
		p := &plan.Probes[i]
		driver, known := f.o.Drivers[p.Part]
		if !known || p.Remote {
			continue
		}
		name := driver.BusName(placeOf(p))
		if f.isOpen(name) {
			continue
		}
		if _, err := f.bus(ctx, driver.Bus, name, wiringOf(plan, p.Bus)); err != nil {
			f.log.Warn("bus of the new rules not opened, its probes try again", "bus", name, "cause", err)
		}
	}
}

func (f *Floor) isOpen(bus string) bool {
	f.busLock.Lock()
	defer f.busLock.Unlock()
	_, open := f.buses[bus]
	return open
}

// closeUnused closes the buses that no probe of the plan hangs on any more.
func (f *Floor) closeUnused(plan *planned) {
	used := map[string]bool{}
	for i := range plan.Probes {
		p := &plan.Probes[i]
		if driver, known := f.o.Drivers[p.Part]; known {
			used[driver.BusName(placeOf(p))] = true
		}
	}
	f.busLock.Lock()
	defer f.busLock.Unlock()
	for name, b := range f.buses {
		if used[name] || b.bus.Radio != nil {
			continue
		}
		delete(f.buses, name)
		if b.closer != nil {
			_ = b.closer.Close() // it is given up
		}
	}
}

// needStart names the blocks whose change takes effect at the next start only.
func needStart(old, plan *check.Plan) []string {
	var names []string
	for _, c := range []struct {
		name     string
		old, now any
	}{{"broker", old.Broker, plan.Broker}, {"store", old.Store, plan.Store}, {"page", old.Page, plan.Page}, {"channel", old.Channels, plan.Channels},
		{"outside-watcher", old.Watcher, plan.Watcher}} {
		if !reflect.DeepEqual(c.old, c.now) {
			names = append(names, c.name)
		}
	}
	return names
}

func (f *Floor) logChange(old, plan *check.Plan, text, by string) {
	said := fmt.Sprintf("rules changed from %s to %s: %d probes, %d alarms", short(old.Hash), short(plan.Hash), len(plan.Probes), len(plan.Engine.Alarms))
	if later := needStart(old, plan); len(later) > 0 {
		said += "; at the next start only: " + strings.Join(later, ", ")
	}
	f.log.Info(said, "by", by)
	data, err := json.Marshal(struct {
		Old string `json:"old"`
		New string `json:"new"`
		record.InForce
	}{f.text, text, record.InForceOf(plan)})
	if err != nil {
		data = nil // text always encodes; without it the hashes stand in the line
	}
	f.text = text
	f.write(logbook.Entry{Kind: logbook.RulesChange, Who: by, Text: said, Data: data})
}
