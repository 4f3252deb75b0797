package clock

import (
	"sync"
	"time"

	"millwarden/internal/reading"
)

// farOff is how far a wall clock that nobody keeps right may lie from where the last believed time leads, before it is not believed any more. Chosen:
// longer than a mill rests between two harvests; a clock without its battery, or one set by a slip of the hand, is off by more.
const farOff = 365 * 24 * time.Hour

// Believed is a clock whose wall time counts as set only while it can be true: one that nobody synchronises and that says a time years away from the last one that was
// believed, or a time before the program was built, is as good as one that was never set. Monotonic time is passed on as it is.
type Believed struct {
	Clock
	built time.Time // of the program; zero: not known

	mu   sync.Mutex    // guards what stands below
	last reading.Stamp // the newest that was believed; zero: none
	said reading.Stamp // the newest that was not, while that stands; zero: none
}

// synchronises is what a clock may say beside its time: whether somebody keeps it right at this moment. One that does not say is kept by nobody.
type synchronises interface{ Synchronised() bool }

// Believe takes last, the newest believed stamp of the record, and when the program was built; zero is not known.
func Believe(c Clock, last reading.Stamp, built time.Time) *Believed {
	if !last.Set {
		last = reading.Stamp{}
	}
	return &Believed{Clock: c, last: last, built: built}
}

// Now is the clock's stamp, not Set where it is not believed.
func (b *Believed) Now() reading.Stamp {
	now := b.Clock.Now()
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case !now.Set:
		b.said = reading.Stamp{} // it claims nothing
	case b.plausible(now) || b.synchronised():
		b.last, b.said = now, reading.Stamp{}
	default:
		now.Set = false
		b.said = now
	}
	return now
}

func (b *Believed) plausible(now reading.Stamp) bool {
	if now.Wall.Before(b.built) {
		return false
	}
	reckoned, known := b.reckon(now)
	return !known || now.Wall.Sub(reckoned).Abs() < farOff
}

func (b *Believed) synchronised() bool {
	s, says := b.Clock.(synchronises)
	return says && s.Synchronised()
}

// reckon carries the last believed time on. The caller holds mu.
func (b *Believed) reckon(now reading.Stamp) (time.Time, bool) {
	passed := now.Mono
	if now.Boot == b.last.Boot {
		passed -= b.last.Mono
	}
	return b.last.Wall.Add(passed), b.last.Set
}

// Reckon is what time it is at least, whatever the wall clock says: the last believed time and what has passed since in this boot. How long the board was off
// before it is not known. False where no time was ever believed.
func (b *Believed) Reckon(now reading.Stamp) (time.Time, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.reckon(now)
}

// Doubted tells what the clock says while it is not believed, and what the time is reckoned to be at least (zero: not known).
func (b *Believed) Doubted() (says, reckoned time.Time, doubted bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.said.Wall.IsZero() {
		return time.Time{}, time.Time{}, false
	}
	reckoned, known := b.reckon(b.said)
	if !known {
		reckoned = time.Time{}
	}
	return b.said.Wall, reckoned, true
}
