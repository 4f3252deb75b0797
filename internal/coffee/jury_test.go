package coffee

import (
	"flag"
	"testing"

	"millwarden/internal/coffee/jury"
)

// juryAsked asks the tanks of package jury. They were asked once, on 30 November 2026, by -jury 2, after the last change of the forecaster, and are opened since.
var juryAsked = flag.Uint64("jury", 0, "estates of each law and yard of the jury that forecasts of the wash are judged on; 0: none")

// juryReached is a bound of what was reached then, minutes half way in every other tank, by washedBefore: 41, 73 and 28. The goal is 45.
var juryReached = [len(washedBefore)]float64{45, 80, 33}

// Aim: the forecast of the wash reaches its goals on the tanks of small estates, by law and by yard, the estate's own washed tanks known as they come. A part of it
// (-run jury/laws/./barrel) tells, but proves nothing.
func TestSouring_jury(t *testing.T) {
	if *juryAsked == 0 {
		t.Skip("the jury is asked by -jury 2")
	}
	all := washGrid(t, jury.Sourings, jury.Yards, func(law jury.Souring, yard jury.Yard, tally *washTally) {
		for seed := range *juryAsked {
			e := jury.NewEstate(law, yard, jury.TankSeed+seed)
			tally.tanks(&judgedEstate{lots: jury.SoakLots, until: e.Criterion, ready: e.Ready,
				tank:   func(lot int) soaking { return e.Tank(lot) },
				washed: func(tank soaking, _ float64) bool { return tank.(*jury.Tank).Washed() }})
		}
	})
	all.reaches(t, int(jury.Sourings)*int(jury.Yards)*jury.SoakLots*int(max(*juryAsked, 2)), leastHeld, juryReached)
}
