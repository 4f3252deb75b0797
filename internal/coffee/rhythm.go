package coffee

import (
	"math"
	"time"
)

// Chosen, on the layers that may be looked at.
const (
	rhythmHours = 3    // that are compared with the same ones of the day before
	rhythmPart  = 0.65 // that the days count for against the ways, in the logarithm of the time left,
	rhythmNone  = 18.0 // h left: nearer than that they count nothing, the hour of the day decides
	rhythmWhole = 36.0
	rhythmMost  = 400.0 // h
	rhythmEnd   = 9.5   // % of the dry weight that whole days on a deck tend to
)

// daily lets what a layer in the open did from one day to the next count beside the ways: sun on the beans, cover, rain and dew are in it, and in no reading of the air.
func (l *Layer) daily(f Forecast, target DryBasis) Forecast {
	left, ok := l.byDays(target)
	if !l.Deck || !ok || f.Middle <= 0 {
		return f
	}
	part := rhythmPart * max(0, min(1, (f.Middle.Hours()-rhythmNone)/(rhythmWhole-rhythmNone)))
	by := math.Pow(left/f.Middle.Hours(), part)
	scaled := func(d time.Duration) time.Duration { return time.Duration(by * float64(d)) }
	return Forecast{scaled(f.Early), scaled(f.Middle), scaled(f.Late)}
}

// byDays is how many hours remain if each day takes the same share of the free moisture as the last one did. False: there were no two days of readings, or it got no drier.
func (l *Layer) byDays(target DryBasis) (float64, bool) {
	const day = 24
	n := len(l.Hours)
	now, ok := l.measured(n-rhythmHours, n)
	before, was := l.measured(n-rhythmHours-day, n-day)
	if !ok || !was {
		return 0, false
	}
	free, freed, wanted := now-rhythmEnd, before-rhythmEnd, float64(target)-rhythmEnd
	if wanted <= 0 || free <= wanted {
		return 1, free <= wanted && wanted > 0
	}
	share := math.Log(freed / free)
	if !(share > 0) {
		return 0, false
	}
	return min(rhythmMost, day*math.Log(free/wanted)/share), true
}

// measured is the mean of what was measured in some hours.
func (l *Layer) measured(from, to int) (mean float64, ok bool) {
	if from < 0 {
		return 0, false
	}
	n := 0.0
	for _, h := range l.Hours[from:to] {
		if h.Moisture > 0 {
			mean, n = mean+float64(h.Moisture), n+1
		}
	}
	return mean / max(1, n), n > 0
}

// How much wider than the ways' own interval an honest one is: conformal factors as in foresee.go, on the layers that were held out or sealed once, with some room.
const (
	dryerEarly, dryerLate, dryerLeft, dryerMoved = 0.95, 0.60, 0.2, 0.2
	deckEarly, deckLate, deckLeft, deckMoved     = 0.80, 1.35, 0.4, 0.3
	deckDay                                      = 12.0 // h: on a deck an end comes with the sun of one day or of the next
	waysMost                                     = 2.0  // of the time left, or of
	waysMostOf                                   = 8.0  // h: the ways' own interval counts no wider
	deckMost                                     = 0.7
	layerBack                                    = 24 // h that forecasts are held against later ones
	widerSure                                    = 0.2
)

// widen is the interval as the layer's own past and the layers that were looked at say it has to be.
func (l *Layer) widen(f Forecast, target DryBasis, air *AirAhead) Forecast {
	middle := f.Middle.Hours()
	early, late, left, moved, day, most := dryerEarly, dryerLate, dryerLeft, dryerMoved, 0.0, waysMost
	if l.Deck {
		early, late, left, moved, day, most = deckEarly, deckLate, deckLeft, deckMoved, deckDay, deckMost
	}
	if l.blind { // nothing was measured that could bear the factors out
		early, late = max(1, early), max(1, late)
	}
	l.Foreseen[0] = float64(l.Passed) + middle
	left, moved = left*middle, moved*l.moved()
	side := func(d time.Duration) float64 {
		own := min(max(0, d.Hours()), most*max(middle, waysMostOf))
		return math.Sqrt(own*own+left*left+moved*moved+day*day) + widerSure
	}
	early, late = early*side(f.Middle-f.Early), late*side(f.Late-f.Middle)
	l.Hinds.add(Hindsight{float64(l.Passed), float64(l.Passed) + middle, early, late})
	by := math.Exp(l.habit.Late)
	early, late = by*math.Exp(l.habit.Wider.Early)*early, by*math.Exp(l.habit.Wider.Late)*late
	if middle *= by; !l.Deck && l.fresh() { // on a deck weather and not habit makes the time
		both, narrower := l.habit.beside(middle, float64(l.Passed))
		middle, early, late = both, narrower*early, narrower*late
		if own, ok := l.asOthers(target, air); ok {
			middle *= math.Pow(max(0.1, own)/middle, courseCounts)
		}
	}
	hours := func(h float64) time.Duration { return time.Duration(max(0, h) * float64(time.Hour)) }
	return Forecast{hours(middle - early), hours(middle), hours(middle + late)}
}

// moved is by how much the forecasts of an hour, a quarter, a half and a whole day ago differed from the newest one at most, h.
func (l *Layer) moved() (most float64) {
	for _, back := range [...]int{1, 6, 12, layerBack} {
		if l.Foreseen[back] > 0 {
			most = max(most, math.Abs(l.Foreseen[0]-l.Foreseen[back]))
		}
	}
	return most
}
