package tanktest

import "math"

// The laws of this file were the verdict: written and committed while others improved the forecasters, by somebody who had not read those, and asked once, after that. Since then they may be
// looked at (the next improvement wants new ones). They stand for an ordinary good estate: the same people, variety and tanks every night, fruit alike, weather like yesterday's, electrodes of one brand that are calibrated. They share no growth, warmth, acid or air law with those before.
// Forms are from the publications named, as remembered; what is drawn lies in the ranges of literature on coffee (as quoted there; see sealed.go), hours to pH 4.6 at 23 °C about the 15 h of
// Jackels 2006 and the 16 h of Osorio 2026. How alike the nights of one estate are (8 % of the hours, 0.5 of it kept to the next night) is common practice, not a publication.
//
// Contois: one mixed population that gets in its own way as it thickens (Contois 1959), acid with growth and with upkeep (Pirt 1965), held back by acid exponentially (Aiba, Shoda, Nagatani
// 1968), warmth by macromolecular rate theory (Hobbs and others 2013); the pH of a polyacid, pectin, whose strength falls as it is bound (Katchalsky, Spitnik 1947).
//
// Avrami: souring spreads from spots through a mass (Kolmogorov 1937, Avrami 1939), each spot full sour; what is sour sets the pH at an even buffer capacity; warmth by the beta function of
// Yan and Hunt 1999.
//
// Volterra: yeasts and lactic bacteria that hold each other back, neither wholly (Lotka 1925, Volterra 1926; in foods Vereecken, Dens, Van Impe 2000); acid from what lives, less the more there
// is (Hinshelwood, Dagley); warmth by the law of Brière 1999; a buffer that gets stronger in a straight line as the pH falls.
//
// All of them: a core that keeps its warmth and a shell that follows the air; the thermometer is in the core. The air is a Weather.

// vat is what stands around such a tank. Its electrode is that of a basin, always compensated and never dry.
type vat struct {
	basin
	brew         brew
	sky          *Weather
	loaded       float64 // h from the midnight before the estate's first day
	shell, part  float64 // °C; part of the mass that it is
	inner, outer float64 // h between core and shell, shell and air
	heats        float64 // K of warmth of its own a unit of pH
}

// brew is such a law.
type brew interface {
	pass(h, celsius, air float64)
	ph() float64
}

// normal is of mean 0 and deviation 1, within 3.
func normal(between func(low, high float64) float64) float64 {
	return between(-1, 1) + between(-1, 1) + between(-1, 1)
}

func (t *Tank) verdict(lot int, own, between func(low, high float64) float64) {
	v := &vat{sky: NewWeather(own), inner: own(12, 30), outer: own(3, 8), part: own(0.3, 0.5), heats: own(2, 5)}
	v.slow, v.warmth, v.loses = own(0.02, 0.15), true, own(0, 0.0008)
	v.loaded = float64(24*lot) + own(15, 18.5) + 0.4*normal(between)
	spread, nights := 0.0, [Lots]float64{}
	for i := range nights {
		spread = 0.5*spread + math.Sqrt(0.75)*normal(own)
		nights[i] = spread
	}
	needs := own(12.5, 18) * math.Exp(0.08*nights[lot])
	t.start = own(5.5, 5.8) + 0.04*normal(between)
	switch t.law {
	case Contois:
		v.brew = timed(newContois(t.start, own, between), needs)
	case Avrami:
		v.brew = timed(newAvrami(t.start, own, between), needs)
	default:
		v.brew = timed(newVolterra(t.start, own, between), needs)
	}
	t.vat = v
	t.Celsius = v.sky.Air(v.loaded) + between(-1.5, 1)
	v.shell, t.PH = t.Celsius, v.brew.ph()
	v.last, v.film = t.PH, t.PH
}

func (t *Tank) verdictMinute(h float64) {
	v := t.vat
	v.brew.pass(h, t.Celsius+v.part*(v.shell-t.Celsius), 0)
	t.PH = v.brew.ph()
	v.follow(h, t.hours, t.PH)
	warmth := v.heats * math.Max(0, v.last-t.PH)
	v.last = t.PH
	flow := h / v.inner * (t.Celsius - v.shell)
	t.Celsius += warmth - v.part*flow
	v.shell += warmth + (1-v.part)*flow - h/v.outer*(v.shell-v.sky.Air(v.loaded+t.hours))
}

// paced is a law at the pace of its tank.
type paced struct {
	brew
	pace float64
}

func (p *paced) pass(h, celsius, air float64) { p.brew.pass(h*p.pace, celsius, air) }

// timed gives a law the pace at which it needs so many hours at 23 °C to pH 4.6.
func timed[L any, P interface {
	*L
	brew
}](law L, needs float64) brew {
	trial := law
	return &paced{P(&law), hoursTo(P(&trial)) / needs}
}

type contois struct {
	sugar, microbes, acid float64 // parts of the sugar there was; acid that binds to what there is of sites
	half, keeps, with     float64 // of Contois; acid an hour of upkeep and with growth
	stops                 float64 // acid of Aiba
	free, bends, weak     float64 // part of the sites that is charged at the start; exponent and pK of the polyacid
	energy, best          float64 // kJ/mol, °C
}

func newContois(start float64, own, between func(low, high float64) float64) contois {
	c := contois{sugar: 1, microbes: math.Exp(own(-4.5, -3) + between(-0.2, 0.2)), half: own(0.5, 1.5), keeps: own(0.01, 0.03), with: own(0.5, 0.8), stops: own(0.7, 1.5),
		bends: own(1.3, 1.7), weak: own(4.2, 4.6), energy: own(50, 70), best: own(33, 38)}
	c.free = 1 / (1 + math.Pow(10, (c.weak-start)/c.bends))
	return c
}

func (c *contois) pass(h, celsius, _ float64) {
	const gas, at = 8.314e-3, 296.15
	k, capacity := celsius+273.15, -c.energy/(c.best-23) // kJ/mol K, so that it is fastest at its best
	pace := h * k / at * math.Exp((c.energy/k*(k/at-1)+capacity*(math.Log(k/at)-1+at/k))/gas)
	grown := pace * 0.3 * c.microbes * c.sugar / (c.half*c.microbes + c.sugar) * math.Exp(-c.acid/c.stops)
	kept := pace * c.keeps * c.microbes * c.sugar / (0.05 + c.sugar)
	c.sugar = math.Max(0, c.sugar-grown-kept)
	c.microbes += grown
	c.acid += c.with*grown + kept
}

func (c *contois) ph() float64 {
	charged := math.Max(0.01, c.free-c.acid)
	return c.weak + c.bends*math.Log10(charged/(1-charged))
}

type avrami struct{ start, drop, age, power, best, hot float64 }

func newAvrami(start float64, own, between func(low, high float64) float64) avrami {
	return avrami{start: start, drop: own(1.6, 2.1) + between(-0.05, 0.05), power: own(1.6, 2.8), best: own(32, 36), hot: own(46, 50)}
}

func (a *avrami) pass(h, celsius, _ float64) {
	beta := func(c float64) float64 {
		return math.Max(0, a.hot-c) / (a.hot - a.best) * math.Pow(math.Max(0, c)/a.best, a.best/(a.hot-a.best))
	}
	a.age += h / 15 * beta(celsius) / beta(23)
}

func (a *avrami) ph() float64 { return a.start - a.drop*(1-math.Exp(-math.Pow(a.age, a.power))) }

type volterra struct {
	yeast, lactic, acid float64 // parts of what each could be alone; pH that the acid would be worth at the start
	quick, slow         float64 // 1/h
	onYeast, onLactic   float64 // how much each counts against the other
	sours, beside, most float64 // acid an hour of lactic bacteria, of yeasts; that stops it
	start, firm         float64 // how much stronger the buffer gets in a unit of pH
	cold, hot           float64 // °C
}

func newVolterra(start float64, own, between func(low, high float64) float64) volterra {
	return volterra{start: start, yeast: math.Exp(own(-5, -3) + between(-0.2, 0.2)), lactic: math.Exp(own(-5.5, -3.5) + between(-0.2, 0.2)), quick: own(0.25, 0.4), slow: own(0.3, 0.5),
		onYeast: own(0.5, 0.9), onLactic: own(0.3, 0.7), sours: own(0.25, 0.4), beside: own(0.01, 0.05), most: own(2.8, 4), firm: own(0.2, 0.6), cold: own(2, 6), hot: own(42, 46)}
}

func (v *volterra) pass(h, celsius, _ float64) {
	briere := func(c float64) float64 { return c * math.Max(0, c-v.cold) * math.Sqrt(math.Max(0, v.hot-c)) }
	pace := h * briere(celsius) / briere(23)
	yeast := pace * v.quick * v.yeast * (1 - v.yeast - v.onYeast*v.lactic)
	lactic := pace * v.slow * v.lactic * (1 - v.lactic - v.onLactic*v.yeast)
	v.acid += pace * (v.sours*v.lactic + v.beside*v.yeast) * math.Max(0, 1-v.acid/v.most)
	v.yeast, v.lactic = v.yeast+yeast, v.lactic+lactic
}

// ph solves fall + firm/2 fall² = acid.
func (v *volterra) ph() float64 { return v.start - (math.Sqrt(1+2*v.firm*v.acid)-1)/v.firm }

// SeasonDays are how many days a Weather lasts; after them the last one stays.
const SeasonDays = 45

// Weather is the air of a place in harvest. Days go by a sine to two in the afternoon, a sine to sunset and a square root to the coldest at sunrise (Cesaraccio, Spano, Duce, Snyder
// 2001); bright days are warmer, clear nights colder, and each day keeps 0.6 of how the one before was off (Richardson 1981, from memory). The dew point is near the coldest of the
// night (FAO-56). Places are of some 1,000 to 1,700 m near the equator, sun from six to six.
type Weather struct{ low, high, dew, bright [SeasonDays + 1]float64 }

// NewWeather draws from between a place and its days.
func NewWeather(between func(low, high float64) float64) *Weather {
	w := &Weather{}
	low, high, dry := between(13.5, 17.5), between(23, 27.5), between(0.5, 2)
	clear, airmass := 0.0, 0.0
	for i := range w.low {
		clear, airmass = 0.6*clear+0.8*normal(between), 0.6*airmass+0.8*normal(between)
		w.low[i] = low + 0.7*airmass - 0.5*clear
		w.high[i] = high + 0.7*airmass + 1.2*clear
		w.dew[i] = w.low[i] - dry
		w.bright[i] = math.Max(0.25, math.Min(1.1, 0.8+0.2*clear))
	}
	return w
}

const coldest, warmest, dusk = 6.0, 14.0, 18.0 // h of the day

// at is the day and its hour.
func at(hours float64) (day int, clock float64) {
	day = min(int(hours/24), SeasonDays-1)
	return day, math.Mod(hours, 24)
}

// Air is in °C, so many hours after the midnight before the first day.
func (w *Weather) Air(hours float64) float64 {
	day, clock := at(hours)
	if clock < coldest { // of the night that began the day before
		day, clock = max(0, day-1), clock+24
	}
	low, high, next := w.low[day], w.high[day], w.low[day+1]
	sunset := high - 0.39*(high-next)
	switch {
	case clock < warmest:
		return low + (high-low)*math.Sin((clock-coldest)/(warmest-coldest)*math.Pi/2)
	case clock < dusk:
		return sunset + (high-sunset)*math.Sin(math.Pi/2*(1+(clock-warmest)/(dusk-warmest)))
	}
	return sunset + (next-sunset)*math.Sqrt((clock-dusk)/(24+coldest-dusk))
}

// Dew is the dew point, °C, never above the air.
func (w *Weather) Dew(hours float64) float64 {
	day, clock := at(hours)
	part := clock / 24
	return math.Min(w.dew[day]*(1-part)+w.dew[day+1]*part, w.Air(hours)-0.3)
}

// Sun is the part of the brightest noon.
func (w *Weather) Sun(hours float64) float64 {
	day, clock := at(hours)
	return w.bright[day] * math.Max(0, math.Sin(math.Pi*(clock-6)/12))
}
