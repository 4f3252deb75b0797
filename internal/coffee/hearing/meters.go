package hearing

import "math"

// electrode is an estate's one electrode over its season. It is put into buffers of 4.01 and 7.00 every three to eight lots (2-point weekly: measurement notes) and is a hundredth or two off after that (displays of 0.01, buffers that are 0.01 or
// 0.02 off when not at 25 °C: those notes), drifts by some hundredths until the next time and loses a part in a hundred of its slope (95 to 102 % is good there). Two meters of five do not allow for warmth (choice). Slime makes it slow,
// bubbles make it jump, people rinse it now and then (choice).
type electrode struct {
	every, since    int
	off, drifts     float64 // pH; pH a lot
	slope, loses    float64 // part of Nernst's; part a lot
	slow, noise     float64 // h; pH
	bubbles         float64 // chance a reading
	cold            bool    // warmth is not allowed for: buffers were at 22 °C
	warm            float64 // K that its thermometer is off
	place           float64 // pH that it is off where it sits, in this lot
	rinsed          float64 // h at which it is out of the mass for a quarter of an hour
	film, age, last float64 // pH of its film; h; what it showed last
	chance          draw
}

func newElectrode(own draw) *electrode {
	return &electrode{every: 3 + own.IntN(6), off: 0.012 * own.normal(), drifts: 0.003 * own.normal(), slope: 1, loses: own.in(0.0005, 0.0025), slow: own.in(0.03, 0.2), noise: own.in(0.004, 0.018), bubbles: own.in(0.0005, 0.004),
		cold: own.of(0.4), warm: 0.25 * own.normal()}
}

// next is it in the next lot.
func (e *electrode) next(own draw) electrode {
	if e.since++; e.since > e.every {
		e.since, e.off, e.slope = 1, 0.012*own.normal(), 1
	}
	e.off, e.slope = e.off+e.drifts, e.slope-e.loses
	e.place, e.rinsed = 0.01*own.normal(), 99
	if own.of(0.25) {
		e.rinsed = own.in(3, 14)
	}
	return *e
}

func (e *electrode) minute(ph float64) {
	e.age += minute
	e.film += (ph - e.film) * math.Min(1, minute/(e.slow*(1+e.age/15))) // slime grows on it
}

func (e *electrode) shows(celsius float64) float64 {
	ph, slope := e.film+e.place, e.slope
	if e.age > e.rinsed && e.age < e.rinsed+0.25 {
		ph = 6.8
	}
	if e.cold { // Nernst
		slope *= (celsius + 273.15) / (22 + 273.15)
	}
	ph = 7 + (ph-7)*slope + e.off + e.noise*e.chance.normal()
	if e.chance.of(e.bubbles) {
		ph += 0.4 * e.chance.normal()
	}
	e.last = rounded(ph, 0.01)
	return e.last
}

// meters are how a house measures air and moisture.
//
// Probes of air keep to 0.3 to 0.5 K and 2 to 3 %RH (datasheets of usual parts, from memory); half of that is a deviation. Ways to measure moisture differ by 0.59 to 0.77 %wb (Cenicafé 2010, as quoted), and a meter is held against the oven
// each season (trade notes): 0.35 %wb off as a deviation, and 2 % of what it is above 11 (choice). Meters for the hand are sold with ranges that end at 35 to 40 %wb (from memory); a probe tells up to 40 to 50 (choice). A probe in the layer
// feels warmth that it does not quite allow for, and lies otherwise after each turn; handfuls scatter, more while beans are wet and unlike each other (choice). Teeth and nails feel dryness to some tenths (choice).
type meters struct {
	celsius, humidity float64 // K, %RH off
	hand, rod         moistureMeter
	warm, lie, bites  float64 // %wb for each K from the usual; %wb; %wb off
	late              float64 // chance that people come late
}

type moistureMeter struct{ off, gain, scatter, top float64 }

func newMeters(own draw) meters {
	meter := func(low, high, least, most float64) moistureMeter {
		return moistureMeter{0.35 * own.normal(), 0.02 * own.normal(), own.in(low, high), own.in(least, most)}
	}
	return meters{celsius: 0.2 * own.normal(), humidity: 1.3 * own.normal(), hand: meter(0.2, 0.4, 35, 40), rod: meter(0.08, 0.2, 40, 50), warm: 0.012 * own.normal(), lie: own.in(0.1, 0.3), bites: 0.2 * own.normal(), late: own.in(0.1, 0.25)}
}

// tells is in steps of 0.1 %wb; false: above what it can.
func (m *moistureMeter) tells(wet, scatter float64) (percent float64, tells bool) {
	v := wet + m.off + m.gain*(wet-Dry) + m.scatter*scatter
	return rounded(v, 0.1), v < m.top
}

func (m *meters) ofAir(a air, chance draw) (t, rh float64) {
	return rounded(a.t+m.celsius+0.1*chance.normal(), 0.1), rounded(between(1, 100*a.rh+m.humidity+0.4*chance.normal(), 100), 0.1)
}

// Probe is what the probe of the air shows: °C and %RH.
func (l *Layer) Probe() (t, rh float64) { return l.house.meters.ofAir(l.air, l.hands.chance) }

// Idle makes what it shows while no lot lies there and no fire burns.
func (h *House) Idle() func(hours float64) (t, rh float64) {
	chance := drawn(h.seed, "idle", h.Law, h.Place)
	return func(hours float64) (float64, float64) {
		return h.meters.ofAir(h.below(h.season.at(hours), math.Mod(hours, 24), 0), chance)
	}
}

// hands are what people and meters do with one lot. A sibling has none: nobody measures it.
type hands struct {
	chance       draw
	lies         float64 // %wb, since the last turn
	reads, looks float64 // h of the next reading, and of the next look at the probe
	now          bool    // somebody reads
}

// next is when the crew reads again: as a prompt asks, in a dryer every 2 to 4 h day and night, on a deck by day; now and then it comes up to 3 h late (choice).
func (l *Layer) next(since float64) {
	c, m := l.hands.chance, &l.house.meters
	at := since + c.in(2, 4)
	if c.of(m.late) {
		at += c.in(0.5, 3)
	}
	if clock := math.Mod(l.loaded+at, 24); l.fire == nil && (clock > 18 || clock < 7) {
		at += math.Mod(24+c.in(7, 9)-clock, 24)
	}
	l.hands.reads = at
}

// Reading is what the crew reads in its meter this minute, the mean of some handfuls; false: nobody does, or it is too wet.
func (l *Layer) Reading() (percent float64, read bool) {
	if !l.hands.now {
		return 0, false
	}
	wet := l.Moisture()
	return l.house.meters.hand.tells(wet, (1+0.06*math.Max(0, wet-15))*l.hands.chance.normal())
}

// Rod is what the probe in the layer shows; false: it is too wet there.
func (l *Layer) Rod() (percent float64, tells bool) {
	m, usual := &l.house.meters, 25.0
	if l.fire != nil {
		usual = 40
	}
	return m.rod.tells(l.Middle()+l.hands.lies+m.warm*(l.air.t-usual), l.hands.chance.normal())
}

// Dried tells whether the crew takes the layer away now, after its instrument showed so much: it looks at its probe every hour or so, and bites when the instrument says dry. What rattles below 10.3 %wb needs no instrument.
func (l *Layer) Dried(percent float64, tells, byProbe bool) bool {
	since := l.since()
	if byProbe && since < l.hands.looks || !byProbe && !tells {
		return false
	}
	if byProbe {
		l.hands.looks = since + l.hands.chance.in(0.5, 1.5)
	}
	feels := l.Moisture() + l.house.meters.bites + 0.3*l.hands.chance.normal()
	return tells && percent <= Dry && feels < Dry+0.7 || feels < 10.3
}
