package floor

import (
	"context"
	"fmt"
	"strings"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/notify"
)

// Manager is the service manager that started the gateway. It is told that the gateway is ready, that it stops, and again and again that it is alive.
type Manager interface {
	Tell(assignments ...string) error
	Within() time.Duration // after which a silent program counts as hung; 0: nobody watches
}

// feedings is how many times the manager is fed within its time: half of it is what sd_watchdog_enabled(3) advises; three so that one may be lost.
const feedings = 3

// buildWatchdog makes the part that feeds the manager. It is the first part, so that it ends last: what hangs while stopping is the manager's to end.
func (f *Floor) buildWatchdog() error {
	if f.o.Manager == nil || f.o.Manager.Within() <= 0 {
		return nil
	}
	f.parts = append(f.parts, &part{name: "watchdog", run: f.runWatchdog})
	return nil
}

// runWatchdog says that the gateway is alive, but only after it has looked at every worker: one that stands still ends the feeding, and the manager
// ends and starts the program.
func (f *Floor) runWatchdog(ctx context.Context) error {
	tick := time.NewTicker(f.o.Manager.Within() / feedings)
	defer tick.Stop()
	said := ""
	for {
		standing := f.standStill()
		if standing == "" {
			f.tell(notify.Alive)
		} else if standing != said {
			f.log.Error("a worker gives no sign of life, the watchdog is not fed", "workers", standing)
			f.tell(notify.Status("no sign of life: " + standing))
		}
		said = standing
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// standStill names the workers that do not move; "" where all do.
func (f *Floor) standStill() string {
	var names []string
	for _, w := range f.Workers() {
		if w.Stands {
			names = append(names, fmt.Sprintf("%s for %s", w.Name, w.Beat.Round(time.Second)))
		}
	}
	return strings.Join(names, ", ")
}

// tell tells the manager, if there is one.
func (f *Floor) tell(assignments ...string) {
	if f.o.Manager == nil {
		return
	}
	if err := f.o.Manager.Tell(assignments...); err != nil {
		f.log.Warn("the service manager cannot be told", "cause", err)
	}
}

// watching says in a line what the gateway does.
func (f *Floor) watching() string {
	return fmt.Sprintf("watching %s: %d probes, %d alarms", f.plan().Site.Name, len(f.plan().Probes), len(f.plan().Engine.Alarms))
}

// beginStop says that the gateway stops, before any part does: in the logbook, to the manager and on the page, which goes last but for what it needs.
func (f *Floor) beginStop(failed error) {
	because := "it was told to"
	if failed != nil {
		because = failed.Error()
	}
	f.stopping.Store(true)
	f.tell(notify.Stopping, notify.Status("stopping: "+because))
	f.write(logbook.Entry{Kind: logbook.Start, Text: "gateway stopping: " + because})
}

var _ web.Health = (*Floor)(nil)
