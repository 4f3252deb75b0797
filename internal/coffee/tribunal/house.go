package tribunal

import "math"

// Place is where a house dries its parchment.
type Place uint8

const (
	// Static is a dryer with parchment 12 to 25 cm deep on a perforated floor (10 to 40 tried by Cenicafé 2010), the air through it turned round every few hours.
	Static Place = iota
	// Drum turns slowly and mixes all the time.
	Drum
	// OverFire is a deck of 4 to 8 cm over a dryer whose fire is banked at night.
	OverFire
	// SunDeck is raised, 3 to 4.5 cm (3 to 4 in Wintgens 2004), raked by day, covered in rain, and at night when the beans are dry enough (below 25 %wb as quoted).
	SunDeck
	// Patio is a floor of concrete, 2.5 to 4 cm, raked often and heaped at night and in rain.
	Patio
	Places
)

func (p Place) String() string {
	return [...]string{"static dryer", "drum", "deck over a fire", "sun deck", "patio"}[p]
}

// Kind is the kind of station that such a place is.
func (p Place) Kind() string {
	if p.Fired() {
		return "dryer"
	}
	return "deck"
}

// Fired tells whether a fire dries there, and not the sun.
func (p Place) Fired() bool { return p <= OverFire }

// Lots are those that such a place dries one after the other: fewer where each takes a week and more.
func (p Place) Lots() int {
	if p.Fired() {
		return 4
	}
	return 3
}

// Dry is the moisture in %wb at which it is told that a layer is dry (10 to 12, 11 usual, Cenicafé 2010, as quoted).
const Dry = 11.0

// longest is how many h a layer is followed.
const longest = 21 * 24

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
	reversed    bool    // the air is turned round, not the beans
	around      bool    // beans are mixed all the time
	past, lower float64 // part of the exchange of a thin layer, at the top and further down
}

// deckHabits are what people and sun do to a deck; hours are of the day.
type deckHabits struct {
	lift, floor   float64 // K that a clear noon warms beans at the top; K of warm concrete, which stays
	shuts, opens  float64
	late, above   float64 // h that rain is noticed late; %wb above which it stays open at night
	heaped, soaks float64 // part of the exchange when covered; % of the dry weight an hour of rain
}

// NewHouse makes the house of a law, a place and a seed. Beans of estates differ by 12 % in pace (choice), wet parchment by 52 to 56 %wb (SECAFÉ 2008, as quoted).
func NewHouse(law Drying, place Place, seed uint64) *House {
	own := drawn(seed, forEstate, int(law), int(place), 1)
	metres := own(1150, 1750)
	h := &House{Law: law, Place: place, seed: seed, pressure: pressure(metres), law: newParchment(law, own), laid: own(7, 11), wet: own(52.5, 55)}
	h.season = newSeason(newClimate(metres, own), drawn(seed, forWeather, int(law), int(place), 1))
	h.pace = hoursOf(h.law, 45, 0.2) / hoursOf(&fitted{fittedPage.table(), 1}, 45, 0.2) * math.Exp(0.12*between(-2, own.normal(), 2))
	h.meters, h.air = newMeters(own), newAirProbe(own)
	h.lays(own)
	return h
}

// dryMass is 315 kg of dry matter a m³ (366 + 2.7 M kg/m³ of Cenicafé, as quoted).
const dryMass = 315

// lays chooses how layers lie there. 0.06 to 0.12 m/s of air is what such dryers blow (common practice); exchanges, lifts and raking are choices that give decks the 6 to 14 days of trade texts.
func (h *House) lays(own Draw) {
	const airMass = 0.93 * 3600 // kg an h for each m/s, at 45 °C and 84 kPa
	switch h.Place {
	case Static:
		h.fire = newFireHabits(false, own)
		h.bed = bed{slices: 6, dry: dryMass * own(0.12, 0.25), flow: airMass * own(0.08, 0.14), night: 1, turns: own(4, 10), mixes: own(0, 0.3), reversed: true}
	case Drum:
		h.fire = newFireHabits(own.of(0.4), own)
		h.bed = bed{slices: 3, dry: dryMass * own(0.15, 0.3), flow: airMass * own(0.12, 0.2), night: 1, around: true}
	case OverFire:
		h.fire = newFireHabits(true, own)
		h.bed = bed{slices: 4, dry: dryMass * own(0.04, 0.08), flow: airMass * own(0.05, 0.09), night: own(0.4, 0.8), turns: own(1, 3), mixes: own(0.5, 0.9)}
	case SunDeck:
		h.deck = deckHabits{lift: own(9, 14), shuts: own(16.5, 18), opens: own(6.5, 8), late: own(0, 0.3), above: own(22, 30), heaped: own(0.03, 0.08), soaks: own(2, 6)}
		if own.of(0.3) { // 1 to 2 %wb come back in an open night (as quoted), which some put up with
			h.deck.above = 0
		}
		h.bed = bed{slices: 3, dry: dryMass * own(0.03, 0.045), turns: own(0.6, 1.5), mixes: own(0.4, 0.8), past: own(0.8, 1), lower: own(0.55, 0.8)}
	default:
		h.deck = deckHabits{lift: own(10, 15), floor: own(2, 4), shuts: own(16, 17.5), opens: own(7, 8.5), late: own(0, 0.3), above: own(25, 40), heaped: own(0.02, 0.06), soaks: own(2, 6)}
		h.bed = bed{slices: 2, dry: dryMass * own(0.025, 0.04), turns: own(0.5, 0.7), mixes: own(0.6, 0.9), past: own(0.75, 0.95), lower: own(0.6, 0.8)}
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

// Layer is one lot in its house, a minute at a time.
type Layer struct {
	house   *House
	season  *season
	slices  [][]float64
	loaded  float64 // h of the season
	minutes int     // since then
	pace    float64
	thick   float64 // against the usual
	fire    *fire   // nil: the sun
	turned  float64 // h of the next time
	other   bool    // the air comes from above
	day     int
	opens   float64 // h of the day, today
	t, rh   float64 // at the probe
	chance  Draw    // of what befalls the layer
	hands   *hands
	lot     int
	known   float64 // h after loading at which a sibling goes its own way, 0: it has or never does
	strange Draw    // of its way
}

// Layer makes a lot that is laid at an hour of the season. Lots of one estate differ by the moisture after draining (0.8 %wb), by how thick they are laid (12 %) and by their beans (5 % of the pace): choice.
func (h *House) Layer(lot int, loaded float64) *Layer {
	l := h.layer(loaded, drawn(h.seed, forLot, int(h.Law), int(h.Place), lot))
	l.lot, l.hands = lot, newHands(&h.meters, drawn(h.seed, forHands, int(h.Law), int(h.Place), lot))
	l.lights()
	l.hands.next(l)
	return l
}

// lights the fire of a lot, if there is one.
func (l *Layer) lights() {
	h := l.house
	if h.Place.Fired() {
		outside, _, _, _ := h.season.at(l.loaded)
		l.fire = newFire(&h.fire, outside, drawn(h.seed, forFire, int(h.Law), int(h.Place), l.lot))
	}
	l.breathes()
}

func (h *House) layer(loaded float64, own Draw) *Layer {
	l := &Layer{house: h, season: h.season, loaded: loaded, pace: h.pace * math.Exp(0.05*own.normal()), thick: 1 + 0.12*own(-1, 1), chance: own, day: -1}
	start := dryBasis(between(52, h.wet+0.8*own(-1, 1), 56))
	for range h.bed.slices {
		l.slices = append(l.slices, h.law.fresh(start))
	}
	l.turned = h.bed.turns * own(0.7, 1.3)
	return l
}

// Sibling is another lot of the house, laid at the same hour into the same air, which is the same until so many hours after loading and then as it might have come. No chance of the judged lot is in it.
func (l *Layer) Sibling(n int, known float64) *Layer {
	seed, of := l.house.seed, []int{forSibling, int(l.house.Law), int(l.house.Place), l.lot, n}
	s := l.house.layer(l.loaded, drawn(seed, append(of, 1)...))
	s.strange = drawn(seed, append(of, 2)...)
	s.season = l.season.forked(l.loaded+known, s.strange)
	s.lot, s.known = l.lot, known
	s.lights()
	return s
}

// Changes is the hour after loading at which somebody changes the set point; 0: nobody does.
func (l *Layer) Changes() float64 {
	if l.fire == nil {
		return 0
	}
	return l.fire.changes
}

// Moisture is that of the whole layer, %wb: the truth.
func (l *Layer) Moisture() float64 {
	sum := 0.0
	for _, s := range l.slices {
		sum += l.house.law.mean(s)
	}
	return wetBasis(sum / float64(len(l.slices)))
}

// hours since loading, of the season and of the day.
func (l *Layer) hours() (since, season, clock float64) {
	since = float64(l.minutes) / 60
	return since, l.loaded + since, math.Mod(l.loaded+since, 24)
}

// breathes brings the air of now to the probe. A sibling in the sun has none.
func (l *Layer) breathes() {
	if l.fire == nil && l.hands == nil {
		return
	}
	_, season, _ := l.hours()
	t, rh, _, _ := l.season.at(season)
	l.t, l.rh = t, rh
	if l.fire != nil {
		l.t, l.rh = l.fire.t, heated(rh, t, l.fire.t)
	}
}

// Minute lets a minute pass.
func (l *Layer) Minute() {
	since, season, clock := l.hours()
	if l.fire != nil {
		if l.known > 0 && since >= l.known {
			l.fire, l.known = l.fire.ahead(since, l.strange), 0
		}
		outside, _, _, _ := l.season.at(season)
		l.fire.minute(since, clock, outside)
	}
	l.breathes()
	l.minutes++
	l.hands.minute(l)
	if l.minutes%stepMinutes > 0 {
		return
	}
	if l.house.bed.flow > 0 {
		l.through(clock)
	} else {
		l.past(season, clock)
	}
	if bed := &l.house.bed; bed.around {
		l.mix(1)
	} else if since >= l.turned {
		l.turned += bed.turns * l.chance(0.6, 1.4)
		l.turn(clock)
	}
}

// turn makes slices more alike, or lets the air come from the other side; nobody rakes a deck at night.
func (l *Layer) turn(clock float64) {
	if !l.house.Place.Fired() && (clock < 7 || clock > 17) {
		return
	}
	l.other = l.other != l.house.bed.reversed
	l.mix(l.house.bed.mixes)
	l.hands.stirred()
}

func (l *Layer) mix(part float64) {
	for i := range l.slices[0] {
		mean := 0.0
		for _, s := range l.slices {
			mean += s[i] / float64(len(l.slices))
		}
		for _, s := range l.slices {
			s[i] = interpolate(s[i], mean, part)
		}
	}
}

// past lets air go over the slices of a deck, in sun. Beans in it are warmer than the air, which is then drier for them.
func (l *Layer) past(season, clock float64) {
	d, bed := &l.house.deck, &l.house.bed
	t, rh, sun, rain := l.season.at(season)
	open := 1.0
	if l.covered(season, clock) {
		open, sun = d.heaped, 0
	} else if rain {
		for i := range l.slices[0] {
			l.slices[0][i] += d.soaks * step
		}
	}
	down := 1.0
	for _, s := range l.slices {
		warm := t + d.lift*sun*down + d.floor*open
		l.house.law.pass(s, step*l.pace*open*bed.past*down/l.thick, warm, heated(rh, t, warm)/100)
		down *= bed.lower
	}
}

// covered tells whether a deck is: in rain once somebody notices, and at night once the beans are dry enough; in the morning somebody comes more or less early.
func (l *Layer) covered(season, clock float64) bool {
	d := &l.house.deck
	if day := int(season / 24); day != l.day {
		l.day, l.opens = day, d.opens+math.Abs(0.4*l.chance.normal())
	}
	if _, _, _, rained := l.season.at(season - d.late); rained {
		return true
	}
	return (clock > d.shuts || clock < l.opens) && l.Moisture() < d.above
}

// evaporates is what water takes with it, kJ/kg, heats what air needs, kJ/(kg K), and full the part of saturation that air never passes.
const evaporates, heats, full = 2430, 1.02, 0.98

// through lets air go through the slices of a dryer one after the other: it takes up water and cools, and what it cannot hold stays in the beans (Hukill 1947; Thompson, Peart, Foster 1968).
// It gives the ratio with which the air leaves.
func (l *Layer) through(clock float64) float64 {
	bed := &l.house.bed
	air := bed.flow * step
	if u := &l.house.fire; u.banks > 0 && (clock > u.evening || clock < u.morning) {
		air *= bed.night
	}
	t, ratio := l.t, l.house.ratio(l.t, l.rh/100)
	dry := bed.dry * l.thick / float64(bed.slices)
	for k := range l.slices {
		s := l.slices[k]
		if l.other {
			s = l.slices[len(l.slices)-1-k]
		}
		before, wet := append([]float64(nil), s...), l.house.law.mean(s)
		l.house.law.pass(s, step*l.pace, t, math.Min(full, l.house.humidity(t, ratio)))
		gone := (wet - l.house.law.mean(s)) / 100 * dry / air // kg for each kg of air
		part := l.house.takes(t, ratio, gone)
		for i := range s {
			s[i] = interpolate(before[i], s[i], part)
		}
		t, ratio = t-evaporates/heats*part*gone, ratio+part*gone
	}
	return ratio
}

// takes is the part of that water which air of t °C can take up.
func (h *House) takes(t, ratio, gone float64) float64 {
	over := func(part float64) bool {
		return h.humidity(t-evaporates/heats*part*gone, ratio+part*gone) > full
	}
	if gone <= 0 || !over(1) {
		return 1
	}
	low, high := 0.0, 1.0
	for range 12 {
		if mid := (low + high) / 2; over(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return low
}

// ratio is the kg of water in a kg of dry air, humidity the part of saturation.
func (h *House) ratio(t, humidity float64) float64 {
	vapour := humidity * saturation(t)
	return 0.622 * vapour / (h.pressure - vapour)
}

func (h *House) humidity(t, ratio float64) float64 {
	return h.pressure * ratio / (0.622 + ratio) / saturation(t)
}

// Hours is how long a lot needs to 11 %wb; false: not within three weeks.
func (h *House) Hours(lot int, loaded float64) (float64, bool) { return h.Layer(lot, loaded).Until() }

// Until is when a layer that was just laid comes to 11 %wb, in h; false: not within three weeks.
func (l *Layer) Until() (float64, bool) {
	for l.Moisture() > Dry {
		if l.minutes >= longest*60 {
			return longest, false
		}
		l.Minute()
	}
	return float64(l.minutes) / 60, true
}
