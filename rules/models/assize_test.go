package models_test

import (
	"flag"
	"testing"

	"millwarden/internal/coffee/assize"
)

// assizeAsked asks the layers of package assize. They were asked once, on 29 November 2026, after the last change of the forecaster, and are opened since.
var assizeAsked = flag.Uint64("assize", 0, "houses of each law and place of the assize that drying forecasts are judged on; 0: none")

// assizeReached is a bound of what was reached in dryers since, per cent of the time left half way in every other layer, by driedBefore: 9, 27 and 8. The goal is 10.
var assizeReached = [len(driedBefore)]float64{10, 32, 10}

// Aim: the drying forecast on the layers of an ordinary good estate, through the whole model, by law and by place, does not become worse than it is in dryers; moistures come from a meter in a hand when somebody goes there, finished layers of
// the same house go before. A part of it (-run assize/hand/sphere/static_dryer) tells, but proves nothing.
func TestBed_assize(t *testing.T) {
	if *assizeAsked == 0 {
		t.Skip("the assize is asked by -assize 1")
	}
	dryers := dryingGrid(t, byHand, assize.Dryings, assize.Places, func(law assize.Drying, place assize.Place, seed uint64) *sealedHouse {
		h := assize.NewHouse(law, place, assize.LayerSeed+seed)
		return &sealedHouse{lots: assize.DryLots, loads: h.Loads, hours: h.Hours, idle: h.Idle,
			layer: func(lot int, loaded float64) lying { return h.Layer(lot, loaded) },
			dried: func(l lying, percent float64, read bool) bool {
				return read && percent <= assize.Dry+0.3 && l.(*assize.Layer).Moisture() <= assize.Dry
			}}
	}, *assizeAsked)
	dryers.reaches(t, byHand, 2*int(assize.Dryings)*assize.DryLots*int(*assizeAsked), leastHeld, assizeReached)
}
