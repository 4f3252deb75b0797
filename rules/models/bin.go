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
	Doubt   doubt         // of Mould, over the stay
	Counted time.Duration // monotonic time up to which it is counted
	Running bool
	Week    week
	Gone    goneState
}

// week is the mean of a week, by hours.
type week struct {
	Sums    [7 * 24]float64 // temperature by seconds
	Seconds [7 * 24]float64
	Unsure  [7 * 24]float64 // of Seconds
	Now     int
	Filled  float64 // seconds of the hour under way, known or not
	Total   float64 // of Sums
	Known   float64 // of Seconds
	Doubted float64 // of Unsure
}

// ownMeanLeast is how much of a week must be known; chosen: a day and its night.
const ownMeanLeast = 24 * 3600

// add lets seconds pass, of which a value stood for so many.
func (w *week) add(value, seconds, stood float64, unsure bool) {
	for w.Filled += min(seconds, 7*24*3600); w.Filled >= 3600; w.Filled -= 3600 {
		w.Now = (w.Now + 1) % len(w.Sums)
		w.Total -= w.Sums[w.Now]
		w.Known -= w.Seconds[w.Now]
		w.Doubted -= w.Unsure[w.Now]
		w.Sums[w.Now], w.Seconds[w.Now], w.Unsure[w.Now] = 0, 0, 0
	}
	if stood > 0 {
		w.Sums[w.Now] += value * stood
		w.Seconds[w.Now] += stood
		w.Total += value * stood
		w.Known += stood
	}
	if unsure {
		w.Unsure[w.Now] += stood
		w.Doubted += stood
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

func (n *bin) count(now reading.Stamp) {
	if !n.Running {
		n.Counted, n.Running = now.Mono, true
	}
	from := n.Counted
	n.Counted = now.Mono
	if t := n.air.t; t != nil {
		n.Week.add(t.value, (now.Mono - from).Seconds(), t.stood(from, now.Mono).Seconds(), t.quality == reading.Uncertain)
	}
	if rh := n.air.rh; rh != nil {
		long := rh.stood(from, now.Mono)
		n.Doubt.add(long, rh.quality == reading.Uncertain)
		if coffee.RelativeHumidity(rh.value) > n.mould {
			n.Mould += long
		}
	}
}

func (n *bin) tick(now reading.Stamp, all bool, o *outs) {
	n.count(now)
	if !all {
		if n.station.stay.Loaded || !n.m.enters {
			n.air.tick(now, o)
		}
		return
	}
	n.station.by(minuteOf(n.Gone.Began, now.Mono))
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
	quality, cause := n.Doubt.over(worst(now.Mono, n.air.t, n.air.rh), "")
	o.duration(&n.mouldHours, n.Mould, quality, cause)
	quality, cause = worst(now.Mono, n.air.t), ""
	if n.Week.Known < ownMeanLeast && quality != reading.Bad {
		o.unknown(&n.ownMean, "cannot say yet: less than a day of this bin is known")
		return
	}
	if 10*n.Week.Doubted > n.Week.Known && quality == reading.Good {
		quality, cause = reading.Uncertain, causeDoubt
	}
	o.give(&n.ownMean, n.Week.Total/max(1, n.Week.Known), quality, cause)
}

func (n *bin) state() any { return &n.binState }

func (n *bin) restored(moved time.Duration) {
	n.Counted += moved
	n.Gone.Began += moved
	if n.Week.Now < 0 || n.Week.Now >= len(n.Week.Sums) || !(n.Week.Filled >= 0 && n.Week.Filled <= 3600) {
		n.binState = binState{}
	}
}
