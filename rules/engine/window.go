package engine

import (
	"math"
	"slices"
	"time"
)

// Windows stream: a reading goes in once, and mean, extremes, slope and times are read in constant time. They cover (end-over, end], where end is
// now - ago. The standing value fills them; time in which it was unknown is a gap.

const (
	longestRaw = time.Hour // LANGUAGE section 4: up to here every reading is kept
	mostRaw    = 4096      // readings kept; one more and the window goes over to slices
	fewest     = 64        // chosen: first size of a ring, it doubles as readings come
	leastRise  = 4         // readings that a slope needs
)

// sample is a reading as a window sees it: the value that stands from then on.
type sample struct {
	at    time.Duration
	value float64
	trust trust
}

// trust is how far a sample may be used.
type trust uint8

const (
	sure trust = iota
	doubtful
	gap // unknown: nothing stands
)

// meter adds up the time, or the heat, beyond a fixed limit within a window.
type meter struct {
	kind  meterKind
	limit float64
	held  time.Duration // beyond the limit between the first and the last sample
	dose  float64       // heat: value nanoseconds
}

type meterKind uint8

const (
	meterAbove meterKind = iota
	meterBelow
	meterHeat
)

// beyond is what a standing value adds in a stretch of time.
func (k meterKind) beyond(value, limit float64, stretch time.Duration) (held time.Duration, dose float64) {
	switch {
	case k == meterAbove && value > limit, k == meterBelow && value < limit:
		return stretch, 0
	case k == meterHeat && value > limit:
		return stretch, (value - limit) * float64(stretch)
	}
	return 0, 0
}

// needs are what a window is read for; what nobody reads is not kept.
type needs struct{ extremes, slope bool }

// window is shared by all that look at one point over one stretch of time.
type window struct {
	over, ago time.Duration
	needs     needs
	least     float64 // of all values that came: +Inf and -Inf, if none did
	most      float64
	widened   bool // the newest value is beyond all before
	meters    []meter

	ring        []sample // samples head .. tail, at index & (len-1)
	head, tail  uint32
	entered     uint32 // samples before it are in the sums; those behind wait until they are ago old
	since       uint32 // entered since the sums were last made anew
	sums        sums
	regressed   uint32 // first sample in the slope's sums
	highs, lows queue
	last        cover // of the instant asked for last, until a sample comes
	lastAt      time.Duration
	fresh       bool
	slices      *coarse // instead of the ring, where that would grow too long
}

// sums run over the samples from head to the last entered one.
type sums struct {
	known, doubt time.Duration
	area         float64 // value nanoseconds of the known time
	n            float64 // of the slope: readings, and their sums against base
	t, x, tx, tt float64
	baseAt       time.Duration
	baseX        float64
}

func newWindow(over, ago time.Duration) *window {
	w := &window{over: over, ago: ago, least: math.Inf(1), most: math.Inf(-1)}
	if over > longestRaw {
		w.slices = newCoarse(over, ago)
	}
	return w
}

// meterFor finds or adds the meter of a limit.
func (w *window) meterFor(kind meterKind, limit float64) int {
	for i, m := range w.meters {
		if m.kind == kind && m.limit == limit {
			return i
		}
	}
	w.meters = append(w.meters, meter{kind: kind, limit: limit})
	return len(w.meters) - 1
}

func (m meter) same(o meter) bool { return m.kind == o.kind && m.limit == o.limit }

func (w *window) sampleAt(i uint32) *sample { return &w.ring[i&uint32(len(w.ring)-1)] }

func (w *window) empty() bool { _, any := w.newest(); return !any }

// newest is the time of the newest sample.
func (w *window) newest() (time.Duration, bool) {
	switch {
	case w.slices != nil:
		return w.slices.standing.at, w.slices.filled
	case w.tail == w.head:
		return 0, false
	}
	return w.sampleAt(w.tail - 1).at, true
}

// passTo hands what a window holds to another that takes its place.
func (w *window) passTo(to *window) {
	if w.slices != nil && w.over == to.over && w.ago == to.ago && slices.EqualFunc(w.meters, to.meters, meter.same) {
		to.slices, to.least, to.most = w.slices, w.least, w.most
		return
	}
	if w.slices != nil {
		w.slices.replay(to)
		return
	}
	for i := w.head; i != w.tail; i++ {
		to.add(*w.sampleAt(i))
	}
}

// add takes what stands from at on.
func (w *window) add(s sample) {
	if s.trust != gap && (s.value < w.least || s.value > w.most) {
		w.least, w.most, w.widened = min(w.least, s.value), max(w.most, s.value), true
	}
	if w.slices != nil {
		w.slices.add(w.meters, s)
		return
	}
	if w.tail != w.head {
		last := w.sampleAt(w.tail - 1)
		if s.trust == gap && last.trust == gap {
			return
		}
		s.at = max(s.at, last.at)
	}
	w.advance(s.at)
	if int(w.tail-w.head) == len(w.ring) && !w.grow() {
		w.slices.add(w.meters, s)
		return
	}
	*w.sampleAt(w.tail) = s
	w.tail++
	w.fresh = false
}

// grow doubles the ring; at its greatest it turns the window into slices and returns false.
func (w *window) grow() bool {
	if len(w.ring) == mostRaw {
		w.toSlices()
		return false
	}
	old, oldSize := w.ring, uint32(len(w.ring))
	w.ring = make([]sample, max(fewest, 2*len(old)))
	for i := w.head; i != w.tail; i++ {
		*w.sampleAt(i) = old[i&(oldSize-1)]
	}
	if w.needs.extremes {
		w.highs.resize(len(w.ring))
		w.lows.resize(len(w.ring))
	}
	return true
}

func (w *window) toSlices() {
	s := newCoarse(w.over, w.ago)
	for i := w.head; i != w.tail; i++ {
		s.add(w.meters, *w.sampleAt(i))
	}
	w.slices, w.ring, w.highs, w.lows = s, nil, queue{}, queue{}
}

// advance lets samples in that are old enough, and those out that stand no more at the window's start.
func (w *window) advance(now time.Duration) {
	end := now - w.ago
	for w.entered != w.tail && w.sampleAt(w.entered).at <= end {
		w.enter()
	}
	start := end - w.over
	for w.regressed != w.entered && w.sampleAt(w.regressed).at <= start {
		w.regress(w.sampleAt(w.regressed), -1)
		w.regressed++
	}
	for w.entered-w.head > 1 && w.sampleAt(w.head+1).at <= start {
		w.leave()
	}
	if w.since > uint32(len(w.ring)) {
		w.renew()
	}
}

func (w *window) enter() {
	s := w.sampleAt(w.entered)
	if w.entered == w.head {
		w.sums = sums{baseAt: s.at, baseX: s.value}
		for i := range w.meters {
			w.meters[i].held, w.meters[i].dose = 0, 0
		}
	} else {
		w.stretch(w.sampleAt(w.entered-1), s.at, 1)
	}
	w.regress(s, 1)
	if w.needs.extremes && s.trust != gap {
		w.pushExtremes(w.entered, s.value)
	}
	w.entered++
	w.since++
}

func (w *window) pushExtremes(i uint32, value float64) {
	for !w.highs.empty() && w.sampleAt(w.highs.last()).value <= value {
		w.highs.dropLast()
	}
	w.highs.push(i)
	for !w.lows.empty() && w.sampleAt(w.lows.last()).value >= value {
		w.lows.dropLast()
	}
	w.lows.push(i)
}

func (w *window) leave() {
	w.stretch(w.sampleAt(w.head), w.sampleAt(w.head+1).at, -1)
	if w.needs.extremes {
		w.highs.dropFirstIf(w.head)
		w.lows.dropFirstIf(w.head)
	}
	w.head++
}

// stretch adds (sign 1) or takes away (-1) the time that s stood until then.
func (w *window) stretch(s *sample, until time.Duration, sign time.Duration) {
	if s.trust == gap {
		return
	}
	stood := sign * (until - s.at)
	w.sums.known += stood
	w.sums.area += s.value * float64(stood)
	if s.trust == doubtful {
		w.sums.doubt += stood
	}
	for i := range w.meters {
		m := &w.meters[i]
		held, dose := m.kind.beyond(s.value, m.limit, stood)
		m.held += held
		m.dose += dose
	}
}

// regress adds a reading to the sums of the slope, or takes it away.
func (w *window) regress(s *sample, sign float64) {
	if s.trust == gap || !w.needs.slope {
		return
	}
	if math.IsNaN(w.sums.baseX) {
		w.sums.baseX = s.value
	}
	t, x := float64(s.at-w.sums.baseAt), s.value-w.sums.baseX
	w.sums.n += sign
	w.sums.t += sign * t
	w.sums.x += sign * x
	w.sums.tx += sign * t * x
	w.sums.tt += sign * t * t
}

// renew makes the sums anew, once a turn of the ring, so that rounding cannot pile up.
func (w *window) renew() {
	first := w.sampleAt(w.head)
	w.sums = sums{baseAt: first.at, baseX: first.value}
	for i := range w.meters {
		w.meters[i].held, w.meters[i].dose = 0, 0
	}
	for i := w.head; i+1 != w.entered && i != w.entered; i++ {
		w.stretch(w.sampleAt(i), w.sampleAt(i+1).at, 1)
	}
	for i := w.regressed; i != w.entered; i++ {
		w.regress(w.sampleAt(i), 1)
	}
	w.since = 0
}

// cover is the known and the doubtful time of a window, and the value nanoseconds of the known.
type cover struct {
	known, doubt time.Duration
	area         float64
}

// cover is that of the window now: the sums, less what the first sample stood before the start, and what the last stands until the end.
func (w *window) cover(now time.Duration) cover {
	if w.slices != nil {
		return w.slices.read(w, now).cover
	}
	if w.fresh && w.lastAt == now {
		return w.last
	}
	w.advance(now)
	w.last, w.lastAt, w.fresh = w.coverAnew(now), now, true
	return w.last
}

func (w *window) coverAnew(now time.Duration) cover {
	c := cover{w.sums.known, w.sums.doubt, w.sums.area}
	if w.entered == w.head {
		return c
	}
	end := now - w.ago
	first, last := w.sampleAt(w.head), w.sampleAt(w.entered-1)
	from := max(last.at, end-w.over) // the last may be the first, and older than the window
	c.stand(last, end-from)
	if first != last && first.at < end-w.over {
		c.stand(first, first.at-(end-w.over))
	}
	return c
}

func (c *cover) stand(s *sample, stretch time.Duration) {
	if s.trust == gap {
		return
	}
	c.known += stretch
	c.area += s.value * float64(stretch)
	if s.trust == doubtful {
		c.doubt += stretch
	}
}

// uncertain tells whether doubtful values cover more than a tenth of the known time.
func (c cover) uncertain() bool { return c.doubt*10 > c.known }

// enough tells whether at least half of the window is known.
func (c cover) enough(over time.Duration) bool { return c.known > 0 && c.known >= over/2 }

// The functions of the language. strict makes an uncertain result unknown (NaN).

func (w *window) mean(now time.Duration, strict bool) float64 {
	c := w.cover(now)
	if !c.enough(w.over) || (strict && c.uncertain()) {
		return math.NaN()
	}
	return c.area / float64(c.known)
}

func (w *window) highest(now time.Duration, strict bool) float64 { return w.extreme(now, strict, true) }
func (w *window) lowest(now time.Duration, strict bool) float64  { return w.extreme(now, strict, false) }

func (w *window) spread(now time.Duration, strict bool) float64 {
	return w.highest(now, strict) - w.lowest(now, strict)
}

func (w *window) extreme(now time.Duration, strict, high bool) float64 {
	c := w.cover(now)
	if !c.enough(w.over) || (strict && c.uncertain()) {
		return math.NaN()
	}
	if w.slices != nil {
		return w.slices.last.extreme(strict, high)
	}
	q := &w.lows
	if high {
		q = &w.highs
	}
	if q.empty() {
		return math.NaN()
	}
	s := w.sampleAt(q.first())
	if strict && s.trust == doubtful {
		return math.NaN()
	}
	return s.value
}

// rise is the slope per second by least squares through the readings in the window.
func (w *window) rise(now time.Duration, strict bool) float64 {
	c := w.cover(now)
	if !c.enough(w.over) || (strict && c.uncertain()) {
		return math.NaN()
	}
	if w.slices != nil {
		return w.slices.last.slope(w.over)
	}
	if w.sums.n < leastRise {
		return math.NaN()
	}
	first, last := w.regressed, w.entered-1
	for w.sampleAt(first).trust == gap { // ends: some are readings
		first++
	}
	for w.sampleAt(last).trust == gap {
		last--
	}
	if w.sampleAt(last).at-w.sampleAt(first).at < w.over/2 {
		return math.NaN()
	}
	return slope(w.sums.n, w.sums.t, w.sums.x, w.sums.tx, w.sums.tt) * float64(time.Second)
}

func slope(n, t, x, tx, tt float64) float64 {
	across := n*tt - t*t
	if across <= 0 {
		return math.NaN()
	}
	return (n*tx - t*x) / across
}

// change is the standing value less the one that stood over ago. What lies between does not count: both ends are known, or it is unknown.
func (w *window) change(now time.Duration, strict bool) float64 {
	if w.slices != nil {
		w.slices.read(w, now)
		return w.slices.last.change(strict)
	}
	w.advance(now)
	if w.entered == w.head {
		return math.NaN()
	}
	first, last := w.sampleAt(w.head), w.sampleAt(w.entered-1)
	if first.at > now-w.ago-w.over {
		return math.NaN()
	}
	return usable(*last, strict) - usable(*first, strict)
}

// usable is the value of a sample, NaN where it may not be used.
func usable(s sample, strict bool) float64 {
	if s.trust == gap || (strict && s.trust == doubtful) {
		return math.NaN()
	}
	return s.value
}

// measure reads a meter: seconds, or °C·h. It can only be too small: whole tells that enough is known to believe that it is not.
func (w *window) measure(i int, now time.Duration, strict bool) (amount float64, whole bool) {
	c := w.cover(now)
	m := w.meters[i]
	held, dose := m.held, m.dose
	switch {
	case w.slices != nil:
		held, dose = w.slices.last.meters[i].held, w.slices.last.meters[i].dose
	case w.entered != w.head:
		end := now - w.ago
		first, last := w.sampleAt(w.head), w.sampleAt(w.entered-1)
		held, dose = m.standing(last, end-max(last.at, end-w.over), held, dose)
		if first != last && first.at < end-w.over {
			held, dose = m.standing(first, first.at-(end-w.over), held, dose)
		}
	}
	whole = c.enough(w.over) && (!strict || !c.uncertain())
	if m.kind == meterHeat {
		return dose / float64(time.Hour), whole
	}
	return held.Seconds(), whole
}

func (m meter) standing(s *sample, stretch, held time.Duration, dose float64) (time.Duration, float64) {
	if s.trust == gap {
		return held, dose
	}
	h, d := m.kind.beyond(s.value, m.limit, stretch)
	return held + h, dose + d
}
