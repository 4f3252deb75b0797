package floor

import (
	"context"
	"time"
)

// runRollUp packs old readings together, a step a second, beside the keeper: a step may take longer than a second's readings may wait.
func (f *Floor) runRollUp(ctx context.Context) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	failed := false
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		f.makeRoom(ctx)
		now := f.clock.Now()
		if !now.Set {
			continue
		}
		_, err := f.history.RollUp(ctx, now.Wall, f.nobodyStores())
		if err != nil && !failed && ctx.Err() == nil {
			f.log.Error("readings cannot be rolled up", "cause", err) // once: it is tried again every second
		}
		failed = err != nil
	}
}

// nobodyStores tells that no reading need be kept for a store: the rules name none, and no forwarder of another machine ever said that one took any.
func (f *Floor) nobodyStores() bool {
	return f.plan().Store == nil && f.history.Watermark().Commit == 0
}
