package hearing

import "math"

// Place is where a house dries its parchment.
type Place uint8

const (
	// Bin is a static dryer with parchment 12 to 22 cm deep on a perforated floor (10 to 40 tried by Cenicafé 2010, as quoted), the air through it turned round, or the beans stirred, every few hours.
	Bin Place = iota
	// Drum is a horizontal one that turns and mixes, with a steady fire; some 40 h are told of such drying (Barista Hustle, as read), less by others.
	Drum
	// OverDryer is a deck of 5 to 9 cm over a dryer whose fire is banked at night.
	OverDryer
	// Film is a deck of 3 to 5 cm below a roof of film, shut at night.
	Film
	Places
)

func (p Place) String() string {
	return [...]string{"bin", "drum", "deck over a dryer", "deck below film"}[p]
}

// Kind is the kind of station that such a place is.
func (p Place) Kind() string {
	if p.Fired() {
		return "dryer"
	}
	return "deck"
}

// Fired tells whether a fire dries there, and not the sun.
func (p Place) Fired() bool { return p != Film }

// Lots are those that such a place dries one after the other.
func (p Place) Lots() int { return [...]int{5, 4, 4, 4}[p] }

// Dry is the moisture in %wb at which it is told that a layer is dry (10 to 12, 11 usual, Cenicafé 2010, as quoted).
const Dry = 11.0

// longest is how many h a layer is followed; step is that of all drying, in h.
const (
	longest     = 18 * 24
	stepMinutes = 5
	step        = stepMinutes / 60.0
)

// House is one estate's place of drying, with its habits and its weather.
type House struct {
	Law   Drying
	Place Place

	seed    uint64
	season  *season
	kPa     float64
	law     parchment
	pace    float64
	laid    float64 // h of the day at which a layer is laid
	wet     float64 // %wb of it
	burner  burner
	film    film
	bed     bed
	meters  meters
	dryMass float64 // kg a m² of the whole bed
}

// bed is how a layer lies; without a flow the air goes past it.
type bed struct {
	slices   int
	flow     float64 // kg of air a m² and h
	night    float64 // part of it by night
	turns    float64 // h between
	mixes    float64 // part of the unlikeness that goes
	reversed bool    // the air is turned round
	lower    float64 // of a deck: part of the exchange of the slice above
}

// film is a roof over a deck: K that a clear noon warms the air below it, and beans above that; part of the vapour that wet beans add; part of the exchange by night, when it is shut; hours of the day.
type film struct{ warms, lifts, damp, night, shuts, opens float64 }

// NewHouse makes the house of a law, a place and a seed: wet parchment of 52 to 56 %wb (SECAFÉ 2008, as quoted), and beans that dry from 0.65 to 2 times as fast as in the thin layers that laws were fitted to (choice), so that a usual layer takes
// what is told of it: 20 to 36 h in four dryers of five and up to 42 in the fifth (28.5 h at 45 °C, 39.5 at 40 in a thin layer by Cenicafé, as quoted; 40 in a drum), 4 to 8 days on a deck (4 to 14 in Hawaii, 6 to 7 in Brazil; as quoted).
func NewHouse(law Drying, place Place, seed uint64) *House {
	own := drawn(seed, "house", law, place)
	for try := 0; ; try++ { // a house that dries otherwise nobody would build
		metres, needs := own.in(1150, 1750), own.in(20, 36)
		if own.of(0.2) {
			needs = own.in(36, 42)
		}
		if !place.Fired() {
			needs = own.in(96, 192)
		}
		h := &House{Law: law, Place: place, seed: seed, kPa: pressure(metres), law: newParchment(law, own), laid: own.in(7, 11), wet: own.in(52.7, 55), meters: newMeters(own)}
		h.season = newSeason(newClimate(metres, own), drawn(seed, "weather", law, place, try))
		h.lies(own)
		h.pace = factor(0.5, 2.4, needs, func(pace float64) (hours float64) {
			h.pace = pace
			for lot := range 2 {
				took, _ := h.Hours(lot, h.Loads(200+300*float64(lot)))
				hours += took / 2
			}
			return hours
		})
		if h.pace > 0.65 && h.pace < 2 {
			return h
		}
	}
}

// lies chooses how layers lie there. 0.06 to 0.2 m/s of air is what such dryers blow (common practice), 315 kg of dry matter a m³ (366 + 2.7 M kg/m³ of Cenicafé, as quoted); air below a film of 35 to 65 °C was measured in Thailand (Janjai 2012, as
// read in its abstract) and is cooler in mountains. What has no source is a choice.
func (h *House) lies(own draw) {
	const airMass, dryMass = 0.93 * 3600, 315 // kg an h for each m/s, at 45 °C and 84 kPa
	h.burner = newBurner(h.Place, own)
	switch h.Place {
	case Bin:
		h.dryMass = dryMass * own.in(0.12, 0.22)
		h.bed = bed{slices: 5, flow: airMass * own.in(0.09, 0.15), night: 1, turns: own.in(3, 8), mixes: own.in(0.2, 0.7), reversed: own.of(0.5)}
	case Drum:
		h.dryMass = dryMass * own.in(0.15, 0.25)
		h.bed = bed{slices: 1, flow: airMass * own.in(0.13, 0.2), night: 1, turns: longest}
	case OverDryer:
		h.dryMass = dryMass * own.in(0.05, 0.09)
		h.bed = bed{slices: 4, flow: airMass * own.in(0.06, 0.1), night: own.in(0.5, 0.9), turns: own.in(1, 3), mixes: own.in(0.5, 0.9)}
	default:
		h.dryMass = dryMass * own.in(0.03, 0.05)
		h.bed = bed{slices: 3, turns: own.in(0.7, 1.5), mixes: own.in(0.5, 0.8), lower: own.in(0.55, 0.8)}
		h.film = film{warms: own.in(9, 15), lifts: own.in(3, 7), damp: own.in(0.1, 0.25), night: own.in(0.1, 0.3), shuts: own.in(16.5, 18), opens: own.in(6.5, 8)}
	}
}

// Loads is when the next layer is laid, after so many hours of the season: the next morning.
func (h *House) Loads(after float64) float64 {
	at := 24*math.Floor(after/24) + h.laid + 0.5*drawn(h.seed, "laid", int(after)).normal()
	if at < after+1 {
		at += 24
	}
	return math.Round(at*60) / 60
}

// Hours is how long a lot needs to 11 %wb; false: not within 18 days.
func (h *House) Hours(lot int, loaded float64) (float64, bool) {
	l := h.layer(loaded, drawn(h.seed, "lot", h.Law, h.Place, lot))
	l.lights(lot)
	return l.until()
}

// burner is a house's fire and who tends it: gas with a valve, or a furnace with husk and wood that somebody feeds.
type burner struct {
	set, spread             float64 // °C; K between lots
	wanders, lasts          float64 // K; h
	fresh, every            float64 // K that a fresh fire is hotter; h between
	leans                   float64 // K for each K outside
	banks, evening, morning float64 // K less at night; h of the day from which and until which
	stepped                 float64 // chance that the set point is changed in a lot
}

// newBurner of a house. 38 to 46 °C: parchment is said to want 40 at most (Wintgens 2004, as quoted), Colombian dryers run at 50 (from memory); people lie between. In three houses of five the set point is changed in two lots of three, in the
// others never. Feeding every 40 to 90 minutes, a fire 1.5 to 4 K hotter when fresh, 5 to 11 K less when it is banked: choice.
func newBurner(place Place, own draw) burner {
	b := burner{set: own.in(39, 46), spread: own.in(0.3, 1), wanders: own.in(0.4, 1.2), lasts: own.in(0.4, 1.5), every: 1, leans: own.in(0.05, 0.3)}
	if own.of(0.5) && place != Drum {
		b.fresh, b.every = own.in(1.5, 4), own.in(0.7, 1.5)
	}
	if place == Drum {
		b.wanders *= 0.6
	}
	if place == OverDryer {
		b.banks, b.evening, b.morning = own.in(5, 11), own.in(19.5, 22), own.in(4.5, 6.5)
	}
	if own.of(0.6) {
		b.stepped = 2.0 / 3
	}
	return b
}

func (b *burner) night(clock float64) bool {
	return b.banks > 0 && (clock > b.evening || clock < b.morning)
}

// fire is that of one lot. It depends on weather, hours and its own chance alone, so that it is the same for whoever looks.
type fire struct {
	burner               *burner
	chance               draw
	first, then, changes float64 // °C that it is set to until it is changed; h after loading at which it is, 0: never
	t, aim, off, feeds   float64 // °C of the air now, and wanted now; K that it wanders, and that the fuel is fresh
	waits                float64 // h until somebody feeds
}

func newFire(b *burner, outside float64, chance draw) *fire {
	f := &fire{burner: b, chance: chance, t: outside + 8, first: math.Min(48, b.set+b.spread*chance.normal())}
	f.changed()
	f.aim = f.first
	return f
}

// changed draws whether, when and to what somebody changes the set point: by 2 to 5 K, within a day or so (choice).
func (f *fire) changed() {
	c := f.chance
	at, to := c.in(3, 26), math.Min(48, f.first+c.in(2, 5)*math.Copysign(1, c.in(-1, 1)))
	if f.changes, f.then = 0, f.first; c.of(f.burner.stepped) {
		f.changes, f.then = at, to
	}
}

// ahead is the fire as it may go on from now, in other hands: who has changed the set point does not do so again.
func (f *fire) ahead(now float64, chance draw) *fire {
	a := *f
	a.chance = chance
	if f.changes == 0 || f.changes > now {
		if a.changed(); a.changes <= now {
			a.changes, a.then = 0, f.first
		}
	}
	return &a
}

// minute lets it burn, so many h after loading, at an hour of the day, in air of the outside.
func (f *fire) minute(since, clock, outside float64) {
	b, want, follows := f.burner, f.first, 0.4 // h: a fire is soon lit and slow to die down
	if f.changes > 0 && since >= f.changes {
		want = f.then
	}
	if b.night(clock) {
		want, follows = want-b.banks, 1.2
	}
	f.aim += (want - f.aim) * minute / follows
	f.off += -f.off*minute/b.lasts + b.wanders*math.Sqrt(2*minute/b.lasts)*f.chance.normal()
	f.feeds -= f.feeds * minute / 0.6
	if f.waits -= minute; f.waits <= 0 {
		f.feeds, f.waits = f.feeds+b.fresh*f.chance.in(0.7, 1.3), b.every*f.chance.in(0.7, 1.3)
	}
	goal := f.aim + f.off + f.feeds - 0.6*b.fresh/b.every + b.leans*(outside-20)
	f.t = math.Max(outside, f.t+(goal-f.t)*minute/0.2)
}
