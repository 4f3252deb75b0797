// Package assize is a set of fermentation tanks and drying layers to judge the forecasters of internal/coffee and rules/models on, written by somebody who had not read them. It was sealed until they were asked once, on
// 29 November 2026; it may be looked at since, and the next improvement wants a new one. Tests only.
//
// It stands for what a good ordinary estate meets: five laws of souring in four kinds of tanks, five laws of drying in four kinds of houses. Each pair is one estate with habits of its own (place, tank,
// people, probes), and lots follow one another there, so that something can be learnt. Nothing here uses a formula of package coffee. Forms are from the publications named, as remembered; what
// is drawn lies in the ranges of literature on coffee, as quoted, or of common practice, which is said. Truth holds no chance once a lot is made: only probes and people do.
//
// Concurrency: what comes of one Estate or House is for one goroutine.
package assize

import (
	"math"
	"math/rand/v2"
)

// Draw gives a number between two others.
type Draw func(low, high float64) float64

func drawn(seed, stream uint64) Draw {
	r := rand.New(rand.NewPCG(seed, stream))
	return func(low, high float64) float64 { return low + (high-low)*r.Float64() }
}

// normal is of mean 0 and deviation 1, within 3.
func (d Draw) normal() float64 { return d(-1, 1) + d(-1, 1) + d(-1, 1) }

// gas is in kJ/(mol K).
const gas = 8.314e-3

// saturation is the vapour pressure over water in kPa (Tetens 1930, FAO-56 eq. 11).
func saturation(celsius float64) float64 { return 0.6108 * math.Exp(17.27*celsius/(celsius+237.3)) }

// heated is the relative humidity of air after it was warmed from one temperature to another, at the same vapour.
func heated(rh, from, to float64) float64 { return rh * saturation(from) / saturation(to) }

// pressure is that of the air in kPa at a height in m (FAO-56 eq. 7).
func pressure(metres float64) float64 { return 101.3 * math.Pow((293-0.0065*metres)/293, 5.26) }

// seasonDays are how many days a Season has; after them the last one comes again.
const seasonDays = 120

// Season is the air of a place in harvest. Wet and dry days follow each other as a chain of Markov (Gabriel, Neumann 1962), more often dry in harvest; other days keep 0.6 of how the one before
// was off (Richardson 1981). A day goes along a sine, a night falls off exponentially (Parton, Logan 1981; their constants for air), here made to end at its low. Dew lies a little below the
// low of the night (FAO-56). Sun from six to six; on wet days rain in the afternoon, as in the mountains near the equator (common practice).
type Season struct{ days [seasonDays + 1]day }

type day struct {
	low, high, dew float64 // °C
	bright         float64 // part of a clear noon
	rain, dry      float64 // h of the day from which and until which it rains
}

// newSeason is that of a place so many m up: 15.5 to 25 °C at 1,450 m, 0.6 K less each 100 m (lapse rate of the standard atmosphere, rounded).
func newSeason(metres float64, own Draw) *Season {
	s := &Season{}
	low, high := 24.2-0.006*metres+own(-1, 1), 34-0.006*metres+own(-1, 1)
	dry, again, first := own(0.5, 2), own(0.35, 0.55), own(0.08, 0.18)
	wet, off, airmass := false, 0.0, 0.0
	for i := range s.days {
		chance := own(0, 1)
		wet = chance < first || wet && chance < again
		off, airmass = 0.6*off+0.8*own.normal(), 0.6*airmass+0.8*own.normal()
		d := day{low: low + 0.6*airmass - 0.3*off, high: high + 0.8*airmass + 0.9*off, bright: math.Min(1.05, 0.85+0.12*off), rain: own(12.5, 16)}
		d.dry = d.rain
		d.dew = d.low - dry
		if wet {
			d.low, d.high, d.bright = d.low+0.6, d.high-2.5, 0.45+0.1*off
			d.dew, d.dry = d.low-0.4, d.rain+own(0.7, 3)
		}
		d.bright = math.Max(0.2, d.bright)
		d.high = math.Max(d.high, d.low+4)
		s.days[i] = d
	}
	return s
}

const sunrise, sunset = 6.0, 18.0

// on is the day, with the next one, and the hour of it.
func (s *Season) on(hours float64) (today, next *day, clock float64) {
	i := min(int(hours/24), seasonDays-1)
	return &s.days[i], &s.days[i+1], math.Mod(hours, 24)
}

// Air is in °C, so many hours after the midnight before the first day.
func (s *Season) Air(hours float64) float64 {
	const late, fall = 1.86, 2.2 // h that the highest comes after noon; how fast nights cool
	today, next, clock := s.on(hours)
	if clock >= sunrise && clock < sunset {
		return today.low + (today.high-today.low)*math.Sin(math.Pi*(clock-sunrise)/(12+2*late))
	}
	if clock < sunrise { // of the night that began the day before
		today, next, _ = s.on(math.Max(0, hours-24))
		clock += 24
	}
	dusk := today.low + (today.high-today.low)*math.Sin(math.Pi*12/(12+2*late))
	left := (math.Exp(-fall*(clock-sunset)/12) - math.Exp(-fall)) / (1 - math.Exp(-fall))
	return next.low + (dusk-next.low)*left
}

// Humidity is in %RH, of the air outside.
func (s *Season) Humidity(hours float64) float64 {
	today, next, clock := s.on(hours)
	dew := today.dew + (next.dew-today.dew)*clock/24
	if s.Rains(hours) {
		dew++
	}
	air := s.Air(hours)
	return 100 * saturation(math.Min(dew, air-0.3)) / saturation(air)
}

// Sun is the part of a clear noon.
func (s *Season) Sun(hours float64) float64 {
	today, _, clock := s.on(hours)
	if s.Rains(hours) {
		return 0.1 * math.Max(0, math.Sin(math.Pi*(clock-sunrise)/12))
	}
	return today.bright * math.Max(0, math.Sin(math.Pi*(clock-sunrise)/12))
}

// Rains tells whether it rains.
func (s *Season) Rains(hours float64) bool {
	today, _, clock := s.on(hours)
	return clock >= today.rain && clock < today.dry
}
