package models_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"millwarden/internal/coffee"
	"millwarden/internal/units"
)

// The layers and airs of this file were sealed: written and committed before the drying forecast was improved, asked once, after that; since then they may be looked at. Forms are from publications as remembered; what is
// drawn lies in the ranges of the literature on parchment (as quoted there): 52 to 56 %wb at the start, 4 to 14 days on decks, 12 to 60 h in dryers at 35 to 45 °C, layers turned every
// half hour to hour by day, heaped and covered at night, decks under film 8 to 14 K warmer than the air by day. Every isotherm passes near 12.4 % of the dry weight at 25 °C, 61 %RH.

// copace is the isotherm of Sigma and Copace, peleg that of Peleg 1993, corrected a Henderson one as Corrêa fitted to coffee in parchment (its own constants not at hand). All in % of the
// dry weight.
func copace(t, rh, off float64) float64 { return math.Exp(0.92-0.006*t+0.95*math.Exp(rh/100)) + off }

func peleg(t, rh, off float64) float64 {
	h := rh / 100
	return 14*math.Pow(h, 0.45) + 20*math.Pow(h, 6) - 0.05*(t-25) + off
}

func corrected(t, rh, off float64) float64 {
	return math.Pow(-math.Log(1-min(98, rh)/100)/(1.42e-4*(t+52)), 1/1.76) + off
}

// hull is beans of slabs in which water diffuses the slower the drier they are, and which come loose from their parchment below some 25 %wb: the gap hinders it from there on. Arrhenius.
type hull struct {
	slabs              [6]float64 // % of the dry weight, the innermost first
	fast, energy, wets float64    // 1/h at 40 °C; kJ/mol; how diffusion grows with moisture
	film, gap, off     float64    // part of fast; part that is left of it in the end
}

func (b *hull) wet() float64 { return wetOf(b.mean()) }
func (b *hull) mean() float64 {
	sum := 0.0
	for _, m := range b.slabs {
		sum += m / float64(len(b.slabs))
	}
	return sum
}

func (b *hull) minute(t, rh float64) {
	warm := b.fast / 60 * math.Exp(b.energy/8.314e-3*(1/313.15-1/(t+273.15)))
	loose := 1 - (1-b.gap)/(1+math.Exp((b.mean()-33)/3))
	last := len(b.slabs) - 1
	out := warm * b.film * loose * (b.slabs[last] - copace(t, rh, b.off))
	for i := range last {
		flow := warm * (0.5 + b.wets*(b.slabs[i]+b.slabs[i+1])/200) * (b.slabs[i] - b.slabs[i+1])
		b.slabs[i] -= flow
		b.slabs[i+1] += flow
	}
	b.slabs[last] -= out
}

// weibull goes along MR = exp(-(t/a)^b) by equivalent time, its scale by the vapour deficit and the warmth; b on both sides of 1 (Corzo 2008).
type weibull struct{ m, start, scale, bend, deficit, energy, off float64 }

func (w *weibull) wet() float64 { return wetOf(w.m) }
func (w *weibull) minute(t, rh float64) {
	end := corrected(t, rh, w.off)
	if w.m <= end+0.01 {
		w.m += 0.0005 * (end - w.m)
		return
	}
	deficit := max(0.03, float64(coffee.VapourDeficit(units.Celsius(t), coffee.RelativeHumidity(rh))))
	a := w.scale * math.Pow(deficit/4, -w.deficit) * math.Exp(w.energy/8.314e-3*(1/(t+273.15)-1/313.15))
	left := min(0.9999, (w.m-end)/(w.start-end))
	gone := math.Pow(-math.Log(left), 1/w.bend) + 1/a/60
	w.m = end + (w.start-end)*math.Exp(-math.Pow(gone, w.bend))
}

// raked is a layer of three: the top gives water to the air as Lewis 1921 says, the others to the one above; it is raked by day and lies still at night.
type raked struct {
	depths                    [3]float64
	fast, deep, energy, every float64 // 1/h, 1/h, kJ/mol, h
	hours, begins, off        float64
}

func (l *raked) wet() float64 { return wetOf((l.depths[0] + l.depths[1] + l.depths[2]) / 3) }
func (l *raked) minute(t, rh float64) {
	l.hours += 1.0 / 60
	warm := math.Exp(l.energy/8.314e-3*(1/313.15-1/(t+273.15))) / 60
	l.depths[0] -= l.fast * warm * math.Sqrt(1-min(99, rh)/100) * (l.depths[0] - peleg(t, rh, l.off))
	for i := range 2 {
		flow := l.deep * warm * (l.depths[i+1] - l.depths[i])
		l.depths[i+1] -= flow
		l.depths[i] += flow
	}
	if c := math.Mod(l.begins+l.hours, 24); c > 7 && c < 17 && math.Mod(l.hours, l.every) < 1.0/60 {
		mean := (l.depths[0] + l.depths[1] + l.depths[2]) / 3
		for i := range l.depths {
			l.depths[i] += 0.8 * (mean - l.depths[i])
		}
	}
}

// laid is a layer that stands in the air of its place, by how much of the exchange is open.
type laid struct {
	parchment
	hours float64
	open  func(h, wet float64) float64
	owed  float64
}

func (l *laid) minute(t, rh float64) {
	l.hours += 1.0 / 60
	if l.owed += l.open(l.hours, l.wet()); l.owed >= 1 { // a part of the minutes
		l.owed--
		l.parchment.minute(t, rh)
	}
}

var sealedLaws = []string{"loose hull", "Weibull", "raked layers"}

var sealedPlaces = []string{"dryer, wood fire", "dryer, stepped up, power fails", "deck below film", "deck, heaped at night"}

// sealedParchment makes a layer; decks dry thinner layers in weaker air.
func sealedParchment(law string, r *rand.Rand, begins float64, deck bool) parchment {
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	start, off, slower := float64(coffee.WetBasis(between(52, 56)).Dry()), 0.5*r.NormFloat64(), 1.0
	if deck {
		slower = between(0.8, 1.1)
	}
	switch law {
	case "loose hull":
		b := &hull{fast: slower * between(1.2, 2.4), energy: between(25, 35), wets: between(0.3, 1), film: between(0.3, 0.7), gap: between(0.5, 0.9), off: off}
		for i := range b.slabs {
			b.slabs[i] = start
		}
		return b
	case "Weibull":
		return &weibull{m: start, start: start, scale: between(8, 18) / slower, bend: between(0.8, 1.15), deficit: between(0.5, 0.9), energy: between(5, 20), off: off}
	}
	l := &raked{fast: slower * between(0.35, 0.9), deep: between(0.15, 0.5), energy: between(20, 35), every: between(0.5, 1), begins: begins, off: off}
	for i := range l.depths {
		l.depths[i] = start
	}
	return l
}

// sealedWeather is the air outside: fine and dull days follow each other (Markov), with a memory of hours in warmth and of days in dew.
func sealedWeather(r *rand.Rand) (begins float64, outside func(h float64) (t, rh, bright float64)) {
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	const days = 45
	var bright, dew [days]float64
	var hourly [24 * days]float64
	dull := r.Float64() < 0.3
	for i := range days {
		if stays := 0.65; r.Float64() > stays {
			dull = !dull
		}
		if bright[i] = between(0.8, 1.1); dull {
			bright[i] = between(0.3, 0.65)
		}
		if dew[i] = 1.2 * r.NormFloat64(); i > 0 {
			dew[i] = 0.6*dew[i-1] + 0.8*dew[i]
		}
	}
	for i := 1; i < len(hourly); i++ {
		hourly[i] = 0.8*hourly[i-1] + 0.5*r.NormFloat64()
	}
	begins = between(8, 16)
	mean, wave, dewPoint := between(18, 23), between(4, 7), between(11, 14.5)
	return begins, func(h float64) (float64, float64, float64) {
		clock := begins + h
		day := min(int(clock/24), days-1)
		w := (clock - 14) / 24 * 2 * math.Pi
		t := mean + wave*bright[day]*math.Cos(w) + hourly[min(int(clock), len(hourly)-1)]
		return t, min(97, vapour(min(dewPoint+dew[day], t-0.3), t)), bright[day] * max(0, math.Sin(math.Pi*(math.Mod(clock, 24)-6)/12))
	}
}

// warmed is air after heating by so much.
func warmed(t, rh, by float64) (float64, float64) {
	by = max(0, by)
	return t + by, rh * float64(coffee.SaturationPressure(units.Celsius(t))/coffee.SaturationPressure(units.Celsius(t+by)))
}

// sealedScene is the air of a place, when its day began, and how far its layer is open to it.
func sealedScene(seed uint64, place int) (s scene, begins float64, open func(h, wet float64) float64) {
	r := rand.New(rand.NewPCG(seed, 31337))
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	begins, outside := sealedWeather(r)
	clock := func(h float64) float64 { return math.Mod(begins+h, 24) }
	s = scene{name: sealedPlaces[place], kind: "dryer"}
	open = func(_, _ float64) float64 { return 1 }
	switch place {
	case 0: // the fire burns down and is fed, at night less often; a damper holds 45 °C
		lift, day, night, dies := between(18, 24), between(1.5, 2.5), between(2.5, 4), between(4, 8)
		s.air = func(h float64, _ *rand.Rand) (float64, float64) {
			every := day
			if c := clock(h); c > 21 || c < 5 {
				every = night
			}
			t, rh, _ := outside(h)
			return warmed(t, rh, min(45-t, lift*math.Exp(-math.Mod(h, every)/dies)))
		}
	case 1: // people step it up as it dries; once the power fails
		one, two := between(4, 8), between(9, 15)
		first, second, third := between(34, 37), between(38, 40), between(41, 44)
		fails, long := between(2, 30), between(0.3, 2)
		s.changes = two
		s.air = func(h float64, _ *rand.Rand) (float64, float64) {
			set := third
			if h < one {
				set = first
			} else if h < two {
				set = second
			}
			t, rh, _ := outside(h)
			if h >= fails && h < fails+long {
				return warmed(t, rh, (set-t)*math.Exp(-(h-fails)/0.4))
			}
			return warmed(t, rh, set-t+0.5*math.Sin(h*7))
		}
	case 2: // the roof of film warms by day, holds damp at night
		s.kind = "deck"
		lift, damp := between(8, 14), between(0.05, 0.2)
		s.air = func(h float64, _ *rand.Rand) (float64, float64) {
			t, rh, sun := outside(h)
			t, rh = warmed(t, rh, 1+lift*sun)
			return t, min(97, rh*(1+damp))
		}
	default: // heaped and covered from dusk on once skin-dry, in thin rows by day
		s.kind = "deck"
		sunny, morning, evening := between(3, 8), between(6.5, 8), between(16.5, 18)
		s.air = func(h float64, _ *rand.Rand) (float64, float64) { // the probe lies among the beans
			t, rh, sun := outside(h)
			return warmed(t, rh, sunny*sun)
		}
		open = func(h, wet float64) float64 {
			if c := clock(h); wet < 45 && (c < morning || c > evening) {
				return 0.05
			}
			return 1
		}
	}
	return s, begins, open
}

// sealedRuns are the runs of one law in one place. The meter measures by capacity: off, uncompensated for warmth, flat in wet beans, drifting.
func sealedRuns(law string, place int) []run {
	var list []run
	for seed := uint64(3001); seed <= 3000+layerSeeds(); seed++ {
		air, begins, open := sealedScene(seed, place)
		r := rand.New(rand.NewPCG(seed, uint64(place)+9))
		fresh := func() parchment {
			return &laid{parchment: sealedParchment(law, rand.New(rand.NewPCG(seed, uint64(place)+71)), begins, air.kind == "deck"), open: open}
		}
		off, warm, flat, drift := 0.4*r.NormFloat64(), 0.03*r.NormFloat64(), 0.15*r.Float64(), 0.001*r.NormFloat64()
		list = append(list, run{layer: fresh, scene: air, rng: r, reads: func(l parchment, h float64) float64 {
			t, _ := air.air(h, nil)
			wet := l.wet()
			return wet + off + warm*(t-30) - flat*max(0, wet-30) + drift*h
		}})
	}
	return list
}

// Aim: the sealed runs are such as the literature tells of, before any forecast is asked.
func TestSealed_asPublished(t *testing.T) { asPublished(t, sealedLaws, sealedPlaces, sealedRuns) }

// asPublished: on decks 4 to 14 days to 11 %wb (Hawaii, as quoted), in dryers half a day to five days.
func asPublished(t *testing.T, laws, places []string, runsOf func(string, int) []run) {
	if *layersJudged == 0 { // the hours are cheap, it is the forecasts that take their time
		*layersJudged = 4
		defer func() { *layersJudged = 0 }()
	}
	for _, law := range laws {
		for place, name := range places {
			var hours []float64
			runs := runsOf(law, place)
			for i := range runs {
				if h, ever := runs[i].hours(11); ever {
					hours = append(hours, h)
				}
			}
			slices.Sort(hours)
			n := len(hours)
			if n == 0 {
				t.Errorf("%s, %s: none comes to 11 %%", law, name)
				continue
			}
			t.Logf("%s, %s: %d of %d come to 11 %%, after %.0f h, %.0f to %.0f", law, name, n, len(runs), hours[n/2], hours[0], hours[n-1])
			least, most := 10.0, 120.0
			if place > 1 {
				least, most = 72, 400
			}
			if n < len(runs)/2 || hours[n/2] < least || hours[n/2] > most {
				t.Errorf("%s, %s: no run of the literature", law, name)
			}
		}
	}
}
