package models

import (
	"math"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// input is a measured point as it stands.
type input struct {
	short   string
	station *station
	value   float64
	quality reading.Quality
	at      time.Duration
	seen    bool
	overdue time.Duration // 0: never
}

func (in *input) take(r *reading.Reading) {
	in.value, in.quality, in.at, in.seen = r.Value, r.Quality, r.Stamp.Mono, true
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		in.quality = reading.Bad
	}
}

// known tells whether the point stands, good or uncertain. A point that no probe gives is nil, and never known.
func (in *input) known(now time.Duration) bool {
	return in != nil && in.seen && in.quality != reading.Bad && (in.overdue == 0 || now-in.at <= in.overdue)
}

// worst is the quality of what is worked out from inputs.
func worst(now time.Duration, inputs ...*input) reading.Quality {
	q := reading.Good
	for _, in := range inputs {
		if !in.known(now) {
			return reading.Bad
		}
		q = max(q, in.quality)
	}
	return q
}

// output is a computed point. One that the plan does not have is never said.
type output struct {
	name     string
	quantity units.Quantity
	stands   bool
	said     bool   // at least once
	cause    string // why it was unknown when it was said last; "" if it was known
}

// outs gathers what is said at one tick.
type outs struct {
	list []reading.Reading
	now  reading.Stamp
}

// give says a value. With quality bad it is unknown because an input is.
func (o *outs) give(p *output, value float64, quality reading.Quality, cause string) {
	switch {
	case !p.stands:
		return
	case quality == reading.Bad:
		o.unknown(p, causeInput)
		return
	case math.IsNaN(value) || math.IsInf(value, 0):
		o.unknown(p, causeRange)
		return
	case quality == reading.Good:
		cause = ""
	case cause == "":
		cause = causeUncertain
	}
	p.said, p.cause = true, ""
	o.list = append(o.list, reading.Reading{Point: p.name, Quantity: p.quantity, Value: value, Stamp: o.now, Quality: quality, Cause: cause})
}

func (o *outs) yes(p *output, is bool, quality reading.Quality, cause string) {
	value := 0.0
	if is {
		value = 1
	}
	o.give(p, value, quality, cause)
}

func (o *outs) duration(p *output, d time.Duration, quality reading.Quality, cause string) {
	o.give(p, d.Seconds(), quality, cause)
}

// unknown says once that a point is unknown, and why.
func (o *outs) unknown(p *output, cause string) {
	if !p.stands || p.said && p.cause == cause {
		return
	}
	p.said, p.cause = true, cause
	o.list = append(o.list, reading.Missing(p.name, p.quantity, o.now, cause))
}

// outside says that no lot stands here, of a point that was said during a stay.
func (o *outs) outside(p *output) {
	if p.said {
		o.unknown(p, causeNoLot)
	}
}

// points are all computed points of one station.
type points struct{ all []*output }

// silent forgets what was said: it was said to nobody.
func (p *points) silent() {
	for _, o := range p.all {
		o.said, o.cause = false, ""
	}
}

func (p *points) outside(o *outs) {
	for _, point := range p.all {
		o.outside(point)
	}
}

// presence says whether a lot stands on a station, and since when. On a site where nobody enters lots it says nothing: then `while loaded` is unknown, and its
// gate stays open.
type presence struct{ loaded, empty, time output }

func (p *presence) tick(m *Models, s *station, now reading.Stamp, o *outs) {
	if !m.enters {
		return
	}
	o.yes(&p.loaded, s.stay.Loaded, reading.Good, "")
	o.yes(&p.empty, !s.stay.Loaded, reading.Good, "")
	past, known := s.stay.past(now)
	switch {
	case !s.stay.Loaded:
		o.outside(&p.time)
	case !known:
		o.unknown(&p.time, causeClock)
	default:
		o.duration(&p.time, past, reading.Good, "")
	}
}
