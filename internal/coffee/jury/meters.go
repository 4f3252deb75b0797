package jury

import "math"

// airProbe is the probe of a house's air: 0.3 to 0.5 K and 2 to 3 %RH are what datasheets of usual parts allow (from memory); a deviation is half of that.
type airProbe struct{ celsius, humidity, noise float64 }

func newAirProbe(own Draw) airProbe {
	return airProbe{celsius: 0.2 * own.normal(), humidity: 1.3 * own.normal(), noise: own(0.05, 0.15)}
}

// shows is in °C and %RH, in steps of 0.1.
func (p *airProbe) shows(t, rh float64, chance Draw) (float64, float64) {
	return rounded(t+p.celsius+p.noise*chance.normal(), 0.1), rounded(between(1, 100*rh+p.humidity+0.5*chance.normal(), 100), 0.1)
}

// Probe is what the probe of the air shows: °C and %RH.
func (l *Layer) Probe() (t, rh float64) { return l.house.air.shows(l.t, l.rh, l.chanceOfProbes) }

// Idle makes what it shows while no lot lies there and no fire burns.
func (h *House) Idle() func(hours float64) (t, rh float64) {
	chance := drawn(h.seed, forIdle, int(h.Law), int(h.Place))
	return func(hours float64) (float64, float64) {
		t, rh, _, _ := h.season.at(hours)
		return h.air.shows(t, rh, chance)
	}
}

// meters are how a house measures moisture: a probe that lies in the layer, or a meter in a hand.
//
// Methods differ by 0.59 to 0.77 %wb from the oven (Cenicafé 2010, as quoted), and a meter is held against the oven each season (trade notes): 0.35 %wb off as a deviation, and by 2 to 3 % of what it is above 11 (choice). A probe drifts by a
// tenth of a per cent in a week or two, feels warmth that it does not quite allow for, and lies otherwise after each turn (choice). Handfuls scatter by 0.2 to 0.4 %wb, more in wet beans that are unlike each other. Above 35 to 42 %wb a hand
// meter tells nothing, above 45 to 50 a probe (common practice). Teeth and nails feel dryness to half a per cent, each crew in its own way (choice).
type meters struct {
	hand, rod        moistureMeter
	daily, warm, lie float64 // %wb a day since the season began; %wb for each K from 40 °C in a dryer, 25 on a deck; %wb
	bites            float64 // %wb off
}

type moistureMeter struct{ off, gain, scatter, top float64 }

func newMeters(own Draw) meters {
	return meters{
		hand:  moistureMeter{0.35 * own.normal(), 0.02 * own.normal(), own(0.2, 0.4), own(35, 42)},
		rod:   moistureMeter{0.35 * own.normal(), 0.03 * own.normal(), own(0.08, 0.25), own(45, 50)},
		daily: 0.008 * own.normal(), warm: 0.015 * own.normal(), lie: own(0.05, 0.25), bites: 0.2 * own.normal(),
	}
}

// shows is in steps of 0.1 %wb; false: above what it can tell.
func (m *moistureMeter) shows(wet, scatter float64) (percent float64, tells bool) {
	v := wet + m.off + m.gain*(wet-Dry) + scatter
	return rounded(v, 0.1), v < m.top
}

// hands are what people and meters do with one lot. What they draw moves no truth. A sibling has none: nobody measures it.
type hands struct {
	*meters
	chanceOfProbes Draw
	lies           float64 // %wb, since the last turn
	reads, looks   float64 // h of the next reading, and of the next look at the probe
	read           bool    // now
}

func newHands(m *meters, chance Draw) *hands {
	return &hands{meters: m, chanceOfProbes: chance, lies: m.lie * chance.normal()}
}

func (s *hands) stirred() {
	if s != nil {
		s.lies = s.lie * s.chanceOfProbes.normal()
	}
}

func (s *hands) minute(l *Layer) {
	if s == nil {
		return
	}
	since, _, _ := l.hours()
	if s.read = since >= s.reads; s.read {
		s.next(l)
	}
}

// Reading is what the crew reads in its meter this minute, the mean of some handfuls; false: nobody does, or it is too wet.
func (l *Layer) Reading() (percent float64, read bool) {
	if !l.read {
		return 0, false
	}
	wet, m := l.Moisture(), &l.hand
	return m.shows(wet, (m.scatter+0.02*math.Max(0, wet-15))*l.chanceOfProbes.normal())
}

// Rod is what the probe in the layer shows; false: it is too wet there.
func (l *Layer) Rod() (percent float64, tells bool) {
	usual := 25.0
	if l.fire != nil {
		usual = 40
	}
	return l.rod.shows(l.Middle(), l.lies+l.daily*l.loaded/24+l.warm*(l.t-usual)+l.rod.scatter*l.chanceOfProbes.normal())
}

// next is when the crew reads again: twice a day below 20 %wb and hourly below 14 is the trade's advice, which crews follow more or less; a dryer is watched by night too.
func (s *hands) next(l *Layer) {
	since, _, clock := l.hours()
	wet := l.Moisture()
	wait := s.chanceOfProbes(3, 6)
	if wet < 14 {
		wait = s.chanceOfProbes(1, 2.5)
	}
	if at := clock + wait; l.fire == nil && (at > 18 || at < 7) { // nobody by night
		wait = math.Mod(24-clock+s.chanceOfProbes(7.5, 9.5), 24)
	}
	s.reads = since + wait
}

// Dried tells whether the crew takes the layer away now, after its instrument showed so much: it looks at its probe every hour or so, and bites when the instrument says dry. What rattles below 10.3 %wb needs no instrument.
func (l *Layer) Dried(percent float64, tells, byProbe bool) bool {
	if since, _, _ := l.hours(); byProbe && since < l.looks || !byProbe && !tells {
		return false
	} else if byProbe {
		l.looks = since + l.chanceOfProbes(0.5, 1.5)
	}
	feels := l.Moisture() + l.bites + 0.3*l.chanceOfProbes.normal()
	return tells && percent <= Dry && feels < Dry+0.7 || feels < 10.3
}
