package tribunal

import (
	"math"
	"time"
)

// Yard is what an estate's tanks are like, and how warmth goes there.
type Yard uint8

const (
	// Shed tanks of concrete, 500 to 1,500 kg, drained, in a shed: mass and walls are two bodies.
	Shed Yard = iota
	// Plastic tanks of 100 to 300 kg stand outside, below a roof with open sides: one body, which the sky cools at night.
	Plastic
	// Deep tanks of 1,500 to 4,000 kg: core, middle and crust each have their warmth, and the probes sit in the middle.
	Deep
	// Covered tanks are filled up with water of a spring: slower and more even (Kenya, as quoted).
	Covered
	Yards
)

func (y Yard) String() string {
	return [...]string{"shed", "plastic", "deep", "under water"}[y]
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
	season *season
	vessel vessel
	hour   float64 // of the day at which a tank is full
	start  float64 // usual pH
	most   float64 // acid that could come, mmol/kg
	pace   float64
	buffer buffer
	lots   [SoakLots]soaked
}

// soaked is what is known of a lot at loading.
type soaked struct {
	fruit
	full, start, celsius float64 // part of the tank; pH; K off
	loaded               float64 // h of the season
	probe                electrode
}

// vessel is how warmth goes, in h for the full tank.
type vessel struct {
	loses, passes float64 // of a body, to the air or to the wall around it; from wall to air, or from body to body
	wall          float64 // warmth of the wall, or of the water, for that of the mass
	warms         float64 // K if all acid came at once
	keeps         float64 // part of the swing of a day that a shed keeps out
	sky           float64 // K below the air by night
	spring        float64 // °C of the water that pulps the cherry
}

// newVessel of a yard. Times go with the size of a mass: 100 kg a few hours, tonnes a day or two (Newton, choice); masses get 2 to 8 K warmer, more when deep (from memory).
func newVessel(yard Yard, own Draw) vessel {
	v := vessel{loses: own(8, 14), passes: own(10, 18), wall: own(0.3, 0.6), warms: own(11, 18), keeps: own(0.4, 0.65), sky: own(0, 0.5), spring: own(17, 20)}
	switch yard {
	case Plastic:
		v.loses, v.passes, v.wall, v.keeps, v.sky = own(8, 14), 0, 0, own(0, 0.2), own(0.5, 2)
	case Deep:
		v.loses, v.passes, v.wall, v.warms = own(7, 12), own(8, 14), 0, own(9, 14)
	case Covered:
		v.loses, v.passes, v.wall = own(2, 4), own(16, 30), own(0.5, 0.8)
	}
	return v
}

// NewEstate makes the estate of a law, a yard and a seed: 15 to 18 h over a usual night as a rule (15 h at 20 to 26 °C in Jackels, 16 h in Osorio 2026, 20 h under water in a cool night; as quoted). Its
// lots differ by ripeness, of which half stays to the next day, and by what falls out: nights of one estate are alike by an hour or two (common practice). One lot in ten waited in its cherry, and brings half
// as many microbes more (choice). Mucilage starts at pH 5.5 to 5.8 (Jackels 2005, as quoted).
func NewEstate(law Souring, yard Yard, seed uint64) *Estate {
	own := drawn(seed, forEstate, int(law), int(yard), 2)
	metres := own(1100, 1800)
	needs := own(14, 19)
	if yard == Covered {
		needs = own(16, 22)
	}
	e := &Estate{Law: law, Yard: yard, seed: seed, season: newSeason(newClimate(metres, own), drawn(seed, forWeather, int(law), int(yard), 2)), vessel: newVessel(yard, own), hour: own(14.5, 19), buffer: buffer{own(9, 14), own(-0.2, 0.2)}}
	e.start = own(5.52, 5.75)
	ripe, meter := own.normal(), newMeter(own)
	for i := range e.lots {
		ripe = 0.5*ripe + math.Sqrt(0.75)*own.normal()
		e.lots[i] = e.lot(i+1, ripe, own)
		e.lots[i].probe = meter.lot(own)
	}
	e.fits(needs, own)
	return e
}

// lot draws one of a day.
func (e *Estate) lot(day int, ripe float64, own Draw) (l soaked) {
	l.fruit = fruit{microbes: 0.1*ripe + 0.12*own.normal(), sugar: math.Exp(0.03*ripe + 0.03*own.normal())}
	if own.of(0.1) {
		l.microbes += 0.4
	}
	l.full, l.celsius = own(0.7, 1), own(-0.8, 0.8)
	l.start = between(5.45, e.start-0.015*ripe+0.025*own.normal(), 5.85)
	l.loaded = 24*float64(day) + e.hour + 0.4*own.normal()
	return l
}

// Sibling is a lot of the estate that is not judged, on some other day of its season.
func (e *Estate) Sibling(seed int) *Tank {
	own := drawn(e.seed, forSibling, int(e.Law), int(e.Yard), seed)
	const days = 100 // of the season, so that the last is washed in it
	l := e.lot(1+int(own(0, days)), own.normal(), own)
	l.probe = e.lots[seed%SoakLots].probe
	return e.tank(&l, seed+SoakLots)
}

// fits what a law leaves open to the hours that two of its nights take: the acid that could come where a publication gives the pace, else the pace, with some three times as much acid as brings the usual lot
// to pH 4.6 (past it the pH goes on falling for hours: Jackels 2006, as quoted).
func (e *Estate) fits(needs float64, own Draw) {
	e.pace, e.most = 1, own(2.4, 3.6)*e.buffer.until(Washed, 5.65)
	open := &e.pace
	if e.Law == Puerta {
		open = &e.most
	}
	low, high := *open/10, *open*10
	for range 12 {
		*open = math.Sqrt(low * high)
		sum := 0.0
		for _, lot := range [...]int{2, 5} {
			took, ever := e.Ready(lot)
			if !ever {
				took = slowest
			}
			sum += took.Hours() / 2
		}
		if sum > needs {
			low = *open
		} else {
			high = *open
		}
	}
}

// Tank is one lot in its tank, a minute at a time.
type Tank struct {
	PH, Celsius float64 // of the mass where the probes are: the truth

	estate *Estate
	lot    *soaked
	brew   brew
	acid   float64    // mmol/kg so far
	bodies [2]float64 // °C of what is around the mass, or of core and crust of a deep one
	hours  float64    // since loading
	electrode
	thermometer Draw
}

// Tank makes a lot, 0 to SoakLots-1.
func (e *Estate) Tank(lot int) *Tank { return e.tank(&e.lots[lot], lot) }

func (e *Estate) tank(l *soaked, lot int) *Tank {
	k := &Tank{estate: e, lot: l, electrode: l.probe, PH: l.start}
	k.brew = newBrew(e.Law, drawn(e.seed, forEstate, int(e.Law), int(e.Yard), 3), l.fruit)
	t, _, _, _ := e.season.at(l.loaded)
	k.Celsius = (t+e.vessel.spring)/2 + l.celsius // cherry of the day, pulped in the water of the spring
	k.bodies = [2]float64{k.Celsius, k.around()}
	if e.Yard == Covered {
		k.bodies[1] = e.vessel.spring
	}
	if e.Yard == Deep {
		k.bodies[1] = k.Celsius
	}
	k.electrode.chance = drawn(e.seed, forHands, int(e.Law), int(e.Yard), lot)
	k.electrode.shown = k.PH
	k.thermometer = drawn(e.seed, forIdle, int(e.Law), int(e.Yard), lot)
	return k
}

// around is the air there: a shed takes the edge off the day, the sky makes nights cooler.
func (k *Tank) around() float64 {
	now, v := k.lot.loaded+k.hours, &k.estate.vessel
	t, _, sun, _ := k.estate.season.at(now)
	if v.keeps > 0 {
		t = interpolate(t, k.estate.season.mean, v.keeps)
	}
	if sun == 0 {
		t -= v.sky
	}
	return t
}

// Minute lets a minute pass.
func (k *Tank) Minute() {
	const h = 1.0 / 60
	k.hours += h
	e := k.estate
	made, work := k.brew.pass(h*e.pace, k.Celsius, k.PH)
	k.PH = e.buffer.sours(k.PH, k.acid, e.most*made)
	k.acid += e.most * made
	k.cools(h, e.vessel.warms*work)
	k.electrode.minute(h, k.PH)
}

// cools lets warmth pass; less coffee has more surface for its mass.
func (k *Tank) cools(h, warmed float64) {
	v, air, quick := &k.estate.vessel, k.around(), h/math.Cbrt(k.lot.full)
	middle := k.Celsius
	switch k.estate.Yard {
	case Plastic:
		k.Celsius += warmed - quick/v.loses*(middle-air)
	case Deep: // the crust loses to the air, the middle to the crust, the core to the middle
		core, crust := k.bodies[0], k.bodies[1]
		k.bodies[0] += warmed - h/v.passes*(core-middle)
		k.Celsius += warmed + h/v.passes*(core-2*middle+crust)
		k.bodies[1] += warmed - h/v.passes*(crust-middle) - quick/v.loses*(crust-air)
	default:
		wall := k.bodies[1]
		k.Celsius += warmed - quick/v.loses*(middle-wall)
		k.bodies[1] += quick/v.loses*k.lot.full/v.wall*(middle-wall) - h/v.passes*(wall-air)
	}
}

const slowest = 3 * 24 * time.Hour

// Ready is when the mass passes pH 4.6; false: not within three days.
func (e *Estate) Ready(lot int) (time.Duration, bool) {
	k := e.Tank(lot)
	for at := time.Duration(0); at < slowest; at += time.Minute {
		if k.PH < Washed {
			return at, true
		}
		k.Minute()
	}
	return 0, false
}
