package tribunal

import "math"

// Souring is a law by which a tank sours.
type Souring uint8

const (
	// Puerta makes acid along the logistic curve that Puerta 2013 fitted to coffee (0.076 an hour, fastest at 22 h, room at 20.5 °C; as quoted), its age twice as fast each 10 K or so.
	Puerta Souring = iota
	// Phases is a population in three straight phases (Buchanan 1997) that makes acid by its number; warmth by Arrhenius.
	Phases
	// HeldBack is a population that the sour mass itself holds back: toward a least pH it stops (Presser 1997); warmth by the square root of Ratkowsky 1983, with its fall when hot.
	HeldBack
	// Pectin is broken by enzymes of fruit and microbes (first order, Arrhenius): that frees galacturonic acid, and sugar on which lactic bacteria grow (Monod 1949).
	Pectin
	// Rivals are yeasts, which come first and make warmth and little acid, and lactic bacteria, for the same food (Lotka 1925, Volterra 1926); microbes of coffee peak at 12 h (Bali, as quoted); each with the
	// curve of warmth of Blanchard 1996.
	Rivals
	Sourings
)

func (l Souring) String() string {
	return [...]string{"Puerta", "three phases", "held back", "pectin", "rivals"}[l]
}

// fruit is how a lot is unlike the usual one of its estate.
type fruit struct {
	microbes float64 // logarithm of how many more
	sugar    float64 // factor
}

// brew lets microbes go on for h at a temperature and a pH, and tells what acid they made, as a part of a whole, and how much they were at work.
type brew interface {
	pass(h, celsius, ph float64) (acid, work float64)
}

// reckoned is 21 °C, at which the numbers of the laws hold.
const reckoned = 21.0

// newBrew makes a law as the estate has it, for a lot. Orders of microbes and their paces are those of textbooks on lactic ferments (from memory); widths are choices.
func newBrew(law Souring, own Draw, f fruit) brew {
	switch law {
	case Puerta:
		return &puerta{rate: own(0.066, 0.09), top: own(19, 24) - 6*f.microbes, ten: own(1.8, 2.3), sugar: f.sugar}
	case Phases:
		return &phases{count: own(-4.4, -3.2) + f.microbes, lag: own(1, 4), grows: own(0.25, 0.38), makes: own(0.06, 0.09), sugar: f.sugar, energy: own(50, 75)}
	case HeldBack:
		return &heldBack{count: math.Exp(own(-4.5, -3.3) + f.microbes), grows: own(0.3, 0.45), makes: own(0.06, 0.1), with: own(0.1, 0.3), sugar: f.sugar, least: own(3.5, 3.8), cold: own(2, 7), hot: own(42, 46)}
	case Pectin:
		return &pectin{whole: f.sugar, enzymes: own(0.02, 0.05), more: own(0.05, 0.12), energy: own(35, 50), galacturonic: own(0.2, 0.4), sugar: own(0.1, 0.25) * f.sugar,
			count: math.Exp(own(-3.5, -2.5) + f.microbes), grows: own(0.25, 0.4), half: own(0.05, 0.15), eats: own(0.15, 0.3), warm: blanchard{own(32, 37), own(43, 47), own(1.5, 2.2)}}
	}
	return &rivals{yeast: math.Exp(own(-3, -2) + 0.5*f.microbes), lactic: math.Exp(own(-4.5, -3.5) + f.microbes), grows: [2]float64{own(0.28, 0.4), own(0.25, 0.35)}, against: [2]float64{own(0.8, 1.2), own(0.3, 0.6)},
		makes: [2]float64{own(0.008, 0.015), own(0.07, 0.1)}, sugar: f.sugar, warm: [2]blanchard{{own(27, 30), own(38, 41), own(1.2, 1.8)}, {own(33, 37), own(43, 47), own(1.5, 2.2)}}}
}

// puerta's acid is counted from what the curve held at loading.
type puerta struct{ age, rate, top, ten, sugar float64 }

func (p *puerta) pass(h, celsius, _ float64) (acid, work float64) {
	before := p.curve()
	p.age += h * math.Pow(p.ten, (celsius-20.5)/10)
	made := p.sugar * (p.curve() - before)
	return made, made
}
func (p *puerta) curve() float64 { return 1 / (1 + math.Exp(-p.rate*(p.age-p.top))) }

type phases struct{ count, lag, age, grows, makes, made, sugar, energy float64 }

func (p *phases) pass(h, celsius, _ float64) (acid, work float64) {
	pace := h * arrhenius(p.energy, reckoned, celsius)
	if p.age += pace; p.age > p.lag {
		p.count = math.Min(0, p.count+pace*p.grows)
	}
	acid = pace * p.makes * math.Exp(p.count) * math.Max(0, 1-p.made/p.sugar)
	p.made += acid
	return acid, acid
}

type heldBack struct{ count, grows, makes, with, made, sugar, least, cold, hot float64 }

func (b *heldBack) warm(t float64) float64 {
	if t <= b.cold || t >= b.hot {
		return 0
	}
	root := (t - b.cold) * (1 - math.Exp(0.25*(t-b.hot)))
	return root * root
}

func (b *heldBack) pass(h, celsius, ph float64) (acid, work float64) {
	pace := h * b.warm(celsius) / b.warm(reckoned) * math.Max(0, 1-math.Pow(10, b.least-ph))
	grown := pace * b.grows * b.count * (1 - b.count)
	acid = (b.with*grown + pace*b.makes*b.count) * math.Max(0, 1-b.made/b.sugar)
	b.count += grown
	b.made += acid
	return acid, acid
}

// blanchard is the best and the highest temperature of a microbe, and how its pace bends.
type blanchard struct{ best, most, bend float64 }

func (b blanchard) bare(t float64) float64 {
	if t >= b.most {
		return 0
	}
	far := (b.most - t) / (b.most - b.best)
	return math.Pow(far, b.bend) * math.Exp(-b.bend*(far-1))
}

// pace is that against 21 °C.
func (b blanchard) pace(t float64) float64 { return b.bare(t) / b.bare(reckoned) }

type pectin struct {
	whole, enzymes, more, energy, galacturonic float64
	sugar, count, grows, half, eats            float64
	warm                                       blanchard
}

func (p *pectin) pass(h, celsius, _ float64) (acid, work float64) {
	broken := math.Min(p.whole, h*arrhenius(p.energy, reckoned, celsius)*(p.enzymes+p.more*p.count)*p.whole)
	p.whole -= broken
	freed := p.galacturonic * broken
	p.sugar += broken - freed
	fed := h * p.warm.pace(celsius) * p.sugar / (p.half + p.sugar) * p.count
	p.count += p.grows * fed * math.Max(0, 1-p.count)
	eaten := math.Min(p.sugar, p.eats*fed)
	p.sugar -= eaten
	return freed + eaten, 0.3*freed + eaten
}

type rivals struct {
	yeast, lactic, made, sugar float64
	grows, against, makes      [2]float64
	warm                       [2]blanchard
}

func (r *rivals) pass(h, celsius, _ float64) (acid, work float64) {
	y, l := h*r.warm[0].pace(celsius), h*r.warm[1].pace(celsius)
	left := math.Max(0, 1-r.made/r.sugar)
	acid = (y*r.makes[0]*r.yeast + l*r.makes[1]*r.lactic) * left
	work = acid + y*r.makes[0]*r.yeast*left
	r.made += acid
	yeast := y * r.grows[0] * r.yeast * (1 - r.yeast - r.against[0]*r.lactic)
	r.lactic += l * r.grows[1] * r.lactic * (1 - r.lactic - r.against[1]*r.yeast)
	r.yeast += yeast
	return acid, work
}

// buffer is what holds the pH of a mass: a level strength, more or less toward pH 4, as the citric, malic and galacturonic acids of juices have it between 6 and 4 (shape from memory), in mmol for each unit of pH; the
// acid that comes holds on to a part of its hydrogen itself (Henderson, Hasselbalch; lactic acid, pK 3.86). Amounts only scale with each other: no titration of mucilage was at hand.
type buffer struct{ level, hump float64 }

const lacticPK = 3.86

func (b *buffer) strength(ph float64) float64 {
	off := (ph - 3.9) / 0.8
	return b.level * (1 + b.hump*math.Exp(-off*off))
}

// given is the part of lactic acid that has given its hydrogen.
func given(ph float64) float64 { return 1 / (1 + math.Pow(10, lacticPK-ph)) }

// sours is the pH after so much more acid came to what there was.
func (b *buffer) sours(ph, acid, more float64) float64 {
	part := given(ph)
	return ph - more*part/(b.strength(ph)+math.Ln10*acid*part*(1-part))
}

// until is the acid that brings a mass from one pH to another.
func (b *buffer) until(ph, from float64) (acid float64) {
	const bit = 0.01
	for from > ph {
		from = b.sours(from, acid, bit)
		acid += bit
	}
	return acid
}
