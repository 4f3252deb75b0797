package tanktest

import "math"

// The laws of this file were sealed: written before the forecasters were improved, and opened once, after that. Since then they may be looked at. Forms are from published
// growth models, as remembered; times, temperatures and pH are drawn from the ranges of reference literature on coffee (as quoted there):
//
//   - complete at pH 4.6 after 12 to 36 h (Codex), 15 h at 20 to 26 °C dry (Jackels 2006), 16 h (Osorio 2026), 20 h in a cool night and 24 to 48 h under water (Haile, Kang 2019);
//   - start at pH 5.5 to 5.8 (Jackels 2005); chilled to 6.6 °C mucilage keeps its state for 24 h (Puerta, Ríos 2011); best at 30 to 35 °C (Kenya); mass 2 to 8 K warmer (from memory).
//
// Richards: the acid follows the lopsided logistic of Richards (1959), slow first or slow last as the estate's microbes are; warmth by the gamma concept (Zwietering 1992).
//
// Flooded: under water. Microbes grow after the lag of Huang (2008), acid comes with growth and is held back by itself; the pH of the water, which is what counts and what the probe
// stands in, follows that of the mucilage late, from that of a spring.
//
// Successive: two populations one after the other, each by the three straight phases of Buchanan (1997), so that the pH may rest between; little sugar levels it off just below the
// end. Warmth by the law of Eyring with denaturation (Hinshelwood).
//
// All of them: a mass of 200 to 3000 kg in a tank whose surface goes with its volume; air with a day, a memory and a front; every fourth tank is filled in two halves, every fifth
// electrode is taken out once for a quarter of an hour; electrodes foul in a step, are slow, and are not compensated for warmth.

// fate is what befalls such a tank.
type fate struct {
	surface, around    float64 // 1/h of heat lost to the air; K the air is off its mean
	day, swing, warmed float64 // °C, K, K an hour at the fastest souring
	clock, front, fall float64 // h of the day at loading; h after which it turns colder by fall
	second, part       float64 // h after which the second half comes in, 0: never; part that it is
	out, fouled, foul  float64 // h at which the electrode is taken out, and at which it fouls, by how much
	last               float64 // pH of a minute ago
}

// souring is such a law: h hours at a temperature give the pH; fresh mass thins it.
type souring interface {
	sour(h, celsius float64) float64
	thin(part float64)
}

func (t *Tank) opened(own, between func(low, high float64) float64) {
	kg := math.Exp(own(math.Log(200), math.Log(3000)) + between(-0.3, 0.3))
	t.fate = &fate{surface: own(0.8, 1.6) / math.Cbrt(kg), day: own(16, 23) + between(-2, 2), swing: between(3, 7), clock: between(13, 20), warmed: between(0.3, 0.9), front: 99}
	f := t.fate
	if between(0, 1) < 0.2 {
		f.front, f.fall = between(3, 14), between(2, 5)
	}
	if between(0, 1) < 0.25 {
		f.second, f.part = between(1, 4), between(0.3, 0.5)
	}
	if between(0, 1) < 0.2 {
		f.out = between(3, 14)
	}
	f.fouled, f.foul = between(2, 40), between(-0.06, 0.06)
	t.Celsius = f.air(0) + between(-1, 2)
	spread := between(-1, 1) + between(-1, 1) + between(-1, 1) // of deviation 1
	needs := own(12, 24) * math.Exp(0.1*spread)
	switch t.law {
	case Richards:
		t.made = newRichards(t.start, needs, own, between)
	case Flooded:
		t.made = newFlooded(t.start, 1.3*needs, own, between)
	default:
		t.made = newSuccessive(t.start, needs, own, between)
	}
	t.PH = t.made.sour(0, t.Celsius)
	f.last = t.PH
}

func (f *fate) air(hours float64) float64 {
	c := f.day + f.around - f.swing*math.Cos((f.clock+hours-4)/24*2*math.Pi)
	if hours > f.front {
		c -= f.fall * math.Min(1, (hours-f.front)/2)
	}
	return c
}

func (t *Tank) openedMinute(h float64) {
	f := t.fate
	if f.second > 0 && t.hours >= f.second {
		f.second = 0
		t.made.thin(f.part)
		t.Celsius += f.part * (f.air(t.hours) - t.Celsius)
	}
	t.PH = t.made.sour(h, t.Celsius)
	work := math.Max(0, math.Min(1, (f.last-t.PH)/h/0.12))
	f.last = t.PH
	f.around += -f.around*h/6 + 0.8*math.Sqrt(2*h/6)*t.rng.NormFloat64()
	t.Celsius += h * (f.warmed*work - f.surface*(t.Celsius-f.air(t.hours)))
}

// shows is what its electrode stands at: rinse water while it is out, else the pH with what fouling and warmth add.
func (f *fate) shows(ph, hours, celsius float64) float64 {
	if f.out > 0 && hours >= f.out && hours < f.out+0.25 {
		return 6.9
	}
	if hours >= f.fouled {
		ph += f.foul
	}
	return ph + 0.0034*(7-ph)*(celsius-23) // slope of Nernst, 0.34 % a kelvin, not compensated
}

type richards struct{ start, drop, acid, first, pace, bend, cold float64 }

// usual are the hours that a curve of pace 1 needs for a part of its way.
func usual(first, part, bend float64) float64 {
	return math.Log((math.Pow(first, -bend) - 1) / (math.Pow(part, -bend) - 1))
}

func newRichards(start, needs float64, own, between func(low, high float64) float64) *richards {
	r := &richards{start: start, drop: own(1.5, 2.1), first: math.Exp(own(-4.5, -1.5) + between(-0.2, 0.2)), bend: math.Exp(own(-1.2, 1.1)), cold: own(3, 6.6)}
	r.acid = r.first
	done := r.first + (start-4.6)/r.drop*(1-r.first)
	r.pace = usual(r.first, done, r.bend) / needs
	return r
}

// gamma is the pace against that at 23 °C: a square from the coldest to the best, and straight down from there.
func gamma(celsius, cold float64) float64 {
	const best, hot = 33.0, 45.0
	at := func(c float64) float64 { return math.Pow(math.Max(0, c-cold)/(best-cold), 2) }
	if celsius > best {
		return math.Max(0, (hot-celsius)/(hot-best)) / at(23)
	}
	return at(celsius) / at(23)
}

func (r *richards) sour(h, celsius float64) float64 {
	r.acid += h * r.pace * gamma(celsius, r.cold) / r.bend * r.acid * (1 - math.Pow(r.acid, r.bend))
	return r.start - r.drop*(r.acid-r.first)/(1-r.first)
}

func (r *richards) thin(part float64) { r.acid += part * (r.first - r.acid) }

type flooded struct{ start, drop, water, microbes, lag, age, pace, grow, acid, late, cold float64 }

func newFlooded(start, needs float64, own, between func(low, high float64) float64) *flooded {
	f := &flooded{start: start, drop: own(1.5, 2.0), water: between(6.3, 7.2), microbes: math.Exp(own(-4, -2) + between(-0.3, 0.3)), late: own(0.7, 2.5), grow: own(0.25, 0.5), cold: own(3, 6.6), pace: 1}
	f.lag = own(2, 5) * between(0.8, 1.2)
	trial, hours := *f, 0.0
	for ; trial.water > 4.6 && hours < 400; hours += 0.1 {
		trial.sour(0.1, 23)
	}
	f.pace = hours / needs
	return f
}

func (f *flooded) sour(h, celsius float64) float64 {
	pace := h * f.pace * gamma(celsius, f.cold)
	f.age += pace
	ready := 1 / (1 + math.Exp(-4*(f.age-f.lag))) // Huang's change from lag to growth
	grown := pace * f.grow * ready * f.microbes * (1 - f.microbes)
	f.microbes += grown
	f.acid += (2*grown + 0.03*pace*f.microbes) * math.Max(0, 1-f.acid/1.6)
	mucilage := f.start - f.drop*f.acid
	f.water += h * (mucilage - f.water) / f.late
	return f.water
}

func (f *flooded) thin(part float64) {
	f.acid -= part * f.acid
	f.microbes -= part / 2 * f.microbes
}

type successive struct {
	start, age, pace float64
	lag, grow        [2]float64 // h, 1/h of the logarithm
	count, most      [2]float64 // logarithms of what there is
	acid, each       [2]float64 // pH that each has made, and could
	rate             [2]float64 // pH/h at its full number
	energy           float64
}

func newSuccessive(start, needs float64, own, between func(low, high float64) float64) *successive {
	s := &successive{start: start, pace: 1, energy: own(45, 75), lag: [2]float64{own(0, 2), own(3, 8) * between(0.8, 1.2)}, grow: [2]float64{own(0.4, 0.8), own(0.35, 0.7)},
		count: [2]float64{own(-4, -2) + between(-0.3, 0.3), own(-6, -3) + between(-0.3, 0.3)}, each: [2]float64{own(0.3, 0.6), own(0.9, 1.3)}, rate: [2]float64{own(0.05, 0.12), own(0.15, 0.3)}}
	s.each[1] = math.Max(s.each[1], start-4.6-s.each[0]+0.15) // it does come below the end
	trial, hours := *s, 0.0
	for ; trial.sour(0, 23) > 4.6 && hours < 400; hours += 0.1 {
		trial.sour(0.1, 23)
	}
	s.pace = hours / needs
	return s
}

// eyring is the pace against that at 23 °C.
func (s *successive) eyring(celsius float64) float64 {
	const r = 8.314e-3
	at := func(c float64) float64 {
		k := c + 273.15
		return k * math.Exp(-s.energy/r*(1/k-1/296.15)) / (1 + math.Exp(250/r*(1/313.15-1/k)))
	}
	return at(celsius) / at(23)
}

func (s *successive) sour(h, celsius float64) float64 {
	pace := h * s.pace * s.eyring(celsius)
	s.age += pace
	ph := s.start
	for i := range s.lag {
		if s.age > s.lag[i] {
			s.count[i] = math.Min(s.most[i], s.count[i]+pace*s.grow[i])
		}
		s.acid[i] += pace * s.rate[i] * math.Exp(s.count[i]) * math.Max(0, 1-s.acid[i]/s.each[i])
		ph -= s.acid[i]
	}
	return ph
}

func (s *successive) thin(part float64) {
	for i := range s.acid {
		s.acid[i] -= part * s.acid[i]
		s.count[i] += math.Log(1 - part/2)
	}
}
