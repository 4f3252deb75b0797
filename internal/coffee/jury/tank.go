package jury

import (
	"math"
	"time"
)

// Yard is what an estate's tanks are like.
type Yard uint8

const (
	// Tiled tanks stand in a shed, 400 to 1,500 kg, drained.
	Tiled Yard = iota
	// Barrel is one of plastic, 60 to 250 kg, below a roof with open sides: the sky cools it at night.
	Barrel
	// Flooded tanks are filled up with water of a spring: slower and more even (Kenya, as quoted).
	Flooded
	// Highland tanks of 200 to 750 kg stand above 1,700 m, where nights are cool.
	Highland
	Yards
)

func (y Yard) String() string { return [...]string{"tiled", "barrel", "flooded", "highland"}[y] }

// SoakLots are the tanks that one estate washes, one a day.
const SoakLots = 8

// Estate is one estate with its tanks, its habits and its weather.
type Estate struct {
	Law       Souring
	Yard      Yard
	Criterion float64 // pH at which its crew wants to wash, as its rules file says

	seed         uint64
	season       *season
	vessel       vessel
	hour         float64 // of the day at which a tank is full
	start        float64 // usual pH
	most, pace   float64 // mmol/kg of acid that could come; factor
	buffer       buffer
	feels        bool    // by hand, and not by the electrode
	looks, later float64 // h between; pH past the criterion at which it feels right
	lots         [SoakLots]lot
}

// lot is what is known of one at loading.
type lot struct {
	fruit
	full, start, celsius float64 // part of the tank; pH; K off
	loaded               float64 // h of the season
	probe                electrode
}

// vessel is a column of coffee in which warmth goes by Fourier 1822: m; W/m²K of its top, sides and floor; W/mK within.
type vessel struct {
	deep, wide, top, side, floor, within float64
	nodes, probe                         int
	warms, damp                          float64 // K if all acid came at once; part of the way to the wet bulb that a wet top feels
	keeps, sky                           float64 // part of the swing of a day that a shed keeps out; K below the air by night
	spring, ground                       float64 // °C
}

// newVessel of a yard. 850 kg/m³ and 0.5 W/mK are those of wet seeds, 5 to 12 W/m²K those of still air (from memory); masses are of the order of "a few hundred kg" (trade notes) and get 2 to 8 K warmer, more when deep (from memory).
// Probes sit at some depth, not at the mean (choice).
func newVessel(yard Yard, mean float64, own Draw) vessel {
	v := vessel{deep: own(0.5, 0.9), wide: own(0.95, 1.4), top: own(6, 10), side: own(2, 4), floor: own(1, 3), within: own(0.5, 1), nodes: 5, probe: 1 + int(own(0, 3)),
		warms: own(13, 21), damp: own(0.3, 0.6), keeps: own(0.3, 0.6), sky: own(0, 0.5), spring: mean - own(0.5, 3), ground: mean - own(0, 1.5)}
	switch yard {
	case Barrel:
		v.deep, v.wide, v.side, v.floor, v.nodes, v.probe, v.keeps, v.sky = own(0.4, 0.8), own(0.45, 0.6), own(4, 7), own(1, 2), 3, 1, own(0, 0.2), own(0.5, 2)
	case Flooded:
		v.within, v.damp = 20, own(0.4, 0.7) // water turns over
	case Highland:
		v.deep, v.wide, v.keeps, v.sky = own(0.4, 0.6), own(0.8, 1.2), own(0.1, 0.4), own(0.3, 1.5)
	}
	return v
}

// NewEstate makes the estate of a law, a yard and a seed. A usual night takes 14 to 19 h (15 h at 20 to 26 °C in Jackels, 16 h in Osorio 2026), longer under water and high up (20 h under water in a cool night; 12 to 36 h in
// Codex par. 27; all as quoted). Mucilage starts at pH 5.5 to 5.8, and 4.5 to 4.8 is what crews wash at (Jackels 2005 and 2006, as quoted). Half of the crews go by feel (common practice).
func NewEstate(law Souring, yard Yard, seed uint64) *Estate {
	own := drawn(seed, forEstate, int(law), int(yard), 2)
	metres, needs := own(1100, 1700), own(14, 19)
	switch yard {
	case Flooded:
		needs = own(16, 21)
	case Highland:
		metres, needs = own(1700, 1950), own(16, 23)
	}
	c := newClimate(metres, own)
	e := &Estate{Law: law, Yard: yard, Criterion: [...]float64{4.5, 4.6, 4.6, 4.6, 4.7}[int(own(0, 5))], seed: seed, season: newSeason(c, drawn(seed, forWeather, int(law), int(yard), 2)), vessel: newVessel(yard, c.mean, own),
		hour: own(14.5, 19), start: own(5.52, 5.75), buffer: buffer{own(8, 14), own(6, 12), own(4, 8)}, feels: own.of(0.5), looks: own(0.5, 1.5), later: own(0, 0.08)}
	ripe, meter := own.normal(), newMeter(own)
	for i := range e.lots {
		ripe = 0.5*ripe + math.Sqrt(0.75)*own.normal() // half of it stays to the next day (choice)
		e.lots[i] = e.lot(ripe, own)
		e.lots[i].loaded = 24*float64(i+1) + e.hour + 0.4*own.normal()
		e.lots[i].probe = meter.lot(own)
	}
	// Three times as much acid could come as brings the usual lot there, so that past it the pH goes on falling for hours (Jackels 2006, as quoted).
	e.most = own(2.3, 3.4) * e.buffer.until(e.Criterion, e.start)
	if law == Cascade { // where a part of the sugar becomes spirit
		e.most *= 1.5
	}
	e.pace = setting(0.1, 10, needs, func(pace float64) float64 {
		e.pace = pace
		a, _ := e.Ready(2)
		b, _ := e.Ready(5)
		return (a + b).Hours() / 2
	})
	return e
}

// lot draws how one is unlike the others: microbes by a tenth or two with the ripeness and as much by chance, sugar and start a little, fill as cherry comes in. Nights of one estate then differ by an hour or two (common practice).
func (e *Estate) lot(ripe float64, own Draw) lot {
	return lot{fruit: fruit{0.1*ripe + 0.12*own.normal(), math.Exp(0.03*ripe + 0.03*own.normal())}, full: own(0.6, 1), start: between(5.45, e.start-0.015*ripe+0.025*own.normal(), 5.85), celsius: 0.5 * own.normal()}
}

// Tank is one lot in its tank, a minute at a time.
type Tank struct {
	PH float64 // of the mass: the truth

	estate *Estate
	season *season
	lot    lot
	brew   brew
	acids  acids     // mmol/kg so far
	column []float64 // °C from the top down
	hours  float64   // since loading
	looked float64   // h of the last look
	electrode
	hands, thermometer Draw
}

// Tank makes a lot, 0 to SoakLots-1.
func (e *Estate) Tank(n int) *Tank {
	k := e.tank(e.lots[n])
	k.electrode.chance = drawn(e.seed, forHands, int(e.Law), int(e.Yard), n)
	k.hands = drawn(e.seed, forHands, int(e.Law), int(e.Yard), n, 1)
	k.thermometer = drawn(e.seed, forIdle, int(e.Law), int(e.Yard), n)
	return k
}

func (e *Estate) tank(l lot) *Tank {
	k := &Tank{estate: e, season: e.season, lot: l, electrode: l.probe, PH: l.start, brew: newBrew(e.Law, drawn(e.seed, forEstate, int(e.Law), int(e.Yard), 3), l.fruit)}
	k.electrode.shown = k.PH
	t, _, _, _ := e.season.at(l.loaded)
	for range e.vessel.nodes {
		k.column = append(k.column, (t+e.vessel.spring)/2+l.celsius) // cherry of the day, pulped in the water of the spring
	}
	return k
}

// Sibling is another lot of the estate, loaded at the same hour, in the same air until so many hours after loading and then in air that might come. No chance of the judged lot is in it, and no probe.
func (k *Tank) Sibling(n int, known float64) *Tank {
	e := k.estate
	own := drawn(e.seed, forSibling, int(e.Law), int(e.Yard), int(60*k.lot.loaded), n)
	l := e.lot(own.normal(), own)
	l.loaded = k.lot.loaded
	s := e.tank(l)
	s.season = e.season.forked(l.loaded+known, own)
	return s
}

// around is the air there, °C, and what a wet top feels of it: a third of the way to the dew point is the wet bulb, nearly (from memory).
func (k *Tank) around() (air, wet float64) {
	v := &k.estate.vessel
	t, rh, sun, _ := k.season.at(k.lot.loaded + k.hours)
	air = interpolate(t, k.season.mean, v.keeps)
	if sun == 0 {
		air -= v.sky
	}
	return air, air - v.damp*(1-rh)*20/3 // some 20 K of dew point for the whole of saturation
}

// Celsius is the mean of the mass.
func (k *Tank) Celsius() float64 {
	sum := 0.0
	for _, t := range k.column {
		sum += t
	}
	return sum / float64(len(k.column))
}

// Minute lets a minute pass.
func (k *Tank) Minute() {
	const h = 1.0 / 60
	k.hours += h
	e := k.estate
	made, work := k.brew.pass(h*e.pace, k.Celsius(), k.PH)
	made[0], made[1] = e.most*made[0], e.most*made[1]
	k.PH = e.buffer.sours(k.PH, k.acids, made)
	k.acids[0], k.acids[1] = k.acids[0]+made[0], k.acids[1]+made[1]
	k.cools(h, e.vessel.warms*work)
	k.electrode.minute(h, k.PH)
}

// cools lets warmth pass for h: 850 kg/m³ of 3.5 kJ/kgK (from memory), less deep where less coffee is in.
func (k *Tank) cools(h, warmed float64) {
	const holds = 850 * 3500 / 3600.0 // Wh/m³K
	v := &k.estate.vessel
	air, wet := k.around()
	last := len(k.column) - 1
	thick := v.deep * k.lot.full / float64(last+1)
	down := v.top * (wet - k.column[0]) // W/m² into the node
	for i, t := range k.column {
		next := v.floor * (t - v.ground)
		if i < last {
			next = v.within / thick * (t - k.column[i+1])
		}
		k.column[i] += warmed + h/holds*((down-next)/thick+4*v.side/v.wide*(air-t))
		down = next
	}
}

const slowest = 3 * 24 * time.Hour

// Ready is when the mass passes the estate's criterion; false: not within three days.
func (e *Estate) Ready(n int) (time.Duration, bool) { return e.tank(e.lots[n]).until() }

func (k *Tank) until() (time.Duration, bool) {
	for at := time.Duration(0); at < slowest; at += time.Minute {
		if k.PH < k.estate.Criterion {
			return at, true
		}
		k.Minute()
	}
	return slowest, false
}

// Washed tells whether the crew washes now. It looks every hour or so (hand checks at least every 2 h from 12 h on are the trade's advice): by feel, which is right at some pH of its own, a little past the criterion or not, give or take 0.03; or by
// what the electrode last showed, unless fingers find slime. Widths are choices.
func (k *Tank) Washed() bool {
	e := k.estate
	if k.hours < 8 || k.hours < k.looked+e.looks {
		return false
	}
	k.looked = k.hours
	if e.feels {
		return k.PH < e.Criterion-e.later+0.03*k.hands.normal()
	}
	return k.last <= e.Criterion && k.PH < e.Criterion+0.15
}

// meter is an estate's one electrode over its season. It is put into buffers of 4.01 and 7.00 every two to seven lots (2-point weekly: measurement notes), is 0.012 off after that (two displays of 0.01, and buffers that are 0.01 or 0.02 off
// when not at 25 °C: those notes), and drifts by about 0.02 a week (common practice). Slope is lost by a part in a hundred until then (95 to 102 % is good there). Half of the estates do not allow for warmth, which is 0.003 for each K and each
// unit from 7 (there). Slime makes it slow, bubbles make it jump, and where it sits the mass is not quite the mean (choice).
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
	return &meter{every: 2 + int(own(0, 6)), off: 0.012 * own.normal(), drifts: 0.003 * own.normal(), slope: 1, loses: own(0.0005, 0.003), film: own(0.03, 0.2),
		noise: own(0.005, 0.02), wander: own(0.004, 0.015), bubbles: own(0.0005, 0.005), cold: own.of(0.5), warm: 0.25 * own.normal()}
}

// electrode is the meter in one lot.
type electrode struct {
	meter
	place, hourly float64 // pH off where it sits; pH that it drifts an h
	out, back     float64 // h at which slime is wiped off in water, and it is put back
	shown, state  float64 // pH of its film; pH that wanders
	age, last     float64 // h; what it showed last
	chance        Draw
}

func (m *meter) lot(own Draw) electrode {
	if m.since++; m.since > m.every {
		m.since, m.off, m.slope = 1, 0.012*own.normal(), 1
	}
	m.off += m.drifts
	m.slope -= m.loses
	e := electrode{meter: *m, place: 0.01 * own.normal(), hourly: 0.0007 * own.normal(), out: 99}
	if own.of(0.2) {
		e.out = own(3, 14)
		e.back = e.out + own(0.1, 0.4)
	}
	return e
}

func (e *electrode) minute(h, ph float64) {
	e.age += h
	e.shown += (ph - e.shown) * math.Min(1, h/(e.film*(1+e.age/15))) // slime grows
	if e.chance != nil {
		e.state += -e.state*h/2 + e.wander*math.Sqrt(h)*e.chance.normal()
	}
}

// Electrode is what the probe shows now, in steps of 0.01.
func (k *Tank) Electrode() float64 {
	e := &k.electrode
	v, slope := e.shown+e.place, e.slope
	if e.age > e.out && e.age < e.back {
		v = 6.9 // rinse water
	}
	if e.cold {
		slope *= (k.column[k.estate.vessel.probe] + kelvin) / (22 + kelvin)
	}
	v = 7 + (v-7)*slope + e.off + e.hourly*e.age + e.state + e.noise*e.chance.normal()
	if e.chance.of(e.bubbles) {
		v += 0.5 * e.chance.normal()
	}
	e.last = rounded(v, 0.01)
	return e.last
}

// Thermometer is what the probe in the mass shows, in its steps of a sixteenth.
func (k *Tank) Thermometer() float64 {
	return rounded(k.column[k.estate.vessel.probe]+k.warm+0.05*k.thermometer.normal(), 1.0/16)
}
