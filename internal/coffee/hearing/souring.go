package hearing

import "math"

// Souring is a law by which a tank sours.
type Souring uint8

const (
	// Hill makes acid along the curve of Hill 1910 in degree-hours above a base temperature: it never quite ends.
	Hill Souring = iota
	// Contois is one population that wakes as in Huang 2008 and gets the less food each the more they are (Contois 1959; forms from memory), with acid from growth and from upkeep; the root of its pace is a power of warmth (Huang, Hwang, Phillips 2011).
	Contois
	// Leuconostoc is the lactic bacterium that Avallone 2001 found most of in coffee (as read in its abstract): it ferments glucose to lactic acid first and then fructose, of which half ends as vinegar, and stops at so much acid (Han, Levenspiel 1988); warmth by
	// Brière 1999.
	Leuconostoc
	// Esterase of the fruit bares the acid of pectin while the mass is not yet sour (the bell of Michaelis, Davidsohn 1911), and bacteria that too much sugar holds back (Andrews 1968) go on; warmth by Lactin 1995.
	Esterase
	Sourings
)

func (l Souring) String() string { return [...]string{"Hill", "Contois", "Leuconostoc", "esterase"}[l] }

// The acids that come: lactic, acetic and that of pectin, with the logarithm of their strength (textbooks, from memory).
const (
	lactic = iota
	acetic
	pectic
)

var strength = acids{3.86, 4.76, 3.5}

type acids [3]float64

// broth lets microbes go on for h at a temperature and a pH, and tells what acids they made, as a part of a whole, and the warmth of it, likewise.
type broth interface {
	pass(h, celsius, ph float64) (made acids, warmth float64)
}

// reckoned is 20 °C, at which the numbers of the laws hold.
const reckoned = 20.0

// fruit is how a lot is unlike the usual one of its estate: logarithm of how many more microbes; factor of sugar.
type fruit struct{ microbes, sugar float64 }

// newBroth makes a law as the estate has it, for a lot. Orders of microbes and of their paces are those of lactic ferments in textbooks (from memory), widths are choices; the pace of the whole is set for each estate.
func newBroth(law Souring, own draw, f fruit) broth {
	seeds := func(low, high float64) float64 { return math.Exp(own.in(low, high) + f.microbes) }
	switch law {
	case Hill:
		base := own.in(4, 8)
		return &hill{base: base, half: own.in(24, 32) * (reckoned - base) * math.Exp(-0.4*f.microbes), power: own.in(2.5, 3.5), sugar: f.sugar}
	case Contois:
		return &contois{microbes: seeds(-4, -3), wakes: own.in(1, 4), grows: own.in(0.35, 0.55), crowds: own.in(0.4, 1.2), with: own.in(0.3, 0.5), keeps: own.in(0.05, 0.1), food: f.sugar, least: own.in(1, 6)}
	case Leuconostoc:
		return &leuconostoc{microbes: seeds(-4, -3), grows: own.in(0.35, 0.5), sugar: [2]float64{own.in(0.35, 0.5) * f.sugar, 0.6 * f.sugar}, eats: own.in(0.15, 0.25), stops: own.in(1.3, 1.8), bends: own.in(0.6, 1.2), warm: briere{own.in(2, 6), own.in(39, 43)}}
	}
	return &esterase{pectin: own.in(0.15, 0.3), cuts: own.in(0.06, 0.12), least: own.in(4.5, 5), most: own.in(6.5, 7.5), microbes: seeds(-4.2, -3.2), grows: own.in(0.4, 0.6), sugar: f.sugar, eats: own.in(0.1, 0.16), warm: lactin{own.in(0.09, 0.12), own.in(42, 46), own.in(7, 8.2)}}
}

type hill struct{ age, base, half, power, sugar float64 }

func (b *hill) curve() float64 { return 1 / (1 + math.Pow(b.half/math.Max(1e-6, b.age), b.power)) }

func (b *hill) pass(h, celsius, _ float64) (acids, float64) {
	before := b.curve()
	b.age += h * math.Max(0, celsius-b.base)
	made := b.sugar * (b.curve() - before)
	return acids{lactic: made}, made
}

type contois struct{ microbes, age, wakes, grows, crowds, with, keeps, food, least float64 }

func (b *contois) pass(h, celsius, _ float64) (acids, float64) {
	h *= math.Pow(math.Max(0, celsius-b.least)/(reckoned-b.least), 1.5)
	b.age += h
	awake := 1 / (1 + math.Exp(-4*(b.age-b.wakes)))
	grown := h * b.grows * awake * b.microbes * b.food / (b.crowds*b.microbes + b.food)
	made := math.Min(b.food, b.with*grown+h*b.keeps*b.microbes*b.food/(0.1+b.food))
	b.microbes, b.food = b.microbes+grown, b.food-made
	return acids{lactic: made}, made
}

// briere are the least and the highest temperature.
type briere struct{ least, most float64 }

func (w briere) bare(t float64) float64 {
	return t * math.Max(0, t-w.least) * math.Sqrt(math.Max(0, w.most-t))
}

type leuconostoc struct {
	microbes, grows, eats, made, stops, bends float64
	sugar                                     [2]float64 // glucose, fructose
	warm                                      briere
}

func (b *leuconostoc) pass(h, celsius, _ float64) (acids, float64) {
	h *= b.warm.bare(celsius) / b.warm.bare(reckoned) * math.Pow(math.Max(0, 1-b.made/b.stops), b.bends)
	first := b.sugar[0] / (0.05 + b.sugar[0])
	second := b.sugar[1] / (0.1 + b.sugar[1]) * (1 - 0.7*first) // glucose holds it back
	b.microbes += h * b.grows * (first + 0.5*second) * b.microbes * math.Max(0, 1-b.microbes)
	glucose, fructose := math.Min(b.sugar[0], h*b.eats*b.microbes*first), math.Min(b.sugar[1], h*b.eats*b.microbes*second)
	b.sugar[0], b.sugar[1] = b.sugar[0]-glucose, b.sugar[1]-fructose
	made := acids{lactic: glucose + fructose/2, acetic: fructose / 2}
	b.made += glucose + fructose
	return made, glucose + 0.8*fructose
}

// lactin are the rise for each K, the highest temperature, and how many K before it the fall begins.
type lactin struct{ rise, most, before float64 }

func (w lactin) bare(t float64) float64 {
	return math.Max(0, math.Exp(w.rise*t)-math.Exp(w.rise*w.most-(w.most-t)/w.before))
}

type esterase struct {
	pectin, cuts, least, most    float64 // part; 1/h; pH below and above which half of it is at work
	microbes, grows, sugar, eats float64
	warm                         lactin
}

func (b *esterase) pass(h, celsius, ph float64) (acids, float64) {
	bell := 1 / (1 + math.Pow(10, b.least-ph) + math.Pow(10, ph-b.most))
	bared := b.pectin * math.Min(1, h*b.cuts*bell*math.Pow(1.8, (celsius-reckoned)/10)) // Q10 of enzymes 1.5 to 2 (from memory)
	h *= b.warm.bare(celsius) / b.warm.bare(reckoned)
	fed := b.sugar / (0.15 + b.sugar + b.sugar*b.sugar/1.5)
	b.microbes += h * b.grows * fed * b.microbes * math.Max(0, 1-b.microbes)
	eaten := math.Min(b.sugar, h*b.eats*fed*b.microbes)
	b.pectin, b.sugar = b.pectin-bared, b.sugar-eaten
	return acids{lactic: eaten, pectic: bared}, eaten + 0.1*bared
}

// buffer is what holds the pH of a mass, mmol for each kg and unit of pH, at pH 3.5, 4.5, 5.5 and 6.5, straight between: as juices have it with citric and malic acid, strongest between 4 and 5 (shape from memory; amounts are
// choices that scale only with the acid).
type buffer [4]float64

// given is the part of a weak acid that has given its hydrogen.
func given(pk, ph float64) float64 { return 1 / (1 + math.Pow(10, pk-ph)) }

// sours is the pH after more acids came to what there was: what there was gives less hydrogen the lower it is, and so holds it too.
func (b *buffer) sours(ph float64, were, more acids) float64 {
	x := between(0, ph-3.5, 2.999)
	holds, brings := mix(b[int(x)], b[int(x)+1], x-math.Floor(x)), 0.0
	for i, pk := range strength {
		part := given(pk, ph)
		holds += math.Ln10 * were[i] * part * (1 - part)
		brings += more[i] * part
	}
	return ph - brings/holds
}

// until is the lactic acid that brings a mass from one pH to another.
func (b *buffer) until(ph, from float64) (acid float64) {
	const bit = 0.01
	for ; from > ph; acid += bit {
		from = b.sours(from, acids{lactic: acid}, acids{lactic: bit})
	}
	return acid
}
