package coffee

import (
	"cmp"
	"math"
	"slices"

	"millwarden/internal/units"
)

// way is one way of drying: M' = -c D^e g(M - Me), a characteristic drying curve (van Meel 1958). Me is the isotherm of Trejos 1989, off by some per cent; D the vapour deficit, which Roa
// takes to the power 0.879; g goes with one power of what is free while dry and with another while wet. The pace c and the moisture at the start are fitted, the rest is spread evenly over what is thought possible.
type way struct {
	rates         *rateTable
	power         int     // index in layerExponents
	sun           int     // index in layerSunny
	off           float64 // % of the dry weight that the isotherm is off by
	lower         float64 // the same as a part, for each unit of humidity below 60 %
	wets          float64 // pace of taking up water against giving it
	unsure        struct{ pace, air, meter float64 }
	usual         float64 // pace, before anything is measured
	pace, start   float64 // logarithm; % of the dry weight
	now           float64 // % of the dry weight at the end of the hours
	spread        float64 // of pace
	misfit, prior float64
}

// ending is where air would dry to, % of the dry weight, and how dry it is: the humidity that is missing to 60 %.
type ending struct{ end, dry float64 }

// chance is an end that one way has, with its weight.
type chance struct{ hours, weight float64 }

// drives is how air drives a layer hour by hour, by power, and where it would end.
type drives[D, E any] struct {
	driven [layerPowers]D
	ends   E
}

const (
	layerPowers = 3
	layerSuns   = 3
	layerWays   = 61 // a prime, for even
)

// Chosen, on the layers that may be looked at.
const (
	layerEnds   = 0.6   // % of the dry weight: the isotherm's own error is 0.54 (Trejos 1989)
	layerLower  = -0.35 // other isotherms that agree with that of Trejos at 60 %RH lie by so much lower in dry air
	layerLowers = 0.3   // their deviation
	// Near the end layers go with a power of what is free: 1 is Lewis 1921, more where some beans or parts of them are slower than others.
	drierPower, drierPowers, leastPower = 1.0, 0.3, 0.6
	// While wet they may give water steadily (0, van Meel 1958) or ever slower (Page 1949, Thompson 1968, diffusion), and where that turns is not known.
	wetterPower          = 1.9
	breaksFrom, breaksTo = 12.0, 100.0 // % of the dry weight, free
	evenStep             = 6           // of those for which the shortest vector of any pair is longest
	sameMoist            = 40.0        // % of the dry weight, free, at which all shapes dry alike
	sameDeficit          = 3.0         // kPa at which all powers dry alike
)

var (
	layerExponents = [layerPowers]float64{0.4, 0.7, 1}
	// layerSunny is how much warmer than the air beans in the open are by day, as a part of what the air is above the coldest hour of its day. Chosen: on decks they pass 46 °C (as quoted).
	layerSunny = [layerSuns]float64{0, 0.35, 0.7}
)

// rateTable is g(f)/f by the free moisture f in steps of one per cent of the dry weight.
type rateTable [192]float64

// shape is how the rate goes with free moisture: to one power while dry, to another above a break.
type shape struct{ dry, wet, at float64 }

func (s shape) rates() (t rateTable) {
	g := func(f float64) float64 {
		if f > s.at {
			return math.Pow(s.at, s.dry-s.wet) * math.Pow(f, s.wet-1)
		}
		return math.Pow(f, s.dry-1)
	}
	for f := range t {
		t[f] = g(float64(f)+0.5) / g(sameMoist)
	}
	return t
}

// layerRates are the shapes of all ways: they are as far apart as anything that was published, and none is chosen.
var layerRates = func() (list [layerWays]rateTable) {
	for i := range list {
		list[i] = shape{
			dry: max(leastPower, drierPower+drierPowers*deviate(even(i, 0))),
			wet: wetterPower * even(i, 1),
			at:  breaksFrom * math.Pow(breaksTo/breaksFrom, even(i, 2)),
		}.rates()
	}
	return list
}()

// even is the i-th number of the d-th of sequences that fill a space evenly together (lattice of Korobov 1959).
func even(i, d int) float64 {
	g := 1
	for range d {
		g = g * evenStep % layerWays
	}
	return (float64(i*g%layerWays) + 0.5) / layerWays
}

func (t *rateTable) at(free float64) float64 {
	if !(free < float64(len(t))) {
		return t[len(t)-1]
	}
	return t[int(max(0, free))]
}

// newWay makes the i-th way, whose properties fill the space of what is thought possible evenly.
func newWay(i int, start, pace float64, deck bool) way {
	w := way{rates: &layerRates[i], power: i % layerPowers, off: layerEnds * deviate(even(i, 3)), lower: layerLower + layerLowers*deviate(even(i, 4)),
		wets: even(i, 5), pace: pace, usual: pace, start: start}
	w.sun = int(even(i, 6) * float64(suns(deck)))
	w.unsure.pace, w.unsure.air, w.unsure.meter = deviate(even(i, 7)), deviate(even(i, 8)), deviate(even(i, 9))
	return w
}

// deviate is the standard normal deviate of a probability.
func deviate(u float64) float64 { return math.Sqrt2 * math.Erfinv(2*u-1) }

// suns is how many of layerSunny may be: under a roof there is no sun.
func suns(deck bool) int {
	if deck {
		return layerSuns
	}
	return 1
}

// inSun is the air at beans that the sun warms: it keeps its vapour.
func inSun(a Air, cold units.Celsius, sun int) Air {
	if sun == 0 {
		return a
	}
	t := a.T + units.Celsius(layerSunny[sun])*max(0, a.T-cold)
	return Air{T: t, RH: RelativeHumidity(100 * VapourPressure(a.T, a.RH) / SaturationPressure(t))}
}

// coldest is the lowest temperature of some hours.
func coldest(hours []Air) units.Celsius {
	t := hours[0].T
	for _, h := range hours {
		t = min(t, h.T)
	}
	return t
}

// driveOf is how strongly air drives a thin layer by each power, 1/h, and where it would end. Where powers differ they agree with Roa at sameDeficit. Air outside the range of the formulas is
// taken as its nearest inside: a layer goes on drying.
func driveOf(a Air) (d [layerPowers]float64, end ending) {
	const icy, hottest, dampest = 0, 80, 99
	t, rh := min(max(a.T, icy), hottest), min(max(a.RH, sorptionDriest), dampest)
	same := 0.0143 * math.Pow(sameDeficit, 0.87898) // [Roa]
	for k, e := range layerExponents {
		d[k] = same * math.Pow(float64(VapourDeficit(t, rh))/sameDeficit, e)
	}
	return d, ending{float64(sorption(min(max(float64(t), sorptionColdest), sorptionHottest), float64(rh)/100)), max(0, 0.6-float64(rh)/100)}
}

// step is the moisture an hour after m, of a way that is driven so strongly.
func (w *way) step(m, driven float64, at ending) float64 {
	end := at.end*(1+w.lower*at.dry) + w.off
	free := m - end
	if free <= 0 {
		return end + free/(1+driven*w.wets)
	}
	half := free * fading(driven*w.rates.at(free)/2)
	return end + free*fading(driven*w.rates.at(half))
}

// fading is near the exponential of -r (Padé), and like it falls to nothing.
func fading(r float64) float64 {
	const far = 1.0
	if r > far {
		return 1 / (1 + r + r*r/2)
	}
	return (2 - r) / (2 + r)
}

// hours is when a way comes from a moisture to another at a pace, at most DryingLongest.
func (w *way) hours(m, to, pace float64, air *AirAhead) float64 {
	longest := int(DryingLongest.Hours())
	if m <= to {
		return 0
	}
	day := m
	for h := range longest {
		if h >= aheadHours && h%24 == 0 { // the same day again does less and less: what it will not do in time needs no going through
			if (day-m)*float64(longest-h) < (m-to)*24 {
				break
			}
			day = m
		} else if h == aheadHours-24 {
			day = m
		}
		driven, end := air.hour(h, w)
		next := w.step(m, pace*driven, end)
		if next <= to {
			return float64(h) + (m-to)/(m-next)
		}
		m = next
	}
	return float64(longest)
}

func sortChances(c []chance) {
	slices.SortFunc(c, func(a, b chance) int { return cmp.Compare(a.hours, b.hours) })
}

// quantileOfChances is the hour by which so much weight is used up, between the chances by straight lines.
func quantileOfChances(c []chance, want float64) float64 {
	sum, last, at := 0.0, 0.0, c[0].hours
	for i := range c {
		middle := sum + c[i].weight/2
		if middle >= want && middle > last {
			return at + (c[i].hours-at)*max(0, (want-last)/(middle-last))
		}
		sum, last, at = sum+c[i].weight, middle, c[i].hours
	}
	return at
}
