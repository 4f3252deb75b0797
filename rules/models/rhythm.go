package models

import (
	"math"
	"time"
)

// How often what is worked out. All chosen.
const (
	// allEvery is how often all points of a station are worked out and said though no input moved: times since, times left, counts of hours. Nobody acts within a minute on these.
	allEvery = time.Minute
	// leastBetween and roasterEvery are the least time between two looks at a station: as often as its probes are read.
	leastBetween = 10 * time.Second
	roasterEvery = 2 * time.Second
	// movesWarmth and movesHumidity are by how much an input must move for the points that follow it to be worked out before the minute is over, in K and %RH: what good probes are good to.
	movesWarmth   = 0.2
	movesHumidity = 1.0
	// forecastFar is how often a forecast is made of what is further off than forecastNear; nearer than that it is made at each step of ten minutes.
	forecastFar    = 30 * time.Minute
	forecastNear   = 3 * time.Hour
	forecastNearPH = 0.3 // some two hours of a tank that sours
)

// rhythm is when a station has to be looked at.
type rhythm struct {
	look  time.Duration // the next look
	due   time.Duration // all points are due
	lapse time.Duration // an input falls silent unless it is read again
	last  time.Duration // the last look
	least time.Duration // between two looks
	whole bool          // all points are to be worked out at the next look
}

// never is later than any look.
const never = time.Duration(math.MaxInt64)

// atOnce asks for all points at the next tick.
func (r *rhythm) atOnce() { r.whole, r.look = true, math.MinInt64 }

// changed asks for all points, as soon as the least time is over.
func (r *rhythm) changed() {
	r.whole = true
	r.moved()
}

// moved asks for a look, as soon as the least time is over.
func (r *rhythm) moved() { r.look = min(r.look, r.last+r.least) }

// by asks for all points at a time or before.
func (r *rhythm) by(at time.Duration) { r.due = min(r.due, at) }

// startLook is told that a look begins, and tells whether all points are to be worked out.
func (r *rhythm) startLook(now time.Duration, inputs []*input) bool {
	all := r.whole || now >= r.due
	r.lapse = never
	for _, in := range inputs {
		known := in.known(now)
		all = all || known != in.was
		in.was, in.looked = known, in.value
		if known && in.overdue > 0 {
			r.lapse = min(r.lapse, in.at+in.overdue+1)
		}
	}
	if r.last, r.whole = now, false; all {
		r.due = now + allEvery
	}
	return all
}

// endLook is told that the look is over.
func (r *rhythm) endLook() { r.look = min(r.due, max(r.lapse, r.last+r.least)) }

// minuteOf is the next whole minute since a step began, so that a restart does not move it.
func minuteOf(began, now time.Duration) time.Duration {
	return began + ((now-began)/allEvery+1)*allEvery
}
