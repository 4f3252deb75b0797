package floor

import (
	"context"
	"math"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// boardEvery is how often the board looks at itself; chosen: well below the delays of the built-in board alarms.
const boardEvery = 10 * time.Second

// runBoard gives the engine what the board knows of itself, as readings like any other.
func (f *Floor) runBoard(p *part) func(context.Context) error {
	return func(ctx context.Context) error {
		tick := time.NewTicker(max(f.clock.Real(boardEvery), shortestTick))
		defer tick.Stop()
		for {
			p.alive()
			now := f.clock.Now()
			rs := f.boardReadings(now)
			select {
			case f.incoming <- rs:
			case <-ctx.Done():
				return nil
			}
			select {
			case <-tick.C:
			case <-ctx.Done():
				return nil
			}
		}
	}
}

func (f *Floor) boardReadings(now reading.Stamp) []reading.Reading {
	const board = "board" // this gateway, whatever the site calls it
	var rs []reading.Reading
	add := func(place, name string, q units.Quantity, value float64) {
		if f.plan().pointKnown[place+"/"+name] && !math.IsNaN(value) {
			rs = append(rs, reading.Reading{Point: place + "/" + name, Quantity: q, Value: value, Stamp: now})
		}
	}
	yes := func(on bool) float64 {
		if on {
			return 1
		}
		return 0
	}
	add(board, "disk-free", units.Share, diskFree(f.o.Data))
	add(board, "memory-free", units.Share, memoryFree())
	add(board, "temperature", units.Temperature, boardTemperature())
	add(board, "clock-set", units.YesNo, yes(now.Set))
	add(board, "watcher-set", units.YesNo, yes(f.plan().Watcher != nil))
	add(board, "logbook-writes", units.YesNo, yes(!f.links.logbookFault.Load()))
	add(board, "rules-refused", units.YesNo, yes(f.refused.Load() != nil))
	if f.plan().Store != nil {
		out := f.outbox(now)
		add(board, "outbox-readings", units.Count, float64(out.Readings))
		add(board, "outbox-age", units.Duration, out.Oldest.Seconds())
		add(board, "store-answers", units.YesNo, yes(f.links.storeAnswers()))
		add(board, "refused-readings", units.Count, float64(f.links.publisher.Status().Refused))
	}
	add(board, "broker-answers", units.YesNo, yes(f.links.publisher.Status().Connected))
	for _, c := range f.plan().Channels {
		add(c.Name, "works", units.YesNo, yes(f.channelWorks(c.Name)))
	}
	for _, c := range f.callout.Channels(now) {
		add(c.Name, "signal", units.Share, c.Signal)
		add(c.Name, "queue-age", units.Duration, c.Oldest.Seconds())
	}
	for i := range f.plan().Probes {
		f.calibrationReadings(&f.plan().Probes[i], now, add)
	}
	return rs
}
