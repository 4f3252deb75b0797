package models_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"millwarden/internal/coffee"
	"millwarden/internal/units"
)

// The layers and airs of this file were sealed: written from reference literature before the drying forecast was improved, and opened once, after that. Since then they may be looked at.
// Forms are from publications as remembered, but for the table that is named; what is drawn lies in the ranges that the literature on parchment gives (as quoted there): 4 to 14 days on
// decks and patios, 52 to 56 %wb at the start, layers of 10 to 40 cm in static dryers with reversals, a heap below cloth at night once below 25 %wb, 1 to 2 %wb regained in an open
// night, air of at most 45 °C.

// bean is parchment of such a law; place is how what the probe sits in differs from the mean.
type bean interface {
	parchment
	add(m float64) // % of the dry weight, of rain
	place() float64
}

// damping is the isotherm of Trejos 1989, lower where beans take up water (hysteresis, 5 to 12 % of it; from memory) and off by its own error.
type damping struct{ lower, off float64 }

func (d damping) end(t, rh, m float64) float64 {
	e, err := coffee.EquilibriumMoisture(units.Celsius(max(5, min(65, t))), coffee.RelativeHumidity(max(5, min(98, rh))))
	if err != nil {
		panic(err)
	}
	if float64(e)+d.off > m {
		return max(min(m, float64(e)+d.off), (float64(e)+d.off)*d.lower)
	}
	return float64(e) + d.off
}

// fitted goes along one of the curves that Phitakwinai 2019, table 2, fitted at 50 °C: by the share of free water left. Its pace goes with the warmth as between 50 and 70 °C there, with the
// humidity as between 10 and 30 %, and with the depth of the layer.
type fitted struct {
	damping
	m, start, depth float64
	energy          float64
	rates           [101]float64 // 1/h by share left, at 50 °C, 10 %RH
}

func newFitted(form coffee.Form, d damping, start, depth float64) *fitted {
	at := func(t, rh float64) coffee.Fit {
		f, err := coffee.FitAt(form, coffee.Air{T: units.Celsius(t), RH: coffee.RelativeHumidity(rh)})
		if err != nil {
			panic(err)
		}
		return f
	}
	f := &fitted{damping: d, m: start, start: start, depth: depth}
	half := func(c coffee.Fit) float64 {
		h := 0.0
		for ; c.B*h+c.C+c.A*math.Exp(-c.K*math.Pow(h, c.N)) > 0.5; h += 0.01 {
		}
		return h
	}
	f.energy = math.Log(half(at(50, 10))/half(at(70, 10))) / (1/323.15 - 1/343.15)
	c, hours := at(50, 10), 0.0
	share := func(h float64) float64 { return c.A*math.Exp(-c.K*math.Pow(h, c.N)) + c.B*h + c.C }
	for i := 100; i >= 0; i-- {
		for share(hours) > float64(i)/100 && hours < 60 {
			hours += 0.01
		}
		f.rates[i] = max(0.01, (share(hours)-share(hours+0.02))/0.02)
	}
	return f
}

func (f *fitted) minute(t, rh float64) {
	e := f.end(t, rh, f.m)
	pace := f.depth * math.Exp(-f.energy*(1/(t+273.15)-1/323.15)) * max(0.03, 1.13-0.0129*rh) / 60
	if f.m <= e {
		f.m += 0.02 * pace * (e - f.m)
		return
	}
	left := (f.m - e) / (f.start - e)
	f.m -= pace * f.rates[int(100*min(1, left))] * (f.start - e)
}
func (f *fitted) wet() float64   { return wetOf(f.m) }
func (f *fitted) add(m float64)  { f.m += m }
func (f *fitted) place() float64 { return 0 }

// reaction gives water as if it had to be torn off (the reaction approach of Chen, Putranto): the vapour at the beans is that of their warmth times a share that falls as they dry, up to
// that of the isotherm. The beans stand between air and wet bulb by how wet they are.
type reaction struct {
	damping
	m, pace, bend, power float64
}

func (r *reaction) minute(t, rh float64) {
	e := r.end(t, rh, r.m)
	left := math.Exp(-r.bend * math.Pow(max(0, r.m-e), r.power)) // 1: dry
	warm := t - 0.8*(1-left)*(t-stull(t, rh))
	over := math.Exp(left * math.Log(max(0.02, rh/100)))
	r.m -= r.pace / 60 * float64(coffee.SaturationPressure(units.Celsius(warm))) * (over - rh/100*float64(coffee.SaturationPressure(units.Celsius(t))/coffee.SaturationPressure(units.Celsius(warm))))
	r.m = max(r.m, 2)
}
func (r *reaction) wet() float64   { return wetOf(r.m) }
func (r *reaction) add(m float64)  { r.m += m }
func (r *reaction) place() float64 { return 0 }

// deep is a bed of slices, each a thin layer of Roa with water held back; the air goes through one after the other, takes up water and cools, and is turned every so many hours. Dry bulk
// density 315 kg/m³ (366 + 2.7 M kg/m³ wet, as quoted), latent heat 2.45 MJ/kg.
type deep struct {
	damping
	slices                   [6]float64
	tall, flow, pace, turned float64 // m, kg of air a m² and h, factor, h between turns
	hours                    float64
}

func (d *deep) minute(t, rh float64) {
	d.hours += 1.0 / 60
	up := int(d.hours/d.turned)%2 == 0
	water := coffee.HumidityRatio(coffee.VapourPressure(units.Celsius(t), coffee.RelativeHumidity(rh)), 84) // kPa at 1500 m
	dry := 315 * d.tall / float64(len(d.slices))
	for k := range d.slices {
		i := k
		if !up {
			i = len(d.slices) - 1 - k
		}
		pressure := 84 * water / (0.621945 + water)
		h := min(98, 100*pressure/float64(coffee.SaturationPressure(units.Celsius(t))))
		gone := d.pace / 60 * 0.0143 * 1.06 * math.Pow(max(0.01, float64(coffee.SaturationPressure(units.Celsius(t)))*(1-h/100)), 0.87898) * (d.slices[i] - d.end(t, h, d.slices[i]))
		// No more than brings the air to 97 %.
		room := max(0, coffee.HumidityRatio(0.97*coffee.SaturationPressure(units.Celsius(t)), 84)-water) * 0.5 * d.flow / 60 / dry * 100
		gone = min(gone, room)
		d.slices[i] -= gone
		taken := gone / 100 * dry / (d.flow / 60)
		water += taken
		t -= taken * 2450 / 1.02
	}
}
func (d *deep) mean() float64 {
	sum := 0.0
	for _, m := range d.slices {
		sum += m
	}
	return sum / float64(len(d.slices))
}
func (d *deep) wet() float64 { return wetOf(d.mean()) }
func (d *deep) add(m float64) {
	for i := range d.slices {
		d.slices[i] += m
	}
}
func (d *deep) place() float64 { return (wetOf(d.slices[2]) - d.wet()) / 2 } // between mean and middle: people take several samples

// handled is a layer that people and weather do something to.
type handled struct {
	bean
	hours float64
	state func(h, wet float64) (sun, open, rain float64) // K that sun warms, part of the exchange, % of the dry weight an hour
}

func (l *handled) minute(t, rh float64) {
	l.hours += 1.0 / 60
	sun, open, rain := l.state(l.hours, l.wet())
	l.add(rain / 60)
	if math.Mod(l.hours*997, 1) > open { // a part of the minutes
		return
	}
	l.bean.minute(t+sun, rh*float64(coffee.SaturationPressure(units.Celsius(t))/coffee.SaturationPressure(units.Celsius(t+sun))))
}

var openedLaws = []string{"fitted at 50 °C", "reaction", "deep bed"}

var openedPlaces = []string{"dryer, out at night", "dryer, stepped down, refuelled", "deck, covered, rain", "deck, open nights"}

// openedBean makes a layer; slow is by how much slower decks are than dryers.
func openedBean(law string, r *rand.Rand, deck bool) bean {
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	d := damping{lower: between(0.88, 0.95), off: 0.54 * r.NormFloat64()}
	start := coffee.WetBasis(between(52, 56)).Dry()
	switch law {
	case "fitted at 50 °C":
		form := []coffee.Form{coffee.Newton, coffee.HendersonPabis, coffee.Logarithmic, coffee.ModifiedMidilli}[r.IntN(4)]
		return newFitted(form, d, float64(start), between(0.45, 1.1))
	case "reaction":
		return &reaction{damping: d, m: float64(start), pace: between(2.8, 6), bend: between(0.008, 0.02), power: between(0.9, 1.1)}
	}
	b := &deep{damping: d, tall: between(0.1, 0.3), flow: between(250, 450), pace: between(0.8, 1.3), turned: between(5, 9)}
	if deck { // 3 to 5 cm, air past rather than through
		b.tall, b.flow, b.pace, b.turned = between(0.03, 0.05), between(100, 250), between(0.9, 1.5), between(0.5, 1)
	}
	for i := range b.slices {
		b.slices[i] = float64(start)
	}
	return b
}

// openedScene is the air of a place and what befalls its layer.
func openedScene(seed uint64, place int) (scene, func(h, wet float64) (sun, open, rain float64)) {
	r := rand.New(rand.NewPCG(seed, 90125))
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	var cloud, dew [40]float64
	for i := range cloud {
		if i > 0 {
			cloud[i], dew[i] = 0.4*cloud[i-1], 0.6*dew[i-1]
		}
		cloud[i] += 0.2 * r.NormFloat64()
		dew[i] += r.NormFloat64()
	}
	mean, swing, dewPoint, begins := between(19, 24), between(4, 7), between(11, 15), between(7, 15)
	clock := func(h float64) float64 { return math.Mod(begins+h, 24) }
	bright := func(h float64) float64 { return max(0.2, min(1.2, 1+cloud[int((begins+h)/24)%40])) }
	outside := func(h float64) (float64, float64) {
		t := mean - swing*bright(h)*math.Cos((clock(h)-4)/24*2*math.Pi)
		return t, min(96, vapour(dewPoint+dew[int((begins+h)/24)%40], t))
	}
	warm := func(h, lift float64) (float64, float64) {
		t, rh := outside(h)
		return t + lift, rh * float64(coffee.SaturationPressure(units.Celsius(t))/coffee.SaturationPressure(units.Celsius(t+lift)))
	}
	to := func(h, set float64) (float64, float64) {
		t, _ := outside(h)
		return warm(h, max(0, set-t))
	}
	still := func(h, wet float64) (float64, float64, float64) { return 0, 1, 0 }
	rains := make([]float64, 40)
	for i := range rains {
		rains[i] = -99
		if r.Float64() < 0.3 {
			rains[i] = between(13, 17)
		}
	}
	long, poured, sunny := between(1, 3), between(0, 3), between(3, 9)
	shine := func(h float64) float64 {
		return sunny * bright(h) * max(0, math.Sin(math.Pi*(clock(h)-6)/12))
	}
	switch place {
	case 0:
		set, off, on := between(38, 44), between(19, 22), between(4, 6.5)
		runs := func(h float64) bool { c := clock(h); return c < off && c >= on }
		return scene{openedPlaces[0], "dryer", 0, func(h float64, _ *rand.Rand) (float64, float64) {
				if runs(h) {
					return to(h, set)
				}
				return outside(h)
			}}, func(h, _ float64) (float64, float64, float64) {
				if runs(h) {
					return 0, 1, 0
				}
				return 0, 0.1, 0
			}
	case 1:
		one, two, first, second, third := between(4, 8), between(9, 14), between(42, 45), between(39, 42), between(36, 39)
		every, gap := between(3, 5), between(0.2, 0.5)
		return scene{openedPlaces[1], "dryer", two, func(h float64, _ *rand.Rand) (float64, float64) {
			set := first
			if h > two {
				set = third
			} else if h > one {
				set = second
			}
			if math.Mod(h, every) < gap {
				set -= 10
			}
			return to(h, set)
		}}, still
	case 2:
		return scene{openedPlaces[2], "deck", 0, func(h float64, _ *rand.Rand) (float64, float64) { return outside(h) }}, func(h, wet float64) (float64, float64, float64) {
			c, day := clock(h), int((begins+h)/24)%40
			raining := c >= rains[day] && c < rains[day]+long
			switch {
			case raining && c < rains[day]+0.25: // before the cloth is over it
				return 0, 1, 4 * poured
			case raining, wet < 25 && (c < 7 || c > 18):
				return 0, 0.05, 0
			}
			return shine(h), 1, 0
		}
	}
	return scene{openedPlaces[3], "deck", 0, func(h float64, _ *rand.Rand) (float64, float64) { return outside(h) }}, func(h, _ float64) (float64, float64, float64) { return shine(h), 1, 0 }
}

// openedRuns are the runs of one law in one place. The meter is off, reads too much in wet beans, drifts, and sits where it sits.
func openedRuns(law string, place int) []run {
	var list []run
	for seed := uint64(2001); seed <= 2000+layerSeeds(); seed++ {
		air, state := openedScene(seed, place)
		r := rand.New(rand.NewPCG(seed, uint64(place)+9))
		fresh := func() parchment {
			return &handled{bean: openedBean(law, rand.New(rand.NewPCG(seed, uint64(place)+53)), air.kind == "deck"), state: state}
		}
		off, steep, drift := 0.4*r.NormFloat64(), 0.05*r.NormFloat64(), 0.001*r.NormFloat64()
		list = append(list, run{layer: fresh, scene: air, rng: r, reads: func(l parchment, h float64) float64 {
			return l.wet() + l.(*handled).place() + off + steep*max(0, l.wet()-20) + drift*h
		}})
	}
	return list
}

// Aim: these runs are such as the literature tells of, before any forecast is asked.
func TestOpened_asPublished(t *testing.T) { asPublished(t, openedLaws, openedPlaces, openedRuns) }
