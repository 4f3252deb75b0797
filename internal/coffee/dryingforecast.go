package coffee

import (
	"math"
	"time"

	"millwarden/internal/units"
)

// Air is what parchment dries in.
type Air struct {
	T  units.Celsius
	RH RelativeHumidity
}

// Drying forecasts when one lot comes to its target. A real layer is slower or quicker than the thin layer of the equation by some factor, its pace, that depends on
// depth, stirring and draught; it is learned from how the measured moisture falls, what fell last counting most.
type Drying struct {
	Fell, Thin float64 // % of the dry weight: what fell, and what a thin layer would have lost in the same air; both fade as more falls
}

// Lots take 4 to 14 days on decks of one island (Hawaiian study of 30 batches, 2019, as quoted): that is a factor of 1.65 either way in two cases of three, until the
// lot's own fall is seen. Chosen, on the layers of the test in rules/models called skin and core: it counts as much as 2 % of drying seen, what fell counts half after
// 25 % more, and a pace is never known better than to 15 %.
const (
	paceSpread = 0.50 // of the logarithm
	paceWeight = 2.0
	paceHalf   = 25.0
	paceLeast  = 0.15 // of the logarithm
)

// Pace is the factor by which this lot dries, 1 for a thin layer, and how far off its logarithm may be.
func (d Drying) Pace() (factor, spread float64) {
	factor = (max(0, d.Fell) + paceWeight) / (d.Thin + paceWeight)
	return factor, math.Hypot(paceLeast, paceSpread*paceWeight/(d.Thin+paceWeight))
}

// Learn takes how the moisture went from one measurement to the next, and what the thin layer would have lost from the first in the same air.
func (d *Drying) Learn(from, to DryBasis, thin DryBasis) {
	keep := math.Exp2(-float64(thin) / paceHalf)
	d.Fell = d.Fell*keep + float64(from-to)
	d.Thin = d.Thin*keep + float64(thin)
}

// SaysNever is why there is no time to the target: the air does not dry so far.
const SaysNever = "never in this air"

// DryingLongest is how far a drying forecast looks; chosen: longer than any lot may take.
const DryingLongest = 21 * 24 * time.Hour

// Until forecasts when a lot comes from one moisture to its target while the hours of air come one after the other and over again: the last day's for a deck, one
// for a dryer that is held steady. never tells that this air does not dry so far.
func (d Drying) Until(from, target DryBasis, air []Air) (f Forecast, never bool, err error) {
	pace, spread := d.Pace()
	const four = 1.2816 // standard deviations that hold four cases of five
	ends := [...]float64{pace * math.Exp(four*spread), pace, pace * math.Exp(-four*spread)}
	into := [...]*time.Duration{&f.Early, &f.Middle, &f.Late}
	for i, p := range ends {
		*into[i], never, err = hoursTo(from, target, air, p)
		if err != nil || never && i == 1 {
			return Forecast{}, never, err
		}
	}
	return f, false, nil
}

// hoursTo goes through the air hour by hour.
func hoursTo(from, target DryBasis, air []Air, pace float64) (time.Duration, bool, error) {
	if from <= target {
		return 0, false, nil
	}
	if len(air) == 1 {
		d, ever, err := TimeTo(from, target, air[0].T, air[0].RH)
		return min(DryingLongest, time.Duration(float64(d)/pace)), !ever || float64(d)/pace > float64(DryingLongest), err
	}
	hour := time.Duration(float64(time.Hour) * pace)
	for past := time.Duration(0); past < DryingLongest; past += time.Hour {
		a := air[int(past/time.Hour)%len(air)]
		next, err := Dried(from, a.T, a.RH, hour)
		if err != nil {
			return 0, false, err
		}
		if next <= target {
			return past + time.Duration(float64(time.Hour)*float64((from-target)/(from-next))), false, nil
		}
		from = next
	}
	return DryingLongest, true, nil
}

// Airs is a stretch of hours of air, the newest last; the ring of a day.
type Airs struct {
	Hours [24]Air
	N     int // hours known, up to 24
	Next  int
}

// Add takes the mean of one more hour.
func (a *Airs) Add(hour Air) {
	a.Hours[a.Next] = hour
	a.Next = (a.Next + 1) % len(a.Hours)
	a.N = min(a.N+1, len(a.Hours))
}

// Append gives the hours, the oldest first: with a whole day known, the next hour is like the first of them.
func (a *Airs) Append(into []Air) []Air {
	for i := range a.N {
		into = append(into, a.Hours[(a.Next-a.N+i+len(a.Hours))%len(a.Hours)])
	}
	return into
}
