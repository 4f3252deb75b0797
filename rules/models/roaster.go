package models

import (
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// roaster follows the batches of one roaster.
type roaster struct {
	points
	m             *Models
	station       *station
	bean, exhaust *input
	drop, crack   units.Celsius

	time, rise, dropIn, above, chaff, ducts, roasting, cracked output
	roast                                                      coffee.Roast
	roasterState
	marks [4]string // names of the moments, so that none is made while running
}

// roasterState is what is saved.
type roasterState struct {
	Chaff, Ducts  int // roasts since each was cleaned
	Roasting      bool
	Charged       time.Duration
	Past, Cracked bool
	Peak          units.Celsius
	PeakAt        time.Duration
	Exhaust       float64              // highest of this roast
	Usual         [usualRoasts]float64 // highest of the last roasts
	Roasts        int
}

// usualRoasts is over how many roasts the usual exhaust is taken; chosen. usualLeast are needed.
const (
	usualRoasts = 10
	usualLeast  = 3
)

const saysNoRoast = "no roast is under way"

func newRoaster(b *builder) model {
	r := &roaster{m: b.m, station: b.station, bean: b.in("bean-temperature"), exhaust: b.in("exhaust-temperature"),
		drop: units.Celsius(b.spec.Settings["drop-temperature"]), crack: units.Celsius(b.spec.Settings["first-crack-at"])}
	b.out(&r.time, "roast-time")
	b.out(&r.rise, "rate-of-rise")
	b.out(&r.dropIn, "drop-in")
	b.out(&r.above, "exhaust-above-usual")
	b.out(&r.chaff, "roasts-since-chaff")
	b.out(&r.ducts, "roasts-since-ducts")
	b.out(&r.roasting, "roasting")
	b.out(&r.cracked, "past-first-crack")
	r.points = b.outputs
	for i, name := range [...]string{"/charged", "/first-crack", "/dropped"} {
		r.marks[i] = b.spec.Name + name
	}
	return r
}

func (r *roaster) begin(reading.Stamp, Lot) {}
func (r *roaster) end(reading.Stamp) Lot    { return Lot{} }

// moment takes what people mark by hand.
func (r *roaster) moment(name string, now reading.Stamp) {
	switch name {
	case "first-crack":
		r.roast.Cracked = r.roast.Roasting
	case "charged":
		if !r.roast.Roasting {
			r.roast.Roasting, r.roast.Charged, r.roast.Low, r.roast.LowAt = true, now.Mono, units.Celsius(r.bean.valueOr(100)), now.Mono
		}
	case "dropped":
		if r.roast.Roasting {
			r.roast.Roasting = false
			r.over()
		}
	case "chaff-emptied":
		r.Chaff = 0
	case "ducts-cleaned":
		r.Ducts = 0
	}
}

func (in *input) valueOr(usual float64) float64 {
	if in == nil || !in.seen {
		return usual
	}
	return in.value
}

func (r *roaster) observe(in *input, now reading.Stamp) {
	if in.quality == reading.Bad {
		return
	}
	if in == r.exhaust {
		if r.roast.Roasting {
			r.Exhaust = max(r.Exhaust, in.value)
		}
		return
	}
	switch r.roast.See(now.Mono, units.Celsius(in.value), r.crack) {
	case coffee.MarkCharged:
		r.Exhaust = 0
		r.mark(0, now)
	case coffee.MarkFirstCrack:
		r.mark(1, now)
	case coffee.MarkDropped:
		r.mark(2, now)
		r.over()
	case coffee.NoMark, coffee.MarkTurned, coffee.MarkGivenUp:
	}
}

func (r *roaster) mark(i int, now reading.Stamp) {
	r.m.marks = append(r.m.marks, Mark{Name: r.marks[i], At: now})
}

// over counts a roast that is done.
func (r *roaster) over() {
	r.Chaff++
	r.Ducts++
	if r.Exhaust > 0 {
		r.Usual[r.Roasts%usualRoasts] = r.Exhaust
		r.Roasts++
	}
}

func (r *roaster) tick(now reading.Stamp, _ bool, o *outs) {
	every := leastBetween
	if r.roast.Roasting {
		every = roasterEvery
	}
	r.station.by(now.Mono + every)
	o.give(&r.chaff, float64(r.Chaff), reading.Good, "")
	o.give(&r.ducts, float64(r.Ducts), reading.Good, "")
	quality := worst(now.Mono, r.bean)
	o.yes(&r.roasting, r.roast.Roasting, quality, "")
	o.yes(&r.cracked, r.roast.Roasting && r.roast.Cracked, quality, "")
	if rise, ok := r.roast.Rise(now.Mono); ok || quality == reading.Bad {
		o.give(&r.rise, rise, quality, "")
	} else {
		o.unknown(&r.rise, "cannot say yet: less than fifteen seconds are known")
	}
	if !r.roast.Roasting {
		for _, p := range [...]*output{&r.time, &r.dropIn, &r.above} {
			if p.said {
				o.unknown(p, saysNoRoast)
			}
		}
		return
	}
	o.duration(&r.time, now.Mono-r.roast.Charged, quality, "")
	if left, ok := r.roast.Until(now.Mono, units.Celsius(r.bean.value), r.drop); ok || quality == reading.Bad {
		o.duration(&r.dropIn, left, quality, "")
	} else {
		o.unknown(&r.dropIn, "cannot say yet: the beans do not rise")
	}
	r.tickExhaust(now, o)
}

func (r *roaster) tickExhaust(now reading.Stamp, o *outs) {
	if r.exhaust == nil {
		return
	}
	quality := worst(now.Mono, r.exhaust)
	n := min(r.Roasts, usualRoasts)
	if n < usualLeast && quality != reading.Bad {
		o.unknown(&r.above, "cannot say yet: less than three roasts are known")
		return
	}
	usual := r.Usual
	o.give(&r.above, r.exhaust.value-coffee.Median(usual[:n]), quality, "")
}

// state takes along of the roast what a restart in the middle of it needs; its last half minute comes anew.
func (r *roaster) state() any {
	r.Roasting, r.Charged, r.Past, r.Cracked, r.Peak, r.PeakAt = r.roast.Roasting, r.roast.Charged, r.roast.Past, r.roast.Cracked, r.roast.Peak, r.roast.PeakAt
	return &r.roasterState
}

func (r *roaster) restored(moved time.Duration) {
	r.Charged += moved
	r.PeakAt += moved
	r.Roasts = max(0, r.Roasts)
	r.roast = coffee.Roast{Roasting: r.Roasting, Charged: r.Charged, Past: r.Past, Cracked: r.Cracked, Peak: r.Peak, PeakAt: r.PeakAt, Low: r.Peak}
}
