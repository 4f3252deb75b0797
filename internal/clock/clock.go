// Package clock is the one seam for time: monotonic time since boot, wall time, the number of the boot, and whether the wall clock was known
// to be right. Everything that decides takes a reading.Stamp from here; nothing else asks the system.
//
// Concurrency: every Clock may be used by many goroutines.
package clock

import (
	"sync"
	"time"

	"millwarden/internal/reading"
)

// Clock gives the present stamp.
type Clock interface {
	Now() reading.Stamp
	// Real is how long the machine's own clock takes for a duration of this one: all waiting is done by it.
	Real(d time.Duration) time.Duration
}

// System is the clock of this board.
type System struct {
	Boot  uint32 // number of this boot, from the logbook
	Trust bool   // the wall clock is kept right by other means than the kernel's synchronisation (a virtual machine's host, a receiver)

	mu  sync.Mutex // guards set and looked
	set bool       // it was right at some time of this boot: from then on it is held
	// looked is when the kernel was asked last: once a second is enough.
	looked time.Time
}

var _ Clock = (*System)(nil)

// Now is the stamp of this moment. Mono includes time asleep (CLOCK_BOOTTIME).
func (s *System) Now() reading.Stamp {
	now := time.Now()
	return reading.Stamp{Wall: now.UTC().Round(0), Mono: sinceBoot(), Boot: s.Boot, Set: s.isSet(now)}
}

// Real is d itself.
func (*System) Real(d time.Duration) time.Duration { return d }

// Synchronised tells whether somebody keeps the clock right at this moment: a person who sets it ends that [settimeofday(2), adjtimex(2)].
func (s *System) Synchronised() bool { return s.Trust || keptRight() }

func (s *System) isSet(now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.set || s.Trust {
		return true
	}
	if now.Sub(s.looked) >= time.Second {
		s.looked = now
		s.set = synchronised()
	}
	return s.set
}

// Scaled runs from a start of choice at so many times the speed of the real clock: the demo's clock.
type Scaled struct {
	Start time.Time // simulated wall time at Begun
	Begun time.Time
	Speed float64
	Boot  uint32
}

var _ Clock = Scaled{}

// Now is the simulated stamp of this moment.
func (s Scaled) Now() reading.Stamp {
	passed := time.Duration(float64(time.Since(s.Begun)) * s.Speed)
	return reading.Stamp{Wall: s.Start.Add(passed).UTC(), Mono: passed, Boot: s.Boot, Set: true}
}

// Synchronised is true: what it says is the truth of its estate.
func (Scaled) Synchronised() bool { return true }

// Real is how long the real clock takes for a simulated duration.
func (s Scaled) Real(simulated time.Duration) time.Duration {
	return time.Duration(float64(simulated) / s.Speed)
}
