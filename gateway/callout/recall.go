package callout

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// told names a message to a person in a step.
type told struct {
	step        int
	person, way string
}

func (t told) compare(u told) int {
	return cmp.Or(cmp.Compare(t.step, u.step), strings.Compare(t.person, u.person), strings.Compare(t.way, u.way))
}

// recall rebuilds what was done before a restart from the journal.
func (b *book) recall(c *call, r *Roster, s *engine.Standing, now reading.Stamp) {
	for _, line := range b.past(s.Alarm.ID, s.Occurrence) {
		w := r.watch(line.Watch)
		if w == nil || line.Count != s.Count {
			continue
		}
		ch := c.chains[w.Name]
		if ch == nil {
			ch = newChain(w, ago(line.At, now))
			ch.past = map[told]string{}
			c.chains[w.Name] = ch
		}
		ch.done = max(ch.done, min(line.Step+1, len(w.Steps)))
		ch.called[line.Person] = true
		ch.past[told{line.Step, line.Person, line.Channel}] = line.Event
		switch at := ago(line.At, now); {
		case line.Event == Try:
			ch.last = at
		case line.Event == Accepted && !r.shared(line.Channel):
			ch.got[line.Person] = at
		}
	}
}

// resume goes on with the last step that was taken before a restart. Who was reached is not called again before the next step or repeat is due. A message
// that was begun and not surely taken is owed at once: better twice than not at all. So is a siren: it fell silent with the program.
func (b *book) resume(owed []errand, r *Roster, s *engine.Standing, ch *chain, now reading.Stamp) []errand {
	before, past := len(owed), ch.past
	ch.past = nil
	ch.round++
	ch.pause = true
	from := firstOf(ch.watch.Steps, max(ch.done-1, 0))
	for t, event := range past {
		if t.step < from || r.shared(t.way) {
			continue
		}
		if event == Accepted {
			ch.reached = true
		}
		if event == Accepted || event == GivenUp {
			ch.tried[[2]string{t.person, t.way}] = true
		}
	}
	var sirens []errand
	for _, t := range slices.SortedFunc(maps.Keys(past), told.compare) {
		person, event := r.people[t.person], past[t]
		switch {
		case person == nil:
		case r.shared(t.way):
			sirens = b.add(sirens, r, ch, ch.errand(s, t.step, t.person, t.way))
		case t.step >= from && (event == Try || event == Failed):
			owed = b.add(owed, r, ch, ch.errand(s, t.step, t.person, t.way))
		case t.step >= from && event == GivenUp && !ch.took(past, t):
			if way := ch.nextWay(r, person); way != "" {
				owed = b.add(owed, r, ch, ch.errand(s, t.step, t.person, way))
			} else {
				ch.miss(&errand{person: t.person, step: t.step})
			}
		case event == GivenUp:
			ch.miss(&errand{person: t.person, step: t.step})
		}
	}
	if len(owed) > before {
		ch.last = now.Mono
	} else if !ch.reached {
		ch.hurry = true
	}
	for i := range sirens {
		sirens[i].round = 0 // of no round: whom it reached is not known
		ch.open--
	}
	return append(owed, sirens...)
}

// took tells whether another channel reached the person in that step, or still may.
func (ch *chain) took(past map[told]string, lost told) bool {
	for t, event := range past {
		if t.step == lost.step && t.person == lost.person && event != GivenUp {
			return true
		}
	}
	return false
}

// ago puts a stamp on the present monotonic clock. Of another boot the wall clocks tell; if one of them was not set, it counts as now.
func ago(then, now reading.Stamp) time.Duration {
	switch {
	case then.Boot == now.Boot:
		return then.Mono
	case then.Set && now.Set && now.Wall.After(then.Wall):
		return now.Mono - now.Wall.Sub(then.Wall)
	}
	return now.Mono
}
