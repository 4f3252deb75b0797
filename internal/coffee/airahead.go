package coffee

import (
	"math"

	"millwarden/internal/units"
)

// AirAhead is the air of the hours to come as it drives a layer: two days, the second over and over again.
type AirAhead struct {
	Deck   bool // the layer lies in the open
	drives [layerSuns]drives[[aheadHours]float64, [aheadHours]ending]
	Spread float64 // of the logarithm of how strongly it drives
}

const aheadHours = 48

// hour is how strongly an hour to come drives a layer, and where it would end.
func (a *AirAhead) hour(h int, w *way) (float64, ending) {
	d, at := &a.drives[w.sun], aheadAt(h)
	return d.driven[w.power][at], d.ends[at]
}

// aheadAt is the hour of the two days that stands for one further off.
func aheadAt(h int) int {
	if h >= aheadHours {
		return aheadHours/2 + h%(aheadHours/2)
	}
	return h
}

func (a *AirAhead) set(air *[aheadHours]Air) {
	cold := coldest(air[:24])
	for s := range suns(a.Deck) {
		drives := &a.drives[s]
		for i := range air {
			var d [layerPowers]float64
			d, drives.ends[i] = driveOf(inSun(air[i], cold, s))
			for k := range d {
				drives.driven[k][i] = d[k]
			}
		}
	}
}

// Like fills it with the hours that follow: the day does what it did lately, or goes on in the wave that its hours so far describe, by which of the two was nearer. On its first day a fire is set and
// banked from its own warmth as it was for earlier lots.
func (a *AirAhead) Like(airs *Airs, now Air) {
	daily := airs.daily()
	cosine, sine := airs.wave()
	vapour := VapourPressure(now.T, now.RH)
	var ahead [aheadHours]Air
	for i := range aheadHours {
		turn := (float64(i) + 0.5) / 24 * 2 * math.Pi
		t := now.T + units.Celsius(cosine*(math.Cos(turn)-1)+sine*math.Sin(turn))
		v := vapour
		if w := daily * (1 - math.Exp(-float64(i+1)/aheadFades)); daily > 0 {
			usual := airs.usual(i)
			t += units.Celsius(w) * (usual.T - t)
			v += KiloPascal(w) * (VapourPressure(usual.T, usual.RH) - v)
		} else if warmer, damper, known := airs.change(i); known {
			t, v = now.T+warmer, vapour+damper
		}
		ahead[i] = Air{T: t, RH: RelativeHumidity(100 * v / SaturationPressure(t))}
	}
	a.set(&ahead)
	a.Spread = aheadSure + aheadKelvin*min(aheadMost, daily*airs.Daily+(1-daily)*airs.Recent/2)
}

// usual is the air that the i-th hour to come usually has.
func (a *Airs) usual(i int) Air {
	at := a.at(i)
	if a.Days == 0 { // kept by an older program
		return a.Hours[at]
	}
	return a.Usual[at]
}

// Chosen.
const (
	aheadFades  = 3.0  // h in which the present weather fades into that of yesterday
	aheadSure   = 0.05 // of the logarithm of the drive
	aheadKelvin = 0.13 // the same for each kelvin that the air was off by lately
	aheadMost   = 3.0  // K
	aheadEnds   = 4.0  // % of the dry weight that the end moves when the drive moves by one of its logarithm
	aheadTurn   = 3.0  // K from hour to hour: somebody turned a knob
	waveSpread  = 2.0  // K: what a day does to the air of a dryer
	waveNoise   = 0.5  // K
)

// daily is how much yesterday counts, 0 to 1, against what the last hours say.
func (a *Airs) daily() float64 {
	if a.N < len(a.Hours) {
		return 0
	}
	const noise = 0.3 * 0.3 // K²
	return (a.Recent*a.Recent + noise/8) / (a.Recent*a.Recent + a.Daily*a.Daily + noise)
}

// wave is the wave of a day through the hours since the last knob was turned, about the present: parts of its cosine and sine, K, held back by what such waves usually are.
func (a *Airs) wave() (cosine, sine float64) {
	// Regression on two unknowns and the mean, the mean taken out by hand.
	var n, c, s, t, cc, cs, ss, ct, st float64
	for i := range a.N {
		at := (a.Next - 1 - i + 2*len(a.Hours)) % len(a.Hours)
		if i > 0 && math.Abs(float64(a.Hours[(at+1)%len(a.Hours)].T-a.Hours[at].T)) > aheadTurn {
			break
		}
		turn := -(float64(i) + 0.5) / 24 * 2 * math.Pi
		x, y, k := math.Cos(turn), math.Sin(turn), float64(a.Hours[at].T)
		n, c, s, t = n+1, c+x, s+y, t+k
		cc, cs, ss, ct, st = cc+x*x, cs+x*y, ss+y*y, ct+x*k, st+y*k
	}
	if n < 3 {
		return 0, 0
	}
	const ridge = waveNoise * waveNoise / (waveSpread * waveSpread)
	cc, cs, ss, ct, st = cc-c*c/n+ridge, cs-c*s/n, ss-s*s/n+ridge, ct-c*t/n, st-s*t/n
	det := cc*ss - cs*cs
	return (ss*ct - cs*st) / det, (cc*st - cs*ct) / det
}
