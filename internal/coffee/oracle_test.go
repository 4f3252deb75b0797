package coffee

import (
	"cmp"
	"flag"
	"math"
	"slices"
	"testing"

	"millwarden/internal/coffee/tanktest"
	"millwarden/internal/coffee/tribunal"
)

var oracleTanks = flag.Uint64("oracle", 0, "tanks of each law, in tens, on which it is seen how well who knows the law and the estate could foresee; 0: ten of one law, to see that it works")

// oracleSiblings are the tanks of the same law and estate that the oracle knows from loading to end; it goes by the nearest of them.
const oracleSiblings, oracleNearest = 300, 9

// told is what was read of a tank by steps, and when it was ready, in steps.
type told struct {
	ph, warm []float64
	end      float64
}

// tell lets a tank run to its true end.
func tell(tank soaking, ph *float64) (r told) {
	w := watch{tank: tank, souring: &Souring{}} // no curves: only what is read
	for m := 0; *ph >= usualEnd && m < 4*24*60; m++ {
		w.minute()
		r.end = float64(m+1) / SouringStep.Minutes()
		if len(w.ph) == 0 {
			r.ph, r.warm = append(r.ph, w.souring.last), append(r.warm, w.celsius)
		}
	}
	return r
}

// unlike is how far the readings of the first k steps of two tanks are apart, in deviations that a probe may have (0.05 pH, 1 K); the latest count most.
func (r *told) unlike(o *told, k int) (sum float64) {
	for i := range k {
		weight := 0.2 + 0.8*math.Exp(-float64(k-1-i)/18)
		ph, warm := min(8, math.Abs(r.ph[i]-o.ph[i])/0.05), r.warm[i]-o.warm[i]
		sum += weight * (ph*ph + warm*warm)
	}
	return sum
}

// foretold is the end that the siblings tell which were likest by step k; false: hardly any got that far.
func (r *told) foretold(siblings []told, k int) (float64, bool) {
	type likeness struct{ unlike, end float64 }
	var list []likeness
	for i := range siblings {
		if s := &siblings[i]; len(s.ph) > k {
			list = append(list, likeness{r.unlike(s, k), s.end})
		}
	}
	if len(list) < oracleNearest {
		return 0, false
	}
	slices.SortFunc(list, func(a, b likeness) int { return cmp.Compare(a.unlike, b.unlike) })
	var ends []float64
	for _, l := range list[:oracleNearest] {
		ends = append(ends, l.end)
	}
	return Median(ends), true
}

// firstOf is the seed from which on the tanks of a law are judged.
func firstOf(law tanktest.Law) uint64 {
	switch {
	case law < tanktest.First:
		return 10
	case law < tanktest.Held:
		return 5010
	case law < tanktest.Seen:
		return 9010
	}
	return 13010
}

// Aim: how much of the error half way lies in the tanks and not in the forecaster. Who knows law and estate, which no forecaster does, foresees by the tanks that went likest so far (approximate
// Bayesian computation: Beaumont, Zhang, Balding 2002).
func TestOracle_ofTheLaw(t *testing.T) {
	laws, tanks, siblings := tanktest.Law(0), uint64(10), uint64(40)
	if *oracleTanks > 0 {
		laws, tanks, siblings = tanktest.Liquor, 10**oracleTanks, oracleSiblings
	}
	for law := tanktest.Law(0); law <= laws; law++ {
		var wrong []float64
		first := firstOf(law)
		for seed := first; seed < first+tanks; seed += tanktest.Lots { // an estate at a time
			const elsewhere = 900000 // seeds of no tank that is judged
			var known []told
			for lot := range siblings {
				sibling := tanktest.Sibling(law, seed, elsewhere+seed*1000+lot)
				known = append(known, tell(sibling, &sibling.PH))
			}
			for own := seed; own < seed+tanktest.Lots; own++ {
				tank := tanktest.New(law, own)
				r := tell(tank, &tank.PH)
				if end, ok := r.foretold(known, int(r.end/2)); ok {
					wrong = append(wrong, math.Abs(end-r.end)*SouringStep.Minutes())
				}
			}
		}
		t.Logf("%v: who knows law and estate is half way wrong by %.0f min, nine of ten by less than %.0f, %d tanks", law, quantileOf(wrong, 0.5), quantileOf(wrong, 0.9), len(wrong))
		if len(wrong) < int(tanks)*8/10 || quantileOf(wrong, 0.5) > 240 {
			t.Errorf("%v: that is no oracle", law)
		}
	}
}

// Aim: the same for the tanks of the tribunal. The siblings were washed on other days, so the weather to come is not known.
func TestOracle_tribunal(t *testing.T) {
	laws, siblings := tribunal.Souring(1), 40
	if *oracleTanks > 0 {
		laws, siblings = tribunal.Sourings, oracleSiblings
	}
	var wrong []float64
	for law := range laws {
		for yard := range tribunal.Yards {
			e := tribunal.NewEstate(law, yard, tribunal.TankSeed)
			var known []told
			for i := range siblings {
				sibling := e.Sibling(i)
				known = append(known, tell(sibling, &sibling.PH))
			}
			for lot := range tribunal.SoakLots {
				tank := e.Tank(lot)
				r := tell(tank, &tank.PH)
				if end, ok := r.foretold(known, int(r.end/2)); ok {
					wrong = append(wrong, math.Abs(end-r.end)*SouringStep.Minutes())
				}
			}
		}
	}
	t.Logf("who knows law and estate is half way wrong by %.0f min, nine of ten by less than %.0f, %d tanks", quantileOf(wrong, 0.5), quantileOf(wrong, 0.9), len(wrong))
	if len(wrong) < int(laws)*int(tribunal.Yards)*tribunal.SoakLots*8/10 || quantileOf(wrong, 0.5) > 120 {
		t.Error("that is no oracle")
	}
}
