package tribunal

import "math"

// airProbe is the probe of a house's air: 0.3 to 0.5 K and 2 to 3 %RH are what datasheets of usual parts allow; a deviation is half of that.
type airProbe struct{ celsius, humidity, noise float64 }

func newAirProbe(own Draw) airProbe {
	return airProbe{celsius: 0.2 * own.normal(), humidity: 1.3 * own.normal(), noise: own(0.05, 0.15)}
}

// shows is in steps of 0.1; a vapour probe never shows less than 1 or more than 100 %RH.
func (p *airProbe) shows(t, rh float64, chance Draw) (float64, float64) {
	return math.Round(10*(t+p.celsius+p.noise*chance.normal())) / 10, math.Round(10*between(1, rh+p.humidity+0.5*chance.normal(), 100)) / 10
}

// Probe is what the probe of the air shows: °C and %RH.
func (l *Layer) Probe() (t, rh float64) { return l.house.air.shows(l.t, l.rh, l.hands.chance) }

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
// Methods of moisture differ by 0.59 to 0.77 %wb from the oven (Cenicafé 2010, abstract), and a house sets its meters right now and then: 0.3 to 0.35 %wb off as a deviation, and by 2 to 3 % of what
// it is above 11 (choice). A probe drifts by a tenth of a per cent in a week or two until it is set right after three, feels warmth that it does not quite allow for, and lies otherwise after each turn (choice). Handfuls scatter by
// 0.2 to 0.4 %wb, more in wet beans that are unlike each other. Above 35 to 42 %wb a hand meter tells nothing, above 45 to 50 a probe (common practice).
type meters struct {
	hand, rod        moistureMeter
	daily, warm, lie float64 // %wb a day; %wb for each K from 25 °C; %wb
}

type moistureMeter struct{ off, gain, scatter, top float64 }

func newMeters(own Draw) meters {
	return meters{
		hand:  moistureMeter{0.3 * own.normal(), 0.02 * own.normal(), own(0.2, 0.4), own(35, 42)},
		rod:   moistureMeter{0.35 * own.normal(), 0.03 * own.normal(), own(0.08, 0.25), own(45, 50)},
		daily: 0.02 * own.normal(), warm: 0.015 * own.normal(), lie: own(0.05, 0.25),
	}
}

// shows is in steps of 0.1 %wb; false: above what it can tell.
func (m *moistureMeter) shows(wet, scatter float64) (percent float64, tells bool) {
	v := wet + m.off + m.gain*(wet-Dry) + scatter
	return math.Round(10*v) / 10, v < m.top
}

// hands are what people and meters do with one lot. What they draw moves no truth.
type hands struct {
	*meters
	chance Draw
	days   float64 // since the probe was set right
	lies   float64 // %wb, since the last turn
	reads  float64 // h of the next reading
	read   bool    // now
}

func newHands(m *meters, chance Draw) *hands {
	return &hands{meters: m, chance: chance, lies: m.lie * chance.normal()}
}

// A sibling has no hands: nobody measures it.
func (s *hands) stirred() {
	if s != nil {
		s.lies = s.lie * s.chance.normal()
	}
}

func (s *hands) minute(l *Layer) {
	if s == nil {
		return
	}
	since, _, _ := l.hours()
	s.days = math.Mod(l.loaded/24, 21) + since/24
	if s.read = since >= s.reads; s.read {
		s.next(l)
	}
}

// Reading is what the crew reads in its meter this minute, the mean of some handfuls; false: nobody does, or it is too wet.
func (l *Layer) Reading() (percent float64, read bool) {
	if !l.hands.read {
		return 0, false
	}
	wet, m := l.Moisture(), &l.hands.hand
	return m.shows(wet, (m.scatter+0.02*math.Max(0, wet-15))*l.hands.chance.normal())
}

// Middle is the moisture of the part of the layer where the rod lies, %wb: all slices but those at top and bottom, where there are more than three.
func (l *Layer) Middle() float64 {
	slices := l.slices
	if len(slices) > 3 {
		slices = slices[1 : len(slices)-1]
	}
	sum := 0.0
	for _, s := range slices {
		sum += l.house.law.mean(s)
	}
	return wetBasis(sum / float64(len(slices)))
}

// Rod is what the probe in the layer shows; false: it is too wet there.
func (l *Layer) Rod() (percent float64, tells bool) {
	h := l.hands
	return h.rod.shows(l.Middle(), h.lies+h.daily*h.days+h.warm*(l.t-25)+h.rod.scatter*h.chance.normal())
}

// next is when the crew reads again: twice a day below 20 %wb and every hour or two below 14 is the trade's advice, seldom before; a dryer is watched by night too.
func (s *hands) next(l *Layer) {
	since, _, clock := l.hours()
	wet := l.Moisture()
	wait := s.chance(4, 7)
	if wet < 20 {
		wait = s.chance(3, 5)
	}
	if wet < 14 {
		wait = s.chance(1, 2.5)
	}
	if at := clock + wait; !l.house.Place.Fired() && (at > 18 || at < 7) { // nobody by night
		wait = 24 - clock + s.chance(7.5, 9.5)
		if clock < 7 {
			wait -= 24
		}
	}
	s.reads = since + wait
}
