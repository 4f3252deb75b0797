package engine

import (
	"time"

	"millwarden/internal/reading"
)

// deed is what a step is told beside its event.
type deed struct {
	why             string        // of the engine: "loaded ended"
	lasted          time.Duration // how long the condition has been so
	by, said, other string        // of a person: who, why, second person
}

// step takes an alarm from state to state: what next says, then the numbers, times and words that go with it. An event that the table refuses
// changes nothing.
func (m *machine) step(a *alarm, event Event, d deed, out []Transition) []Transition {
	from := a.shown()
	after, opens, refusal := next(a.facts, event)
	if refusal != "" {
		return out
	}
	if a.spec.Kind != KindAlarm && after.base == Unacknowledged { // a prompt or event stands without calling
		after.base, opens = Acknowledged, false
	}
	a.facts = after
	now := m.clock.stamp()
	m.keepTimes(a, event, d, now)
	if to := a.shown(); to != from {
		a.since = now
	}
	if opens {
		m.occurrences++
		a.occurrence, a.count = m.occurrences, 1
		a.acknowledgedBy, a.acknowledgedAt = "", reading.Stamp{}
	}
	t := Transition{Alarm: a.spec, Event: event, From: from, To: a.shown(), Occurrence: a.occurrence, NewOccurrence: opens, At: now,
		By: d.by, Why: d.said, Second: d.other, Values: a.show(event)}
	if a.shelved {
		t.Until = m.clock.stampAt(m.timers.due(timerShelf, a.place))
	}
	t.Because = m.sentence(a, t, d)
	a.because, a.values, a.note = t.Because, t.Values, ""
	out = append(out, t)
	return m.follow(a, event, out)
}

// keepTimes keeps when and by whom.
func (m *machine) keepTimes(a *alarm, event Event, d deed, now reading.Stamp) {
	switch event {
	case Occur:
		a.activeSince = now
	case Clear:
		a.activeSince = reading.Stamp{}
	case Acknowledge:
		a.acknowledgedBy, a.acknowledgedAt = d.by, now
	case ReAnnunciate:
		a.count++
	case Unshelve:
		m.timers.stop(timerShelf, a.place)
	}
	if a.shown() == Acknowledged && a.spec.Kind == KindAlarm && a.spec.ReAnnunciate > 0 {
		if m.timers.due(timerAgain, a.place) == never {
			m.timers.set(timerAgain, a.place, now.Mono+a.spec.ReAnnunciate)
		}
	} else {
		m.timers.stop(timerAgain, a.place)
	}
}

// follow does what one step brings with it: a dependence that clears goes on suppressing for a while, and a one-shot shelf ends with the condition.
func (m *machine) follow(a *alarm, event Event, out []Transition) []Transition {
	if event != Clear {
		return out
	}
	for _, i := range a.below {
		b := &m.alarms[i]
		b.tailUntil = m.clock.mono + b.tail
		m.timers.set(timerTail, i, b.tailUntil)
	}
	if a.shelved && a.oneShot {
		out = m.step(a, Unshelve, deed{why: "the condition returned to normal"}, out)
	}
	return out
}
