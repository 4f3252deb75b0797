package engine

import (
	"math"
	"time"
)

const (
	slicesPerWindow = 360  // LANGUAGE section 4
	mostSlices      = 4096 // with ago: as many as raw readings would be
)

// coarse is what a window of a long time keeps: equal slices, each with what stood and what was read in it. Exact but for the one slice at its old end
// (and, with ago, the one at its new end), of which a share is taken.
type coarse struct {
	width    time.Duration
	ring     []slice
	filled   bool   // a sample came
	standing sample // the newest; counted up to its at
	last     extract
	whole    extract // of the slices between from and until
	from     int64
	until    int64
	base     float64
}

// slice is one stretch. meters stand beside it, in the same order as the window's.
type slice struct {
	slot         int64
	used         bool
	opening      sample // what stood at its start
	cover        cover
	high, low    sample
	n, t, x      float64 // readings in it, against its start and its opening value
	tx, tt, base float64
	firstAt      time.Duration
	lastAt       time.Duration
	meters       []meter
}

// extract is what a window says at one instant.
type extract struct {
	at              time.Duration
	valid           bool
	cover           cover
	high, low       sample
	n, t, x, tx, tt float64
	firstAt, lastAt time.Duration
	from, to        sample // standing at both ends
	meters          []meter
}

func newCoarse(over, ago time.Duration) *coarse {
	width := max(over/slicesPerWindow, (over+ago)/mostSlices, 1)
	return &coarse{width: width, ring: make([]slice, int((over+ago)/width)+3)}
}

func (s *coarse) slotOf(at time.Duration) int64 {
	slot := int64(at / s.width)
	if at < 0 && at%s.width != 0 {
		slot--
	}
	return slot
}

func (s *coarse) at(slot int64) *slice {
	n := int64(len(s.ring))
	return &s.ring[((slot%n)+n)%n]
}

// open gives the slice of a slot, made new if the ring comes round to it.
func (s *coarse) open(slot int64, meters []meter) *slice {
	sl := s.at(slot)
	if sl.slot == slot && sl.used && len(sl.meters) == len(meters) {
		return sl
	}
	kept := sl.meters
	if len(kept) != len(meters) {
		kept = make([]meter, len(meters))
	}
	for i := range kept {
		kept[i] = meter{}
	}
	none := sample{value: math.NaN(), trust: gap}
	*sl = slice{slot: slot, used: true, opening: s.standing, high: none, low: none, meters: kept}
	if !s.filled {
		sl.opening = none
	}
	return sl
}

func (s *coarse) add(meters []meter, next sample) {
	if s.filled {
		next.at = max(next.at, s.standing.at)
		s.stand(meters, next.at)
	}
	sl := s.open(s.slotOf(next.at), meters)
	if next.trust != gap {
		sl.read(next, time.Duration(sl.slot)*s.width)
		sl.widen(next)
	}
	s.standing, s.filled, s.last.valid = next, true, false
}

// read adds a reading to the sums of the slope.
func (sl *slice) read(r sample, start time.Duration) {
	if sl.n == 0 {
		sl.base, sl.firstAt = r.value, r.at
	}
	t, x := (r.at - start).Seconds(), r.value-sl.base
	sl.n++
	sl.t += t
	sl.x += x
	sl.tx += t * x
	sl.tt += t * t
	sl.lastAt = r.at
}

func (sl *slice) widen(r sample) {
	if sl.high.trust == gap || r.value > sl.high.value {
		sl.high = r
	}
	if sl.low.trust == gap || r.value < sl.low.value {
		sl.low = r
	}
}

// stand counts what stands, up to now, slice by slice.
func (s *coarse) stand(meters []meter, now time.Duration) {
	if !s.filled || now <= s.standing.at {
		return
	}
	if reach := time.Duration(len(s.ring)) * s.width; now-s.standing.at > reach {
		s.standing.at = now - reach
	}
	for s.standing.at < now {
		slot := s.slotOf(s.standing.at)
		sl := s.open(slot, meters)
		until := min(now, time.Duration(slot+1)*s.width)
		if s.standing.trust != gap {
			sl.cover.stand(&s.standing, until-s.standing.at)
			sl.widen(s.standing)
			for i, m := range meters {
				held, dose := m.kind.beyond(s.standing.value, m.limit, until-s.standing.at)
				sl.meters[i].held += held
				sl.meters[i].dose += dose
			}
		}
		s.standing.at = until
	}
}

// read adds up the slices between the window's ends; once for each instant. The whole slices between the two at the ends stay the same until
// one of the ends moves on to the next, so their sum is kept.
func (s *coarse) read(w *window, now time.Duration) *extract {
	if s.last.valid && s.last.at == now {
		return &s.last
	}
	s.stand(w.meters, now)
	end := now - w.ago
	start := end - w.over
	s.last.clear(now, w.meters)
	if !s.filled {
		return &s.last
	}
	first, last := s.slotOf(start), s.slotOf(end)
	if !s.whole.valid || s.from != first || s.until != last {
		s.addWhole(first, last, w.meters)
	}
	s.takeSlot(&s.last, first, start, end)
	s.last.join(&s.whole)
	if last != first {
		s.takeSlot(&s.last, last, start, end)
	}
	s.last.from, s.last.to = s.stood(start), s.stood(end)
	if w.ago == 0 {
		s.last.to = s.standing
	}
	return &s.last
}

// addWhole adds up the slices between the first and the last, both left out.
func (s *coarse) addWhole(first, last int64, meters []meter) {
	s.whole.clear(0, meters)
	s.from, s.until, s.base = first, last, s.standing.value
	for slot := first; slot <= last; slot++ { // the slope is reckoned against a value near by
		if sl := s.at(slot); sl.slot == slot && sl.used && sl.n > 0 {
			s.base = sl.base
			break
		}
	}
	for slot := first + 1; slot < last; slot++ {
		s.takeSlot(&s.whole, slot, time.Duration(first)*s.width, time.Duration(last)*s.width)
	}
}

// takeSlot adds the share of a slot that lies between start and end.
func (s *coarse) takeSlot(e *extract, slot int64, start, end time.Duration) {
	if sl := s.at(slot); sl.slot == slot && sl.used {
		e.take(sl, s.share(slot, start, end), start, time.Duration(slot-s.from)*s.width, s.base)
	}
}

// share is the part of a slice that lies within start and end; a slice still being filled counts whole.
func (s *coarse) share(slot int64, start, end time.Duration) float64 {
	from := time.Duration(slot) * s.width
	until := min(from+s.width, s.standing.at)
	if until <= from {
		return 1
	}
	return max(0, (min(until, end)-max(from, start)).Seconds()) / (until - from).Seconds()
}

// stood is what stood at an instant, exact to the slice.
func (s *coarse) stood(at time.Duration) sample {
	slot := s.slotOf(at)
	if sl := s.at(slot); sl.slot == slot && sl.used {
		return sl.opening
	}
	return sample{value: math.NaN(), trust: gap}
}

func (e *extract) clear(at time.Duration, meters []meter) {
	kept := e.meters
	if len(kept) != len(meters) {
		kept = make([]meter, len(meters))
	}
	for i := range kept {
		kept[i] = meter{}
	}
	none := sample{value: math.NaN(), trust: gap}
	*e = extract{at: at, valid: true, high: none, low: none, from: none, to: none, meters: kept}
}

// join adds what lies behind.
func (e *extract) join(o *extract) {
	e.cover.known += o.cover.known
	e.cover.doubt += o.cover.doubt
	e.cover.area += o.cover.area
	for i := range e.meters {
		e.meters[i].held += o.meters[i].held
		e.meters[i].dose += o.meters[i].dose
	}
	e.widen(o.high, o.low)
	if o.n == 0 {
		return
	}
	if e.n == 0 {
		e.firstAt = o.firstAt
	}
	e.lastAt = o.lastAt
	e.n += o.n
	e.t += o.t
	e.x += o.x
	e.tx += o.tx
	e.tt += o.tt
}

func (e *extract) widen(high, low sample) {
	if high.trust != gap && (e.high.trust == gap || high.value > e.high.value) {
		e.high = high
	}
	if low.trust != gap && (e.low.trust == gap || low.value < e.low.value) {
		e.low = low
	}
}

// take adds a share of a slice; the sums of the slope count from the first slice of the window, shift before this one, and from base.
func (e *extract) take(sl *slice, share float64, start, shift time.Duration, base float64) {
	part := func(d time.Duration) time.Duration { return time.Duration(float64(d) * share) }
	e.cover.known += part(sl.cover.known)
	e.cover.doubt += part(sl.cover.doubt)
	e.cover.area += sl.cover.area * share
	for i := range e.meters {
		e.meters[i].held += part(sl.meters[i].held)
		e.meters[i].dose += sl.meters[i].dose * share
	}
	if share == 0 {
		return
	}
	e.widen(sl.high, sl.low)
	if sl.n == 0 || sl.lastAt <= start {
		return
	}
	if e.n == 0 {
		e.firstAt = max(sl.firstAt, start)
	}
	e.lastAt = sl.lastAt
	shiftT, shiftX := shift.Seconds(), sl.base-base
	e.n += sl.n
	e.t += sl.t + sl.n*shiftT
	e.x += sl.x + sl.n*shiftX
	e.tx += sl.tx + shiftT*sl.x + shiftX*sl.t + sl.n*shiftT*shiftX
	e.tt += sl.tt + 2*shiftT*sl.t + sl.n*shiftT*shiftT
}

func (e *extract) extreme(strict, high bool) float64 {
	if high {
		return usable(e.high, strict)
	}
	return usable(e.low, strict)
}

func (e *extract) slope(over time.Duration) float64 {
	if e.n < leastRise || e.lastAt-e.firstAt < over/2 {
		return math.NaN()
	}
	return slope(e.n, e.t, e.x, e.tx, e.tt)
}

func (e *extract) change(strict bool) float64 { return usable(e.to, strict) - usable(e.from, strict) }

// replay feeds what the slices hold to a window of another kind: of each its mean.
func (s *coarse) replay(to *window) {
	if !s.filled {
		return
	}
	newest := s.slotOf(s.standing.at)
	for slot := newest - int64(len(s.ring)) + 1; slot <= newest; slot++ {
		sl := s.at(slot)
		if sl.slot != slot || !sl.used {
			continue
		}
		past := sample{time.Duration(slot) * s.width, math.NaN(), gap}
		if sl.cover.known > 0 {
			past.value, past.trust = sl.cover.area/float64(sl.cover.known), sure
		}
		if sl.cover.doubt > 0 {
			past.trust = doubtful
		}
		to.add(past)
	}
	to.add(s.standing)
}
