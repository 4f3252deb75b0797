package clock

import (
	"sync/atomic"
	"time"

	"millwarden/internal/reading"
)

// Stepped is a scaled clock whose wall time somebody sets by hand: monotonic time takes no notice.
type Stepped struct {
	Scaled
	step atomic.Int64 // how far off the wall clock was set
}

var _ Clock = (*Stepped)(nil)

// Set sets the wall clock so far from the right time; 0 puts it right.
func (s *Stepped) Set(off time.Duration) { s.step.Store(int64(off)) }

// Now is the simulated stamp of this moment, its wall time as it was set.
func (s *Stepped) Now() reading.Stamp {
	now := s.Scaled.Now()
	now.Wall = now.Wall.Add(time.Duration(s.step.Load()))
	return now
}

// Synchronised is false while it is set wrong: who steps a clock by hand ends its synchronisation [settimeofday(2), adjtimex(2)].
func (s *Stepped) Synchronised() bool { return s.step.Load() == 0 }
