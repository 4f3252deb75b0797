package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/formula"
)

var nan = math.NaN()

const disagrees = "/disagrees" // the point beside one that is voted

// work is how a derived point is worked out.
type work struct {
	every        time.Duration
	last         time.Duration // when it was; never if not yet
	open, strict func() float64
	disagrees    func() truth // a vote's, for the point beside it
	beside       int32        // that point, or -1
	place        int32        // in machine.order: its timer, so that inputs come first at the same instant
}

// makeWork compiles derived points and links each input to all that hangs on it, inputs first.
func (m *machine) makeWork() error {
	order, err := m.workOrder()
	if err != nil {
		return err
	}
	m.order = order
	below := make([]map[int32]bool, len(m.points)) // everything a point hangs on
	for place, i := range order {
		p := &m.points[i]
		p.work = &work{every: p.spec.Every, last: never, beside: -1, place: int32(place)}
		if err := m.compileWork(p); err != nil {
			return fmt.Errorf("engine: point %s: %w", p.spec.Name, err)
		}
		in := m.inputsOf(p.spec.Formula)
		if in.runs {
			m.runningWork = append(m.runningWork, i)
		}
		below[i] = map[int32]bool{}
		for _, input := range in.points {
			input = m.source(input)
			below[i][input] = true
			for deeper := range below[input] {
				below[i][deeper] = true
			}
		}
		for input := range below[i] {
			m.points[input].derived = append(m.points[input].derived, i)
		}
	}
	return nil
}

// workOrder puts inputs before what is worked out of them.
func (m *machine) workOrder() ([]int32, error) {
	var order []int32
	mark := make([]int8, len(m.points)) // 1: being visited, 2: placed
	var visit func(i int32) error
	visit = func(i int32) error {
		spec := m.points[i].spec
		if spec.Formula == nil || mark[i] == 2 {
			return nil
		}
		if mark[i] == 1 {
			return fmt.Errorf("engine: point %s is worked out of itself", spec.Name)
		}
		mark[i] = 1
		for _, name := range spec.Formula.Points() {
			if input, ok := m.index[name]; ok {
				if err := visit(m.source(input)); err != nil {
					return err
				}
			}
		}
		mark[i] = 2
		order = append(order, i)
		return nil
	}
	for i := range m.points {
		if err := visit(int32(i)); err != nil {
			return nil, err
		}
	}
	return order, nil
}

// source is the vote that tells whether its parts disagree, for the point that says so; any other point is its own source.
func (m *machine) source(i int32) int32 {
	name, isBeside := strings.CutSuffix(m.points[i].spec.Name, disagrees)
	if vote, ok := m.index[name]; ok && isBeside && m.points[vote].spec.Formula != nil {
		return vote
	}
	return i
}

func (m *machine) compileWork(p *point) error {
	var err error
	f, c := p.spec.Formula, compiler{m: m, err: &err}
	strict := c
	strict.strict = true
	p.overdueAfter = 0 // it is as old as its inputs
	m.timers.stop(timerOverdue, m.index[p.spec.Name])
	if isTest(f) {
		p.work.open, p.work.strict = asNumber(c.test(f, false)), asNumber(strict.test(f, false))
	} else {
		p.work.open, p.work.strict = c.number(f), strict.number(f)
	}
	if beside, ok := m.index[p.spec.Name+disagrees]; ok && f.Op == formula.Vote {
		p.work.beside, p.work.disagrees = beside, c.disagree(f)
	}
	return err
}

// asNumber makes 1, 0 or unknown of a condition.
func asNumber(test func() truth) func() float64 {
	return func() float64 {
		switch test() {
		case holds:
			return 1
		case fails:
			return 0
		}
		return nan
	}
}

// workAll works out derived points, in their order, each at most so often as its Every allows; then it judges what looks at them. So an alarm
// never sees one input new and another, that hangs on it, old. moved tells that the point on which they hang has left its cell.
func (m *machine) workAll(derived []int32, moved bool, out []Transition) []Transition {
	worked := m.worked[:0]
	for _, i := range derived {
		w := m.points[i].work
		if w.last != never && m.clock.mono < w.last+w.every {
			m.timers.set(timerWork, w.place, w.last+w.every)
			continue
		}
		m.workOut(i)
		worked = append(worked, i)
		if w.beside >= 0 {
			worked = append(worked, w.beside)
		}
	}
	for _, i := range worked {
		moved = m.points[i].moved() || moved
	}
	for _, i := range worked {
		out = m.judgeOf(&m.points[i], moved, out)
	}
	m.worked = worked
	return out
}

func (m *machine) workOut(i int32) {
	p := &m.points[i]
	w := p.work
	w.last = m.clock.mono
	m.timers.stop(timerWork, w.place)
	value, sure := w.open(), w.strict()
	switch {
	case math.IsNaN(value) || math.IsInf(value, 0):
		m.settle(i, nan, reading.Bad, "an input is unknown")
	case math.IsNaN(sure):
		m.settle(i, value, reading.Uncertain, "an input is uncertain")
	default:
		m.settle(i, value, reading.Good, "")
	}
	if w.beside < 0 {
		return
	}
	switch w.disagrees() {
	case unclear:
		m.settle(w.beside, nan, reading.Bad, "fewer than two are known")
	case holds:
		m.settle(w.beside, 1, reading.Good, "")
	default:
		m.settle(w.beside, 0, reading.Good, "")
	}
}

func (m *machine) settle(i int32, value float64, quality reading.Quality, cause string) {
	p := &m.points[i]
	p.take(value, quality, cause, m.clock.stamp())
	p.feed(p.at)
	if !p.fresh {
		p.fresh = true
		m.fresh = append(m.fresh, i)
	}
}

func (m *machine) takeDerived(dst []reading.Reading) []reading.Reading {
	slices.Sort(m.fresh)
	for _, i := range m.fresh {
		p := &m.points[i]
		p.fresh = false
		dst = append(dst, reading.Reading{Point: p.spec.Name, Quantity: p.spec.Quantity, Value: p.open, Stamp: p.stamp, Quality: p.quality, Cause: p.cause})
	}
	m.fresh = m.fresh[:0]
	return dst
}
