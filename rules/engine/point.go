package engine

import (
	"math"
	"time"

	"millwarden/internal/reading"
)

// causeFrozen is the cause by which collect tells that a point does not move though it should.
const causeFrozen = "frozen"

// condition is how a standing value may be used: exactly one at a time.
type condition uint8

const (
	unseen condition = iota // no reading yet
	good
	uncertain
	bad
	frozen
	overdue
)

// point is a point as it stands. open and strict are what conditions read: NaN while it is unknown, strict also while it is uncertain.
type point struct {
	open, strict float64
	condition    condition
	seen         bool          // at least one reading came
	fresh        bool          // worked out, and not taken by Derived yet
	resting      bool          // nobody owes a reading of it: it is never overdue
	at           time.Duration // of the newest reading
	lastKnown    time.Duration // when it was last known; never if not yet
	overdueAfter time.Duration
	cell         cell
	cuts         []float64 // limits to which it is compared, rising
	alarms       []int32   // judged when it changes
	windows      []*window
	derived      []int32 // worked out when it changes, inputs first
	work         *work   // derived points
	stamp        reading.Stamp
	quality      reading.Quality
	cause        string
	spec         *Point
}

func (p *point) known() bool { return p.condition == good || p.condition == uncertain }

// take makes a value stand.
func (p *point) take(value float64, quality reading.Quality, cause string, at reading.Stamp) {
	p.at, p.stamp, p.quality, p.cause, p.seen = at.Mono, at, quality, cause, true
	switch {
	case quality == reading.Bad && cause == causeFrozen:
		p.stand(frozen, math.NaN())
	case quality == reading.Bad || math.IsNaN(value) || math.IsInf(value, 0):
		p.stand(bad, math.NaN())
	case quality == reading.Uncertain:
		p.stand(uncertain, value)
	default:
		p.stand(good, value)
	}
}

func (p *point) stand(c condition, value float64) {
	p.condition, p.open, p.strict = c, value, value
	if c == uncertain {
		p.strict = math.NaN()
	}
	if p.known() {
		p.lastKnown = p.at
	}
}

// sample is the standing value as windows see it.
func (p *point) sample(at time.Duration) sample {
	switch p.condition {
	case good:
		return sample{at, p.open, sure}
	case uncertain:
		return sample{at, p.open, doubtful}
	}
	return sample{at, math.NaN(), gap}
}

// feed passes the standing value to the windows.
func (p *point) feed(at time.Duration) {
	for _, w := range p.windows {
		w.add(p.sample(at))
		if w.widened {
			w.widened, p.cell.condition = false, noCell
		}
	}
}

func (p *point) state() PointState {
	s := PointState{Known: p.known(), Value: p.open, Quantity: p.spec.Quantity, Quality: p.quality, Cause: p.cause, At: p.stamp,
		Overdue: p.condition == overdue, Frozen: p.condition == frozen, Seen: p.seen}
	if p.condition == unseen {
		s.Quality, s.Cause = reading.Bad, "no reading yet"
	}
	if s.Overdue {
		s.Quality, s.Cause = reading.Bad, "overdue"
	}
	return s
}

// why says why a point is unknown or uncertain.
func (p *point) why() string {
	s := p.state()
	if s.Cause == "" {
		return s.Quality.String()
	}
	return s.Cause
}
