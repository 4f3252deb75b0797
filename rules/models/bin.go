package models

import (
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
)

// bin follows the coffee in one bin.
type bin struct {
	points
	presence
	gone
	m       *Models
	station *station
	air     air
	mould   coffee.RelativeHumidity

	mouldHours, ownMean output

	binState
}

// binState is what is saved.
type binState struct {
	Mould   time.Duration // the air stood above the limit of moulds
	Counted time.Duration // monotonic time up to which it is counted
	Running bool
	Week    week
	Gone    goneState
}

// week is the mean of a week, by hours.
type week struct {
	Sums    [7 * 24]float64 // temperature by seconds
	Seconds [7 * 24]float64
	Now     int
	Filled  float64 // seconds of the hour under way, known or not
	Total   float64 // of Sums
	Known   float64 // of Seconds
}

// ownMeanLeast is how much of a week must be known; chosen: a day and its night.
const ownMeanLeast = 24 * 3600

func (w *week) add(value, seconds float64, known bool) {
	for w.Filled += min(seconds, 7*24*3600); w.Filled >= 3600; w.Filled -= 3600 {
		w.Now = (w.Now + 1) % len(w.Sums)
		w.Total -= w.Sums[w.Now]
		w.Known -= w.Seconds[w.Now]
		w.Sums[w.Now], w.Seconds[w.Now] = 0, 0
	}
	if known {
		w.Sums[w.Now] += value * seconds
		w.Seconds[w.Now] += seconds
		w.Total += value * seconds
		w.Known += seconds
	}
}

func newBin(b *builder) model {
	n := &bin{m: b.m, station: b.station, mould: coffee.RelativeHumidity(b.spec.Limits["mould-bin-air"])}
	n.air.build(b, "temperature", "humidity")
	b.out(&n.air.activity, "water-activity")
	b.presence(&n.presence, "stored-time")
	n.gone.build(b)
	b.out(&n.mouldHours, "mould-hours")
	b.out(&n.ownMean, "own-mean")
	n.points = b.outputs
	return n
}

func (n *bin) begin(now reading.Stamp, _ Lot) {
	n.binState = binState{Counted: now.Mono, Running: true, Gone: goneState{Began: now.Mono}}
}

func (n *bin) end(now reading.Stamp) Lot {
	n.binState = binState{Counted: now.Mono, Running: true}
	return Lot{}
}

func (n *bin) moment(string, reading.Stamp)       {}
func (n *bin) observe(in *input, _ reading.Stamp) { n.gone.observe(&n.Gone, in) }

// count lets time pass with what stands.
func (n *bin) count(now reading.Stamp) {
	if !n.Running {
		n.Counted, n.Running = now.Mono, true
	}
	past := now.Mono - n.Counted
	n.Counted = now.Mono
	if n.air.t == nil {
		return
	}
	watched := past < gapLeast
	n.Week.add(n.air.t.value, past.Seconds(), watched && n.air.t.known(now.Mono))
	if watched && n.air.rh.known(now.Mono) && coffee.RelativeHumidity(n.air.rh.value) > n.mould {
		n.Mould += past
	}
}

func (n *bin) tick(now reading.Stamp, o *outs) {
	n.count(now)
	n.presence.tick(n.m, n.station, now, o)
	if !n.station.stay.Loaded && n.m.enters {
		n.points.outside(o)
		return
	}
	n.air.tick(now, o)
	if !n.station.stay.Loaded {
		return
	}
	n.gone.tick(&n.Gone, now, o)
	o.duration(&n.mouldHours, n.Mould, worst(now.Mono, n.air.t, n.air.rh), "")
	quality := worst(now.Mono, n.air.t)
	if n.Week.Known < ownMeanLeast && quality != reading.Bad {
		o.unknown(&n.ownMean, "cannot say yet: less than a day of this bin is known")
		return
	}
	o.give(&n.ownMean, n.Week.Total/max(1, n.Week.Known), quality, "")
}

func (n *bin) state() any { return &n.binState }

func (n *bin) restored(moved time.Duration) {
	n.Counted += moved
	n.Gone.Began += moved
	if n.Week.Now < 0 || n.Week.Now >= len(n.Week.Sums) || !(n.Week.Filled >= 0 && n.Week.Filled <= 3600) {
		n.binState = binState{}
	}
}
