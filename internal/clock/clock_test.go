package clock

import (
	"testing"
	"time"

	"millwarden/internal/clock/clocktest"
)

// The demo's clock at 60 times: one real minute is one simulated hour, on both clocks alike.
func TestScaled_runsBothClocksAtSpeed(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		start := time.Date(2026, 5, 12, 16, 0, 0, 0, time.UTC)
		c := Scaled{Start: start, Begun: time.Now(), Speed: 60, Boot: 1}
		before := c.Now()
		time.Sleep(time.Minute)
		after := c.Now()
		if got := after.Mono - before.Mono; got != time.Hour {
			t.Errorf("monotonic time went on by %v, want 1h", got)
		}
		if got := after.Wall.Sub(start); got != time.Hour {
			t.Errorf("wall time went on by %v, want 1h", got)
		}
		if got := c.Real(time.Hour); got != time.Minute {
			t.Errorf("Real(1h) = %v, want 1m", got)
		}
	})
}

// The board's own clock: monotonic time rises and the wall stamp carries no hidden monotonic part that JSON would lose.
func TestSystem_stampsRise(t *testing.T) {
	c := &System{Boot: 7, Trust: true}
	first := c.Now()
	second := c.Now()
	if second.Mono < first.Mono || first.Mono <= 0 {
		t.Errorf("Mono went from %v to %v, want a positive, rising time since boot", first.Mono, second.Mono)
	}
	if first.Boot != 7 || !first.Set {
		t.Errorf("Now() = %+v, want boot 7 and a trusted clock", first)
	}
	if first.Wall != first.Wall.Round(0) || first.Wall.Location() != time.UTC {
		t.Errorf("Wall = %v, want UTC without a monotonic part", first.Wall)
	}
}
