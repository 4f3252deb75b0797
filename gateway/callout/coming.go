package callout

import (
	"maps"
	"slices"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// Coming is a call that is made if nobody acknowledges until then.
type Coming struct {
	Person  string
	Channel string        // the first of those by which she is called
	At      time.Duration // monotonic time
}

// Coming gives who is called next about an annunciation, by the roster and the swaps in force: the next step of each watch that calls, or the repeat of its last;
// of an alarm that waits for a digest, those who get it. Nothing for one that nobody need be called about.
func (c *Callout) Coming(s *engine.Standing) []Coming {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.coming[keyOf(s)]
}

func (b *book) coming(r *Roster, standings []engine.Standing, now reading.Stamp) map[key][]Coming {
	all := make(map[key][]Coming, len(standings))
	for i := range standings {
		k := keyOf(&standings[i])
		c := b.calls[k]
		if c == nil {
			continue
		}
		for _, name := range sortedNames(c.chains) {
			if ch := c.chains[name]; !ch.rests && len(ch.watch.Steps) > 0 {
				all[k] = ch.coming(all[k], r)
			}
		}
		for _, name := range slices.Sorted(maps.Keys(b.digests)) {
			if d, w := b.digests[name], r.watch(name); d.waiting[k] && w != nil {
				all[k] = nextAt(all[k], r, w.Steps, 0, now.Mono+d.due.Sub(now.Wall), func(string) bool { return false })
			}
		}
	}
	return all
}

func (ch *chain) coming(list []Coming, r *Roster) []Coming {
	at, from := ch.due(ch.watch.Steps)
	return nextAt(list, r, ch.watch.Steps, from, at, func(person string) bool {
		got, reached := ch.got[person]
		return reached && at-got < ch.watch.Repeat-messagePatience // as round leaves her out
	})
}

// nextAt adds the people of the step from which it is called, and of those at the same time.
func nextAt(list []Coming, r *Roster, steps []Step, from int, at time.Duration, spared func(person string) bool) []Coming {
	for i := from; i < len(steps) && steps[i].After == steps[from].After; i++ {
		for _, name := range steps[i].People {
			person := r.people[name]
			if person == nil || spared(name) || slices.ContainsFunc(list, func(c Coming) bool { return c.Person == name && c.At <= at }) {
				continue
			}
			if ways := r.ways(person, steps[i].By); len(ways) > 0 {
				list = append(list, Coming{name, ways[0], at})
			}
		}
	}
	return list
}
