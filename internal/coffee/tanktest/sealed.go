package tanktest

import "math"

// The laws of this file were sealed: written and committed before the forecasters were improved, asked once, after that; since then they may be looked at. They share no growth, warmth or acid law with those before. Forms
// are from the publications named, as remembered; what is drawn lies in the ranges that literature on coffee gives (as quoted there): pH 4.6 after 12 to 36 h (Codex par. 27), 15 h at 20 to
// 26 °C (Jackels 2006), 16 h (Osorio 2026), 20 h in cool nights and 24 to 48 h under water; from pH 5.5 to 5.8 (Jackels 2005); acid fastest at 22 h at 20.5 °C (Puerta 2013).
//
// Rivals: yeasts and lactic bacteria in one space, so that whoever is first holds the other back (Jameson; Giménez, Dalgaard 2004); cells wake from a sleeping compartment (Hills, Wright
// 1994); undissociated acid stops growth (Presser, Ratkowsky, Ross 1997); a buffer about pH 5.2 slows the fall there; warmth by the square root with its hot end (Ratkowsky 1983).
//
// Strata: five slices of a still mass, the middle warmer than surface and wall, each souring by the logistic curve of Puerta 2013 and the titration of one weak acid
// (Henderson, Hasselbalch); Arrhenius; half of the estates stir it, from some hour on, every few hours. The pH that counts is that of the whole mass, the electrode hangs in one slice.
//
// Liquor: acid is made on the beans by a population of Fujikawa 2004 that too much sugar holds back (Andrews 1968), and gets from there into the juice, or the water, that counts and is
// measured. Two estates of five change the liquor once, as where coffee is rinsed and left again (Kenya). Warmth by the quadratic of Davey 1989.
//
// All of them stand in a day of two waves with a memory and fronts. Their electrodes are those of tank.go, and get slow in slime, lose slope by the day as their junction clogs, are
// compensated for warmth in two tanks of three, and one in eight hangs dry for a while when the mass sinks.

// basin is what stands around a sealed tank.
type basin struct {
	ferment    ferment
	mean, wave float64 // °C of the air, K
	clock      float64 // h of the day at loading
	off        float64 // K that the air is off, with its memory
	front, by  float64 // h at which it turns colder, K
	holds      float64 // h in which the mass comes to the air
	warms      float64 // K/h at the fastest souring
	rinse      float64 // h at which the liquor is changed, 0: never
	part       float64 // of it
	stirs      float64 // h between stirs, 0: nobody does
	next       float64 // h of the next stir
	last       float64 // pH a minute ago
	film, slow float64 // pH that the film shows; h of its lag in a day's slime
	loses      float64 // part of the slope, an hour
	warmth     bool    // compensated
	dry, long  float64 // h at which it hangs dry, 0: never; for how long
}

// ferment is a sealed law.
type ferment interface {
	pass(h, celsius, air float64)
	ph() float64     // that counts
	beside() float64 // where the electrode hangs
	stir()
	rinse(part float64)
}

func (t *Tank) sealed(own, between func(low, high float64) float64) {
	b := &basin{mean: own(16, 22) + between(-1.5, 1.5), wave: between(3, 6), clock: between(14, 20), front: 99, holds: own(6, 22), warms: between(0.2, 0.8),
		slow: between(0.02, 0.3), loses: between(0, 0.0012), warmth: between(0, 1) < 0.67}
	if between(0, 1) < 0.2 {
		b.front, b.by = between(4, 20), between(1.5, 4)
	}
	if between(0, 1) < 0.125 {
		b.dry, b.long = between(3, 16), between(0.5, 2)
	}
	spread := between(-1, 1) + between(-1, 1) + between(-1, 1) // of deviation 1
	needs := own(12, 21) * math.Exp(0.12*spread)
	switch t.law {
	case Rivals:
		b.ferment = newRivals(t.start, needs, own, between)
	case Strata:
		b.ferment = newStrata(t.start, needs, own, between)
		if own(0, 1) < 0.5 {
			b.stirs, b.next = between(2, 4), between(4, 12)
		}
	default:
		rinses := own(0, 1) < 0.4
		b.ferment = newLiquor(t.start, needs, own, between)
		if rinses {
			b.rinse, b.part = between(7, 13), between(0.4, 0.8)
		}
	}
	t.basin = b
	t.Celsius = b.air(0) + between(-1, 2)
	t.PH = b.ferment.ph()
	b.last, b.film = t.PH, b.ferment.beside()
}

// air has its warmest hour at two in the afternoon and its coldest before sunrise.
func (b *basin) air(hours float64) float64 {
	w := (b.clock + hours - 14) / 24 * 2 * math.Pi
	c := b.mean + b.off + b.wave*(math.Cos(w)+0.2*math.Cos(2*w))
	if hours > b.front {
		c -= b.by * math.Min(1, (hours-b.front)/3)
	}
	return c
}

func (t *Tank) sealedMinute(h float64) {
	b := t.basin
	air := b.air(t.hours)
	b.ferment.pass(h, t.Celsius, air)
	if b.rinse > 0 && t.hours >= b.rinse {
		b.rinse = 0
		b.ferment.rinse(b.part)
	}
	if b.stirs > 0 && t.hours >= b.next {
		b.next += b.stirs
		b.ferment.stir()
	}
	t.PH = b.ferment.ph()
	work := math.Max(0, math.Min(1, (b.last-t.PH)/h/0.12))
	b.last = t.PH
	b.follow(h, t.hours, b.ferment.beside())
	b.off += -b.off*h/8 + 0.7*math.Sqrt(2*h/8)*t.rng.NormFloat64()
	t.Celsius += h * (b.warms*work - (t.Celsius-air)/b.holds)
}

// follow lets the film on the electrode come to the pH around it.
func (b *basin) follow(h, hours, ph float64) {
	b.film += (ph - b.film) * math.Min(1, h/(0.02+b.slow*math.Min(1, hours/24)))
}

// shows is what the electrode stands at, without its noise.
func (b *basin) shows(hours, celsius float64) float64 {
	v := 7 + (b.film-7)*(1-b.loses*hours)
	if !b.warmth {
		v += 0.0034 * (7 - v) * (celsius - 25)
	}
	if b.dry > 0 && hours >= b.dry && hours < b.dry+b.long {
		v += 0.3 * math.Sin((hours-b.dry)/b.long*math.Pi) // its own film dries
	}
	return v
}

// hoursTo is how long a law takes at 23 °C to pH 4.6.
func hoursTo(f brew) float64 {
	hours := 0.0
	for ; f.ph() > 4.6 && hours < 400; hours += 0.1 {
		f.pass(0.1, 23, 23)
	}
	return hours
}

type rivals struct {
	acidity            float64 // pH now
	asleep, yeast      float64
	lactic             float64
	wakes, quick       float64 // 1/h
	slower             float64 // of lactic bacteria
	with, along        float64 // pH of acid with growth; an hour beside it
	made, most         float64 // acid made, and what undissociated stops growth
	buffer, cold, pace float64
}

func newRivals(start, needs float64, own, between func(low, high float64) float64) *rivals {
	r := &rivals{acidity: start, asleep: math.Exp(own(-7, -4) + between(-0.4, 0.4)), yeast: math.Exp(own(-8, -4) + between(-0.4, 0.4)), wakes: own(0.2, 0.8), quick: own(0.25, 0.4), slower: own(0.35, 0.6),
		with: own(0.9, 1.6), along: own(0.08, 0.2), most: own(1.2, 2), buffer: own(0.2, 0.7), cold: own(2, 5), pace: 1}
	trial := *r
	r.pace = hoursTo(&trial) / needs
	return r
}

func (r *rivals) pass(h, celsius, _ float64) {
	root := func(c float64) float64 {
		return math.Max(0, c-r.cold) * math.Max(0, 1-math.Exp(0.25*(c-43)))
	}
	pace := h * r.pace * math.Pow(root(celsius)/root(23), 2)
	woke := math.Min(r.asleep, pace*r.wakes*r.asleep)
	r.asleep -= woke
	room := math.Max(0, 1-r.yeast-r.lactic-r.asleep)
	bitten := math.Max(0, 1-r.made/(1+math.Pow(10, r.acidity-3.86))/r.most)
	grown := pace * r.slower * room * bitten * r.lactic
	r.yeast += pace * r.quick * room * r.yeast
	r.lactic += grown + woke
	soured := r.with*grown + pace*r.along*r.lactic*bitten
	r.made += soured
	r.acidity -= soured / (1 + r.buffer*math.Exp(-math.Pow((r.acidity-5.2)/0.25, 2)))
}

func (r *rivals) ph() float64     { return r.acidity }
func (r *rivals) beside() float64 { return r.acidity }
func (r *rivals) stir()           {}
func (r *rivals) rinse(float64)   {}

const strataSlices = 5

type strata struct {
	age          [strataSlices]float64 // h at 20.5 °C
	least, half  float64               // acid part at the start; pK
	most         float64               // acid at the very end, of the base there was
	pace, energy float64
	hangs        int
	warmer       [strataSlices]float64 // of the mean excess over the air
}

func newStrata(start, needs float64, own, between func(low, high float64) float64) *strata {
	s := &strata{half: own(4.3, 4.8), energy: own(45, 75), pace: 1, hangs: int(own(1, 4)), warmer: [strataSlices]float64{0.5, 1.1, 1.5, 1.2, 0.7}}
	s.least = math.Pow(10, s.half-start)
	end := math.Pow(10, own(3.6, 3.95)+between(-0.05, 0.05)-s.half)
	s.most = (1 - end*s.least) / (1 + end)
	trial := *s
	s.pace = hoursTo(&trial) / needs
	return s
}

func (s *strata) pass(h, celsius, air float64) {
	for i := range s.age {
		t := air + s.warmer[i]*(celsius-air)
		s.age[i] += h * s.pace * math.Exp(s.energy/8.314e-3*(1/296.15-1/(t+273.15)))
	}
}

// acid is what was made of what could be, by an age.
func (s *strata) acid(age float64) float64 {
	curve := func(h float64) float64 { return 1 / (1 + math.Exp(-0.076*(h-22))) }
	return s.most * (curve(age) - curve(0)) / (1 - curve(0))
}

func (s *strata) of(acid float64) float64 { return s.half + math.Log10((1-acid)/(s.least+acid)) }

func (s *strata) ph() float64 {
	sum := 0.0
	for _, age := range s.age {
		sum += s.acid(age)
	}
	return s.of(sum / strataSlices)
}

func (s *strata) beside() float64 { return s.of(s.acid(s.age[s.hangs])) }

func (s *strata) stir() {
	mean := 0.0
	for _, age := range s.age {
		mean += age / strataSlices
	}
	for i := range s.age {
		s.age[i] += 0.7 * (mean - s.age[i])
	}
}

func (s *strata) rinse(float64) {}

type liquor struct {
	beans, juice, water  float64 // acid on the beans, in the juice, in fresh water
	microbes, from, bend float64
	grows, makes         float64 // 1/h, acid an hour
	sugar, much          float64
	most                 float64 // acid that stops it
	passes, more         float64 // 1/h between beans and juice; juice against what is on the beans
	curved, pace         float64
}

// acidOf and phOf are the titration of mucilage: steep at first, flat at the end.
func acidOf(ph float64) float64 { p := (6.9 - ph) / 3.1; return 0.35 * p / (1 - p) }
func phOf(acid float64) float64 { return 6.9 - 3.1*acid/(acid+0.35) }

func newLiquor(start, needs float64, own, between func(low, high float64) float64) *liquor {
	l := &liquor{beans: acidOf(start), juice: acidOf(start), water: acidOf(between(6.2, 6.7)), from: math.Exp(own(-5, -2.5) + between(-0.3, 0.3)), bend: own(0.4, 1), grows: own(0.25, 0.5),
		makes: own(0.2, 0.4), sugar: 1, much: own(0.5, 2), most: own(2.5, 4), passes: own(0.5, 2), more: own(0.2, 0.6), curved: own(2.6e7, 4.6e7), pace: 1}
	l.microbes = 1.05 * l.from
	if own(0, 1) < 0.4 { // under water
		l.juice, l.more = 0.6*l.juice+0.4*l.water, own(0.6, 1)
		needs *= 1.15
	}
	trial := *l
	l.pace = hoursTo(&trial) / needs
	return l
}

func (l *liquor) pass(h, celsius, _ float64) {
	x := func(c float64) float64 { return math.Pow(1/(c+273.15)-1/306.15, 2) }
	pace := h * l.pace * math.Exp(-l.curved*(x(celsius)-x(23)))
	l.microbes += pace * l.grows * l.microbes * (1 - l.microbes) * math.Max(0, 1-math.Pow(l.from/l.microbes, l.bend))
	fed := l.sugar / (0.15 + l.sugar + l.sugar*l.sugar/l.much)
	made := pace * l.makes * l.microbes * fed * math.Max(0, 1-l.beans/l.most)
	l.sugar = math.Max(0, l.sugar-0.3*made)
	l.beans += made
	flow := h * l.passes * (l.beans - l.juice)
	l.beans -= flow * l.more
	l.juice += flow
}

func (l *liquor) ph() float64     { return phOf(l.juice) }
func (l *liquor) beside() float64 { return l.ph() }
func (l *liquor) stir()           {}
func (l *liquor) rinse(part float64) {
	l.juice += part * (l.water - l.juice)
	l.beans += 0.3 * part * (l.water - l.beans)
}
