package floor

import (
	"context"
	"fmt"
	"sync"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
)

// wall watches the wall clock beside the monotonic one, which nobody can set: what differs between two looks is a step. Nothing that decides needs it;
// people want to know why a night has an hour twice.
//
// Concurrency: any goroutine.
type wall struct {
	mu    sync.Mutex // guards what stands below
	last  reading.Stamp
	step  time.Duration // not yet told
	told  time.Duration // size of the last one
	moved time.Duration // all of them, since the clock counts as set
	since time.Duration // monotonic time of the last step, or of the first look
	at    reading.Stamp // of the last step; zero: none yet
}

const (
	// stepLeast is the least that counts as a step [standards notes, section 6: more than a second].
	stepLeast = time.Second
	// stepShown is how long a step stands at the point board/clock-step; chosen: two looks of the board at itself.
	stepShown = 2 * boardEvery
	// stepStands is how long the page tells that the clock was set; chosen: until whoever finds the night strange has looked.
	stepStands = 24 * time.Hour
	// steadyAfter is how long the wall clock must have gone evenly before readings are thrown away by its time: one that was set fifty years ahead by
	// mistake must not cost the history. Chosen: time for a person, or a time server, to correct it.
	steadyAfter = 6 * time.Hour
)

// look compares the clocks. A clock that was not set before and is now was set, whatever it says.
func (w *wall) look(now reading.Stamp) {
	w.mu.Lock()
	defer w.mu.Unlock()
	before := w.last
	w.last = now
	if before.Wall.IsZero() {
		w.since = now.Mono
		return
	}
	step := now.Wall.Sub(before.Wall) - (now.Mono - before.Mono)
	if step.Abs() > stepLeast {
		w.step, w.told, w.since = w.step+step, step, now.Mono
		if before.Set && now.Set {
			w.moved, w.at = w.moved+step, now
		}
	}
}

// even is the wall time as it would be had nobody set the clock since it counted as set: ages by the calendar are taken from it, so that a step moves none.
// If the step was right, they are right again after the next start.
func (w *wall) even(now reading.Stamp) time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	moved := w.moved
	if step := now.Wall.Sub(w.last.Wall) - (now.Mono - w.last.Mono); w.last.Set && now.Set && step.Abs() > stepLeast {
		moved += step // since the last look
	}
	return now.Wall.Add(-moved)
}

// take gives the step that nobody was told of, and forgets it; 0: there is none.
func (w *wall) take() (step time.Duration, now reading.Stamp) {
	w.mu.Lock()
	defer w.mu.Unlock()
	step, w.step = w.step, 0
	return step, w.last
}

// newest is the size of a step that was just now; 0: the clock goes evenly.
func (w *wall) newest(now reading.Stamp) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.told == 0 || now.Mono-w.since > stepShown {
		return 0
	}
	return w.told.Abs()
}

// stands is by how much the clock is off from where it would be had nobody set it, and when that was done, while people should know; false where it was put
// right, or is long ago.
func (w *wall) stands(now reading.Stamp) (step time.Duration, at reading.Stamp, stands bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.moved, w.at, w.moved.Abs() > stepLeast && now.Mono-w.at.Mono < stepStands
}

// steady tells whether the wall clock has gone evenly for long.
func (w *wall) steady(now reading.Stamp) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return !w.last.Wall.IsZero() && now.Mono-w.since >= steadyAfter
}

// lastBelieved is the newest stamp of the record whose wall time was believed; zero: there is none. Where a clock was not believed for long, it lies far
// back in the logbook.
func (f *Floor) lastBelieved(ctx context.Context) (last reading.Stamp) {
	take := func(s reading.Stamp) {
		if s.Set && (s.Boot > last.Boot || s.Boot == last.Boot && s.Mono > last.Mono || !last.Set) {
			last = s
		}
	}
	for _, e := range f.history.Latest() {
		take(e.Stamp)
	}
	for before := int64(0); ; {
		entries, err := f.logbook.Entries(ctx, logbook.Filter{Newest: true, Before: before})
		if err != nil || len(entries) == 0 {
			return last // what cannot be read is told elsewhere
		}
		for i := range entries {
			if entries[i].At.Set {
				take(entries[i].At)
				return last
			}
		}
		before = entries[len(entries)-1].ID
	}
}

// tellDoubt writes into the logbook that the clock is not believed, once while that stands.
func (f *Floor) tellDoubt() {
	says, reckoned, doubted := f.clock.Doubted()
	if doubted == f.doubted {
		return
	}
	if f.doubted = doubted; !doubted {
		return // that it is believed again is told with the readings that get their time
	}
	by := "the program is newer"
	if !reckoned.IsZero() {
		by = "by the readings it is " + reckoned.Format(time.RFC3339) + " or later"
	}
	text := fmt.Sprintf("wall clock not believed: it says %s, %s, and nothing keeps it right. Alarms go on; readings wait for their time until it is synchronised", says.Format(time.RFC3339), by)
	f.log.Warn("wall clock not believed", "says", says, "reckoned", reckoned)
	f.write(logbook.Entry{Kind: logbook.ClockStep, Text: text})
}

// tellStep writes a step of the wall clock into the logbook: old, new, and by how much.
func (f *Floor) tellStep() {
	step, now := f.wall.take()
	if step == 0 {
		return
	}
	direction := "forward"
	if step < 0 {
		direction = "back"
	}
	text := fmt.Sprintf("wall clock set %s by %s: from %s to %s", direction, step.Abs().Round(time.Second), now.Wall.Add(-step).Format(time.RFC3339), now.Wall.Format(time.RFC3339))
	f.log.Warn("wall clock set", "step", step.Round(time.Second), "wall", now.Wall)
	f.write(logbook.Entry{Kind: logbook.ClockStep, Text: text})
}
