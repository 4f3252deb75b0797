package jury

import "math"

// Place is where a house dries its parchment.
type Place uint8

const (
	// Static is a dryer with parchment 12 to 25 cm deep on a perforated floor (10 to 40 tried by Cenicafé 2010, as quoted), the air through it turned round, or the beans stirred, every few hours.
	Static Place = iota
	// OverDryer is a deck of 5 to 9 cm over a dryer whose fire is banked at night.
	OverDryer
	// SunDeck is raised, 3 to 5 cm, raked by day, covered in rain, and at night when the beans are dry enough (below 25 %wb as quoted).
	SunDeck
	Places
)

func (p Place) String() string {
	return [...]string{"static dryer", "deck over a dryer", "sun deck"}[p]
}

// Kind is the kind of station that such a place is.
func (p Place) Kind() string {
	if p.Fired() {
		return "dryer"
	}
	return "deck"
}

// Fired tells whether a fire dries there, and not the sun.
func (p Place) Fired() bool { return p != SunDeck }

// Lots are those that such a place dries one after the other: fewer where each takes a week.
func (p Place) Lots() int {
	if p.Fired() {
		return 5
	}
	return 4
}

// Dry is the moisture in %wb at which it is told that a layer is dry (10 to 12, 11 usual, Cenicafé 2010, as quoted).
const Dry = 11.0

// longest is how many h a layer is followed.
const longest = 18 * 24

// House is one estate's place of drying, with its habits and its weather.
type House struct {
	Law   Drying
	Place Place

	seed     uint64
	season   *season
	pressure float64 // kPa
	law      parchment
	pace     float64
	laid     float64 // h of the day at which a layer is laid
	wet      float64 // %wb of it
	fire     fireHabits
	deck     deckHabits
	bed      bed
	meters   meters
	air      airProbe
}

// bed is how a layer lies; without a flow the air goes past it.
type bed struct {
	slices      int
	dry, flow   float64 // kg a m² of the whole; kg of air a m² and h
	night       float64 // part of the flow by night
	turns       float64 // h between
	mixes       float64 // part of the unlikeness that goes
	reversed    bool    // the air is turned round
	past, lower float64 // part of the exchange of a thin layer, at the top and further down
}

// deckHabits are what people and sun do to a deck; hours are of the day.
type deckHabits struct {
	lift           float64 // K that a clear noon warms beans at the top, when they are dry; half of it when wet
	shuts, opens   float64
	late, above    float64 // h that rain is noticed late; %wb above which it stays open at night
	covered, soaks float64 // part of the exchange when covered; % of the dry weight an hour of rain
}

// NewHouse makes the house of a law, a place and a seed: wet parchment of 52 to 56 %wb (SECAFÉ 2008, as quoted), and beans that dry from 0.6 to 1.8 times as fast as in the thin layers that laws were fitted to (choice).
func NewHouse(law Drying, place Place, seed uint64) *House {
	own := drawn(seed, forEstate, int(law), int(place), 1)
	metres := own(1150, 1750)
	h := &House{Law: law, Place: place, seed: seed, pressure: pressure(metres), law: newParchment(law, own), laid: own(7, 11), wet: own(52.7, 55)}
	h.season = newSeason(newClimate(metres, own), drawn(seed, forWeather, int(law), int(place), 1))
	h.meters, h.air = newMeters(own), newAirProbe(own)
	for h.pace < 0.6 || h.pace > 1.8 { // else nobody would build it so
		h.lies(own)
		h.pace = setting(0.3, 3, place.needs(own), h.usual)
	}
	return h
}

// needs is how many h a usual layer takes: the trade's 20 to 35 in four dryers of five, up to 42 in the fifth (28.5 h at 45 °C, 39.5 at 40 by the thin-layer equation of Cenicafé, as quoted), 4 to 9 days on a deck (4 to 14 in Hawaii, 6 to 7 in
// Brazil, 8 to 12 elsewhere; as quoted).
func (p Place) needs(own Draw) float64 {
	switch {
	case !p.Fired():
		return own(96, 216)
	case own.of(0.2):
		return own(35, 42)
	}
	return own(20, 35)
}

// usual is how many h two of its layers need, were its beans of such a pace.
func (h *House) usual(pace float64) (hours float64) {
	h.pace = pace
	for lot := range 2 {
		took, _ := h.Hours(lot, h.Loads(200+300*float64(lot)))
		hours += took / 2
	}
	return hours
}

// dryMass is 315 kg of dry matter a m³ (366 + 2.7 M kg/m³ of Cenicafé, as quoted).
const dryMass = 315

// lies chooses how layers lie there. 0.06 to 0.14 m/s of air is what such dryers blow (common practice); exchanges, lifts and raking are choices.
func (h *House) lies(own Draw) {
	const airMass = 0.93 * 3600 // kg an h for each m/s, at 45 °C and 84 kPa
	switch h.Place {
	case Static:
		h.fire = newFireHabits(own.of(0.4), own)
		h.bed = bed{slices: 5, dry: dryMass * own(0.12, 0.25), flow: airMass * own(0.08, 0.14), night: 1, turns: own(3, 8), mixes: own(0.2, 0.7), reversed: own.of(0.5)}
	case OverDryer:
		h.fire = newFireHabits(true, own)
		h.bed = bed{slices: 4, dry: dryMass * own(0.05, 0.09), flow: airMass * own(0.06, 0.1), night: own(0.5, 0.9), turns: own(1, 3), mixes: own(0.5, 0.9)}
	default:
		h.deck = deckHabits{lift: own(12, 18), shuts: own(16.5, 18), opens: own(6.5, 8), late: own(0, 0.3), above: own(22, 30), covered: own(0.03, 0.08), soaks: own(2, 6)}
		if own.of(0.3) { // 1 to 2 %wb come back in an open night (as quoted), which some put up with
			h.deck.above = 0
		}
		h.bed = bed{slices: 3, dry: dryMass * own(0.03, 0.05), turns: own(0.6, 1.5), mixes: own(0.4, 0.8), past: own(0.8, 1), lower: own(0.55, 0.8)}
	}
}

// Loads is when the next layer is laid, after so many hours of the season: the next morning.
func (h *House) Loads(after float64) float64 {
	at := 24*math.Floor(after/24) + h.laid + 0.5*drawn(h.seed, forLot, int(after), 2).normal()
	if at < after+1 {
		at += 24
	}
	return math.Round(at*60) / 60
}

// ratio is the kg of water in a kg of dry air, humidity the part of saturation.
func (h *House) ratio(t, humidity float64) float64 {
	vapour := humidity * saturation(t)
	return 0.622 * vapour / (h.pressure - vapour)
}

func (h *House) humidity(t, ratio float64) float64 {
	return h.pressure * ratio / (0.622 + ratio) / saturation(t)
}

// Hours is how long a lot needs to 11 %wb; false: not within 18 days.
func (h *House) Hours(lot int, loaded float64) (float64, bool) {
	l := h.layer(loaded, drawn(h.seed, forLot, int(h.Law), int(h.Place), lot))
	l.lights(lot)
	return l.Until()
}
