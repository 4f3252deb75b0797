package callout

import (
	"maps"
	"slices"
	"time"

	"millwarden/internal/reading"
)

// Swap changes the roster for a while: somebody takes the calls of another, or people are not called at all, on a holiday. It is no rule of the rules
// file but an act of a person, kept in the logbook; the newest that names somebody counts.
type Swap struct {
	Away     []string // names of those who are not called
	Stands   string   // who is called in their place; "": nobody
	From, To time.Time
}

// Holds tells whether the swap is in force at a time; To is not included.
func (s *Swap) Holds(at time.Time) bool { return !at.Before(s.From) && at.Before(s.To) }

// SetSwaps puts swaps in force, oldest first, in place of those that were: calls under way go on by them.
func (c *Callout) SetSwaps(swaps []Swap) {
	c.mu.Lock()
	r := *c.roster
	r.Swaps = slices.Clone(swaps)
	c.roster = &r
	c.mu.Unlock()
	c.again()
}

// swapped is the roster as its swaps make it at a time; r itself where none is in force. Steps keep their places, so that what the journal says of them
// stays true. While the clock is not set nobody knows whether a swap holds: who would stand in is called beside those who would be away.
func (r *Roster) swapped(now reading.Stamp) *Roster {
	if !slices.ContainsFunc(r.Swaps, func(s Swap) bool { return !now.Set || s.Holds(now.Wall) }) {
		return r
	}
	s := *r
	s.Watches = slices.Clone(r.Watches)
	s.watches, s.alone = maps.Clone(r.watches), maps.Clone(r.alone)
	for i := range s.Watches {
		s.Watches[i].Steps = r.stand(s.Watches[i].Steps, now)
		s.watches[s.Watches[i].Name] = &s.Watches[i]
	}
	for name, w := range r.alone {
		one := *w
		one.Steps = r.stand(w.Steps, now)
		s.alone[name] = &one
	}
	all := *r.everybody
	all.Steps = r.stand(all.Steps, now)
	s.everybody = &all
	return &s
}

// stand puts those who stand in into the steps of a watch. Nobody goes uncalled because people are away: a step that loses all its people calls those of
// the step before it, the first those of the next; a watch that loses all calls everybody who is not away; and if all are away, the swap does not count.
func (r *Roster) stand(steps []Step, now reading.Stamp) []Step {
	out := slices.Clone(steps)
	for i := range out {
		out[i].People = r.standIns(out[i].People, now)
	}
	for i := range out {
		if len(out[i].People) == 0 && len(steps[i].People) > 0 {
			out[i].People = nearest(out, i)
		}
	}
	if slices.ContainsFunc(out, func(s Step) bool { return len(s.People) > 0 }) {
		return out
	}
	var here []string
	for i := range r.People {
		here = append(here, r.People[i].Name)
	}
	if here = r.standIns(here, now); len(here) == 0 {
		return steps
	}
	for i := range out {
		out[i].People = here
	}
	return out
}

// nearest are the people of the step before i, else of the next that has any.
func nearest(steps []Step, i int) []string {
	for k := i - 1; k >= 0; k-- {
		if len(steps[k].People) > 0 {
			return steps[k].People
		}
	}
	for k := i + 1; k < len(steps); k++ {
		if len(steps[k].People) > 0 {
			return steps[k].People
		}
	}
	return nil
}

// standIns are the people who are called in place of those named, each once.
func (r *Roster) standIns(names []string, now reading.Stamp) []string {
	var called []string
	for _, name := range names {
		for _, one := range r.standIn(name, now) {
			if !slices.Contains(called, one) {
				called = append(called, one)
			}
		}
	}
	return called
}

// standIn follows who stands in for whom. Two who take each other's calls are no ring: each is called in the other's place.
func (r *Roster) standIn(name string, now reading.Stamp, before ...string) []string {
	for i := len(r.Swaps) - 1; i >= 0; i-- {
		s := &r.Swaps[i]
		known := s.Stands == "" || r.people[s.Stands] != nil
		if !known || !slices.Contains(s.Away, name) || now.Set && !s.Holds(now.Wall) {
			continue
		}
		if slices.Contains(before, s.Stands) {
			break
		}
		var called []string
		if !now.Set {
			called = []string{name}
		}
		if s.Stands != "" {
			called = append(called, r.standIn(s.Stands, now, append(before, name)...)...)
		}
		return called
	}
	return []string{name}
}

// At are the watches with those who are called at a time, in the order of the roster.
func (r Roster) At(now reading.Stamp) []Watch { return r.prepared().swapped(now).Watches }

// Instant is the time at which the site's clock shows what local shows, whose own zone does not count. An hour that the clock shows twice counts the
// first time where something begins and the second where it ends, as for the hours of the rules language; an hour that is left out counts by the clock
// that was in force before it.
func Instant(local time.Time, zone *time.Location, ends bool) time.Time {
	bare := time.Date(local.Year(), local.Month(), local.Day(), local.Hour(), local.Minute(), 0, 0, time.UTC)
	const far = 24 * time.Hour // clocks do not change twice in two days: IANA time zone database
	_, before := bare.Add(-far).In(zone).Zone()
	_, after := bare.Add(far).In(zone).Zone()
	first, second := bare.Add(-time.Duration(before)*time.Second), bare.Add(-time.Duration(after)*time.Second)
	shows := func(at time.Time) bool { return at.In(zone).Format(time.DateTime) == bare.Format(time.DateTime) }
	if shows(second) && (ends || !shows(first)) {
		return second
	}
	return first
}

// Turn is a stretch of time in which a person is called by one step of a watch.
type Turn struct {
	Person   string
	Watch    string
	From, To time.Time // as far as was looked
	After    time.Duration
	By       []string
	For      string // in whose place; "": her own
}

// Turns are who is called by the watches between two times, in the order of the watches, with swaps and changes of the clocks. Watches that are called by
// name only are left out.
func (r Roster) Turns(from, to time.Time) []Turn {
	p := r.prepared()
	var turns []Turn
	for at := from; at.Before(to); at = at.Truncate(time.Minute).Add(time.Minute) {
		now := p.swapped(reading.Stamp{Wall: at, Set: true})
		for i := range now.Watches {
			if w := &now.Watches[i]; !w.OnlyWhenNamed && OnDuty(w.Hours, at.In(r.Zone)) {
				turns = turnsAt(turns, w, &p.Watches[i], at)
			}
		}
	}
	return turns
}

// turnsAt lengthens the turns of a watch by a minute, or begins them. own is the watch as the rules file has it.
func turnsAt(turns []Turn, w, own *Watch, at time.Time) []Turn {
	next := at.Truncate(time.Minute).Add(time.Minute)
	for i := range w.Steps {
		s := &w.Steps[i]
		for _, person := range s.People {
			t := Turn{Person: person, Watch: w.Name, From: at, To: next, After: s.After, By: s.By}
			if !slices.Contains(own.Steps[i].People, person) {
				t.For = missing(own.Steps[i].People, s.People)
			}
			k := slices.IndexFunc(turns, func(o Turn) bool {
				return o.Person == person && o.Watch == w.Name && o.After == s.After && o.For == t.For && o.To.Equal(at)
			})
			if k >= 0 {
				turns[k].To = next
			} else {
				turns = append(turns, t)
			}
		}
	}
	return turns
}

// missing is the first who stands in the one list and not in the other.
func missing(own, now []string) string {
	for _, name := range own {
		if !slices.Contains(now, name) {
			return name
		}
	}
	return ""
}
