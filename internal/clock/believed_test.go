package clock_test

import (
	"testing"
	"time"

	"millwarden/internal/clock"
	"millwarden/internal/reading"
)

// told is a clock that says what it is told.
type told struct {
	now  reading.Stamp
	kept bool
}

func (c *told) Now() reading.Stamp               { return c.now }
func (*told) Real(d time.Duration) time.Duration { return d }
func (c *told) Synchronised() bool               { return c.kept }
func stamp(wall time.Time, mono time.Duration, boot uint32) reading.Stamp {
	return reading.Stamp{Wall: wall, Mono: mono, Boot: boot, Set: true}
}

// Aim: a wall clock counts as set while it can be true, and no longer; a synchronised one always does. Years are chosen around the limit of one.
func TestBelieved_knowsWhatCannotBe(t *testing.T) {
	noon := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
	last := stamp(noon, time.Hour, 3)
	for _, c := range []struct {
		name  string
		last  reading.Stamp
		built time.Time
		now   reading.Stamp
		kept  bool
		want  bool
	}{
		{"an hour later", last, time.Time{}, stamp(noon.Add(time.Hour), 2*time.Hour, 3), false, true},
		{"an hour back", last, time.Time{}, stamp(noon.Add(-time.Hour), time.Hour, 3), false, true},
		{"fifty years ahead", last, time.Time{}, stamp(noon.AddDate(50, 0, 0), 2*time.Hour, 3), false, false},
		{"fifty years ahead after a start of the board", last, time.Time{}, stamp(noon.AddDate(50, 0, 0), time.Minute, 4), false, false},
		{"in 1970, and said to be set", last, time.Time{}, stamp(time.Unix(60, 0), 2*time.Hour, 3), false, false},
		{"eleven months in a drawer", last, time.Time{}, stamp(noon.AddDate(0, 11, 0), time.Minute, 4), false, true},
		{"three years in a drawer, synchronised", last, time.Time{}, stamp(noon.AddDate(3, 0, 0), time.Minute, 4), true, true},
		{"no record, before the program was built", reading.Stamp{}, noon, stamp(noon.AddDate(0, 0, -1), time.Minute, 1), false, false},
		{"no record, after it", reading.Stamp{}, noon, stamp(noon.AddDate(9, 0, 0), time.Minute, 1), false, true},
		{"never set", last, time.Time{}, reading.Stamp{Wall: time.Unix(60, 0), Mono: time.Minute, Boot: 4}, false, false},
	} {
		b := clock.Believe(&told{c.now, c.kept}, c.last, c.built)
		got := b.Now()
		if got.Set != c.want || got.Wall != c.now.Wall || got.Mono != c.now.Mono {
			t.Errorf("%s: Now() = %+v, want Set %v", c.name, got, c.want)
		}
		if says, _, doubted := b.Doubted(); doubted != (c.now.Set && !c.want) || doubted && says != c.now.Wall {
			t.Errorf("%s: Doubted() = %v, %v", c.name, says, doubted)
		}
	}
}

// Aim: while the clock is not believed the time is reckoned from the last that was, and belief comes back with the time.
func TestBelieved_reckonsMeanwhile(t *testing.T) {
	noon := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
	c := &told{now: stamp(noon, time.Hour, 3)}
	b := clock.Believe(c, reading.Stamp{}, time.Time{})
	b.Now()
	c.now = stamp(noon.AddDate(50, 0, 0), 90*time.Minute, 3)
	if got, known := b.Reckon(b.Now()); !known || !got.Equal(noon.Add(30*time.Minute)) {
		t.Errorf("Reckon() = %v, %v, want half an hour after noon", got, known)
	}
	c.now = stamp(noon.Add(time.Hour), 2*time.Hour, 3)
	if now := b.Now(); !now.Set {
		t.Errorf("back again, and Now() = %+v", now)
	}
	again := clock.Believe(&told{now: reading.Stamp{Wall: time.Unix(60, 0), Mono: time.Minute, Boot: 4}}, b.Now(), time.Time{})
	if got, known := again.Reckon(again.Now()); !known || !got.Equal(noon.Add(time.Hour+time.Minute)) {
		t.Errorf("after a start of the board Reckon() = %v, %v, want a minute after the last", got, known)
	}
}
