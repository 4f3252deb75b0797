package coffee

import (
	"math"
	"sync"

	"millwarden/internal/units"
)

// What the trade says before an estate has dried a layer: washed parchment takes 20 to 36 h in a dryer and 3 to 7 days of sun to 11 %wb (common practice). That of decks is in the geometric middle, that of dryers above it, as the houses looked at took 23 to 70 h.
const (
	dryerHours = 33.0
	deckHours  = 110.0
	// Deviation of the logarithm of the pace, chosen: more than those ranges have if two layers of three lie in them.
	usualPaces = 0.45
)

var (
	tradeDryers = sync.OnceValue(func() LayerHabit { return tradeHabit(false, dryerHours) })
	tradeDecks  = sync.OnceValue(func() LayerHabit { return tradeHabit(true, deckHours) })
)

// tradeHabit gives each way the pace at which it takes so many hours in usual air.
func tradeHabit(deck bool, hours float64) LayerHabit {
	air := AirAhead{Deck: deck}
	air.set(usualDay(deck))
	from, to := float64(WetBasis(53).Dry()), float64(WetBasis(11).Dry())
	h := LayerHabit{Paces: usualPaces}
	for i := range h.Pace {
		w := newWay(i, from, 0, deck)
		w.off, w.lower = 0, layerLower // its isotherm in the middle
		h.Pace[i] = solve(-5, 4, func(pace float64) float64 { return hours - w.hours(from, to, math.Exp(pace), &air) })
	}
	return h
}

// usualDay is air of 20 °C and 80 %RH heated to 40 °C, the hottest for parchment (Wintgens 2004, as quoted); on a deck a fair day from the early morning on, 17 to 33 °C over a dew point of 15 °C (chosen).
func usualDay(deck bool) *[aheadHours]Air {
	var day [aheadHours]Air
	for i := range day {
		day[i] = Air{T: 40, RH: 25}
		if deck {
			const mean, swing, dew, noon = 25, 8, 15, 4
			t := units.Celsius(mean + swing*math.Cos((float64(i)-noon)/24*2*math.Pi))
			day[i] = Air{T: t, RH: RelativeHumidity(min(100, 100*SaturationPressure(dew)/SaturationPressure(t)))}
		}
	}
	return &day
}
