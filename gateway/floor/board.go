package floor

import (
	"context"
	"encoding/json"
	"math"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// boardEvery is how often the board looks at itself; chosen: well below the delays of the built-in board alarms.
const boardEvery = 10 * time.Second

// ownBoard is the station of this gateway's own points, whatever the site calls the board.
const ownBoard = "board"

// lowDisk is the share of free room below which the logbook is tried, in per cent: the limit full-disk of the built-in alarms.
const lowDisk = 1

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
	const board = ownBoard
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
	free := diskFree(f.o.Data)
	f.diskLow.Store(free < lowDisk)
	add(board, "disk-free", units.Share, free)
	add(board, "memory-free", units.Share, memoryFree())
	add(board, "temperature", units.Temperature, boardTemperature())
	add(board, "clock-set", units.YesNo, yes(now.Set))
	add(board, "clock-step", units.Duration, f.wall.newest(now).Seconds())
	add(board, "watcher-set", units.YesNo, yes(f.plan().Watcher != nil))
	if age, known := f.drillAge(now); known {
		add(board, "drill-age", units.Duration, age.Seconds())
	}
	if age, known := f.backupAge(now); known {
		add(board, "backup-age", units.Duration, age.Seconds())
	}
	// The history too: who is told that nothing is written down looks at the card, whichever file it refuses.
	add(board, "logbook-writes", units.YesNo, yes(!f.links.logbookFault.Load() && f.links.historyBad.Load() == nil && f.homeless == nil))
	add(board, "files-set-aside", units.Count, float64(len(f.setAside())))
	add(board, "damaged-readings", units.Count, float64(f.history.Counts().Damaged))
	add(board, "rules-refused", units.YesNo, yes(f.refused.Load() != nil))
	if f.plan().Store != nil {
		out := f.outbox(now)
		add(board, "outbox-readings", units.Count, float64(out.Readings))
		add(board, "outbox-age", units.Duration, out.Oldest.Seconds())
		if left, err := f.unsentRoom(now, out, f.plan().Site.Keep); err == nil {
			add(board, "unsent-room", units.Duration, left.Seconds())
		}
		add(board, "store-answers", units.YesNo, yes(f.links.storeAnswers()))
		add(board, "refused-readings", units.Count, float64(f.links.publisher.Status().Refused))
	}
	add(board, "broker-answers", units.YesNo, yes(f.links.publisher.Status().Connected))
	for _, c := range f.plan().Channels {
		add(c.Name, "works", units.YesNo, yes(f.channelWorks(c.Name)))
	}
	for _, c := range f.callout.Channels(now) {
		add(c.Name, "signal", units.Share, 100*c.Signal)
		if c.Modem != nil {
			add(c.Name, "registered", units.YesNo, yes(c.Modem.Registered))
			add(c.Name, "card-works", units.YesNo, yes(c.Modem.Card))
		}
		add(c.Name, "queue-age", units.Duration, c.Oldest.Seconds())
		if age, known := f.provenAge(&c, now); known {
			add(c.Name, "proven-age", units.Duration, age.Seconds())
		}
	}
	for i := range f.plan().Probes {
		f.calibrationReadings(&f.plan().Probes[i], now, add)
		f.entryDue(&f.plan().Probes[i], now, add)
	}
	return rs
}

// provenAge is how long ago the channel took a message; of one of which the record knows none, how long ago the gateway started.
func (f *Floor) provenAge(c *callout.ChannelState, now reading.Stamp) (time.Duration, bool) {
	now.Wall = f.wall.even(now)
	if c.Proven.Boot == now.Boot && c.Proven.Mono > 0 {
		return now.Mono - c.Proven.Mono, true
	}
	before, known := f.proven[c.Name]
	if !known {
		before = f.started
	}
	if !now.Set || !before.Set {
		return 0, false
	}
	return now.Wall.Sub(before.Wall), true
}

// recallProven asks the record when each channel last took a message before this start.
func (f *Floor) recallProven(ctx context.Context) {
	f.proven, f.started = map[string]reading.Stamp{}, f.clock.Now()
	entries, err := f.logbook.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.Receipt}, Newest: true})
	if err != nil {
		f.log.Warn("the record does not tell when channels last worked", "cause", err)
		return
	}
	for i := len(entries) - 1; i >= 0; i-- {
		var l callout.Line
		if json.Unmarshal(entries[i].Data, &l) == nil && l.Event == callout.Accepted {
			f.proven[l.Channel] = entries[i].At
		}
	}
}

// setAside lists the files of the data folder that were damaged and kept under another name since the start.
func (f *Floor) setAside() (list []error) {
	if a := f.logbook.Aside(); a != nil {
		list = append(list, a)
	}
	if a := f.history.Aside(); a != nil {
		list = append(list, a)
	}
	return list
}
