package engine

import (
	"time"

	"millwarden/internal/reading"
)

// clock is the engine's now. The monotonic time decides everything; the wall time only answers night, during, until and watched, and those are
// unknown while the board's clock is not set.
type clock struct {
	mono   time.Duration
	anchor reading.Stamp // the newest stamp given: wall time is reckoned from it
	zone   *time.Location
	local  localTime // of the whole second last asked for
}

// localTime is what the site's clock shows.
type localTime struct {
	second int64 // Unix; which second this is of
	valid  bool
	minute int // of the day
	day    time.Weekday
}

// stamp is the present instant by every clock.
func (c *clock) stamp() reading.Stamp { return c.stampAt(c.mono) }

func (c *clock) stampAt(mono time.Duration) reading.Stamp {
	s := c.anchor
	if !s.Wall.IsZero() {
		s.Wall = s.Wall.Add(mono - s.Mono)
	}
	s.Mono = mono
	return s
}

// minute is the minute of the day and the weekday by the site's clock, ahead from now; false while the clock is not set.
func (c *clock) minute(ahead time.Duration) (int, time.Weekday, bool) {
	if !c.anchor.Set {
		return 0, 0, false
	}
	wall := c.anchor.Wall.Add(c.mono - c.anchor.Mono + ahead)
	if second := wall.Unix(); !c.local.valid || c.local.second != second {
		in := wall.In(c.zone)
		c.local = localTime{second: second, valid: true, minute: in.Hour()*60 + in.Minute(), day: in.Weekday()}
	}
	return c.local.minute, c.local.day, true
}

// within tells whether the site's clock, ahead from now, stands in one of the spans.
func (c *clock) within(spans []Span, ahead time.Duration) truth {
	minute, day, ok := c.minute(ahead)
	if !ok {
		return unclear
	}
	for _, s := range spans {
		if s.covers(minute, day) {
			return holds
		}
	}
	return fails
}

// covers tells whether a minute of a day lies in the span; over midnight it belongs to the day before.
func (s Span) covers(minute int, day time.Weekday) bool {
	if s.To > s.From {
		return s.begins(day) && minute >= s.From && minute < s.To
	}
	before := (day + 6) % 7
	return (s.begins(day) && minute >= s.From) || (s.begins(before) && minute < s.To)
}

func (s Span) begins(day time.Weekday) bool { return s.Days == [7]bool{} || s.Days[day] }

// until is the time to the next coming of a minute of the day by the site's clock; days of 23 or 25 hours are reckoned as such.
func (c *clock) until(minuteOfDay int) (time.Duration, bool) {
	if !c.anchor.Set {
		return 0, false
	}
	now := c.anchor.Wall.Add(c.mono - c.anchor.Mono).In(c.zone)
	for day := 0; ; day++ {
		next := time.Date(now.Year(), now.Month(), now.Day()+day, 0, minuteOfDay, 0, 0, c.zone)
		if next.After(now) {
			return next.Sub(now), true
		}
	}
}
