package hearing

import (
	"math"
	"time"
)

// Yard is what an estate's tanks are like.
type Yard uint8

const (
	// Tiled tanks of 300 to 1,000 kg stand in a shed whose air follows the day slowly; tiles and concrete hold as much warmth as a third of the mass or so.
	Tiled Yard = iota
	// Insulated boxes of 150 to 400 kg have foam in their walls and a lid: they keep the warmth that they make.
	Insulated
	// Barrel is one of plastic, 60 to 180 kg, outside below a roof.
	Barrel
	// Cold tanks stand open above 1,750 m, where nights are cool.
	Cold
	Yards
)

func (y Yard) String() string { return [...]string{"tiled", "insulated", "barrel", "cold"}[y] }

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
	filled       float64 // h of the day
	start        float64 // usual pH
	most, pace   float64 // mmol/kg of acid that could come; factor
	buffer       buffer
	feels        bool    // by hand, and not by the electrode
	looks, rubs  float64 // h between; how much work of enzymes it takes until beans feel rough
	fruity       float64 // part of that work that the fruit's own enzymes do, for each h at 20 °C
	pulpingWater float64 // °C
	lots         [SoakLots]batch
}

// batch is what is known of a lot at loading.
type batch struct {
	fruit
	full, start, celsius, slime, loaded float64 // part of the tank; pH; K off; factor; h of the season
	probe                               electrode
}

// vessel is a mass within walls, two bodies (the lumped balance of Newton's cooling): kg; W/m²K of its top, to the walls, and from them to the air.
type vessel struct {
	mass, deep, top, inner, outer float64
	wall                          float64 // of the mass's own capacity
	warms, damp                   float64 // K if all acid came at once; part of the way to the wet bulb that a wet top feels
	lag, sky, probe               float64 // h that the air about it lags behind; K that the night sky takes; part of the way to the wall at which probes sit
}

// newVessel of a yard. 5 to 12 W/m²K are those of still air, 0.5 to 1 those of some centimetres of foam (from memory); masses are of the order of "a few hundred kg" (trade notes) and get 2 to 8 K warmer (from memory). Other numbers are choices.
func newVessel(yard Yard, own draw) vessel {
	v := vessel{mass: own.in(300, 1000), deep: own.in(0.5, 0.9), top: own.in(5, 9), inner: own.in(15, 30), outer: own.in(3, 6), wall: own.in(0.2, 0.4), warms: own.in(11, 18), damp: own.in(0.2, 0.5), lag: own.in(2, 5), sky: own.in(0, 0.5), probe: own.in(0, 0.3)}
	switch yard {
	case Insulated:
		v.mass, v.deep, v.top, v.outer, v.wall, v.damp, v.lag = own.in(150, 400), own.in(0.5, 0.8), own.in(1.5, 3), own.in(0.6, 1.2), own.in(0.02, 0.05), 0, own.in(0.5, 3)
	case Barrel:
		v.mass, v.deep, v.outer, v.wall, v.lag, v.sky = own.in(60, 180), own.in(0.45, 0.8), own.in(5, 8), own.in(0.03, 0.05), own.in(0.2, 1), own.in(0.5, 2)
	case Cold:
		v.mass, v.deep, v.lag, v.sky = own.in(200, 700), own.in(0.4, 0.7), own.in(0.5, 1.5), own.in(0.5, 1.5)
	}
	return v
}

// NewEstate makes the estate of a law, a yard and a seed. A usual night takes 13 to 19 h (15 h at 20 to 26 °C in Jackels, 16 h in Osorio 2026), high up up to 24 (12 to 36 h in Codex par. 27; all as quoted). Mucilage starts at pH 5.5 to 5.8, and
// 4.5 to 4.8 is what crews wash at (Jackels 2005 and 2006, as quoted). Half of the crews go by feel (common practice).
func NewEstate(law Souring, yard Yard, seed uint64) *Estate {
	own := drawn(seed, "estate", law, yard)
	metres, needs := own.in(1100, 1700), own.in(13.5, 19)
	switch yard {
	case Insulated:
		needs = own.in(13, 18)
	case Cold:
		metres, needs = own.in(1750, 1950), own.in(17, 24)
	}
	c := newClimate(metres, own)
	e := &Estate{Law: law, Yard: yard, Criterion: [...]float64{4.5, 4.5, 4.6, 4.6, 4.7}[own.IntN(5)], seed: seed, season: newSeason(c, drawn(seed, "weather", law, yard)), vessel: newVessel(yard, own), filled: own.in(14, 19),
		start: own.in(5.55, 5.75), buffer: buffer{own.in(8, 12), own.in(10, 15), own.in(8, 12), own.in(5, 9)}, feels: own.of(0.5), looks: own.in(0.5, 1.5), fruity: own.in(0.3, 0.6), pulpingWater: c.mean - own.in(0.5, 3)}
	ripe, meter := own.normal(), newElectrode(own)
	for i := range e.lots {
		ripe = 0.5*ripe + math.Sqrt(0.75)*own.normal() // half of it stays to the next day (choice)
		e.lots[i] = e.lot(ripe, own)
		e.lots[i].loaded = 24*float64(i+1) + e.filled + 0.4*own.normal()
		e.lots[i].probe = meter.next(own)
	}
	// Some three times as much acid could come as brings the usual lot there, so that past it the pH goes on falling for hours (Jackels 2006, as quoted).
	e.most = own.in(2.3, 3.2) * e.buffer.until(e.Criterion, e.start)
	e.pace = factor(0.1, 10, needs, func(pace float64) float64 {
		e.pace = pace
		return e.usual()
	})
	e.rubs *= own.in(0.98, 1.08) // some crews let it come a little further
	return e
}

// usual is how many h two of its lots need; what enzymes did until then is what it takes.
func (e *Estate) usual() (hours float64) {
	e.rubs = 0
	for _, n := range []int{2, 5} {
		k := e.tank(e.lots[n])
		took, _ := k.until()
		hours, e.rubs = hours+took.Hours()/2, e.rubs+k.loosened/e.lots[n].slime/2
	}
	return hours
}

// lot draws how one is unlike the others: microbes by a tenth or two with the ripeness and as much by chance, sugar and start a little, fill as cherry comes in. Nights of one estate then differ by an hour or two (common practice).
func (e *Estate) lot(ripe float64, own draw) batch {
	return batch{fruit: fruit{0.1*ripe + 0.12*own.normal(), math.Exp(0.02*ripe + 0.03*own.normal())}, full: own.in(0.65, 1), start: between(5.45, e.start-0.015*ripe+0.025*own.normal(), 5.85), celsius: 0.6 * own.normal(), slime: math.Exp(0.06 * own.normal())}
}

// Tank is one lot in its tank, a minute at a time.
type Tank struct {
	PH float64 // of the mass: the truth

	estate    *Estate
	season    *season
	lot       batch
	broth     broth
	acids     acids   // mmol/kg so far
	mass      float64 // °C, as are the walls and the air about it
	wall      float64
	room      float64
	hours     float64 // since loading
	loosened  float64 // what enzymes have done to the slime
	looked    float64 // h of the last look
	electrode electrode
	hands     draw
}

// Tank makes a lot, 0 to SoakLots-1.
func (e *Estate) Tank(n int) *Tank {
	k := e.tank(e.lots[n])
	k.electrode.chance = drawn(e.seed, "electrode", e.Law, e.Yard, n)
	k.hands = drawn(e.seed, "hands", e.Law, e.Yard, n)
	return k
}

func (e *Estate) tank(l batch) *Tank {
	k := &Tank{estate: e, season: e.season, lot: l, electrode: l.probe, PH: l.start, broth: newBroth(e.Law, drawn(e.seed, "law", e.Law, e.Yard), l.fruit)}
	k.electrode.film = k.PH
	outside := e.season.at(l.loaded).t
	k.room = mix(outside, e.season.mean, math.Min(0.5, e.vessel.lag/8))
	k.mass = (outside+e.pulpingWater)/2 + l.celsius // cherry of the day, pulped in water
	k.wall = mix(k.mass, k.room, 0.5)
	return k
}

// Sibling is another lot of the estate, loaded at the same hour, in the same air until so many hours after loading and then in air that might come. No chance of the judged lot is in it, and no probe.
func (k *Tank) Sibling(n int, known float64) *Tank {
	e := k.estate
	own := drawn(e.seed, "sibling", e.Law, e.Yard, k.lot.loaded, n)
	l := e.lot(own.normal(), own)
	l.loaded = k.lot.loaded
	s := e.tank(l)
	s.season = e.season.forked(l.loaded+known, own)
	return s
}

const minute = 1.0 / 60

// Minute lets a minute pass.
func (k *Tank) Minute() {
	e := k.estate
	k.hours += minute
	made, warmth := k.broth.pass(minute*e.pace, k.mass, k.PH)
	for i := range made {
		made[i] *= e.most
	}
	k.PH = e.buffer.sours(k.PH, k.acids, made)
	for i := range made {
		k.acids[i] += made[i]
	}
	// Slime goes by the fruit's enzymes and by those of microbes, whose work the acid tells, and not by the pH (Avallone 2001 found no microbes that break pectin well, as read in its abstract; shares are choices).
	k.loosened += e.fruity*minute*math.Pow(1.7, (k.mass-reckoned)/10)/10 + (1-e.fruity)*warmth
	k.cools(e.vessel.warms * warmth)
	k.electrode.minute(k.PH)
}

// cools lets warmth pass for a minute, after work warmed the mass by so many K: 850 kg/m³ of 3.5 kJ/kgK (from memory). What is filled less is less deep.
func (k *Tank) cools(warmed float64) {
	v := &k.estate.vessel
	outside := k.season.at(k.lot.loaded + k.hours)
	if outside.sun == 0 {
		outside.t -= v.sky
	}
	k.room += (outside.t - k.room) * minute / v.lag
	around := outside.warmed(k.room)
	felt := mix(k.room, around.wetBulb(85), v.damp)
	floor := v.mass / 850 / v.deep // m²
	sides := floor + 4*math.Sqrt(floor)*v.deep*k.lot.full
	holds := v.mass * k.lot.full * 3500 / 3600 // Wh/K
	in := sides * v.inner * (k.wall - k.mass)
	k.mass += warmed + minute/holds*(floor*v.top*(felt-k.mass)+in)
	k.wall += minute / (holds * v.wall) * (sides*v.outer*(k.room-k.wall) - in)
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

// Washed tells whether the crew washes now. It looks every hour or so, from 8 h on (hand checks at least every 2 h from 12 h on are the trade's advice): by feel, give or take 3 % (choice), or by what the electrode last showed, unless fingers
// still find much slime.
func (k *Tank) Washed() bool {
	e := k.estate
	if k.hours < 8 || k.hours < k.looked+e.looks {
		return false
	}
	k.looked = k.hours
	feels := k.loosened / (e.rubs * k.lot.slime) * (1 + 0.03*k.hands.normal())
	return e.feels && feels > 1 || !e.feels && k.electrode.last <= e.Criterion && feels > 0.8
}

// Electrode is what the probe shows now, in steps of 0.01.
func (k *Tank) Electrode() float64 { return k.electrode.shows(k.probed()) }

// Thermometer is what the probe in the mass shows, in its steps of a sixteenth; 0.5 K is what its datasheet allows (from memory), half of it a deviation.
func (k *Tank) Thermometer() float64 {
	return rounded(k.probed()+k.electrode.warm+0.05*k.electrode.chance.normal(), 1.0/16)
}

// probed is the temperature where probes sit.
func (k *Tank) probed() float64 { return mix(k.mass, k.wall, k.estate.vessel.probe) }
