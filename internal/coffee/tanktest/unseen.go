package tanktest

import "math"

// The laws of this file were held out: a forecaster was judged on them before anybody chose a constant by looking at them. Since then they may be looked at. They are built from parts of the
// literature that the laws of tank.go do not use. All forms and constants are from memory; where a range stands, the estate or the lot draws from it.
//
// Culture: yeasts and lactic bacteria share one sugar (Monod 1949), each after an adjustment (Baranyi, Roberts 1994); their pace follows the cardinal temperatures and the cardinal pH
// of Rosso (1993, 1995); lactic acid is made with growth and beside it (Luedeking, Piret 1959); the pH is solved from the balance of charges of lactic, citric, galacturonic and
// phosphoric acid (constants at 25 °C as in chemical handbooks).
//
// Hydrolysis: sugar is freed from pectin by an enzyme (Michaelis, Menten 1913); one mixed population, its lag a chain of four stages, its pace that of Schoolfield, Sharpe, Magnuson
// (1981), held back by its product (Levenspiel 1980); acetic bacteria come after the ethanol; the pH moves against the buffer capacity of Van Slyke (1922).
//
// Both: the air of a day is a sine and that of a night falls off exponentially (Parton, Logan 1981); the mass has its heat of fermentation (some 100 kJ a mole of hexose) and
// loses to air, or to a concrete wall that loses to air.

// weather is a day of Parton and Logan.
type weather struct{ low, high, clock, wet float64 } // °C; hour of the day at loading; K that rain takes from rainAt on

const sunrise, sunset, rainAt = 6.0, 18.0, 3.0

func (w *weather) air(hours float64) float64 {
	const late, falls = 1.86, 2.20 // h after noon, and how steeply a night falls off
	day := func(h float64) float64 {
		return w.low + (w.high-w.low)*math.Sin(math.Pi*(h-sunrise)/(sunset-sunrise+2*late))
	}
	h := math.Mod(w.clock+hours, 24)
	var t float64
	if h >= sunrise && h <= sunset {
		t = day(h)
	} else {
		t = w.low + (day(sunset)-w.low)*math.Exp(-falls*math.Mod(h-sunset+24, 24)/(24-(sunset-sunrise)))
	}
	if w.wet > 0 && hours > rainAt && hours < rainAt+6 {
		t -= w.wet
	}
	return t
}

// body is a tank of a held-out law.
type body interface {
	// minute lets h hours pass at a temperature of the mass and gives the pH and the warming, K an hour.
	minute(h, celsius float64) (ph, warming float64)
}

// unseen fills a tank with a held-out law: estate draws for the place, lot for the lot.
func (t *Tank) unseen(own, between func(low, high float64) float64) {
	t.weather = &weather{low: own(12, 18) + between(-2, 2), high: own(23, 29) + between(-3, 2), clock: between(13, 20)}
	if between(0, 1) < 0.25 {
		t.weather.wet = between(1, 4)
	}
	t.wall, t.slow = 0, own(5, 24)
	if own(0, 1) < 0.5 {
		t.wall = own(1.5, 5)
	}
	t.Celsius = t.weather.air(0) + between(-2, 3)
	t.concrete = t.weather.air(0) - 2
	if t.law == Culture {
		t.body = newCulture(t.start, own, between)
	} else {
		t.body = newHydrolysis(t.start, own, between)
	}
}

// unseenMinute lets a minute pass.
func (t *Tank) unseenMinute(h float64) {
	ph, warming := t.body.minute(h, t.Celsius)
	t.PH = ph
	air := t.weather.air(t.hours)
	if t.wall > 0 { // mass, concrete, air
		flow := (t.Celsius - t.concrete) / t.wall
		t.concrete += h * (flow - (t.concrete-air)/t.slow)
		t.Celsius += h * (warming - flow)
		return
	}
	t.Celsius += h * (warming - (t.Celsius-air)/t.slow)
}

// species is one population.
type species struct {
	grams, ready      float64 // g/L; adjustment of Baranyi
	fastest           float64 // 1/h at the best temperature and pH
	cold, best, hot   float64 // °C
	sour, mild, alkal float64 // pH
	half, yield       float64 // g/L, g/g
}

// pace is growth per hour.
func (s *species) pace(c, ph, sugar float64) float64 {
	if c <= s.cold || c >= s.hot || ph <= s.sour || ph >= s.alkal {
		return 0
	}
	warm := (c - s.hot) * (c - s.cold) * (c - s.cold) / ((s.best - s.cold) * ((s.best-s.cold)*(c-s.best) - (s.best-s.hot)*(s.best+s.cold-2*c)))
	sour := (ph - s.sour) * (ph - s.alkal) / ((ph-s.sour)*(ph-s.alkal) - (ph-s.mild)*(ph-s.mild))
	return s.fastest * warm * sour * s.ready / (1 + s.ready) * sugar / (s.half + sugar)
}

type culture struct {
	yeast, lactic     species
	sugar, acid       float64 // g/L
	with, beside      float64 // g of acid a g of growth; a g of bacteria an hour
	citrate, pectin   float64 // mol/L
	phosphate, strong float64 // mol/L; mol/L of charge
	ph                float64
}

func newCulture(start float64, own, between func(low, high float64) float64) *culture {
	lag := func(h float64) float64 { return 1 / (math.Exp(h) - 1) } // h = ln(1 + 1/q)
	c := &culture{ph: start, sugar: own(20, 40) * between(0.9, 1.1), with: own(5, 9), beside: own(0.02, 0.15),
		citrate: own(0.008, 0.022) * between(0.9, 1.1), pectin: own(0.01, 0.03), phosphate: own(0.002, 0.005),
		yeast:  species{grams: math.Exp(own(-8, -5) + between(-0.5, 0.5)), ready: lag(own(0.5, 2)), fastest: own(0.3, 0.45), cold: 2, best: 31, hot: 39, sour: 2.5, mild: 4.8, alkal: 8, half: 0.5, yield: 0.1},
		lactic: species{grams: math.Exp(own(-8, -5.5) + between(-0.5, 0.5)), ready: lag(own(0.5, 3)), fastest: own(0.6, 1.0), cold: 4, best: 36, hot: 45, sour: 3.6, mild: 5.9, alkal: 8, half: 1, yield: 0.15}}
	c.strong = c.charges(start)
	return c
}

// Acidity constants, mol/L.
var (
	citricAcid                            = [3]float64{math.Pow(10, -3.13), math.Pow(10, -4.76), math.Pow(10, -6.40)}
	lacticAcid, pectinAcid, phosphateAcid = math.Pow(10, -3.86), math.Pow(10, -3.5), math.Pow(10, -7.2)
)

// charges is the charge of all acids at a pH less that of the protons, mol/L.
func (c *culture) charges(ph float64) float64 {
	h := math.Exp(-math.Ln10 * ph)
	one := func(k float64) float64 { return k / (k + h) }
	k1, k2, k3 := citricAcid[0], citricAcid[1], citricAcid[2]
	a1, a2, a3 := k1*h*h, k1*k2*h, k1*k2*k3
	citric := (a1 + 2*a2 + 3*a3) / (h*h*h + a1 + a2 + a3)
	return c.acid/90.08*one(lacticAcid) + c.citrate*citric + c.pectin*one(pectinAcid) + c.phosphate*(1+one(phosphateAcid)) - h
}

func (c *culture) minute(h, celsius float64) (float64, float64) {
	eaten := 0.0
	for _, s := range [...]*species{&c.yeast, &c.lactic} {
		s.ready *= math.Exp(h * s.fastest * max(0.05, (celsius-s.cold)/(s.best-s.cold)))
		grown := h * s.pace(celsius, c.ph, c.sugar) * s.grams
		s.grams += grown
		eaten += grown / s.yield
		if s == &c.lactic {
			c.acid += grown*c.with + h*c.beside*s.grams*c.sugar/(s.half+c.sugar)
		}
	}
	c.sugar = max(0, c.sugar-eaten)
	low, high := 3.0, c.ph+0.001
	for range 24 {
		if middle := (low + high) / 2; c.charges(middle) < c.strong {
			low = middle
		} else {
			high = middle
		}
	}
	c.ph = (low + high) / 2
	return c.ph, eaten / h / 180 * 100 / 3.9 // mol/L an hour by kJ/mol, in 3.9 kJ/L K
}

type hydrolysis struct {
	ph, pectin, sugar, microbes, acid, ethanol, acetic float64
	stages                                             [4]float64
	settle, grow, most, shape, make, free              float64
	weak                                               [2]float64 // mol/L of the buffers
}

func newHydrolysis(start float64, own, between func(low, high float64) float64) *hydrolysis {
	y := &hydrolysis{ph: start, pectin: own(15, 30) * between(0.9, 1.1), sugar: own(4, 12), most: own(6, 9), shape: own(0.6, 1.6), settle: own(0.5, 1.5) * between(0.9, 1.1),
		grow: own(0.24, 0.38) * between(0.93, 1.07), make: own(0.5, 0.9), free: own(0.6, 1.6), acetic: math.Exp(own(-9, -6)),
		weak: [2]float64{own(0.010, 0.03), own(0.005, 0.02)}}
	y.stages[0] = math.Exp(own(-3.2, -1.8) + between(-0.4, 0.4))
	return y
}

// schoolfield is the pace against that at 25 °C.
func schoolfield(c float64) float64 {
	const r = 8.314e-3
	k := c + 273.15
	return k / 298.15 * math.Exp(58/r*(1/298.15-1/k)) / (1 + math.Exp(-180/r*(1/281.0-1/k)) + math.Exp(220/r*(1/312.0-1/k)))
}

func (y *hydrolysis) minute(h, celsius float64) (float64, float64) {
	pace := schoolfield(celsius) / schoolfield(25)
	for i := range y.stages {
		moved := h * y.settle * pace * y.stages[i]
		y.stages[i] -= moved
		if i+1 < len(y.stages) {
			y.stages[i+1] += moved
		} else {
			y.microbes += moved
		}
	}
	freed := min(y.pectin, h*y.free*pace*(0.3+y.microbes)*y.pectin/(8+y.pectin))
	y.pectin -= freed
	y.sugar += freed
	grown := h * y.grow * pace * y.microbes * y.sugar / (1.5 + y.sugar) * math.Pow(max(0, 1-y.acid/y.most), y.shape)
	eaten := min(y.sugar, grown*4)
	y.microbes += grown
	y.sugar -= eaten
	y.ethanol += 0.35 * eaten
	y.acetic += h * 0.22 * pace * y.acetic * y.ethanol / (1 + y.ethanol)
	vinegar := min(y.ethanol, h*0.5*pace*y.acetic)
	y.ethanol -= vinegar
	soured := grown*y.make + vinegar
	y.acid += soured
	y.ph -= soured / 90.08 / (1 + math.Pow(10, 3.86-y.ph)) / y.capacity()
	return y.ph, eaten / h / 180 * 100 / 3.9
}

// capacity is the buffer capacity at the present pH, mol/L a unit of pH.
func (y *hydrolysis) capacity() float64 {
	hydrogen := math.Pow(10, -y.ph)
	sum := hydrogen
	for i, amount := range [...]float64{y.weak[0], y.weak[1], y.acid / 90.08} {
		k := math.Pow(10, -[...]float64{4.3, 5.7, 3.86}[i])
		sum += amount * k * hydrogen / ((k + hydrogen) * (k + hydrogen))
	}
	return 2.303 * sum
}
