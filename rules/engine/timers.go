package engine

import (
	"math"
	"time"
)

// timerKind orders what is due at the same instant.
type timerKind uint8

const (
	timerOverdue timerKind = iota // of a point
	timerWork                     // of a derived point
	timerTail                     // of an alarm: a dependence's after-time ends
	timerDelay                    // on or off
	timerShelf
	timerAgain // re-annunciate
	timerKinds
)

const never = time.Duration(math.MaxInt64)

// timer is a deadline kept in the state. Moving it later costs nothing: the heap's entry is looked at when it comes up.
type timer struct{ due, queued time.Duration }

// entry is a deadline in the heap. One that its timer no longer stands by is dropped when it comes up.
type entry struct {
	at    time.Duration
	kind  timerKind
	index int32
}

func (e entry) before(o entry) bool {
	if e.at != o.at {
		return e.at < o.at
	}
	if e.kind != o.kind {
		return e.kind < o.kind
	}
	return e.index < o.index
}

// timers are all deadlines of an engine: the timers by kind and index, and a heap of the earliest of each.
type timers struct {
	of   [timerKinds][]timer
	heap []entry
}

func newTimers(points, alarms int) timers {
	var t timers
	for kind := range t.of {
		size := alarms
		if timerKind(kind) <= timerWork {
			size = points
		}
		t.of[kind] = make([]timer, size)
		for i := range t.of[kind] {
			t.of[kind][i] = timer{never, never}
		}
	}
	t.heap = make([]entry, 0, points+alarms) // chosen: room for one of each before it must grow
	return t
}

func (t *timers) set(kind timerKind, index int32, due time.Duration) {
	tm := &t.of[kind][index]
	tm.due = due
	if due < tm.queued {
		tm.queued = due
		t.push(entry{due, kind, index})
	}
}

func (t *timers) stop(kind timerKind, index int32) { t.of[kind][index].due = never }

func (t *timers) due(kind timerKind, index int32) time.Duration { return t.of[kind][index].due }

// next is the earliest entry; its timer may have moved later since.
func (t *timers) next() (time.Duration, bool) {
	if len(t.heap) == 0 {
		return 0, false
	}
	return t.heap[0].at, true
}

// take removes the earliest entry and tells whether its timer is really due.
func (t *timers) take() (entry, bool) {
	e := t.pop()
	tm := &t.of[e.kind][e.index]
	if tm.queued != e.at {
		return e, false
	}
	tm.queued = never
	if tm.due > e.at {
		if tm.due != never {
			t.set(e.kind, e.index, tm.due)
		}
		return e, false
	}
	tm.due = never
	return e, true
}

func (t *timers) push(e entry) {
	t.heap = append(t.heap, e)
	i := len(t.heap) - 1
	for i > 0 {
		parent := (i - 1) / 2
		if !t.heap[i].before(t.heap[parent]) {
			return
		}
		t.heap[i], t.heap[parent] = t.heap[parent], t.heap[i]
		i = parent
	}
}

func (t *timers) pop() entry {
	top, last := t.heap[0], len(t.heap)-1
	t.heap[0] = t.heap[last]
	t.heap = t.heap[:last]
	for i := 0; ; {
		least := i
		for child := 2*i + 1; child <= 2*i+2 && child < last; child++ {
			if t.heap[child].before(t.heap[least]) {
				least = child
			}
		}
		if least == i {
			return top
		}
		t.heap[i], t.heap[least] = t.heap[least], t.heap[i]
		i = least
	}
}
