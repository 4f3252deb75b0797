package engine

import (
	"fmt"
	"math"
	"strings"
	"time"

	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// exhibit is one comparison, state or quality of a condition, kept so that a transition can show it. It is worked out only then.
type exhibit struct {
	text, point  string
	raise, keep  func() truth // holds: it speaks for the alarm, whatever nots stand above it
	value, limit func() float64
	quantity     units.Quantity
	plain        bool // no value of its own to show: "tank-1/ph is overdue", or a text
}

// exhibitsOf takes a condition apart.
func exhibitsOf(open, keep compiler, n *formula.Node, odd bool, dst []exhibit) []exhibit {
	switch n.Op {
	case formula.And, formula.Or:
		for _, arg := range n.Args {
			dst = exhibitsOf(open, keep, arg, odd, dst)
		}
		return dst
	case formula.Not:
		return exhibitsOf(open, keep, n.Args[0], !odd, dst)
	}
	e := exhibit{text: textOf(n), raise: open.test(n, odd), keep: keep.test(n, odd)}
	if odd {
		raise, keep := e.raise, e.keep
		e.raise, e.keep = func() truth { return -raise() }, func() truth { return -keep() }
	}
	switch n.Op {
	case formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq:
		e.compare(open, n)
	case formula.Point, formula.IsOn:
		ref, _ := refOf(n)
		value := open.value(n, ref)
		e.point, e.value, e.quantity = ref, func() float64 { return *value }, units.State
		if n.Op == formula.Point {
			e.quantity = n.Quantity
		}
		e.text = ref
	default:
		e.point, _ = refOf(n)
		e.plain = true
		if odd {
			e.text = "not " + e.text
		}
	}
	return append(dst, e)
}

func (e *exhibit) compare(open compiler, n *formula.Node) {
	left, right := n.Args[0], n.Args[1]
	if _, isFixed := fixed(left); isFixed {
		left, right = right, left
	}
	e.text, e.quantity = textOf(left), left.Quantity
	e.point, _ = refOf(left)
	e.value, e.limit = shownNumber(open, left), shownNumber(open, right)
}

// shownNumber also shows what is too small to be whole: "at least so much" is what decided.
func shownNumber(c compiler, n *formula.Node) func() float64 {
	if !grows(n) {
		return c.number(n)
	}
	amount := c.atLeast(n)
	return func() float64 { value, _ := amount(); return value }
}

func textOf(n *formula.Node) string {
	if n.Op == formula.Point && n.Ref != "" {
		return n.Ref
	}
	if n.Text != "" {
		return n.Text
	}
	if ref, ok := refOf(n); ok {
		return ref
	}
	return n.Quantity.String()
}

func evidenceOf(open compiler, e Evidence) exhibit {
	if e.Formula == nil {
		return exhibit{text: e.Text, plain: true}
	}
	shown := exhibit{text: textOf(e.Formula), quantity: e.Formula.Quantity}
	shown.point, _ = refOf(e.Formula)
	if isTest(e.Formula) {
		shown.value = asNumber(open.test(e.Formula, false))
	} else {
		shown.value = shownNumber(open, e.Formula)
	}
	return shown
}

func (e *exhibit) shown() Shown {
	s := Shown{Point: e.point, Text: e.text, Value: nan, Quantity: e.quantity}
	if e.value != nil {
		s.Value = e.value()
	}
	if e.limit != nil {
		s.Limit, s.HasLimit = e.limit(), true
		if late := s.Value - s.Limit; s.Quantity == units.Duration && late > 0 && late <= grain {
			s.Value = s.Limit
		}
	}
	return s
}

// grain is how late, in seconds, a time that runs by itself may be found past its limit, since it is looked at once a second: "not read for 3 min" is
// meant where the look came after 3 min 1 s.
const grain = 1

// decided are the parts that speak for what happened: those that hold when it comes, those that fail when it goes; all, if none does.
func (a *alarm) decided(event Event) []*exhibit {
	var some, all []*exhibit
	for i := range a.exhibits {
		e := &a.exhibits[i]
		all = append(all, e)
		if (event == Clear && e.keep() == fails) || (event != Clear && e.raise() == holds) {
			some = append(some, e)
		}
	}
	if some == nil {
		return all
	}
	return some
}

// show gives the values that decided; only known ones.
func (a *alarm) show(event Event) []Shown {
	var values []Shown
	for _, e := range a.decided(event) {
		if s := e.shown(); !math.IsNaN(s.Value) && !math.IsNaN(s.Limit) {
			values = append(values, s)
		}
	}
	return values
}

// phrase is an exhibit in words: "tank-1/ph is 4.15 pH, limit 4.20 pH".
func (e *exhibit) phrase() string {
	if e.plain {
		return e.text
	}
	s := e.shown()
	if math.IsNaN(s.Value) {
		return e.text + " is unknown"
	}
	text := e.text + " is " + units.Choice{}.Print(s.Value, s.Quantity)
	if s.HasLimit && !math.IsNaN(s.Limit) {
		text += ", limit " + units.Choice{}.Print(s.Limit, s.Quantity)
	}
	return text
}

// opposite says that a condition without a value of its own does not hold: "value is not bad".
func opposite(text string) string {
	if rest, was := strings.CutPrefix(text, "not "); was {
		return rest
	}
	if left, right, is := strings.Cut(text, " is not "); is {
		return left + " is " + right
	}
	if left, right, is := strings.Cut(text, " is "); is {
		return left + " is not " + right
	}
	return "not " + text
}

func (a *alarm) phrases(event Event) string {
	var parts []string
	for _, e := range a.decided(event) {
		if event == Clear && e.plain && e.keep != nil && e.keep() == fails {
			parts = append(parts, opposite(e.text)) // a return says what is true now
			continue
		}
		parts = append(parts, e.phrase())
	}
	return strings.Join(parts, "; ")
}

// sentence is the because of a transition.
func (m *machine) sentence(a *alarm, t Transition, d deed) string {
	rule := fmt.Sprintf("; rule %s, %s:%d.", a.spec.Name, a.spec.File, a.spec.Line)
	return a.note + m.said(a, t, d) + rule
}

func (m *machine) said(a *alarm, t Transition, d deed) string {
	switch t.Event {
	case Occur:
		return a.phrases(Occur) + m.lasted(d.lasted)
	case Clear:
		if d.why != "" {
			return d.why
		}
		return "back to normal: " + a.phrases(Clear) + m.lasted(d.lasted)
	case ReAnnunciate:
		if d.why != "" {
			return d.why + ": " + a.phrases(Occur)
		}
		return "still abnormal " + units.Choice{}.Print(a.spec.ReAnnunciate.Seconds(), units.Duration) + " after it was acknowledged: " + a.phrases(Occur)
	case Suppress:
		return "suppressed by design: " + d.why
	case Shelve:
		return "shelved by " + d.by + m.untilText(a) + ", because " + d.said
	}
	text := d.why
	if d.by != "" {
		text = map[Event]string{Acknowledge: "acknowledged", Reset: "reset", Unshelve: "unshelved", Remove: "taken out of service", Return: "returned to service"}[t.Event] +
			" by " + d.by
		if d.other != "" {
			text += " and " + d.other
		}
		if d.said != "" {
			text += ", because " + d.said
		}
	}
	if t.NewOccurrence {
		text += ": " + a.phrases(Occur)
	}
	return text
}

// lasted says for how long and since when something has been so.
func (m *machine) lasted(d time.Duration) string {
	text := ""
	if d > 0 {
		text = ", for " + units.Choice{}.Print(d.Seconds(), units.Duration)
	}
	if since := m.clockText(m.clock.mono - d); since != "" {
		text += ", since " + since
	}
	return text
}

// clockText is an instant by the site's clock, "" while that is not set.
func (m *machine) clockText(mono time.Duration) string {
	s := m.clock.stampAt(mono)
	if !s.Set {
		return ""
	}
	return s.Wall.In(m.clock.zone).Format("15:04:05")
}

func (m *machine) untilText(a *alarm) string {
	left := m.timers.due(timerShelf, a.place) - m.clock.mono
	text := " for " + units.Choice{}.Print(left.Seconds(), units.Duration)
	if at := m.clockText(m.clock.mono + left); at != "" {
		text += ", until " + at
	}
	return text
}

func (m *machine) verify(id string) []Shown {
	i, ok := m.byID[id]
	if !ok {
		return nil
	}
	var shown []Shown
	for j := range m.alarms[i].evidence {
		shown = append(shown, m.alarms[i].evidence[j].shown())
	}
	return shown
}

// unseen tells which input is unknown, or uncertain where that holds an alarm, and why.
func (m *machine) unseen(a *alarm) string {
	for _, name := range a.spec.When.Points() {
		p := &m.points[m.index[name]]
		if p.condition != good && (a.present || p.condition != uncertain) {
			return name + ": " + p.why()
		}
	}
	return "not enough readings yet"
}

func (m *machine) standings(dst []Standing) []Standing {
	for _, i := range m.byPlan {
		a := &m.alarms[i]
		s := Standing{Alarm: a.spec, State: a.shown(), Active: a.present, Occurrence: a.occurrence, Since: a.since, ActiveSince: a.activeSince,
			AcknowledgedBy: a.acknowledgedBy, AcknowledgedAt: a.acknowledgedAt, Held: a.present && a.blind, CannotSee: !a.present && a.blind,
			Because: a.because, Values: a.values, Count: a.count}
		if a.blind {
			s.Unseen = m.unseen(a)
		}
		if a.shelved {
			s.ShelfEnds = m.clock.stampAt(m.timers.due(timerShelf, a.place))
		}
		if a.due != nil {
			if seconds := a.due(); !math.IsNaN(seconds) {
				s.Due, s.HasDue = time.Duration(seconds*float64(time.Second)), true
			}
		}
		dst = append(dst, s)
	}
	return dst
}
