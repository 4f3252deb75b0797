package models_test

import (
	"flag"
	"testing"

	"millwarden/internal/coffee/jury"
)

// juryAsked asks the layers of package jury. They were asked once, on 30 November 2026, by -jury 2, after the last change of the forecaster, and are opened since.
var juryAsked = flag.Uint64("jury", 0, "houses of each law and place of the jury that drying forecasts are judged on; 0: none")

// juryReached is a bound of what was reached in dryers then, per cent of the time left half way in every other layer, by driedBefore: 9, 19 and 8 with a probe, 13, 32 and 10 by hand. The goal is 10.
var juryReached = [regimes][len(driedBefore)]float64{{10, 22, 10}, {15, 36, 12}}

// Aim: the drying forecast reaches its goals on the layers of small estates, through the whole model, by law, by place and by how moisture
// becomes known; finished layers of the same house go before. Sun decks are told beside it. A part of it (-run jury/probe/./static) tells, but proves nothing.
func TestBed_jury(t *testing.T) {
	if *juryAsked == 0 {
		t.Skip("the jury is asked by -jury 2")
	}
	for how := range regimes {
		dryers := dryingGrid(t, how, jury.Dryings, jury.Places, func(law jury.Drying, place jury.Place, seed uint64) *sealedHouse {
			h := jury.NewHouse(law, place, jury.LayerSeed+seed)
			return &sealedHouse{lots: place.Lots(), loads: h.Loads, hours: h.Hours, idle: h.Idle,
				layer: func(lot int, loaded float64) lying { return h.Layer(lot, loaded) },
				dried: func(l lying, percent float64, tells bool) bool {
					return l.(*jury.Layer).Dried(percent, tells, how == byProbe)
				}}
		}, *juryAsked)
		dryers.reaches(t, how, 2*int(jury.Dryings)*jury.Static.Lots()*int(max(*juryAsked, 2)), leastHeld, juryReached[how])
	}
}
