package assize

import (
	"math"
	"time"
)

// Yard is what an estate's tanks are like.
type Yard uint8

const (
	// Concrete tanks stand in a shed, 400 to 1,500 kg, drained; the walls hold half as much warmth as the mass.
	Concrete Yard = iota
	// Barrels of plastic stand outside, 100 to 200 kg, and lose warmth to the sky at night.
	Barrels
	// Covered tanks are filled up with spring water: slower and more even (Kenya, as quoted).
	Covered
	// Highland tanks lie above 1,750 m, tiled, and are covered with sacks from dusk to dawn.
	Highland
	Yards
)

func (y Yard) String() string {
	return [...]string{"concrete", "barrels", "under water", "highland"}[y]
}

// SoakLots are the tanks that one estate washes, one a day.
const SoakLots = 8

// Washed is the pH at which it is told that a tank is ready (4.5 to 4.8, Jackels 2006, as quoted).
const Washed = 4.6

// Estate is one estate with its tanks, its habits and its weather.
type Estate struct {
	Law  Souring
	Yard Yard

	seed   uint64
	season *Season
	vessel vessel
	hour   float64 // of the day at which a tank is full
	start  float64 // usual pH
	pace   float64
	most   float64 // mmol/kg of lactic acid that could come, in the usual fruit
	fruits [SoakLots]fruit
	fills  [SoakLots]float64 // part of the tank
	starts [SoakLots]float64 // pH
	probes [SoakLots]electrode
}

// vessel is how warmth goes, in h of the full tank; 0: not at all.
type vessel struct {
	toAir, toWall, wallOut float64
	wall                   float64 // what the walls, or the water, hold beside what the mass holds
	heats                  float64 // K if all acid came at once
	sacks                  float64 // how much slower by night
	indoors                float64 // part of the swing of the day that a shed keeps out
	sky                    float64 // K below the air by night
	spring                 float64 // °C of the water
}

func newVessel(yard Yard, own Draw) vessel {
	v := vessel{toAir: own(14, 26), toWall: own(5, 9), wallOut: own(8, 14), wall: own(0.4, 0.6), heats: own(11, 20), sacks: 1, indoors: own(0.4, 0.6), spring: own(18, 20)}
	switch yard {
	case Barrels:
		v.toAir, v.toWall, v.heats, v.indoors, v.sky = own(5, 9), 0, own(11, 18), 0, own(0.5, 1.5)
	case Covered:
		v.toAir, v.toWall, v.wallOut, v.wall, v.heats = own(20, 40), own(2, 4), own(7, 12), own(0.3, 0.5), own(10, 17)
	case Highland:
		v.toAir, v.wall, v.indoors, v.sacks, v.spring = own(14, 22), own(0.3, 0.5), own(0.3, 0.5), own(1.8, 2.5), own(16.5, 18.5)
	}
	return v
}

// NewEstate makes the estate of a law, a yard and a seed. Its lots differ by ripeness, of which half stays to the next day, and by what falls out; how much is common practice: nights of one
// estate are alike by an hour or two, not by half a night.
func NewEstate(law Souring, yard Yard, seed uint64) *Estate {
	own := drawn(seed, uint64(law)<<8|uint64(yard)|1<<16)
	metres := own(1200, 1650)
	needs := own(14, 18) // h over a usual night: 15 to 18 h (common practice), 15 (Jackels 2006), 16 (Osorio 2026), both as quoted
	if yard == Highland {
		metres, needs = own(1750, 1950), own(16, 21) // 20 h in a cool night (as quoted)
	}
	if yard == Covered {
		needs = own(15, 20)
	}
	e := &Estate{Law: law, Yard: yard, seed: seed, season: newSeason(metres, own), vessel: newVessel(yard, own), hour: own(15.5, 18.5), start: own(5.5, 5.75)}
	ripe := own.normal()
	meter := newMeter(own)
	for i := range e.fruits {
		ripe = 0.5*ripe + math.Sqrt(0.75)*own.normal()
		e.fruits[i] = fruit{microbes: 0.1*ripe + 0.12*own.normal(), lag: math.Exp(0.1 * own.normal()), sugar: math.Exp(0.03*ripe + 0.03*own.normal())}
		e.fills[i] = own(0.75, 1)
		e.starts[i] = e.start - 0.015*ripe + 0.025*own.normal()
		e.probes[i] = meter.lot(own)
	}
	b := newBuffer(e.start, e.own(), 1)
	e.most = own(2.4, 3.2) * b.until(Washed)
	e.pace = 1
	for range 4 { // until two of its nights need as long
		sum := 0.0
		for _, lot := range [...]int{2, 5} {
			took, _ := e.Ready(lot)
			sum += took.Hours() / 2
		}
		e.pace *= sum / needs
	}
	return e
}

// own draws what is the same in all lots.
func (e *Estate) own() Draw { return drawn(e.seed, uint64(e.Law)<<8|uint64(e.Yard)|1<<17) }

// loaded is in h from the midnight before the first day.
func (e *Estate) loaded(lot int) float64 {
	return float64(24*(lot+1)) + e.hour + 0.3*drawn(e.seed, uint64(lot)+1<<20).normal()
}

// Tank is one lot in its tank, a minute at a time.
type Tank struct {
	PH, Celsius float64 // of the mass: the truth

	estate *Estate
	brew   brew
	buffer buffer
	pace   float64
	full   float64 // part
	wall   float64 // °C
	hours  float64 // since loading
	loaded float64
	soured float64
	electrode
}

// Tank makes a lot, 0 to SoakLots-1.
func (e *Estate) Tank(lot int) *Tank {
	own := e.own()
	between := drawn(e.seed, uint64(e.Law)<<8|uint64(e.Yard)|uint64(lot)<<20|1<<18)
	k := &Tank{estate: e, buffer: newBuffer(e.starts[lot], own, math.Exp(0.03*between.normal())), pace: e.pace, full: e.fills[lot], loaded: e.loaded(lot), electrode: e.probes[lot]}
	k.brew = newBrew(e.Law, e.own(), e.fruits[lot])
	k.PH = e.starts[lot]
	v := &e.vessel
	k.Celsius = (e.season.Air(k.loaded)+v.spring)/2 + between(-0.7, 0.7) // cherry of the day, pulped in the water of the spring
	k.wall = k.indoors() + between(-0.5, 0.5)
	if e.Yard == Covered {
		k.wall = v.spring
	}
	k.electrode.chance = between
	k.electrode.shown = k.PH
	return k
}

// indoors is the air that is around the tank: a shed takes the edge off the day.
func (k *Tank) indoors() float64 {
	s, v, now := k.estate.season, &k.estate.vessel, k.loaded+k.hours
	mean := (s.Air(now) + s.Air(now+6) + s.Air(now+12) + s.Air(now+18)) / 4
	air := s.Air(now) + v.indoors*(mean-s.Air(now))
	if k.night() {
		air -= v.sky
	}
	return air
}

func (k *Tank) night() bool {
	clock := math.Mod(k.loaded+k.hours, 24)
	return clock < sunrise || clock > sunset
}

// sour lets the microbes go on and gives how much more acid there is, of the most.
func (k *Tank) sour(h, celsius float64) float64 {
	k.brew.pass(h*k.pace, celsius)
	more := k.brew.acid() - k.soured
	k.soured += more
	k.PH = k.buffer.ph(k.estate.most*k.soured, k.PH)
	return more
}

// Minute lets a minute pass.
func (k *Tank) Minute() {
	const h = 1.0 / 60
	k.hours += h
	v, air := &k.estate.vessel, k.indoors()
	more := k.sour(h, k.Celsius)
	slower := math.Cbrt(k.full) // less coffee has more surface for its mass
	loses := 1 / v.toAir / slower
	if k.night() {
		loses /= v.sacks
	}
	before := k.Celsius
	k.Celsius += v.heats*more - h*loses*(before-air)
	if v.toWall > 0 {
		flow := h / v.toWall / slower * (before - k.wall)
		k.Celsius -= flow
		k.wall += flow*k.full/v.wall - h/v.wallOut*(k.wall-air)
	}
	k.electrode.minute(h, k.PH)
}

// Ready is when the mass passes pH 4.6; false: not within three days.
func (e *Estate) Ready(lot int) (time.Duration, bool) {
	k := e.Tank(lot)
	for m := range 3 * 24 * 60 {
		if k.PH < Washed {
			return time.Duration(m) * time.Minute, true
		}
		k.Minute()
	}
	return 0, false
}

// meter is an estate's one electrode over its season: it is put into buffers every few lots, and goes off again until the next time.
type meter struct {
	every, since    int
	off, drifts     float64 // pH; pH a lot
	slope, loses    float64 // part; part a lot
	film, noise     float64 // h; pH
	wander, bubbles float64 // pH; chance a reading
	warm            float64 // K
}

func newMeter(own Draw) *meter {
	return &meter{every: 2 + int(own(0, 4)), off: 0.02 * own.normal(), drifts: own(-0.012, 0.006), slope: 1, loses: own(0.001, 0.004), film: own(0.03, 0.2),
		noise: own(0.008, 0.025), wander: own(0.005, 0.02), bubbles: own(0.001, 0.008), warm: 0.2 * own.normal()}
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
	e := electrode{meter: *m, hourly: own(-0.001, 0.001), out: 99}
	if own(0, 1) < 0.25 { // slime is wiped off
		e.out = own(4, 13)
		e.back = e.out + own(0.1, 0.3)
	}
	return e
}

func (e *electrode) minute(h, ph float64) {
	e.hours += h
	slow := e.film * (1 + e.hours/12) // as slime grows
	e.shown += (ph - e.shown) * math.Min(1, h/slow)
	e.state += -e.state*h/1.5 + e.wander*math.Sqrt(2*h/1.5)*e.chance.normal()
}

// Electrode is what the probe shows now, in steps of 0.01.
func (k *Tank) Electrode() float64 {
	e := &k.electrode
	v := e.shown
	if e.hours > e.out && e.hours < e.back {
		v = 6.9 // rinse water
	}
	v = 7 + (v-7)*e.slope + e.off + e.hourly*e.hours + e.state + e.noise*e.chance.normal()
	if e.chance(0, 1) < e.bubbles {
		v += 0.5 * e.chance.normal()
	}
	return math.Round(v*100) / 100
}

// Thermometer is what the probe in the mass shows, in its steps of a sixteenth.
func (k *Tank) Thermometer() float64 {
	return math.Round((k.Celsius+k.warm+0.06*k.chance.normal())*16) / 16
}

// TankSeed is the first seed of the estates that forecasts are judged on, LayerSeed of the houses.
const (
	TankSeed  = 21000
	LayerSeed = 5000
)
