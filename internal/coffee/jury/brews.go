package jury

import "math"

// Souring is a law by which a tank sours.
type Souring uint8

const (
	// Weibull makes acid along the curve of Weibull 1951, as ferments have it whose microbes do not all begin at once (Peleg 2006, from memory); warmth by Eyring 1935.
	Weibull Souring = iota
	// Dormant cells wake one by one and then grow (McKellar 1997) on food that runs short (Teissier 1936), with acid from growth and upkeep; warmth by Hinshelwood 1946, where heat also undoes.
	Dormant
	// Gamma holds growth back by pH (Rosso 1995) and by lactic acid that kept its hydrogen (Vereecken, Van Impe 2002); warmth by Yan, Hunt 1999.
	Gamma
	// Cascade are yeasts that make spirit, acetic bacteria that make vinegar of it, and lactic bacteria beside them: acetic and lactic acid in wet ferments are what Haile, Kang 2019 tell (as quoted); each has its own warmth.
	Cascade
	Sourings
)

func (l Souring) String() string {
	return [...]string{"Weibull", "dormant cells", "gamma", "cascade"}[l]
}

// brew lets microbes go on for h at a temperature and a pH, and tells what acids they made, as a part of a whole, and how much they were at work.
type brew interface {
	pass(h, celsius, ph float64) (made acids, work float64)
}

// acids are lactic and acetic acid.
type acids [2]float64

// reckoned is 21 °C, at which the numbers of the laws hold.
const reckoned = 21.0

// fruit is how a lot is unlike the usual one of its estate.
type fruit struct{ microbes, sugar float64 } // logarithm of how many more; factor

// newBrew makes a law as the estate has it, for a lot. Orders of microbes and their paces are those of textbooks on lactic ferments (from memory); widths are choices; the pace of the whole is set for each estate.
func newBrew(law Souring, own Draw, f fruit) brew {
	switch law {
	case Weibull:
		return &weibull{scale: own(20, 28) * math.Exp(-0.35*f.microbes), shape: own(1.7, 2.5), energy: own(48, 70), sugar: f.sugar}
	case Dormant:
		return &dormant{asleep: math.Exp(own(-3.6, -2.8) + f.microbes), wakes: own(0.15, 0.4), grows: own(0.3, 0.42), keeps: own(0.02, 0.04), food: f.sugar, needs: own(0.15, 0.4), energy: own(55, 70), undoes: own(0.01, 0.025)}
	case Gamma:
		return &gamma{count: math.Exp(own(-4, -3) + f.microbes), grows: own(0.4, 0.6), with: own(0.3, 0.5), keeps: own(0.1, 0.16), left: f.sugar, least: own(3.2, 3.5), best: own(5.2, 6), stops: own(1, 1.6), warm: yanHunt{own(30, 34), own(44, 48)}}
	}
	return &cascade{yeast: math.Exp(own(-3, -2.2) + 0.5*f.microbes), acetic: math.Exp(own(-4, -3) + f.microbes), lactic: math.Exp(own(-3.8, -2.8) + f.microbes), grows: [3]float64{own(0.25, 0.4), own(0.1, 0.2), own(0.25, 0.38)},
		makes: [3]float64{own(0.03, 0.06), own(0.03, 0.06), own(0.06, 0.09)}, sugar: f.sugar, warm: [3]yanHunt{{own(27, 30), own(38, 42)}, {own(27, 30), own(38, 41)}, {own(30, 34), own(44, 48)}}}
}

type weibull struct{ age, scale, shape, energy, sugar float64 }

func (w *weibull) curve() float64 { return 1 - math.Exp(-math.Pow(w.age/w.scale, w.shape)) }

func (w *weibull) pass(h, celsius, _ float64) (acids, float64) {
	before := w.curve()
	w.age += h * (celsius + kelvin) / (reckoned + kelvin) * arrhenius(w.energy, reckoned, celsius)
	made := w.sugar * (w.curve() - before)
	return acids{made}, made
}

type dormant struct{ asleep, awake, wakes, grows, keeps, food, needs, energy, undoes float64 }

func (d *dormant) pass(h, celsius, _ float64) (acids, float64) {
	h *= math.Max(0, arrhenius(d.energy, reckoned, celsius)-d.undoes*arrhenius(200, reckoned, celsius)) / (1 - d.undoes)
	woke, fed := h*d.wakes*d.asleep, 1-math.Exp(-d.food/d.needs)
	grown := h * d.grows * fed * d.awake * math.Max(0, 1-d.awake)
	made := math.Min(d.food, 0.5*grown+h*d.keeps*fed*d.awake)
	d.asleep, d.awake, d.food = d.asleep-woke, d.awake+woke+grown, d.food-made
	return acids{made}, made
}

// yanHunt are the best and the highest temperature.
type yanHunt struct{ best, most float64 }

func (y yanHunt) bare(t float64) float64 {
	if t <= 0 || t >= y.most {
		return 0
	}
	return (y.most - t) / (y.most - y.best) * math.Pow(t/y.best, y.best/(y.most-y.best))
}

// pace is that against 21 °C.
func (y yanHunt) pace(t float64) float64 { return y.bare(t) / y.bare(reckoned) }

type gamma struct {
	count, grows, with, keeps, made, left float64
	least, best, stops                    float64 // pH, pH, part of the whole that keeps its hydrogen
	warm                                  yanHunt
}

func (g *gamma) pass(h, celsius, ph float64) (acids, float64) {
	const highest = 8.5
	ends := (ph - g.least) * (ph - highest)
	held := math.Max(0, 1-g.made*(1-given(lacticPK, ph))/g.stops)
	h *= g.warm.pace(celsius) * between(0, ends/(ends-(ph-g.best)*(ph-g.best)), 1) * held
	grown := h * g.grows * g.count * math.Max(0, 1-g.count)
	made := math.Min(g.left, g.with*grown*g.left+h*g.keeps*g.count*math.Min(1, 2*g.left))
	g.count, g.made, g.left = g.count+grown, g.made+made, g.left-made
	return acids{made}, made
}

type cascade struct {
	yeast, acetic, lactic, sugar, spirit float64
	grows, makes                         [3]float64
	warm                                 [3]yanHunt
}

func (c *cascade) pass(h, celsius, _ float64) (acids, float64) {
	y, a, l := h*c.warm[0].pace(celsius), h*c.warm[1].pace(celsius), h*c.warm[2].pace(celsius)
	drunk := y * c.makes[0] * c.yeast * c.sugar
	soured := l * c.makes[2] * c.lactic * c.sugar
	vinegar := a * c.makes[1] * c.acetic * c.spirit / (0.05 + c.spirit)
	vinegar = math.Min(vinegar, c.spirit)
	c.sugar, c.spirit = c.sugar-drunk-soured, c.spirit+drunk-vinegar
	c.yeast += y * c.grows[0] * c.yeast * math.Max(0, 1-c.yeast)
	c.acetic += a * c.grows[1] * c.acetic * math.Max(0, 1-c.acetic)
	c.lactic += l * c.grows[2] * c.lactic * math.Max(0, 1-c.lactic)
	return acids{soured, vinegar}, 0.5*drunk + soured + vinegar
}

// buffer is what holds the pH of a mass, in mmol/kg: three groups of weak acids that stand for pectin, for malic and citric acid, and for the last hydrogen of citric acid with carbonate (strengths of textbooks, from memory). It takes up the
// charges that acids bring (Van Slyke 1922). Amounts are choices and scale only with each other: no titration of mucilage was at hand.
type buffer [3]float64

var groupPK = [...]float64{3.5, 4.7, 6.2}

var acidPK = acids{lacticPK, 4.76}

const lacticPK = 3.86

// given is the part of a weak acid that has given its hydrogen.
func given(pk, ph float64) float64 { return 1 / (1 + math.Pow(10, pk-ph)) }

// sours is the pH after more acids came to what there was.
func (b *buffer) sours(ph float64, were, more acids) float64 {
	charge, strength := 0.0, 0.0
	takes := func(pk, amount float64) (part float64) {
		part = given(pk, ph)
		strength += math.Ln10 * amount * part * (1 - part)
		return part
	}
	for i, amount := range b {
		takes(groupPK[i], amount)
	}
	for i, pk := range acidPK {
		charge += more[i] * takes(pk, were[i])
	}
	return ph - charge/strength
}

// until is the lactic acid that brings a mass from one pH to another.
func (b *buffer) until(ph, from float64) (acid float64) {
	const bit = 0.01
	for ; from > ph; acid += bit {
		from = b.sours(from, acids{acid}, acids{bit})
	}
	return acid
}
