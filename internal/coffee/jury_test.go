package coffee

import (
	"flag"
	"testing"

	"millwarden/internal/coffee/jury"
)

// juryAsked asks the tanks of package jury, which is done once, after the last change of the forecaster.
var juryAsked = flag.Uint64("jury", 0, "estates of each law and yard of the jury that forecasts of the wash are judged on; 0: none")

// Aim: the forecast of the wash reaches its goals on the tanks of small estates, 45 min half way in every other tank and 70 % of the truth in the interval, by law and by yard, the estate's own washed tanks known as they come. A part of it
// (-run jury/laws/./barrel) tells, but proves nothing.
func TestSouring_jury(t *testing.T) {
	if *juryAsked == 0 {
		t.Skip("the jury is asked by -jury 1")
	}
	all := washGrid(t, jury.Sourings, jury.Yards, func(law jury.Souring, yard jury.Yard, tally *washTally) {
		for seed := range *juryAsked {
			e := jury.NewEstate(law, yard, jury.TankSeed+seed)
			tally.tanks(&judgedEstate{lots: jury.SoakLots, until: e.Criterion, ready: e.Ready,
				tank:   func(lot int) soaking { return e.Tank(lot) },
				washed: func(tank soaking, _ float64) bool { return tank.(*jury.Tank).Washed() }})
		}
	})
	all.reaches(t, int(jury.Sourings)*int(jury.Yards)*jury.SoakLots*int(*juryAsked), 70, 45)
}
