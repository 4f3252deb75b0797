package coffee

import (
	"flag"
	"testing"

	"millwarden/internal/coffee/assize"
)

// assizeAsked asks the tanks of package assize. They were asked once, on 29 November 2026, after the last change of the forecaster, and are opened since.
var assizeAsked = flag.Uint64("assize", 0, "estates of each law and yard of the assize that forecasts of the wash are judged on; 0: none")

// assizeReached is a bound of what was reached since, minutes half way in every other tank, by washedBefore: 30, 67 and 24. The goal is 45.
var assizeReached = [len(washedBefore)]float64{38, 75, 30}

// Aim: the forecast of the wash on the tanks of an ordinary good estate, by law and by yard, the estate's own washed tanks known as they come, does not become worse than it is. A part of it
// (-run assize/laws/Sigmoid/barrels) tells, but proves nothing.
func TestSouring_assize(t *testing.T) {
	if *assizeAsked == 0 {
		t.Skip("the assize is asked by -assize 1")
	}
	all := washGrid(t, assize.Sourings, assize.Yards, func(law assize.Souring, yard assize.Yard, tally *washTally) {
		for seed := range *assizeAsked {
			e := assize.NewEstate(law, yard, assize.TankSeed+seed)
			tally.tanks(&judgedEstate{lots: assize.SoakLots, until: assize.Washed, ready: e.Ready,
				tank:   func(lot int) soaking { return e.Tank(lot) },
				washed: func(_ soaking, shown float64) bool { return shown <= assize.Washed }})
		}
	})
	all.reaches(t, int(assize.Sourings)*int(assize.Yards)*assize.SoakLots*int(*assizeAsked), leastHeld, assizeReached)
}
