package coffee

import (
	"math"

	"millwarden/internal/units"
)

// Air is what parchment dries in.
type Air struct {
	T  units.Celsius
	RH RelativeHumidity
}

// Airs is a stretch of hours of air, the newest last; the ring of a day. Of a place with a fire, only those in which a lot lies there count.
type Airs struct {
	Hours [24]Air
	N     int // hours known without a gap, up to 24
	Next  int
	// Usual are the same hours as they were over the last days, what was lately counting most.
	Usual [24]Air
	Days  int // that they rest on
	// Daily and Recent are by how much, K, the hours were lately off those of a day and of six hours before.
	Daily, Recent float64
}

// Add takes the mean of one more hour.
func (a *Airs) Add(hour Air) {
	const counts, before = 8, 6 // chosen
	if a.N >= before {
		off := math.Abs(float64(hour.T - a.Hours[(a.Next-before+len(a.Hours))%len(a.Hours)].T))
		a.Recent += (off - a.Recent) / counts
	}
	if a.N == len(a.Hours) {
		off := math.Abs(float64(hour.T - a.Hours[a.Next].T))
		a.Daily += (off - a.Daily) / counts
	}
	usual, days := &a.Usual[a.Next], a.Days
	if usual.RH == 0 { // skipped so far
		days = 0
	}
	usual.T += (hour.T - usual.T) / units.Celsius(min(days, 2)+1)
	usual.RH += (hour.RH - usual.RH) / RelativeHumidity(min(days, 2)+1)
	a.Hours[a.Next] = hour
	a.turn()
	a.N = min(a.N+1, len(a.Hours))
}

// Skip lets an hour pass in which no fire burns: it tells nothing of those in which one does.
func (a *Airs) Skip() {
	a.turn()
	a.N, a.Recent = 0, 0
}

// Miss lets an hour pass that nobody measured: it was like that of the day before, or like the last one.
func (a *Airs) Miss() {
	if a.N == 0 || a.N == len(a.Hours) {
		a.turn()
	} else {
		a.Add(a.Hours[a.at(-1)])
	}
}

func (a *Airs) turn() {
	if a.Next++; a.Next == len(a.Hours) {
		a.Next, a.Days = 0, a.Days+1
	}
}

// at is the place of the i-th hour to come in the ring; -1: of the last one.
func (a *Airs) at(i int) int { return (a.Next + i + len(a.Hours)) % len(a.Hours) }

// change is by how much the i-th hour to come usually differs from the last one; false: it is not known.
func (a *Airs) change(i int) (warmer units.Celsius, damper KiloPascal, known bool) {
	last, then := &a.Usual[a.at(-1)], &a.Usual[a.at(i)]
	return then.T - last.T, VapourPressure(then.T, then.RH) - VapourPressure(last.T, last.RH), last.RH > 0 && then.RH > 0
}
