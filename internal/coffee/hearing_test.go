package coffee

import (
	"flag"
	"testing"

	"millwarden/internal/coffee/hearing"
)

// hearingAsked asks the tanks of package hearing. They were asked once, on 30 November 2026, by -hearing 2, after the last change of the forecaster, and are opened since.
var hearingAsked = flag.Uint64("hearing", 0, "estates of each law and yard of the hearing that forecasts of the wash are judged on; 0: none")

// hearingReached is a bound of what was reached then, minutes half way in every other tank, by washedBefore: 34, 131 and 29. The goal is 45.
var hearingReached = [len(washedBefore)]float64{40, 145, 34}

// Aim: the forecast of the wash reaches its goals on the tanks of small estates, by law and by yard, the estate's own washed tanks known as they come. A part of it
// (-run hearing/laws/./barrel) tells, but proves nothing.
func TestSouring_hearing(t *testing.T) {
	if *hearingAsked == 0 {
		t.Skip("the hearing is asked by -hearing 2")
	}
	all := washGrid(t, hearing.Sourings, hearing.Yards, func(law hearing.Souring, yard hearing.Yard, tally *washTally) {
		for seed := range *hearingAsked {
			e := hearing.NewEstate(law, yard, hearing.TankSeed+seed)
			tally.tanks(&judgedEstate{lots: hearing.SoakLots, until: e.Criterion, ready: e.Ready,
				tank:   func(lot int) soaking { return e.Tank(lot) },
				washed: func(tank soaking, _ float64) bool { return tank.(*hearing.Tank).Washed() }})
		}
	})
	all.reaches(t, int(hearing.Sourings)*int(hearing.Yards)*hearing.SoakLots*int(max(*hearingAsked, 2)), leastHeld, hearingReached)
}
