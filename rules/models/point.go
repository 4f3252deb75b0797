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
	byHand  bool          // people read it: each reading counts at once, and there are few
	moves   float64       // a step that is worth a look
	looked  float64       // value at the last look
	was     bool          // it was known then
}

// take makes a reading stand. It tells whether the value has moved since the last look, and whether the quality is another one.
func (in *input) take(r *reading.Reading) (moved, turned bool) {
	quality := r.Quality
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		quality = reading.Bad
	}
	turned = !in.seen || quality != in.quality || !in.was && quality != reading.Bad
	in.value, in.quality, in.at, in.seen = r.Value, quality, r.Stamp.Mono, true
	return math.Abs(in.value-in.looked) >= in.moves, turned
}

// known tells whether the point stands, good or uncertain. A point that no probe gives is nil, and never known.
func (in *input) known(now time.Duration) bool {
	return in != nil && in.seen && in.quality != reading.Bad && (in.overdue == 0 || now-in.at <= in.overdue)
}

// stood is for how long of the time between two looks the point was known by the reading that stands; a pause of the whole board is not known.
func (in *input) stood(from, to time.Duration) time.Duration {
	if in == nil || !in.seen || in.quality == reading.Bad || to-from >= gapLeast {
		return 0
	}
	if in.overdue > 0 {
		to = min(to, in.at+in.overdue)
	}
	return max(0, to-from)
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

// doubt is how much of what a value rests on was uncertain. As for windows of the language more than a tenth makes it uncertain [LANGUAGE section 4].
type doubt struct{ Unsure, All time.Duration }

func (d *doubt) add(long time.Duration, unsure bool) {
	d.All += long
	if unsure {
		d.Unsure += long
	}
}

// over is a quality with its cause, worse where too much was uncertain.
func (d doubt) over(q reading.Quality, cause string) (reading.Quality, string) {
	if 10*d.Unsure > d.All && q == reading.Good {
		return reading.Uncertain, causeDoubt
	}
	return q, cause
}

// output is a computed point. One that the plan does not have is never said.
type output struct {
	name     string
	quantity units.Quantity
	stands   bool
	said     bool // at least once; then what follows is what was said last
	value    float64
	quality  reading.Quality
	cause    string
}

// outs gathers what is said at one tick.
type outs struct {
	list []reading.Reading
	now  reading.Stamp
	all  bool // a point that is as it was is said too
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
	if !o.all && p.said && p.value == value && p.quality == quality && p.cause == cause {
		return
	}
	p.said, p.value, p.quality, p.cause = true, value, quality, cause
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
	if !p.stands || p.said && p.quality == reading.Bad && p.cause == cause {
		return
	}
	p.said, p.quality, p.cause = true, reading.Bad, cause
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
		o.said = false
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
