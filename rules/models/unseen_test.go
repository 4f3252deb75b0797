package models_test

import (
	"math"
	"math/rand/v2"
)

// The layers and airs of this file were held out: a drying forecast was judged on them before anybody chose a constant by looking at them. Since then they may be looked at. Forms and constants are
// from memory of the sources named; where a range stands, the run draws from it. Every isotherm passes near 12.4 % of the dry weight at 25 °C, 61 %RH, as parchment does.

// halsey is the isotherm of Halsey as modified by Iglesias and Chirife 1976; chungPfost that of Chung and Pfost 1967; gab that of Guggenheim, Anderson, de Boer (van den Berg, Bruin 1981).
// All in % of the dry weight.
func halsey(t, rh, dryer float64) float64 {
	return math.Pow(math.Exp(3.45-0.008*(t-25)-dryer)/-math.Log(rh/100), 1/1.65)
}

func chungPfost(t, rh, dryer float64) float64 {
	return 30.6 - dryer - 5.5*math.Log(-(t+30)*math.Log(rh/100))
}

func gab(t, rh, dryer float64) float64 {
	const k = 0.83
	a, c := rh/100*k, 12*math.Exp(-0.01*(t-25))
	return (7.0 - dryer - 0.03*(t-25)) * c * a / ((1 - a) * (1 + (c-1)*a))
}

// sphere is beans in which water diffuses to the surface (Crank 1975, chapter 6), by the law of Arrhenius; the surface gives it to the air through a film.
type sphere struct {
	shells             [10]float64 // % of the dry weight, the innermost first
	fast, energy, film float64     // 1/h of a shell at 40 °C, kJ/mol, part of fast
	dryer              float64
}

func (s *sphere) mean() float64 {
	sum, volume := 0.0, 0.0
	for i, m := range s.shells {
		v := math.Pow(float64(i+1), 3) - math.Pow(float64(i), 3)
		sum, volume = sum+m*v, volume+v
	}
	return sum / volume
}

func (s *sphere) wet() float64 { return wetOf(s.mean()) }

func (s *sphere) minute(t, rh float64) {
	d := s.fast / 60 * math.Exp(s.energy/8.314e-3*(1/313.15-1/(t+273.15)))
	flow := 0.0 // into the shell from inside
	for i := range s.shells {
		out := d * s.film * (s.shells[i] - chungPfost(t, rh, s.dryer))
		if i+1 < len(s.shells) {
			out = d * (s.shells[i] - s.shells[i+1])
		}
		out *= float64((i + 1) * (i + 1))
		s.shells[i] += 3 * (flow - out) / (math.Pow(float64(i+1), 3) - math.Pow(float64(i), 3))
		flow = out
	}
}

// characteristic dries at a constant rate while its surface is wet, in step with the wet-bulb depression, and below a critical moisture by a power of what is left (van Meel 1958).
type characteristic struct{ m, rate, critical, power, dryer float64 }

func (c *characteristic) wet() float64 { return wetOf(c.m) }

func (c *characteristic) minute(t, rh float64) {
	end := halsey(t, rh, c.dryer)
	left := min(1, (c.m-end)/(c.critical-end))
	c.m -= c.rate / 60 * max(0, t-stull(t, rh)) * math.Copysign(math.Pow(math.Abs(left), c.power), left)
}

// stull is the wet bulb at sea level (Stull 2011, J. Appl. Meteor. Climatol. 50:2267).
func stull(t, rh float64) float64 {
	return t*math.Atan(0.151977*math.Sqrt(rh+8.313659)) + math.Atan(t+rh) - math.Atan(rh-1.676331) + 0.00391838*math.Pow(rh, 1.5)*math.Atan(0.023101*rh) - 4.686035
}

// twoTerm is two bodies that dry side by side, a quick and a slow one (Henderson 1974).
type twoTerm struct{ quick, slow, part, fast, late, warm, dryer float64 }

func (w *twoTerm) wet() float64 { return wetOf(w.part*w.quick + (1-w.part)*w.slow) }

func (w *twoTerm) minute(t, rh float64) {
	end, pace := gab(t, rh, w.dryer), math.Exp(w.warm*(t-38))*(1.2-rh/100)/60
	w.quick -= w.fast * pace * (w.quick - end)
	w.slow -= w.late * pace * (w.slow - end)
}

// page is the curve of Page 1949, its power other than the forecaster's, gone through changing air by equivalent time.
type page struct{ m, k, n, warm, dryer float64 }

func (p *page) wet() float64 { return wetOf(p.m) }

func (p *page) minute(t, rh float64) {
	end := gab(t, rh, p.dryer)
	if p.m <= end {
		return
	}
	k := p.k * math.Exp(p.warm*(t-38)) * (1.2 - rh/100)
	before := math.Pow(-math.Log(min(1, (p.m-end)/(freshDry-end)))/k, 1/p.n)
	p.m = end + (freshDry-end)*math.Exp(-k*math.Pow(before+1.0/60, p.n))
}

const freshDry = 113.0 // % of the dry weight: 53 %wb

func wetOf(m float64) float64 { return 100 * m / (100 + m) }

// parchment is a layer that dries by its law, a minute at a time.
type parchment interface {
	wet() float64
	minute(t, rh float64)
}

// unseenLayers makes one layer of each held-out law.
func unseenLayers(r *rand.Rand) map[string]parchment {
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	s := &sphere{fast: between(0.6, 1.5), energy: between(22, 32), film: between(0.5, 3), dryer: between(-1, 1)}
	for i := range s.shells {
		s.shells[i] = freshDry
	}
	return map[string]parchment{
		"diffusion in a sphere": s,
		"constant rate first":   &characteristic{m: freshDry, rate: between(0.35, 0.9), critical: between(55, 90), power: between(0.8, 1.3), dryer: between(-0.15, 0.15)},
		"two terms":             &twoTerm{quick: freshDry, slow: freshDry, part: between(0.4, 0.7), fast: between(0.18, 0.35), late: between(0.06, 0.11), warm: between(0.02, 0.05), dryer: between(-0.5, 0.5)},
		"Page":                  &page{m: freshDry, k: between(0.08, 0.16), n: between(0.75, 1.2), warm: between(0.02, 0.05), dryer: between(-0.5, 0.5)},
	}
}

var unseenLaws = []string{"diffusion in a sphere", "constant rate first", "two terms", "Page"}

// unseenScenes are airs in which sun, dew point and set points change; day and night as in Parton and Logan 1981, clouds and dew points with a memory of half from day to day.
func unseenScenes(seed uint64) []scene {
	r := rand.New(rand.NewPCG(seed, 4711))
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	var cloud, dew [30]float64
	for i := range cloud {
		if i > 0 {
			cloud[i], dew[i] = cloud[i-1]/2, dew[i-1]/2
		}
		cloud[i] += 0.22 * r.NormFloat64()
		dew[i] += 1.2 * r.NormFloat64()
	}
	low, high, begins, dewPoint := between(12, 16), between(28, 36), between(7, 16), between(9, 13)
	outside := func(h float64) (float64, float64) {
		day := int((begins + h) / 24)
		top := low + (high-low)*max(0.3, min(1.15, 1+cloud[day]))
		clock := math.Mod(begins+h, 24)
		t := low + (top-low)*math.Sin(math.Pi*(clock-6)/15.72)
		if clock < 6 || clock > 18 {
			t = low + (top-low)*math.Sin(math.Pi*12/15.72)*math.Exp(-2.2*math.Mod(clock+6, 24)/12)
		}
		return t, min(low, dewPoint+dew[day])
	}
	first, second, third := between(34, 42), between(34, 42), between(34, 42)
	one, two := between(2, 5), between(5, 8)
	steps := func(h float64) float64 {
		switch {
		case h < one:
			return first
		case h < two:
			return second
		}
		return third
	}
	lift := between(13, 17)
	return []scene{
		{"dryer, set point changed twice", "dryer", two, func(h float64, _ *rand.Rand) (float64, float64) { return steps(h), heated(steps(h)) }},
		{"dryer that heats the day's air by so much", "dryer", 0, func(h float64, _ *rand.Rand) (float64, float64) {
			t, dew := outside(h)
			return min(45, t+lift), vapour(dew, min(45, t+lift))
		}},
		{"dryer held, the air outside changes", "dryer", 0, func(h float64, _ *rand.Rand) (float64, float64) {
			_, dew := outside(h)
			return first + 0.8*math.Sin(h*9), vapour(dew+2*math.Sin(h/24*2*math.Pi), first)
		}},
		{"deck, sun and clouds with a memory", "deck", 0, func(h float64, _ *rand.Rand) (float64, float64) {
			t, dew := outside(h)
			return t, min(97, vapour(dew, t))
		}},
	}
}

// vapour is the relative humidity of air at t whose dew point is dew (Magnus form with Sonntag's constants).
func vapour(dew, t float64) float64 {
	return 100 * math.Exp(17.62*dew/(243.12+dew)-17.62*t/(243.12+t))
}
