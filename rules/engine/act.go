package engine

import (
	"fmt"
	"time"

	"millwarden/internal/units"
)

const (
	// Longest shelves, whatever the rules say. [LANGUAGE section 5, shelvable]
	longestShelf     = 24 * time.Hour
	longestShelfHigh = time.Hour
)

// shelfLimit is how long an alarm may be shelved; 0: never.
func (a *Alarm) shelfLimit() time.Duration {
	switch {
	case a.Class == Safety:
		return 0
	case a.Priority == High:
		return min(a.Shelvable, longestShelfHigh)
	}
	return min(a.Shelvable, longestShelf)
}

// act does what a person asks.
func (m *machine) act(act Act, out []Transition) ([]Transition, error) {
	out = m.advance(act.At, out)
	i, ok := m.byID[act.Alarm]
	if !ok {
		return out, &Refusal{Kind: NoSuchAlarm, Alarm: act.Alarm, Event: act.Event, Text: "there is no such alarm"}
	}
	a := &m.alarms[i]
	if r := m.mayAct(a, act); r != nil {
		return out, r
	}
	d := deed{by: act.By, said: act.Why, other: act.Second}
	if act.Event != Shelve {
		return m.step(a, act.Event, d, out), nil
	}
	if waitsForAnswer(a.shown()) { // shelving is logged as an acknowledgement by the same person
		out = m.step(a, Acknowledge, d, out)
	}
	m.shelve(a, act)
	return m.step(a, Shelve, d, out), nil
}

// shelve sets the end of a shelf. Shelved again, its clock restarts, but never past the limit counted from when it began.
func (m *machine) shelve(a *alarm, act Act) {
	now := m.clock.mono
	if !a.shelved {
		a.shelfBegan = now
	}
	a.oneShot = act.OneShot
	limit := a.spec.shelfLimit()
	if act.For <= 0 { // one shot without a time
		act.For = limit
	}
	m.timers.set(timerShelf, a.place, min(now+act.For, a.shelfBegan+limit))
}

// mayAct tells why an act is refused, nil if it is not.
func (m *machine) mayAct(a *alarm, act Act) *Refusal {
	refuse := func(kind RefusalKind, format string, args ...any) *Refusal {
		return &Refusal{Kind: kind, Alarm: act.Alarm, Event: act.Event, Text: fmt.Sprintf(format, args...)}
	}
	if act.By == "" {
		return refuse(Incomplete, "nobody is named who does it")
	}
	switch act.Event {
	case Acknowledge:
		if r := m.mayAcknowledge(a, act); r != nil {
			return r
		}
	case Shelve:
		if r := a.mayShelve(act, refuse); r != nil {
			return r
		}
	case Remove:
		if act.Why == "" {
			return refuse(Incomplete, "a reason is needed")
		}
		if a.spec.shelfLimit() == 0 && a.spec.Kind == KindAlarm && (act.Second == "" || act.Second == act.By) {
			return refuse(Incomplete, "a second person is needed, this alarm may not be held back by one alone")
		}
	case Reset, Unshelve, Return:
	default:
		return refuse(NotAllowed, "no person can do that")
	}
	if _, _, refusal := next(a.facts, act.Event); refusal != "" {
		return refuse(NotNow, "%s", refusal)
	}
	return nil
}

func (a *alarm) mayShelve(act Act, refuse func(RefusalKind, string, ...any) *Refusal) *Refusal {
	limit := a.spec.shelfLimit()
	switch {
	case limit == 0 && a.spec.Class == Safety:
		return refuse(NotAllowed, "alarms of class safety cannot be shelved; remove it from service with a reason and a second person")
	case limit == 0:
		return refuse(NotAllowed, "it is not shelvable")
	case act.Why == "":
		return refuse(Incomplete, "a reason is needed")
	case act.For <= 0 && !act.OneShot:
		return refuse(Incomplete, "a time is needed, at most %s", units.Choice{}.Print(limit.Seconds(), units.Duration))
	case act.For > limit:
		return refuse(NotAllowed, "it may be shelved for %s at most", units.Choice{}.Print(limit.Seconds(), units.Duration))
	}
	return nil
}

// mayAcknowledge holds an acknowledgement to the occurrence it names: a message answered late must not acknowledge a new fault.
func (m *machine) mayAcknowledge(a *alarm, act Act) *Refusal {
	r := &Refusal{Alarm: act.Alarm, Event: Acknowledge}
	switch {
	case act.Occurrence <= 0:
		r.Kind, r.Text = Incomplete, "it does not name an occurrence"
	case act.Occurrence < a.occurrence:
		r.Kind, r.Text = Superseded, fmt.Sprintf("occurrence %d is superseded by %d", act.Occurrence, a.occurrence)
	case act.Occurrence > a.occurrence:
		r.Kind, r.Text = NotNow, fmt.Sprintf("there is no occurrence %d of it", act.Occurrence)
	case a.acknowledgedBy != "" && !waitsForAnswer(a.shown()):
		r.Kind, r.By, r.At = Already, a.acknowledgedBy, a.acknowledgedAt
		r.Text = "already acknowledged by " + a.acknowledgedBy
		if r.At.Set {
			r.Text += " at " + r.At.Wall.In(m.clock.zone).Format("15:04:05")
		}
	default:
		return nil
	}
	return r
}

func waitsForAnswer(s State) bool {
	return s == Unacknowledged || s == ReturnedUnacknowledged || s == LatchedUnacknowledged
}
