package coffee

import "math"

// Wider is by how much wider than usual the two sides of an estate's intervals have to be, as logarithms, by what its washed tanks showed (adaptive conformal inference: Gibbs, Candès 2021). It is
// plain data, so that it can be kept.
type Wider struct{ Early, Late float64 }

// hindsight is an hour's forecast, kept until it is known what came: hours since loading, and how wide the curves took a side to be.
type hindsight struct{ hours, end, wide float64 }

// Chosen, on the tanks that may be looked at.
const (
	widerStep = 2.0  // of the logarithm, if all forecasts of a tank missed
	widerMiss = 0.1  // part that each side may miss
	widerLow  = -0.8 // logarithms
	widerHigh = 1.5
	hindsFrom = 0.2 // part of the way from which forecasts are held to what came
	hindsTo   = 0.85
	hindsMost = 72 // h
)

// sides are the two sides of the interval, h, of a forecast that sees so much time left and whose curves are so wide.
func (w Wider) sides(left, wide float64) (early, late float64) {
	return math.Exp(w.Early) * (widerEarly*wide + leastEarly), math.Exp(w.Late) * (widerLate*wide + widerLateLeft*left)
}

// after is it after one more tank that was seen to the usual end.
func (w Wider) after(b *backTest) Wider {
	n, early, late := 0.0, 0.0, 0.0
	for _, f := range b.hinds[:b.told] {
		if part := f.hours / b.ended; !(part >= hindsFrom && part <= hindsTo) {
			continue
		}
		n++
		before, after := w.sides(f.end-f.hours, f.wide)
		switch {
		case b.ended < f.end-before:
			early++
		case b.ended > f.end+after:
			late++
		}
	}
	if n == 0 {
		return w
	}
	moved := func(v, missed float64) float64 {
		return max(widerLow, min(widerHigh, v+widerStep*(missed/n-widerMiss)))
	}
	return Wider{moved(w.Early, early), moved(w.Late, late)}
}
