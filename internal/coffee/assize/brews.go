package assize

import "math"

// Souring is a law by which a tank sours.
type Souring uint8

const (
	// Sigmoid makes acid along the modified Gompertz curve (Zwietering and others 1990), its age at the pace of the cardinal temperatures (Rosso, Lobry, Flandrois 1993).
	Sigmoid Souring = iota
	// Lagged is one population that grows logistically (Verhulst 1838) after it has settled in (Monod 1949: in part from the first hour on), with acid from growth and from upkeep
	// (Luedeking, Piret 1959); square root of warmth (Ratkowsky and others 1982).
	Lagged
	// Adjusting is the population of Baranyi and Roberts 1994, with acid as above, held back by its own acid (Levenspiel 1980); warmth as by Sharpe and DeMichele 1977, in the form of Schoolfield 1981.
	Adjusting
	// Strains is a quick lactic strain that likes warmth and a slower one that does not mind the cold, on one sugar (Monod 1949), each with its own cardinal temperatures and its own acid.
	Strains
	// Displaced begins with enterobacteria of field and water, which make little acid and give way to lactic bacteria as the pH falls (what Avallone 2001 and Elhalis 2020 tell of coffee,
	// as quoted); who is more stops all growth (Jameson 1962); warmth by the power of Bělehrádek 1926.
	Displaced
	Sourings
)

func (l Souring) String() string {
	return [...]string{"Sigmoid", "Lagged", "Adjusting", "Strains", "Displaced"}[l]
}

// brew makes acid: a part of the most that it could.
type brew interface {
	pass(h, celsius float64)
	acid() float64
}

// fruit is how a lot is unlike the usual one of its estate.
type fruit struct {
	microbes float64 // logarithm of how many more
	lag      float64 // factor
	sugar    float64 // factor
}

// newBrew makes a law as the estate has it, for a lot.
func newBrew(law Souring, own Draw, f fruit) brew {
	switch law {
	case Sigmoid:
		return &sigmoid{lag: own(2, 5) * f.lag * math.Exp(-0.15*f.microbes), rise: own(0.05, 0.075) * f.sugar, warm: cardinal{own(2, 6), own(33, 38), own(43, 47)}}
	case Lagged:
		return &lagged{microbes: math.Exp(own(-4.2, -2.8) + f.microbes), settles: own(1.5, 4) * f.lag, grows: own(0.25, 0.4), keeps: own(0.03, 0.06), with: own(0.35, 0.55) * f.sugar, cold: own(2, 6)}
	case Adjusting:
		return &adjusting{microbes: math.Exp(own(-4.5, -3) + f.microbes), state: 1 / (math.Exp(own(0.6, 1.6)*f.lag) - 1), grows: own(0.3, 0.45), keeps: own(0.03, 0.06),
			with: own(0.4, 0.65), most: own(1.2, 1.5) * f.sugar, energy: own(50, 75), hot: own(39, 42)}
	case Strains:
		return &strains{microbes: [2]float64{math.Exp(own(-5, -3.8) + f.microbes), math.Exp(own(-4.2, -3.2) + 0.5*f.microbes)}, grows: [2]float64{own(0.35, 0.5), own(0.22, 0.32)},
			makes: [2]float64{own(0.9, 1.1), own(0.6, 0.8)}, sugar: f.sugar, half: own(0.1, 0.3), stops: own(1.1, 1.4),
			warm: [2]cardinal{{own(6, 9), own(36, 40), own(44, 48)}, {own(1, 4), own(27, 31), own(37, 41)}}}
	}
	return &displaced{field: math.Exp(own(-3.5, -2.5) + 0.7*f.microbes), lactic: math.Exp(own(-5.5, -4.5) + f.microbes), grows: [2]float64{own(0.3, 0.4), own(0.33, 0.45)}, mild: own(0.15, 0.3) * f.sugar,
		sours: own(0.10, 0.16) * f.sugar, dies: own(0.15, 0.4), cold: own(1, 5), power: own(1.6, 2.2)}
}

// reckoned is 23 °C, at which the numbers above hold.
const reckoned = 23.0

// cardinal are the least, best and highest temperature of a strain.
type cardinal struct{ least, best, most float64 }

func (c cardinal) bare(t float64) float64 {
	if t <= c.least || t >= c.most {
		return 0
	}
	over := (c.best - c.least) * ((c.best-c.least)*(t-c.best) - (c.best-c.most)*(c.best+c.least-2*t))
	return (t - c.most) * (t - c.least) * (t - c.least) / over
}

// pace is that against 23 °C.
func (c cardinal) pace(t float64) float64 { return c.bare(t) / c.bare(reckoned) }

type sigmoid struct {
	age, lag, rise float64 // h, h, of the most an hour
	warm           cardinal
}

func (s *sigmoid) pass(h, celsius float64) { s.age += h * s.warm.pace(celsius) }
func (s *sigmoid) curve(h float64) float64 { return math.Exp(-math.Exp(s.rise*math.E*(s.lag-h) + 1)) }
func (s *sigmoid) acid() float64           { return (s.curve(s.age) - s.curve(0)) / (1 - s.curve(0)) }

type lagged struct{ microbes, settles, age, grows, keeps, with, made, cold float64 }

func (l *lagged) pass(h, celsius float64) {
	pace := h * math.Pow(math.Max(0, celsius-l.cold)/(reckoned-l.cold), 2)
	l.age += pace
	grown := pace * l.grows * (1 - math.Exp(-l.age/l.settles)) * l.microbes * (1 - l.microbes)
	l.made += (l.with*grown + pace*l.keeps*l.microbes) * math.Max(0, 1-l.made)
	l.microbes += grown
}
func (l *lagged) acid() float64 { return l.made }

type adjusting struct{ microbes, state, grows, keeps, with, most, made, energy, hot float64 }

func (a *adjusting) pass(h, celsius float64) {
	at := func(c float64) float64 {
		k := c + 273.15
		return k / 298.15 * math.Exp(a.energy/gas*(1/298.15-1/k)) / (1 + math.Exp(250/gas*(1/(a.hot+273.15)-1/k)))
	}
	pace := h * at(celsius) / at(reckoned)
	held := math.Max(0, 1-a.made/a.most)
	a.state += pace * a.grows * a.state
	grown := pace * a.grows * a.state / (1 + a.state) * a.microbes * (1 - a.microbes) * math.Sqrt(held)
	a.made += (a.with*grown + pace*a.keeps*a.microbes) * held
	a.microbes += grown
}
func (a *adjusting) acid() float64 { return a.made }

type strains struct {
	microbes, grows, makes   [2]float64
	sugar, half, stops, made float64
	warm                     [2]cardinal
}

func (s *strains) pass(h, celsius float64) {
	for i := range s.microbes {
		grown := h * s.grows[i] * s.warm[i].pace(celsius) * s.sugar / (s.half + s.sugar) * math.Max(0, 1-s.made/s.stops) * s.microbes[i]
		grown = math.Min(grown, s.sugar)
		s.sugar -= grown
		s.microbes[i] += grown
		s.made += s.makes[i] * grown
	}
}
func (s *strains) acid() float64 { return s.made }

type displaced struct {
	field, lactic     float64
	grows             [2]float64
	mild, sours, dies float64
	soured, made      float64 // by the first, by all
	cold, power       float64
}

func (d *displaced) pass(h, celsius float64) {
	pace := h * math.Pow(math.Max(0, celsius-d.cold)/(reckoned-d.cold), d.power)
	room := math.Max(0, 1-d.field-d.lactic)
	sour := math.Min(1, d.made/0.35) // they die as it sours
	first := pace * (d.grows[0]*room*(1-sour) - d.dies*sour) * d.field
	second := pace * d.grows[1] * room * d.lactic
	by := pace * 0.12 * d.field * math.Max(0, d.mild-d.soured)
	d.soured += by
	d.made += by + pace*d.sours*d.lactic*math.Max(0, 1-d.made)
	d.field, d.lactic = d.field+first, d.lactic+second
}
func (d *displaced) acid() float64 { return d.made }

// buffer is what holds the pH of mucilage: salts of citric, malic and galacturonic acid, to which lactic acid comes (strengths of textbooks). The pH is where the charges are even
// (Van Slyke 1922). Amounts are in mmol/kg, chosen, as no titration of mucilage was at hand.
type buffer struct {
	weak [len(strengths)]float64
	base float64 // charge of potassium and the like
}

// strengths are the dissociation constants of citric, malic and galacturonic acid, and of carbonate and amino groups taken together.
var strengths = [...]float64{constant(3.13), constant(4.76), constant(6.40), constant(3.40), constant(5.11), constant(3.51), constant(6.1)}

var lactic = constant(lacticPK)

const lacticPK = 3.86

func constant(pk float64) float64 { return math.Pow(10, -pk) }

func newBuffer(ph float64, own Draw, stronger float64) buffer {
	b := buffer{}
	citric, malic := own(3, 6), own(2, 5)
	b.weak = [...]float64{citric, citric, citric, malic, malic, own(6, 12), own(2, 5)}
	for i := range b.weak {
		b.weak[i] *= stronger
	}
	b.base, _ = b.charge(constant(ph), 0)
	return b
}

// charge is that of all acids beside so much hydrogen, in mol/l, and how it changes with a unit of pH.
func (b *buffer) charge(hydrogen, acid float64) (sum, steep float64) {
	one := func(k, amount float64) {
		given := k / (k + hydrogen) // the part that has given its hydrogen
		sum += amount * given
		steep += amount * given * (1 - given)
	}
	for i, amount := range b.weak {
		one(strengths[i], amount)
	}
	one(lactic, acid)
	return sum - 1000*hydrogen, math.Ln10 * (steep + 1000*hydrogen)
}

// ph with so much lactic acid, by Newton's steps from a pH that is near.
func (b *buffer) ph(acid, near float64) float64 {
	for range 20 {
		sum, steep := b.charge(constant(near), acid)
		step := (b.base - sum) / steep
		near += math.Max(-0.5, math.Min(0.5, step))
		if math.Abs(step) < 1e-9 {
			break
		}
	}
	return near
}

// until is the lactic acid that brings it to a pH.
func (b *buffer) until(ph float64) float64 {
	sum, _ := b.charge(constant(ph), 0)
	given, _ := b.charge(constant(ph), 1)
	return (b.base - sum) / (given - sum)
}
