package coffee

import (
	"math"
	"time"
)

// Layer is one lot as it dries: hours of air, what the meter said in them, and many ways in which it may go on, each fitted to what was measured. A real layer is not the thin layer of
// one equation: its pace depends on depth, stirring and draught, it may give water steadily at first or ever slower, its isotherm lies elsewhere, and what more warmth does to it is not
// known. So no way is chosen: each is weighed by how well it passes through what was measured lately, and a forecast is spread over all of them (ways.go).
//
// What is exported is what must be kept to go on after a pause. The zero Layer is one of unknown moisture: Begin it.
type Layer struct {
	Hours  []LayerHour // the oldest first
	Newest DryBasis    // measured in the hour under way; 0: not
	Start  DryBasis    // at the beginning of Hours, as far as known without a meter
	Spread float64     // % of the dry weight that Start may be off by
	Deck   bool        // it lies in the open, where sun may warm it
	Off    float64     // % of the dry weight that what tells its moisture may be off by at the target; less than a meter is off by counts as that
	Passed int         // hours since the beginning
	// Foreseen is when, in hours since the beginning, the forecasts of the last hours saw the end, the newest first; 0: none.
	Foreseen [layerBack + 1]float64
	Hinds    Hindsights

	ways    [layerWays]way
	ready   bool    // the ways are made
	due     int     // rounds of fitting
	blind   bool    // nothing was measured
	values  float64 // that were measured, as far as they count
	habit   *LayerHabit
	weights [layerKept]float64
	drives  [layerSuns]drives[[layerKept]float64, [layerKept]ending]
	curves  [3][layerKept]float64 // scratch
	chances [2 * layerWays]chance // scratch
}

// LayerHour is one hour of a layer.
type LayerHour struct {
	Air      Air
	Moisture DryBasis `json:",omitempty"` // measured in it; 0: not
}

// All chosen, on the layers that may be looked at.
const (
	layerKept   = 96   // h; 4 days
	layerNoise  = 0.35 // %wb that an hour's meter and a way together may be off by
	layerForget = 0.35 // part of the hours after which a value counts half
	layerCounts = 6.0  // values that all of them count for at most: they err alike
	leastChance = 1e-4 // of the likeliest way's: less counts nothing
	layerFree   = 3.0  // degrees of freedom that what a way may be off by has before anything is measured
	layerTail   = 3.0  // degrees of freedom of pace and start
	layerMeter  = 0.4  // %wb that a meter is off by all the time
	// layerCut is where the interval ends: the ways differ by less than layers do, so their middle 86 of 100 hold four truths of five.
	layerCut     = 0.07
	firstRounds  = 8 // of fitting, until a way lies still
	hourlyRounds = 2
)

// Begin begins a stay with a moisture that may be off by spread, both in % of the dry weight.
func (l *Layer) Begin(start DryBasis, spread float64) {
	*l = Layer{Hours: l.Hours[:0], Start: start, Spread: spread, Deck: l.Deck, Off: l.Off, habit: l.habit}
	l.Hours = l.room()
}

// room is Hours with room for all that is kept.
func (l *Layer) room() []LayerHour {
	if cap(l.Hours) >= layerKept {
		return l.Hours
	}
	return append(make([]LayerHour, 0, layerKept), l.Hours[max(0, len(l.Hours)-layerKept):]...)
}

// fresh tells that it was laid as it came from the wash, and not dried elsewhere before: only then its time is like that of others.
func (l *Layer) fresh() bool { return l.Start > skinDry }

// skinDry is 45 %wb; chosen, below the 52 to 56 of washed parchment by more than a meter errs there.
var skinDry = WetBasis(45).Dry()

// Measure takes a moisture that was measured in the hour under way.
func (l *Layer) Measure(m DryBasis) { l.Newest = m }

// Add lets an hour of air pass.
func (l *Layer) Add(air Air) {
	l.prepare()
	if len(l.Hours) == layerKept {
		l.shorten()
	}
	l.Hours = append(l.Hours, LayerHour{air, l.Newest})
	l.Newest = 0
	if n := len(l.Hours); l.Deck && n == 24 { // only now is the coldest hour of its first day known
		l.driveAll()
	} else {
		l.drive(n - 1)
	}
	l.due = min(l.due+hourlyRounds, firstRounds)
	l.Passed++
	copy(l.Foreseen[1:], l.Foreseen[:])
	l.Foreseen[0] = 0
}

// prepare makes the ways, after a beginning and after a pause.
func (l *Layer) prepare() {
	if l.ready {
		return
	}
	if l.habit == nil {
		usual := UsualLayers(l.Deck)
		l.habit = &usual
	}
	l.Hours, l.Spread = l.room(), max(l.Spread, 0.1)
	l.Hours = l.Hours[:min(len(l.Hours), layerKept)]
	for i := range l.ways {
		l.ways[i] = newWay(i, float64(l.Start), l.habit.Pace[i], l.Deck)
	}
	l.driveAll()
	l.ready, l.due = true, firstRounds
}

func (l *Layer) driveAll() {
	for i := range l.Hours {
		l.drive(i)
	}
}

func (l *Layer) drive(i int) {
	const day = 24
	cold := l.Hours[i].Air.T
	for _, h := range l.Hours[max(0, i-day+1):min(len(l.Hours), max(i+1, day))] {
		cold = min(cold, h.Air.T)
	}
	for s := range suns(l.Deck) {
		drives := &l.drives[s]
		var d [layerPowers]float64
		d, drives.ends[i] = driveOf(inSun(l.Hours[i].Air, cold, s))
		for k := range d {
			drives.driven[k][i] = d[k]
		}
	}
}

// shorten forgets the oldest quarter; what is left no longer begins with a moisture that was known.
func (l *Layer) shorten() {
	const old = layerKept / 4
	for i := range l.ways {
		w := &l.ways[i]
		w.start = l.run(w, w.pace, w.start, old, &l.curves[0])
	}
	copy(l.Hours, l.Hours[old:])
	l.Hours = l.Hours[:layerKept-old]
	l.driveAll()
	const unknown = 1e3
	l.Spread = unknown
}

// run fills a curve with the moisture in the middle of each of the first hours and gives that at their end.
func (l *Layer) run(w *way, pace, start float64, hours int, curve *[layerKept]float64) float64 {
	m, c, d := start, math.Exp(pace), &l.drives[w.sun]
	driven := &d.driven[w.power]
	for i := range hours {
		next := w.step(m, c*driven[i], d.ends[i])
		curve[i] = (m + next) / 2
		m = next
	}
	return m
}

// settle brings the ways nearer to what was measured since.
func (l *Layer) settle() {
	l.prepare()
	if l.due == 0 {
		return
	}
	if l.blind = !l.weigh(); l.blind {
		l.due = 0 // the ways are as they were thought
	}
	for i := range l.ways {
		w := &l.ways[i]
		for range l.due {
			l.near(w).improve(w)
		}
		l.near(w).tell(w)
	}
	l.due = 0
}

// weigh gives each measured hour its weight: what was measured last counts most. False: nothing was measured.
func (l *Layer) weigh() bool {
	n, sum := float64(len(l.Hours)), 0.0
	for i := range l.Hours {
		l.weights[i] = 0
		if l.Hours[i].Moisture > 0 {
			l.weights[i] = math.Exp2((float64(i+1) - n) / (layerForget * n))
		}
		sum += l.weights[i]
	}
	trust := min(1, layerCounts/max(sum, 1))
	l.values = sum * trust
	for i := range l.Hours {
		noise := layerNoise * dryAWet(l.Hours[i].Moisture)
		l.weights[i] *= trust / (noise * noise)
	}
	return sum > 0
}

// dryAWet is how many per cent of the dry weight a per cent of the wet weight is, at a moisture.
func dryAWet(m DryBasis) float64 { return (1 + float64(m)/100) * (1 + float64(m)/100) }

// MeterOff is what a meter is off by all the time at a moisture, % of the dry weight.
func MeterOff(m DryBasis) float64 { return layerMeter * dryAWet(m) }

// normal is the least squares of a way: curvatures and slopes of its misfit by pace and start.
type normal struct{ pp, ps, ss, p, s, misfit, prior, now float64 }

// near works out how near a way comes to what was measured, and to what was thought before.
func (l *Layer) near(w *way) normal {
	const dp, ds = 0.02, 0.5 // steps of the derivatives
	here, byPace, byStart := &l.curves[0], &l.curves[1], &l.curves[2]
	n := normal{now: l.run(w, w.pace, w.start, len(l.Hours), here)}
	n.add(1/(l.habit.Paces*l.habit.Paces), w.pace-w.usual, 1, 0)
	n.add(1/(l.Spread*l.Spread), w.start-float64(l.Start), 0, 1)
	n.prior, n.misfit = n.misfit, 0
	if l.due == 0 {
		return n
	}
	l.run(w, w.pace+dp, w.start, len(l.Hours), byPace)
	l.run(w, w.pace, w.start+ds, len(l.Hours), byStart)
	for i := range l.Hours {
		if l.weights[i] > 0 {
			n.add(l.weights[i], here[i]-float64(l.Hours[i].Moisture), (byPace[i]-here[i])/dp, (byStart[i]-here[i])/ds)
		}
	}
	return n
}

// add takes one difference with its derivatives.
func (n *normal) add(weight, off, byPace, byStart float64) {
	n.pp += weight * byPace * byPace
	n.ps += weight * byPace * byStart
	n.ss += weight * byStart * byStart
	n.p += weight * byPace * off
	n.s += weight * byStart * off
	n.misfit += weight * off * off
}

// improve is one step of Gauss and Newton, not too long.
func (n normal) improve(w *way) {
	const farP, farS, least, most = 0.7, 10, -4, 3
	det := n.pp*n.ss - n.ps*n.ps
	w.pace -= max(-farP, min(farP, (n.ss*n.p-n.ps*n.s)/det))
	w.start -= max(-farS, min(farS, (n.pp*n.s-n.ps*n.p)/det))
	w.pace = max(least, min(most, w.pace))
}

// tell leaves with a way how near it came.
func (n normal) tell(w *way) {
	w.now, w.misfit, w.prior, w.spread = n.now, n.misfit, n.prior, math.Sqrt(n.ss/(n.pp*n.ss-n.ps*n.ps))
}

// Until forecasts when the layer comes to its target in the air to come, from the end of the last whole hour, or from a moisture measured since. never tells that this air does not dry so far.
func (l *Layer) Until(target DryBasis, air *AirAhead) (f Forecast, never bool) {
	l.settle()
	best, total, lost := math.Inf(-1), 0.0, 0.0
	for i := range l.ways {
		best = max(best, l.good(i))
	}
	for i := range l.ways {
		weight := math.Exp(l.good(i) - best)
		if weight < leastChance {
			weight = 0
		}
		for k, sign := range [...]float64{1, -1} {
			h := l.hours(&l.ways[i], target, air, sign)
			if h >= DryingLongest.Hours() {
				lost += weight
			}
			l.chances[2*i+k] = chance{h, weight}
			total += weight
		}
	}
	if lost > total/2 {
		return f, true
	}
	sortChances(l.chances[:])
	at := func(q float64) time.Duration {
		return time.Duration(quantileOfChances(l.chances[:], q*total) * float64(time.Hour))
	}
	return l.widen(l.daily(Forecast{at(layerCut), at(0.5), at(1 - layerCut)}, target), target, air), false
}

// hours is when a way comes to the target, at most DryingLongest; sign is to which side what is not known of it lies.
func (l *Layer) hours(w *way, target DryBasis, air *AirAhead, sign float64) float64 {
	pace, now, to := w.pace+sign*w.unsure.pace*w.spread, w.now, float64(target)
	if l.Newest > 0 { // nothing is nearer to what it is now
		now = float64(l.Newest)
	} else if l.blind { // then it may have dried otherwise so far, too
		now = l.run(w, pace, w.start+sign*w.unsure.meter*min(l.Spread, float64(target)), len(l.Hours), &l.curves[0])
	}
	if !l.blind || l.Newest > 0 {
		to += sign * w.unsure.meter * max(MeterOff(target), l.Off)
	}
	moved := *w
	moved.off -= sign * w.unsure.air * air.Spread * aheadEnds
	return moved.hours(now, to, math.Exp(pace+sign*w.unsure.air*air.Spread), air)
}

// good is the logarithm of how well a way goes through what was measured and through what was thought before. By how much either lies off is not known (Student's t), so where no way is good, many count.
func (l *Layer) good(i int) float64 {
	w := &l.ways[i]
	return l.habit.Chances[i] - (layerTail+2)/2*math.Log(1+w.prior/layerTail) - (layerFree+l.values)/2*math.Log(layerFree+w.misfit)
}

// mean is that of all ways, each by how good it is.
func (l *Layer) mean(of func(*way) float64) float64 {
	best, total, sum := math.Inf(-1), 0.0, 0.0
	for i := range l.ways {
		best = max(best, l.good(i))
	}
	for i := range l.ways {
		weight := math.Exp(l.good(i) - best)
		total, sum = total+weight, sum+weight*of(&l.ways[i])
	}
	return sum / total
}

// came is when the layer came to a moisture, h since its beginning, by the curves through all that was measured: one reading errs by hours where little falls. One that is not yet there goes on in the air of its last hour.
func (l *Layer) came(to DryBasis) float64 {
	const further = 24 // h
	n := len(l.Hours)
	return float64(l.Passed-n) + l.mean(func(w *way) float64 {
		m, pace, d := w.start, math.Exp(w.pace), &l.drives[w.sun]
		for h := range n + further {
			k := min(h, n-1)
			next := w.step(m, pace*d.driven[w.power][k], d.ends[k])
			if next <= float64(to) {
				return float64(h) + max(0, m-float64(to))/max(1e-9, m-next)
			}
			m = next
		}
		return float64(n + further)
	})
}
