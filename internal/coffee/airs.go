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

// Airs is a stretch of hours of air, the newest last; the ring of a day.
type Airs struct {
	Hours [24]Air
	N     int // hours known, up to 24
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
	usual := &a.Usual[a.Next]
	usual.T += (hour.T - usual.T) / units.Celsius(min(a.Days, 2)+1)
	usual.RH += (hour.RH - usual.RH) / RelativeHumidity(min(a.Days, 2)+1)
	a.Hours[a.Next] = hour
	if a.Next++; a.Next == len(a.Hours) {
		a.Next, a.Days = 0, a.Days+1
	}
	a.N = min(a.N+1, len(a.Hours))
}
