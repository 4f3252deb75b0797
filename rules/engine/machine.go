package engine

import (
	"fmt"
	"slices"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/formula"
)

// machine is an engine for one plan: what stands, what runs, and who is judged by what. A reload makes a new one.
type machine struct {
	plan        Plan
	clock       clock
	began       time.Duration // watching since then, restarts included
	started     bool
	second      time.Duration // next whole second at which a running rule is to be judged, or a derived point worked out; never: none
	leapt       time.Duration // seconds before it are not gone through: a pause was too long for it
	judged      int           // how often an alarm was judged
	wakeful     bool          // tests: judge at every reading and every second, as if nothing were known about when it is worth it
	index       map[string]int32
	points      []point
	alarms      []alarm // those that others depend on come first
	byPlan      []int32 // places of the plan's alarms in alarms
	byID        map[string]int32
	moments     map[string]*momentLog
	timers      timers
	runningWork []int32 // derived points and alarms in whose formulas time runs
	running     []int32
	order       []int32 // derived points, inputs first
	worked, due []int32 // scratch of workAll and expire
	fresh       []int32 // derived points worked out since they were last taken
	occurrences int64
	resumed     bool         // the state of the same boot was taken over: nothing is to be judged that was judged
	anew        []int32      // alarms to be judged at once: their rule changed
	pending     []Transition // of a restart or reload, told with the first call
}

func newMachine(p Plan, now reading.Stamp) (*machine, error) {
	if p.Zone == nil {
		p.Zone = time.UTC
	}
	m := &machine{plan: p, index: make(map[string]int32, len(p.Points)), byID: make(map[string]int32, len(p.Alarms)), moments: map[string]*momentLog{},
		began: now.Mono, clock: clock{mono: now.Mono, anchor: now, zone: p.Zone}}
	m.second, m.leapt = nextSecond(now.Mono), -never
	m.timers = newTimers(len(p.Points), len(p.Alarms))
	if err := m.makePoints(now); err != nil {
		return nil, err
	}
	if err := m.makeAlarms(now); err != nil {
		return nil, err
	}
	return m, nil
}

func nextSecond(mono time.Duration) time.Duration {
	second := mono.Truncate(time.Second)
	if second <= mono {
		second += time.Second
	}
	return second
}

func (m *machine) makePoints(now reading.Stamp) error {
	m.points = make([]point, len(m.plan.Points)) // closures point into it: it never grows
	for i := range m.plan.Points {
		spec := &m.plan.Points[i]
		if _, twice := m.index[spec.Name]; twice {
			return fmt.Errorf("engine: two points named %s", spec.Name)
		}
		m.index[spec.Name] = int32(i)
		p := &m.points[i]
		p.spec, p.overdueAfter, p.lastKnown, p.cell.condition = spec, spec.OverdueAfter, never, noCell
		p.stand(unseen, nan)
		m.expect(int32(i), now.Mono)
	}
	return m.makeWork()
}

// expect lets a point be overdue when it has been silent for too long since a time.
func (m *machine) expect(i int32, since time.Duration) {
	if p := &m.points[i]; p.overdueAfter > 0 && !p.resting {
		m.timers.set(timerOverdue, i, since+p.overdueAfter+1)
	}
}

// rest lets a point owe no reading, or owe one again.
func (m *machine) rest(name string, rests bool, now reading.Stamp, out []Transition) []Transition {
	i, ok := m.index[name]
	if !ok || m.points[i].resting == rests {
		return out
	}
	out = m.advance(now, out)
	p := &m.points[i]
	p.resting = rests
	if since := m.clock.mono; !rests && p.seen && p.at+p.overdueAfter > since {
		m.expect(i, p.at)
		return out
	} else if !rests {
		m.expect(i, since)
	} else {
		m.timers.stop(timerOverdue, i)
	}
	p.seen, p.quality, p.cause = false, reading.Good, ""
	p.stand(unseen, nan)
	return m.changed(i, m.clock.mono, out)
}

// observe takes a reading. One older than the newest of its point, or of another boot, decides nothing.
func (m *machine) observe(r *reading.Reading, out []Transition) []Transition {
	i, ok := m.index[r.Point]
	if !ok {
		return m.advance(r.Stamp, out)
	}
	return m.observeAt(i, r, out)
}

// observeAt takes a reading of a point that is known already.
func (m *machine) observeAt(i int32, r *reading.Reading, out []Transition) []Transition {
	out = m.advance(r.Stamp, out)
	if r.Stamp.Boot != m.clock.anchor.Boot {
		return out
	}
	p := &m.points[i]
	if p.work != nil || (p.seen && r.Stamp.Mono < p.at) {
		return out
	}
	p.take(r.Value, r.Quality, r.Cause, r.Stamp)
	m.expect(i, r.Stamp.Mono)
	return m.changed(i, p.at, out)
}

// changed passes a new standing value on: to the windows, to derived points, then to the alarms.
func (m *machine) changed(i int32, at time.Duration, out []Transition) []Transition {
	p := &m.points[i]
	p.feed(at)
	moved := p.moved()
	out = m.workAll(p.derived, moved, out)
	return m.judgeOf(p, moved, out)
}

// judgeOf judges the alarms that look at a point: all, if something has left its cell; else those that look at more than cells, and those in which a time runs that
// may end at this very instant, so that the order of what happens at one instant stays the same.
func (m *machine) judgeOf(p *point, moved bool, out []Transition) []Transition {
	for _, i := range p.alarms {
		if a := &m.alarms[i]; moved || !a.still || a.until <= m.clock.mono || a.waiting || a.ending || a.suppressed {
			out = m.judge(i, out)
		}
	}
	return out
}

// advance lets time go on: everything that is due happens at its own instant, in order, however late this call comes.
func (m *machine) advance(to reading.Stamp, out []Transition) []Transition {
	if to.Boot != m.clock.anchor.Boot {
		return out
	}
	if !m.started {
		out = m.begin(out)
	}
	if to.Mono < m.clock.mono {
		return out
	}
	m.clock.anchor = to
	for {
		due, ok := m.nextDue()
		if !ok || due > to.Mono {
			break
		}
		m.clock.mono = max(due, m.clock.mono)
		out = m.happen(due, out)
	}
	m.clock.mono = to.Mono
	return out
}

func (m *machine) nextDue() (time.Duration, bool) {
	due, ok := m.timers.next()
	if len(m.running)+len(m.runningWork) > 0 && m.second < never && (!ok || m.second < due) {
		return m.second, true
	}
	return due, ok
}

func (m *machine) happen(due time.Duration, out []Transition) []Transition {
	if at, ok := m.timers.next(); ok && at <= due {
		if e, due := m.timers.take(); due {
			return m.expire(e, out)
		}
		return out
	}
	m.second = never
	if len(m.runningWork) > 0 {
		m.second = max(nextSecond(due), m.leapt)
		out = m.workAll(m.runningWork, false, out)
	}
	for _, i := range m.running {
		if until := m.alarms[i].until; until > due {
			m.second = min(m.second, m.secondFrom(until))
			continue
		}
		out = m.judge(i, out)
	}
	return out
}

func (m *machine) expire(e entry, out []Transition) []Transition {
	switch e.kind {
	case timerOverdue:
		m.points[e.index].stand(overdue, nan)
		out = m.changed(e.index, m.clock.mono, out)
	case timerWork:
		i := m.order[e.index]
		m.due = append(append(m.due[:0], i), m.points[i].derived...)
		out = m.workAll(m.due, false, out)
	case timerShelf:
		out = m.step(&m.alarms[e.index], Unshelve, deed{why: "the shelf ended"}, out)
	case timerAgain:
		if a := &m.alarms[e.index]; a.shown() == Acknowledged {
			out = m.step(a, ReAnnunciate, deed{}, out)
		}
	default:
		out = m.judge(e.index, out)
	}
	return out
}

// begin judges everything once, so that what needs no reading is told; going on in the same boot, only what is new.
func (m *machine) begin(out []Transition) []Transition {
	m.started = true
	for i := range m.points {
		if p := &m.points[i]; p.condition != unseen {
			m.seed(p)
		}
	}
	out = append(out, m.pending...)
	m.pending = nil
	if !m.resumed {
		out = m.workAll(m.order, false, out)
		for i := range m.alarms {
			out = m.judge(int32(i), out)
		}
		return out
	}
	m.due = m.due[:0]
	for _, i := range m.order {
		if m.points[i].work.last == never {
			m.due = append(m.due, i)
		}
	}
	out = m.workAll(m.due, false, out)
	for _, i := range m.anew {
		out = m.judge(i, out)
	}
	m.anew = nil
	return out
}

// seed lets a standing value that Fill did not bring stand in the windows from now on, and ends there one that is overdue.
func (m *machine) seed(p *point) {
	for _, w := range p.windows {
		switch {
		case w.empty():
			w.add(p.sample(m.clock.mono))
		case p.condition == overdue:
			w.add(p.sample(p.at + p.overdueAfter + 1))
		}
	}
}

func (m *machine) lastKnown(p *point) time.Duration {
	if p.lastKnown == never {
		return m.began
	}
	return p.lastKnown
}

func (m *machine) look(name string) (PointState, bool) {
	i, ok := m.index[name]
	if !ok {
		return PointState{Value: nan, Quality: reading.Bad, Cause: "no such point"}, false
	}
	return m.points[i].state(), true
}

func (m *machine) reach(name string) time.Duration {
	longest := time.Duration(0)
	if i, ok := m.index[name]; ok {
		for _, w := range m.points[i].windows {
			longest = max(longest, w.over+w.ago)
		}
	}
	return longest
}

// fill feeds a reading of the history to the windows; a pause longer than overdue-after is a gap.
func (m *machine) fill(r *reading.Reading) {
	i, ok := m.index[r.Point]
	at, placed := m.place(r.Stamp)
	if !ok || !placed || m.started || at > m.clock.mono {
		return
	}
	p := &m.points[i]
	past := point{spec: p.spec}
	past.take(r.Value, r.Quality, r.Cause, r.Stamp)
	for _, w := range p.windows {
		if last, any := w.newest(); any && p.overdueAfter > 0 && at > last+p.overdueAfter+1 {
			w.add(sample{last + p.overdueAfter + 1, nan, gap})
		}
		w.add(past.sample(at))
	}
}

// place puts a stamp on the monotonic axis of now; one of another boot by its wall time, if both clocks were set.
func (m *machine) place(s reading.Stamp) (time.Duration, bool) {
	now := m.clock.anchor
	if s.Boot == now.Boot {
		return s.Mono, true
	}
	return now.Mono - now.Wall.Sub(s.Wall), s.Set && now.Set
}

// inputs are what a formula looks at, beside points.
type inputs struct {
	points  []int32
	moments []string
	runs    bool // time alone can change it
}

func (m *machine) inputsOf(formulas ...*formula.Node) inputs {
	var in inputs
	for _, f := range formulas {
		for _, name := range f.Points() {
			if i, ok := m.index[name]; ok && !slices.Contains(in.points, i) {
				in.points = append(in.points, i)
			}
		}
		f.Walk(func(n *formula.Node) {
			switch n.Op {
			case formula.TimeSince:
				in.moments = append(in.moments, n.Moment, loadingOf(n.Moment))
			case formula.Times:
				in.moments = append(in.moments, n.Moment)
			}
			in.runs = in.runs || runs(n.Op)
		})
	}
	return in
}

func runs(op formula.Op) bool {
	switch op {
	case formula.Mean, formula.Highest, formula.Lowest, formula.Spread, formula.Rise, formula.Change, formula.TimeAbove, formula.TimeBelow,
		formula.TimeOn, formula.HeatAbove, formula.Age, formula.TimeSince, formula.Times, formula.Night, formula.During, formula.Until,
		formula.Watched:
		return true
	}
	return false
}
