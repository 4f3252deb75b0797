package engine

import (
	"fmt"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/formula"
)

// leastTail is the least time for which a dependence suppresses after it has cleared. [LANGUAGE section 4, depends-on]
const leastTail = 10 * time.Second

// alarm is an alarm, prompt or event as it stands. What judge looks at every time comes first.
type alarm struct {
	raise, keep func() truth
	rest             // what the last judgement rests on
	runs        bool // time runs in it
	ofCells     bool // it hangs on nothing but the cells of its points
	plain       bool // no gate, no suppression: the short way is enough while nothing runs
	waiting     bool // the condition is true, the on-delay runs
	ending      bool // the condition is false, the off-delay runs
	blind       bool // its inputs are unknown: held while present, else it cannot see
	gateClosed  bool
	onFor       time.Duration // toward the on-delay, before it was stopped
	facts

	onSince, offSince     time.Duration // while waiting, ending
	gateOpens, gateCloses func() truth  // nil: always open
	hide                  func() truth  // suppressed-while; nil: never
	on, below             []int32       // alarms it depends on; alarms that depend on it
	tail                  time.Duration
	tailUntil             time.Duration

	spec           *Alarm
	place          int32 // in machine.alarms
	exhibits       []exhibit
	evidence       []exhibit
	due            func() float64
	moment         string // events: what their coming marks
	occurrence     int64
	count          int
	since          reading.Stamp
	activeSince    reading.Stamp
	acknowledgedBy string
	acknowledgedAt reading.Stamp
	because        string
	values         []Shown
	shelfBegan     time.Duration
	oneShot        bool
	note           string // said with the next transition: the rules were changed
}

func (m *machine) makeAlarms(now reading.Stamp) error {
	order, err := m.alarmOrder()
	if err != nil {
		return err
	}
	m.alarms = make([]alarm, len(m.plan.Alarms)) // pointed into: it never grows
	m.byPlan = make([]int32, len(m.plan.Alarms))
	for place, at := range order {
		m.byPlan[at] = int32(place)
		spec := &m.plan.Alarms[at]
		m.byID[spec.ID] = int32(place)
		a := &m.alarms[place]
		a.spec, a.place, a.since, a.until = spec, int32(place), now, -never
		a.latching = spec.Latching && spec.Kind == KindAlarm
		if err := m.compileAlarm(a); err != nil {
			return fmt.Errorf("engine: %s (%s:%d): %w", spec.ID, spec.File, spec.Line, err)
		}
		m.link(a)
	}
	return nil
}

// alarmOrder puts alarms before those that depend on them, else as in the plan: what explains a fault is told before its consequences.
func (m *machine) alarmOrder() ([]int, error) {
	byID := make(map[string]int, len(m.plan.Alarms))
	for i := range m.plan.Alarms {
		id := m.plan.Alarms[i].ID
		if _, twice := byID[id]; twice {
			return nil, fmt.Errorf("engine: two alarms are %s", id)
		}
		byID[id] = i
	}
	order, mark := make([]int, 0, len(byID)), make([]int8, len(byID))
	var visit func(i int) error
	visit = func(i int) error {
		if mark[i] == 1 {
			return fmt.Errorf("engine: alarm %s depends on itself", m.plan.Alarms[i].ID)
		}
		if mark[i] == 2 {
			return nil
		}
		mark[i] = 1
		for _, id := range m.plan.Alarms[i].DependsOn {
			if on, ok := byID[id]; ok { // one that was left out of the plan never stands
				if err := visit(on); err != nil {
					return err
				}
			}
		}
		mark[i] = 2
		order = append(order, i)
		return nil
	}
	for i := range m.plan.Alarms {
		if err := visit(i); err != nil {
			return nil, err
		}
	}
	return order, nil
}

func (m *machine) compileAlarm(a *alarm) error {
	var err error
	if a.spec.When == nil {
		return fmt.Errorf("it has no condition")
	}
	open := compiler{m: m, err: &err}
	strict := compiler{m: m, err: &err, strict: true}
	keep := compiler{m: m, err: &err, strict: true, band: true}
	test := func(c compiler, n *formula.Node) func() truth { return c.test(n, false) }
	a.ofCells = true
	for _, n := range []*formula.Node{a.spec.When, a.spec.While, a.spec.SuppressedWhile} {
		a.runs = a.runs || timeRuns(n)
		a.ofCells = a.ofCells && (n == nil || ofCells(n))
	}
	if a.runs || !a.ofCells {
		test = func(c compiler, n *formula.Node) func() truth { return c.timed(a, n) }
	}
	a.raise, a.keep = test(open, a.spec.When), test(keep, a.spec.When)
	if a.spec.While != nil {
		a.gateOpens, a.gateCloses = test(open, a.spec.While), test(strict, a.spec.While)
	}
	if a.spec.SuppressedWhile != nil {
		a.hide = test(open, a.spec.SuppressedWhile)
	}
	if a.spec.Due != nil {
		a.due = open.number(a.spec.Due)
	}
	a.exhibits = exhibitsOf(open, keep, a.spec.When, false, nil)
	for _, e := range a.spec.VerifyWith {
		a.evidence = append(a.evidence, evidenceOf(open, e))
	}
	return err
}

// link enters an alarm in the lists of all that can change it.
func (m *machine) link(a *alarm) {
	in := m.inputsOf(a.spec.When, a.spec.While, a.spec.SuppressedWhile)
	for _, i := range in.points {
		p := &m.points[i]
		p.alarms = append(p.alarms, a.place)
		a.tail = max(a.tail, updateTime(p.spec))
	}
	a.tail, a.tailUntil = max(a.tail, leastTail), -never
	for _, name := range in.moments {
		if log := m.momentLog(name); len(log.alarms) == 0 || log.alarms[len(log.alarms)-1] != a.place {
			log.alarms = append(log.alarms, a.place)
		}
	}
	if a.runs {
		m.running = append(m.running, a.place)
	}
	for _, id := range a.spec.DependsOn {
		if on, ok := m.byID[id]; ok {
			a.on = append(a.on, on)
			m.alarms[on].below = append(m.alarms[on].below, a.place)
		}
	}
	if a.spec.Kind == KindEvent {
		a.moment = a.spec.Place + "/" + a.spec.Name
	}
	a.plain = a.gateOpens == nil && a.hide == nil && len(a.on) == 0
}

func updateTime(p *Point) time.Duration {
	if p.Update > 0 {
		return p.Update
	}
	return p.OverdueAfter / 3 // LANGUAGE section 5: overdue-after is 3 x every unless given
}

// judge works an alarm out at the present instant.
func (m *machine) judge(i int32, out []Transition) []Transition {
	a := &m.alarms[i]
	m.judged++
	a.rest = rest{never, true}
	out = m.judgeNow(a, out)
	if m.wakeful {
		a.rest = rest{until: m.clock.mono}
	}
	if a.runs {
		m.second = min(m.second, m.secondFrom(a.until))
	}
	return out
}

func (m *machine) judgeNow(a *alarm, out []Transition) []Transition {
	if a.plain && !a.present && !a.waiting && a.onFor == 0 {
		switch a.raise() {
		case fails:
			a.blind = false
			return out
		case unclear:
			a.blind = true
			return out
		}
	}
	return m.judgeWhole(a, out)
}

// judgeWhole looks at suppression first and last: an alarm that comes with its suppression does not ring, nor one that goes with its end.
func (m *machine) judgeWhole(a *alarm, out []Transition) []Transition {
	hidden, why := m.hides(a)
	if hidden && !a.suppressed {
		out = m.step(a, Suppress, deed{why: why}, out)
	}
	if m.gate(a) {
		out = m.judgeCondition(a, out)
	} else {
		a.blind, a.waiting, a.onFor = false, false, 0
		m.timers.stop(timerDelay, a.place)
		if a.present {
			a.ending = false
			out = m.step(a, Clear, deed{why: "“" + a.spec.While.Text + "” ended"}, out)
		}
	}
	if !hidden && a.suppressed {
		out = m.step(a, Unsuppress, deed{why: "what suppressed it has ended"}, out)
	}
	return out
}

// hides tells whether something suppresses the alarm, and what. Unknown does not.
func (m *machine) hides(a *alarm) (bool, string) {
	if a.hide != nil && a.hide() == holds {
		return true, a.spec.SuppressedWhile.Text
	}
	for _, on := range a.on {
		if m.alarms[on].present {
			return true, m.alarms[on].spec.ID
		}
	}
	return m.clock.mono < a.tailUntil, "what it depends on has only just cleared"
}

// gate tells whether the alarm is judged at all. Unknown leaves the gate as it was; at first it is open.
func (m *machine) gate(a *alarm) bool {
	if a.gateOpens == nil {
		return true
	}
	if a.gateClosed {
		a.gateClosed = a.gateOpens() != holds
	} else {
		a.gateClosed = a.gateCloses() == fails
	}
	return !a.gateClosed
}

func (m *machine) judgeCondition(a *alarm, out []Transition) []Transition {
	if a.present {
		return m.judgePresent(a, out)
	}
	now := m.clock.mono
	t := a.raise()
	a.blind = t == unclear
	if t == holds {
		if !a.waiting {
			a.waiting, a.onSince = true, now
		}
		due := a.onSince + a.spec.OnDelay - a.onFor
		if due > now {
			m.timers.set(timerDelay, a.place, due)
			return out
		}
		return m.occur(a, out)
	}
	if t == unclear && a.waiting { // unknown stops the delay where it is
		a.onFor += now - a.onSince
	}
	if t == fails {
		a.onFor = 0
	}
	a.waiting = false
	m.timers.stop(timerDelay, a.place)
	return out
}

func (m *machine) occur(a *alarm, out []Transition) []Transition {
	trueFor := m.clock.mono - a.onSince + a.onFor
	a.waiting, a.onFor = false, 0
	m.timers.stop(timerDelay, a.place)
	out = m.step(a, Occur, deed{lasted: trueFor}, out)
	if a.moment != "" {
		out = m.mark(a.moment, out)
	}
	out = m.judgeBelow(a, out)
	return m.judgePresent(a, out) // it may be held from the first, or end at once
}

func (m *machine) judgePresent(a *alarm, out []Transition) []Transition {
	t := a.keep()
	a.blind = t == unclear
	if t != fails {
		a.ending = false
		m.timers.stop(timerDelay, a.place)
		return out
	}
	if !a.ending {
		a.ending, a.offSince = true, m.clock.mono
	}
	if due := a.offSince + a.spec.OffDelay; due > m.clock.mono {
		m.timers.set(timerDelay, a.place, due)
		return out
	}
	a.ending = false
	m.timers.stop(timerDelay, a.place)
	return m.step(a, Clear, deed{lasted: m.clock.mono - a.offSince}, out)
}

// judgeBelow judges what depends on an alarm that has come or gone.
func (m *machine) judgeBelow(a *alarm, out []Transition) []Transition {
	for _, i := range a.below {
		out = m.judge(i, out)
	}
	return out
}
