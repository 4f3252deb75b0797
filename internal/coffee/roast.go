package coffee

import (
	"time"

	"millwarden/internal/units"
)

// RiseWindow is the stretch over which the rate of rise of a roast is taken [trade practice, from memory: 30 s, 60 s for noisy probes].
const RiseWindow = 30 * time.Second

// roastKept bounds the readings held for the rate of rise: one each 500 ms over the window and a little more.
const roastKept = 64

// leastBetween thins readings that come faster.
const leastBetween = 500 * time.Millisecond

// Roast follows the bean probe of one roaster: charge, turning point, drop, and the rate of rise between. Its marks are those of any drum roaster: the probe stands
// hot in the empty drum, falls when green coffee comes in, turns, rises, and falls when the coffee goes out.
type Roast struct {
	Charged     time.Duration // monotonic time of the charge
	Turned      time.Duration // of the turning point
	Roasting    bool
	Past        bool // the turning point is past
	Cracked     bool // first crack is past
	Peak        units.Celsius
	PeakAt      time.Duration
	Low         units.Celsius // lowest since the charge
	LowAt       time.Duration
	Empty       units.Celsius // highest while the drum was empty, fading
	EmptyAt     time.Duration
	at          [roastKept]time.Duration
	value       [roastKept]units.Celsius
	first, kept int
}

// Marks of a roast. All chosen, within what drum roasters show (turning point 75 to 100 °C at 1:00 to 1:45, drop above 195 °C; trade pages and memory).
const (
	chargeHot   units.Celsius = 130 // an empty drum ready for coffee is hotter
	chargeFall  units.Kelvin  = 25  // and the probe falls by more
	chargeQuick               = 60 * time.Second
	turnRise    units.Kelvin  = 2
	dropHot     units.Celsius = 170 // no coffee is dropped colder
	dropFall    units.Kelvin  = 5
	leastRoast                = 3 * time.Minute
	longestRun                = 40 * time.Minute
)

// Mark is what Roast found at a reading.
type Mark uint8

const (
	NoMark Mark = iota
	MarkCharged
	MarkTurned
	MarkFirstCrack
	MarkDropped
	MarkGivenUp // too long for a roast: it was none
)

// See takes a reading of the bean probe and tells what it marks; crack is the temperature of first crack on this roaster's own probe.
func (r *Roast) See(at time.Duration, t, crack units.Celsius) Mark {
	if r.kept > 0 && at-r.at[r.index(r.kept-1)] < leastBetween {
		return NoMark
	}
	r.keep(at, t)
	t = r.middle()
	if !r.Roasting {
		return r.waiting(at, t)
	}
	return r.running(at, t, crack)
}

// middle is the median of the last three readings: marks rest on it, so that one wild reading marks nothing.
func (r *Roast) middle() units.Celsius {
	if r.kept < 3 {
		return r.value[r.index(r.kept-1)]
	}
	a, b, c := r.value[r.index(r.kept-3)], r.value[r.index(r.kept-2)], r.value[r.index(r.kept-1)]
	return max(min(a, b), min(max(a, b), c))
}

func (r *Roast) index(i int) int { return (r.first + i) % roastKept }

func (r *Roast) keep(at time.Duration, t units.Celsius) {
	if r.kept == roastKept {
		r.first = r.index(1)
		r.kept--
	}
	r.at[r.index(r.kept)], r.value[r.index(r.kept)] = at, t
	r.kept++
}

// waiting looks for a fall that only cold coffee makes.
func (r *Roast) waiting(at time.Duration, t units.Celsius) Mark {
	// After a drop the probe falls in the emptied drum: no charge for as long.
	if t >= r.Empty || at-r.EmptyAt > chargeQuick || r.PeakAt > 0 && at-r.PeakAt < chargeQuick {
		r.Empty, r.EmptyAt = t, at
	}
	if r.Empty < chargeHot || r.Empty.Sub(t) < chargeFall {
		return NoMark
	}
	*r = Roast{Charged: r.EmptyAt, Roasting: true, Low: t, LowAt: at, at: r.at, value: r.value, first: r.first, kept: r.kept}
	return MarkCharged
}

func (r *Roast) running(at time.Duration, t, crack units.Celsius) Mark {
	switch {
	case at-r.Charged > longestRun:
		r.end(at, t)
		return MarkGivenUp
	case !r.Past && t < r.Low:
		r.Low, r.LowAt = t, at
	case !r.Past && t.Sub(r.Low) >= turnRise:
		r.Past, r.Turned, r.Peak, r.PeakAt = true, r.LowAt, t, at
		return MarkTurned
	case r.Past && t > r.Peak:
		r.Peak, r.PeakAt = t, at
		if !r.Cracked && t >= crack {
			r.Cracked = true
			return MarkFirstCrack
		}
	case r.Past && r.Peak >= dropHot && r.Peak.Sub(t) >= dropFall && at-r.Charged >= leastRoast:
		r.end(at, t)
		return MarkDropped
	}
	return NoMark
}

// end leaves Peak and PeakAt standing, for who asks about the roast that is over.
func (r *Roast) end(at time.Duration, t units.Celsius) {
	r.Roasting, r.Past, r.Cracked = false, false, false
	r.Empty, r.EmptyAt = t, at
}

// Rise is the rate of rise now, in K a second: the median of the slopes of readings half a window apart, so that a wild reading or two do not show
// (Theil's incomplete method, 1950). False while half a window is not yet seen, or the newest reading is older than a third of it.
func (r *Roast) Rise(now time.Duration) (float64, bool) {
	from, to := r.span(now)
	n := to - from
	if n < 6 || r.at[r.index(to-1)]-r.at[r.index(from)] < RiseWindow/2 || now-r.at[r.index(to-1)] > RiseWindow/3 {
		return 0, false
	}
	var slopes [roastKept]float64
	half := n / 2
	for i := range n - half {
		a, b := r.index(from+i), r.index(from+i+half)
		slopes[i] = float64(r.value[b].Sub(r.value[a])) / (r.at[b] - r.at[a]).Seconds()
	}
	return Median(slopes[:n-half]), true
}

// span is which readings lie in the window that ends now.
func (r *Roast) span(now time.Duration) (from, to int) {
	to = r.kept
	for to > 0 && r.at[r.index(to-1)] > now {
		to--
	}
	from = to
	for from > 0 && r.at[r.index(from-1)] > now-RiseWindow {
		from--
	}
	return from, to
}

// Until is how long the beans need to a temperature at the present rise. False before the turning point, or while it does not rise.
func (r *Roast) Until(now time.Duration, t, target units.Celsius) (time.Duration, bool) {
	rise, ok := r.Rise(now)
	if !r.Roasting || !r.Past || !ok {
		return 0, false
	}
	if t >= target {
		return 0, true
	}
	if rise <= 0.005 { // 0.3 K a minute
		return 0, false
	}
	return time.Duration(float64(target.Sub(t)) / rise * float64(time.Second)), true
}

// RoastLoss is the part of its weight that coffee loses in the roaster: water going from one moisture to another, and so much of its dry matter, in per cent.
func RoastLoss(from, to WetBasis, dry float64) float64 {
	return 100 * (1 - float64(100-from)/float64(100-to)*(1-dry/100))
}
