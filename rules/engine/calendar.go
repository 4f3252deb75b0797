package engine

import (
	"time"

	"millwarden/internal/reading"
)

// clock is the engine's now. The monotonic time decides everything; the wall time only answers night, during, until and watched. While the board's clock is not set it counts
// as night, nobody is known to be there, and during and until are unknown. [LANGUAGE section 6]
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
	plain  bool      // no change of the clock within two days
	minute int       // of the day
	in     time.Time // in the site's zone
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

// look reads the site's clock, ahead from now; false while the clock is not set.
func (c *clock) look(ahead time.Duration) bool {
	if !c.anchor.Set {
		return false
	}
	wall := c.anchor.Wall.Add(c.mono - c.anchor.Mono + ahead)
	if second := wall.Unix(); !c.local.valid || c.local.second != second {
		in := wall.In(c.zone)
		c.local = localTime{second: second, valid: true, plain: isPlain(in), minute: in.Hour()*60 + in.Minute(), in: in}
	}
	return true
}

// within tells whether the site's clock, ahead from now, stands in one of the spans; unset is what is true while it is not set.
func (c *clock) within(spans []Span, ahead time.Duration, unset truth) truth {
	if !c.look(ahead) {
		return unset
	}
	for _, s := range spans {
		if c.local.plain && s.onPlainDay(c.local.minute, c.local.in.Weekday()) || !c.local.plain && s.onAnyDay(c.local.in) {
			return holds
		}
	}
	return fails
}

// Covers tells whether an instant lies in the span by the clock of its zone. Over midnight a span belongs to the day before. On days on which the clock changes, what begins
// in the hour that is missing begins at its end; what begins in the hour that comes twice begins the first time, and what ends in it ends the second time.
func (s Span) Covers(local time.Time) bool {
	if isPlain(local) {
		return s.onPlainDay(local.Hour()*60+local.Minute(), local.Weekday())
	}
	return s.onAnyDay(local)
}

// isPlain tells that the clock of the zone does not change within two days of the instant.
func isPlain(local time.Time) bool {
	const far = 48 * time.Hour
	start, end := local.ZoneBounds()
	return (start.IsZero() || local.Sub(start) > far) && (end.IsZero() || end.Sub(local) > far)
}

// onPlainDay reckons by the minutes of the day, which is quick.
func (s Span) onPlainDay(minute int, day time.Weekday) bool {
	if s.To > s.From {
		return s.begins(day) && minute >= s.From && minute < s.To
	}
	before := (day + 6) % 7
	return (s.begins(day) && minute >= s.From) || (s.begins(before) && minute < s.To)
}

// onAnyDay reckons by instants: the span that began today, and yesterday's.
func (s Span) onAnyDay(local time.Time) bool {
	for back := range 2 {
		day := time.Date(local.Year(), local.Month(), local.Day()-back, 12, 0, 0, 0, local.Location()) // at noon: midnights are missing in some zones
		if !s.begins(day.Weekday()) {
			continue
		}
		to := s.To
		if s.To <= s.From {
			to += 24 * 60
		}
		first, _ := comings(day, s.From)
		if _, last := comings(day, to); !local.Before(first) && local.Before(last) {
			return true
		}
	}
	return false
}

// comings are the first and the last instant at which the clock shows a minute of a day, counted from its beginning: two in the hour that comes twice; in the hour that is
// missing both are its end.
func comings(day time.Time, minute int) (first, last time.Time) {
	shown := time.Date(day.Year(), day.Month(), day.Day(), 0, minute, 0, 0, time.UTC)
	at := func(from time.Time) (time.Time, bool) { // by the offset that holds at from
		_, offset := from.In(day.Location()).Zone()
		t := shown.Add(-time.Duration(offset) * time.Second).In(day.Location())
		return t, t.Hour() == shown.Hour() && t.Minute() == shown.Minute()
	}
	first, isFirst := at(shown.Add(-24 * time.Hour))
	last, isLast := at(shown.Add(24 * time.Hour))
	switch {
	case !isFirst && !isLast:
		changed, _ := first.ZoneBounds() // the offset before the change points behind it
		return changed, changed
	case !isFirst:
		return last, last
	case !isLast:
		return first, first
	}
	return first, last
}

func (s Span) begins(day time.Weekday) bool { return s.Days == [7]bool{} || s.Days[day] }

// until is the time to the next coming of a minute of the day by the site's clock; days of 23 or 25 hours are reckoned as such.
func (c *clock) until(minuteOfDay int) (time.Duration, bool) {
	if !c.anchor.Set {
		return 0, false
	}
	now := c.anchor.Wall.Add(c.mono - c.anchor.Mono).In(c.zone)
	for day := 0; ; day++ {
		next, _ := comings(time.Date(now.Year(), now.Month(), now.Day()+day, 12, 0, 0, 0, c.zone), minuteOfDay)
		if next.After(now) {
			return next.Sub(now), true
		}
	}
}
