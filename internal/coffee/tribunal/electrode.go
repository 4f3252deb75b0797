package tribunal

import "math"

// meter is an estate's one electrode over its season: it is put into buffers of 4.01 and 7.00 every few lots, and goes off again until the next time. A tenth of a unit a week is common practice for one in
// daily use; half of the estates do not allow for warmth, which is 0.003 for each K and each unit from 7 (as in datasheets). Slime makes it slow; bubbles and hands make it jump (choice).
type meter struct {
	every, since    int
	off, drifts     float64 // pH; pH a lot
	slope, loses    float64 // part of Nernst's; part a lot
	film, noise     float64 // h; pH
	wander, bubbles float64 // pH; chance a reading
	cold            bool    // warmth is not allowed for: buffers were at 22 °C
	warm            float64 // K that its thermometer is off
}

func newMeter(own Draw) *meter {
	return &meter{every: 2 + int(own(0, 5)), off: 0.02 * own.normal(), drifts: 0.01 * own.normal(), slope: 1, loses: own(0.001, 0.005), film: own(0.03, 0.2),
		noise: own(0.006, 0.02), wander: own(0.004, 0.018), bubbles: own(0.0005, 0.006), cold: own.of(0.5), warm: 0.25 * own.normal()}
}

// electrode is the meter in one lot.
type electrode struct {
	meter
	hourly    float64 // pH that it drifts within the lot
	out, back float64 // h at which it is taken out and rinsed, and put back
	hours     float64 // since loading
	shown     float64 // pH of its film
	state     float64 // that wanders
	chance    Draw
}

func (m *meter) lot(own Draw) electrode {
	if m.since++; m.since > m.every {
		m.since, m.off, m.slope = 1, 0.02*own.normal(), 1
	}
	m.off += m.drifts + 0.004*own.normal()
	m.slope -= m.loses
	e := electrode{meter: *m, hourly: 0.0008 * own.normal(), out: 99}
	if own.of(0.2) { // slime is wiped off
		e.out = own(3, 14)
		e.back = e.out + own(0.1, 0.4)
	}
	return e
}

func (e *electrode) minute(h, ph float64) {
	e.hours += h
	slow := e.film * (1 + e.hours/15) // as slime grows
	e.shown += (ph - e.shown) * math.Min(1, h/slow)
	e.state += -e.state*h/2 + e.wander*math.Sqrt(h)*e.chance.normal()
}

// Electrode is what the probe shows now, in steps of 0.01.
func (k *Tank) Electrode() float64 {
	e := &k.electrode
	v, slope := e.shown, e.slope
	if e.hours > e.out && e.hours < e.back {
		v = 6.9 // rinse water
	}
	if e.cold {
		slope *= (k.Celsius + kelvin) / (22 + kelvin)
	}
	v = 7 + (v-7)*slope + e.off + e.hourly*e.hours + e.state + e.noise*e.chance.normal()
	if e.chance.of(e.bubbles) {
		v += 0.5 * e.chance.normal()
	}
	return math.Round(v*100) / 100
}

// Thermometer is what the probe in the mass shows, in its steps of a sixteenth.
func (k *Tank) Thermometer() float64 {
	return math.Round((k.Celsius+k.warm+0.05*k.thermometer.normal())*16) / 16
}
