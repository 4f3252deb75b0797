package coffee

import (
	"cmp"
	"math"
	"slices"

	"millwarden/internal/units"
)

// way is one way of drying: M' = -c D^e g(M - Me), a characteristic drying curve (van Meel 1958). Me is the isotherm of Trejos 1989, off by some per cent; D the vapour deficit, which Roa
// takes to the power 0.879; g straight up to a critical moisture, or bent. The pace c and the moisture at the start are fitted, the rest is spread evenly over what is thought possible.
type way struct {
	rates       *rateTable
	power       int     // index in layerExponents
	sun         int     // index in layerSunny
	off         float64 // % of the dry weight that the isotherm is off by
	lower       float64 // the same as a part, for each unit of humidity below 60 %
	wets        float64 // pace of taking up water against giving it
	unsure      struct{ pace, air, meter float64 }
	pace, start float64 // logarithm; % of the dry weight
	now         float64 // % of the dry weight at the end of the hours
	spread      float64 // of pace
	misfit      float64
}

// ending is where air would dry to, % of the dry weight, and how dry it is: the humidity that is missing to 60 %.
type ending struct{ end, dry float64 }

// chance is an end that one way has, with its weight.
type chance struct{ hours, weight float64 }

// shape is how the rate goes with free moisture: to a power up to a critical moisture, and quicker by a square while wet, as where water has to diffuse.
type shape struct{ power, critical, quick float64 }

// drives is how air drives a layer hour by hour, by power, and where it would end.
type drives[D, E any] struct {
	driven [layerPowers]D
	ends   E
}

const (
	layerShapes = 9
	layerPowers = 3
	layerSuns   = 3
	layerWays   = 2 * layerShapes * layerPowers
)

// Chosen, on the layers that may be looked at.
const (
	layerPace   = 0.1   // logarithm of the pace against a thin layer of Roa
	layerPaces  = 0.7   // its deviation: lots take 4 to 14 days on decks of one island (Hawaiian study of 30 batches, 2019, as quoted)
	layerEnds   = 0.6   // % of the dry weight: the isotherm's own error is 0.54 (Trejos 1989)
	layerLower  = -0.35 // other isotherms that agree with that of Trejos at 60 %RH lie by so much lower in dry air
	layerLowers = 0.3   // their deviation
	sameMoist   = 40.0  // % of the dry weight, free, at which all shapes dry alike
	sameDeficit = 3.0   // kPa at which all powers dry alike
)

var (
	layerExponents = [layerPowers]float64{0.4, 0.7, 1}
	// layerSunny is how much warmer than the air beans in the open are by day, as a part of what the air is above the coldest hour of its day. Chosen: on decks they pass 46 °C (as quoted).
	layerSunny = [layerSuns]float64{0, 0.35, 0.7}
	layerRates = ratesOf([layerShapes]shape{{1, 200, 0}, {1, 60, 0}, {1, 90, 0}, {0.8, 200, 0}, {1.2, 200, 0}, {1.2, 80, 0}, {1, 200, 1. / 90}, {1, 200, 1. / 65}, {1, 200, 1. / 50}})
)

// rateTable is g(f)/f by the free moisture f in steps of one per cent of the dry weight.
type rateTable [192]float64

func ratesOf(shapes [layerShapes]shape) (t [layerShapes]rateTable) {
	for i, s := range shapes {
		g := func(f float64) float64 {
			return math.Pow(min(f, s.critical), s.power) * (1 + s.quick*s.quick*f*f) / f
		}
		for f := range t[i] {
			t[i][f] = g(float64(f)+0.5) / g(sameMoist)
		}
	}
	return t
}

func (t *rateTable) at(free float64) float64 {
	if !(free < float64(len(t))) {
		return t[len(t)-1]
	}
	return t[int(max(0, free))]
}

// newWay makes the i-th way, whose properties follow sequences that fill a space evenly (Halton 1960).
func newWay(i int, start float64, deck bool) way {
	w := way{rates: &layerRates[i%layerShapes], power: i / layerShapes % layerPowers, off: layerEnds * deviate(halton(i, 2)), lower: layerLower + layerLowers*deviate(halton(i, 13)),
		wets: halton(i, 3), pace: layerPace, start: start}
	w.sun = int(halton(i, 17) * float64(suns(deck)))
	w.unsure.pace, w.unsure.air, w.unsure.meter = deviate(halton(i, 5)), deviate(halton(i, 7)), deviate(halton(i, 11))
	return w
}

// halton is the n-th number of the sequence of that base, between 0 and 1.
func halton(n, base int) float64 {
	sum, part := 0.0, 1.0
	for n++; n > 0; n /= base {
		part /= float64(base)
		sum += part * float64(n%base)
	}
	return sum
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
