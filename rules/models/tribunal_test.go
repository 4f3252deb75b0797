package models_test

import (
	"flag"
	"testing"

	"millwarden/internal/coffee/tribunal"
)

// tribunalAsked asks the layers of package tribunal. They were asked once, on 30 November 2026, after the last change of the forecaster, and are opened since.
var tribunalAsked = flag.Uint64("tribunal", 0, "houses of each law and place of the tribunal that drying forecasts are judged on; 0: none")

// dryingReached and leastHeld are bounds of what was reached in dryers since it is opened, with some room: per cent of the time left half way in every other layer, by driedBefore, and of the truth in the interval. The goals are 10 %, and 70
// to 90 %. Sun decks are told beside it.
const leastHeld = 70

var dryingReached = [regimes][len(driedBefore)]float64{{10, 17, 10}, {10, 15, 10}}

// Aim: the drying forecast reaches its goals on the layers of small estates, through the whole model, by law, by place and by how moisture becomes known; finished layers of the same house go before. A part of it
// (-run tribunal/probe/activity/drum) tells, but proves nothing.
func TestBed_tribunal(t *testing.T) {
	if *tribunalAsked == 0 {
		t.Skip("the tribunal is asked by -tribunal 1")
	}
	for how := range regimes {
		dryers := dryingGrid(t, how, tribunal.Dryings, tribunal.Places, func(law tribunal.Drying, place tribunal.Place, seed uint64) *sealedHouse {
			h := tribunal.NewHouse(law, place, tribunal.LayerSeed+seed)
			return &sealedHouse{lots: place.Lots(), loads: h.Loads, hours: h.Hours, idle: h.Idle,
				layer: func(lot int, loaded float64) lying { return h.Layer(lot, loaded) },
				dried: func(_ lying, percent float64, tells bool) bool { return tells && percent <= dryTarget }} // its own meter tells
		}, *tribunalAsked)
		dryers.reaches(t, how, 3*int(tribunal.Dryings)*tribunal.Drum.Lots()*int(*tribunalAsked), leastHeld, dryingReached[how])
	}
}
