package assize

import "math"

// Place is where a house dries its parchment.
type Place uint8

const (
	// Silo is a static dryer: parchment 10 to 16 cm deep on a perforated floor, air of 38 to 45 °C through it day and night, stirred and turned by hand every few hours.
	Silo Place = iota
	// OverDryer is a roofed deck with a mechanical dryer under it: 4 to 8 cm, and the fire is banked at night.
	OverDryer
	// SunDeck is a raised deck in the sun, 3 to 5 cm, raked by day, covered at night and in rain.
	SunDeck
	// Solar is a deck below a roof of film, shut at night.
	Solar
	Places
)

func (p Place) String() string {
	return [...]string{"static dryer", "deck over a dryer", "sun deck", "deck below film"}[p]
}

// Kind is the kind of station that such a place is.
func (p Place) Kind() string {
	if p.Fired() {
		return "dryer"
	}
	return "deck"
}

// Fired tells whether its air is heated by a fire, and not by the sun.
func (p Place) Fired() bool { return p == Silo || p == OverDryer }

// DryLots are the lots that a house dries one after the other.
const DryLots = 5

// Dry is the moisture in %wb at which it is told that a layer is dry (10 to 12, 11 usual, Cenicafé 2010, as quoted).
const Dry = 11.0

// House is one estate's place of drying, with its habits and its weather.
type House struct {
	Law   Drying
	Place Place

	seed      uint64
	season    *Season
	pressure  float64 // kPa
	law       parchment
	pace      float64
	laid      float64 // h of the day at which a layer is laid
	wet       float64 // %wb of it
	habits    habits
	sensors   sensors
	bed       bed
	slices    int
	stirs     float64 // h between
	mixes     float64 // part of the unlikeness that goes
	exchanges [deckSlices]float64
}

// habits are what people and sun do to the air; hours are of the day.
type habits struct {
	set, banks, evening, morning, hunts, blows float64 // °C, K, h, h, K, part of the flow by night
	lift, extra, damp                          float64 // K that sun warms beans or house; K more at the top; K of dew from the coffee itself
	shuts, opens, late, above                  float64 // h, h, h that rain is noticed late; %wb above which it is left open at night
}

// sensors are the probes and the hand meter of a house.
type sensors struct {
	celsius, humidity  float64 // that they are off: K, %RH
	off, gain, scatter float64 // of the meter: %wb, part above 11 %wb, %wb
}

// bed is what the air goes through; 0: it goes past.
type bed struct {
	dry  float64 // kg a m² and slice
	flow float64 // kg of air a m² and h
}

const deckSlices, bedSlices = 3, 5

// NewHouse makes the house of a law, a place and a seed. Layers of 10 to 16 cm are within the 10 to 40 cm of Cenicafé 2010; decks within the 3 to 5 cm of Wintgens 2004; 315 kg of dry matter a
// m³ (366 + 2.7 M kg/m³, Cenicafé); all as quoted. 0.08 to 0.12 m/s of air is common practice.
func NewHouse(law Drying, place Place, seed uint64) *House {
	own := drawn(seed, uint64(law)<<8|uint64(place)|1<<16)
	metres := own(1200, 1650)
	h := &House{Law: law, Place: place, seed: seed, season: newSeason(metres, own), pressure: pressure(metres), law: newParchment(law, own), laid: own(7.5, 10), wet: own(52.5, 54.5), slices: deckSlices,
		sensors: sensors{celsius: 0.25 * own.normal(), humidity: 1.2 * own.normal(), off: 0.25 * own.normal(), gain: 0.015 * own.normal(), scatter: own(0.15, 0.35)}}
	needs := own(84, 144)
	if place.Fired() {
		needs = own(23, 36)
	}
	switch place {
	case Silo:
		h.habits = habits{set: own(39, 45), hunts: own(0.4, 1.4)}
		h.bed, h.slices, h.stirs, h.mixes = bed{315 * own(0.1, 0.16) / bedSlices, 3600 * own(0.08, 0.12)}, bedSlices, own(3, 6), own(0.5, 0.9)
	case OverDryer:
		h.habits = habits{set: own(39, 44), hunts: own(0.4, 1.4), banks: own(5, 10), evening: own(20.5, 22.5), morning: own(4.5, 6), blows: own(0.5, 0.8)}
		h.bed, h.slices, h.stirs, h.mixes = bed{315 * own(0.04, 0.08) / bedSlices, 3600 * own(0.06, 0.1)}, bedSlices, own(1.5, 3), own(0.5, 0.9)
	case SunDeck:
		h.habits = habits{lift: own(7, 11), shuts: own(16.3, 17.5), opens: own(6.8, 8), late: own(0, 0.2), above: own(25, 70)}
		h.stirs, h.mixes = own(0.6, 1.2), own(0.4, 0.8)
	default:
		h.habits = habits{lift: own(8, 13), extra: own(1, 4), damp: own(0.5, 2), shuts: own(17, 18), opens: own(6.5, 7.5), above: own(25, 70)}
		h.stirs, h.mixes = own(1, 2), own(0.4, 0.8)
	}
	deep := own(0.7, 1)
	h.exchanges = [deckSlices]float64{1, 0.7 * deep, 0.5 * deep}
	h.pace = hoursOf(h.law) / 16
	for range 3 { // until two lots need as long
		sum := 0.0
		for lot := range 2 {
			took, ever := h.Hours(lot, h.Loads(float64(200+300*lot)))
			if !ever {
				took = 15 * 24
			}
			sum += took / 2
		}
		h.pace *= sum / needs
	}
	return h
}

// Loads is when the next layer is laid, after so many hours of the season: the next morning.
func (h *House) Loads(after float64) float64 {
	at := 24*math.Floor(after/24) + h.laid + 0.4*drawn(h.seed, uint64(after)+1<<20).normal()
	if at < after+1 {
		at += 24
	}
	return math.Round(at*60) / 60
}

// outside is the air at the house where no fire burns and no lot lies.
func (h *House) outside(hours float64) (t, rh float64) {
	t, rh = h.season.Air(hours), h.season.Humidity(hours)
	if h.Place != Solar {
		return t, rh
	}
	lift := math.Min(math.Max(0, 46-t), 0.5+h.habits.lift*(0.7*h.season.Sun(hours)+0.3*h.season.Sun(math.Max(0, hours-1.5))))
	return t + lift, heated(rh, t, t+lift)
}

// Layer is one lot in its house, a minute at a time.
type Layer struct {
	house        *House
	slices       [][]float64
	loaded       float64 // h of the season
	hours        float64 // since then
	pace, thick  float64
	first, then  float64 // °C of the dryer
	changes      float64 // h at which it is set from first to then, 0: never
	opens        float64 // h of the day, today
	day          int
	stirred      float64 // h of the next time
	reversed     bool
	t, rh        float64 // at the probe now
	chance, hand Draw    // of what befalls the layer; of probes and people
	reads        float64 // h of the next reading
	phases       [2]float64
}

// Layer makes a lot that is laid at an hour of the season. Lots of one estate differ by the moisture after draining, by how thick they are laid and by their beans: some 5 % of the pace (common practice).
func (h *House) Layer(lot int, loaded float64) *Layer {
	between := drawn(h.seed, uint64(h.Law)<<8|uint64(h.Place)|uint64(lot)<<20|1<<17)
	l := &Layer{house: h, loaded: loaded, pace: h.pace * math.Exp(0.05*between.normal()), thick: between(0.88, 1.12), hand: drawn(h.seed, uint64(h.Law)<<8|uint64(h.Place)|uint64(lot)<<20|1<<18), day: -1}
	start := dryBasis(h.wet + 0.5*between.normal())
	for range h.slices {
		l.slices = append(l.slices, h.law.fresh(start))
	}
	l.then = h.habits.set + 0.7*between.normal()
	l.first = l.then
	if between(0, 1) < 0.5 {
		l.changes, l.first = between(5, 14), l.then+between(2, 5)*math.Copysign(1, between(-1, 1))
	}
	if !h.Place.Fired() {
		l.changes = 0
	}
	l.first = math.Min(48, l.first)
	l.phases = [2]float64{between(0, 6), between(0, 6)}
	l.chance = between
	l.stirred = h.stirs * between(0.7, 1.3)
	l.reads = l.next()
	l.t, l.rh, _ = l.air()
	return l
}

// Changes is the hour after loading at which somebody changes the set point for the last time; 0: nobody does.
func (l *Layer) Changes() float64 { return l.changes }

// Moisture is that of the whole layer, %wb: the truth.
func (l *Layer) Moisture() float64 {
	sum := 0.0
	for _, s := range l.slices {
		sum += l.house.law.mean(s)
	}
	return wetBasis(sum / float64(len(l.slices)))
}

// now is the hour of the season and that of the day.
func (l *Layer) now() (hours, clock float64) {
	hours = l.loaded + l.hours
	return hours, math.Mod(hours, 24)
}

// air is that at the probe, and the part of the exchange that is open.
func (l *Layer) air() (t, rh, open float64) {
	hours, clock := l.now()
	t, rh = l.house.outside(hours)
	a := &l.house.habits
	if !l.house.Place.Fired() {
		if !l.shut(hours, clock) {
			return t, math.Min(97, rh*(1+0.02*a.damp)), 1
		}
		return t, math.Min(97, rh*(1+0.04*a.damp)), 0.06
	}
	set, open := l.then, 1.0
	if l.hours < l.changes {
		set = l.first
	}
	if a.banks > 0 && (clock > a.evening || clock < a.morning) {
		set, open = set-a.banks, a.blows
	}
	set += a.hunts * (math.Sin(l.hours*3.1+l.phases[0]) + 0.5*math.Sin(l.hours*11+l.phases[1]))
	to := math.Max(t, set)
	return to, heated(rh, t, to), open
}

// shut tells whether a deck is covered: at night once it is dry enough, later on some mornings, and in rain where there is no roof.
func (l *Layer) shut(hours, clock float64) bool {
	a := &l.house.habits
	if day := int(hours / 24); day != l.day {
		l.day, l.opens = day, a.opens+math.Abs(0.3*l.chance.normal())
	}
	night := (clock > a.shuts || clock < l.opens) && l.Moisture() < a.above
	return night || l.house.Place == SunDeck && l.house.season.Rains(hours-a.late)
}

// Minute lets a minute pass.
func (l *Layer) Minute() {
	const h = 1.0 / 60
	hours, clock := l.now()
	t, rh, open := l.air()
	l.t, l.rh = t, rh
	if l.house.bed.flow > 0 {
		l.through(h, t, rh, open)
	} else {
		l.past(h, hours, t, rh, open)
	}
	l.hours += h
	if l.hours >= l.stirred {
		l.stirred += l.house.stirs * l.chance(0.6, 1.5)
		if clock > 6 && clock < 18 || l.house.Place.Fired() {
			l.stir()
		}
	}
}

// past lets air go over the slices of a deck, in sun.
func (l *Layer) past(h, hours, t, rh, open float64) {
	a, sun := &l.house.habits, l.house.season.Sun(hours)
	lift := a.extra
	if l.house.Place == SunDeck {
		lift = a.lift
	}
	if open < 1 {
		lift = 0
	}
	if open == 1 && l.house.Place == SunDeck && l.house.season.Rains(hours) { // not yet covered
		for i := range l.slices[0] {
			l.slices[0][i] += 6 * h
		}
	}
	for i, s := range l.slices {
		warm := t + lift*sun*l.house.exchanges[i]
		l.house.law.pass(s, h*open*l.pace*l.house.exchanges[i]/l.thick, warm, heated(rh, t, warm)/100)
	}
}

// through lets air go through the slices of a dryer, one after the other: it takes up water and cools (Hukill 1947; Thompson, Peart, Foster 1968), 2,450 kJ/kg, and never gets fuller than 98 %.
func (l *Layer) through(h, t, rh, open float64) {
	vapour := rh / 100 * saturation(t)
	ratio := 0.622 * vapour / (l.house.pressure - vapour)
	air := l.house.bed.flow * open * h
	dry := l.house.bed.dry * l.thick
	for k := range l.slices {
		s := l.slices[k]
		if l.reversed {
			s = l.slices[len(l.slices)-1-k]
		}
		before := append([]float64(nil), s...)
		m := l.house.law.mean(s)
		l.house.law.pass(s, h*l.pace, t, l.humidity(t, ratio))
		gone := (m - l.house.law.mean(s)) / 100 * dry
		part := 1.0
		for gone > 0 && part > 0.01 && l.humidity(t-2450/1.03*part*gone/air, ratio+part*gone/air) > 0.98 {
			part *= 0.8
		}
		for i := range s {
			s[i] = before[i] + part*(s[i]-before[i])
		}
		ratio += part * gone / air
		t -= 2450 / 1.03 * part * gone / air
	}
}

// humidity is a part of saturation.
func (l *Layer) humidity(t, ratio float64) float64 {
	return math.Min(1, l.house.pressure*ratio/(0.622+ratio)/saturation(t))
}

// stir makes slices more alike, and a static dryer is turned too.
func (l *Layer) stir() {
	for i := range l.slices[0] {
		mean := 0.0
		for _, s := range l.slices {
			mean += s[i] / float64(len(l.slices))
		}
		for _, s := range l.slices {
			s[i] += l.house.mixes * (mean - s[i])
		}
	}
	l.reversed = !l.reversed && l.house.Place == Silo
}

// Hours is how long a lot needs to 11 %wb; false: not within 15 days.
func (h *House) Hours(lot int, loaded float64) (float64, bool) {
	l := h.Layer(lot, loaded)
	for m := range 15 * 24 * 60 {
		if l.Moisture() <= Dry {
			return float64(m) / 60, true
		}
		l.Minute()
	}
	return 0, false
}

// Probe is what the probe beside the layer shows: °C and %RH.
func (l *Layer) Probe() (t, rh float64) { return l.house.seen(l.t, l.rh, l.hand) }

// Idle makes what the probe shows while no lot lies there.
func (h *House) Idle() func(hours float64) (t, rh float64) {
	chance := drawn(h.seed, 1<<19)
	return func(hours float64) (float64, float64) {
		t, rh := h.outside(hours)
		return h.seen(t, rh, chance)
	}
}

func (h *House) seen(t, rh float64, chance Draw) (float64, float64) {
	s := &h.sensors
	return math.Round(10*(t+s.celsius+0.15*chance.normal())) / 10, math.Round(10*math.Max(5, math.Min(100, rh+s.humidity+0.7*chance.normal()))) / 10
}

// topOfMeter is the moisture above which a hand meter says nothing, %wb.
const topOfMeter = 42

// Reading is what the crew reads in the hand meter this minute; false: nobody does. The mean of some handfuls, in steps of 0.1 %wb, less sure in wet beans.
func (l *Layer) Reading() (percent float64, read bool) {
	if l.hours < l.reads {
		return 0, false
	}
	l.reads = l.next()
	wet, s := l.Moisture(), &l.house.sensors
	if wet > topOfMeter {
		return 0, false
	}
	v := wet + s.off + s.gain*(wet-Dry) + (s.scatter+0.03*math.Max(0, wet-15))*l.hand.normal()
	return math.Round(10*v) / 10, true
}

// next is when the crew reads again, in h after loading: once a day, twice below 20 %wb and every few hours of the day below 14 (the trade's advice is twice a day, and hourly at the end); a
// dryer, which is watched by night too, more often.
func (l *Layer) next() float64 {
	_, clock := l.now()
	wet := l.Moisture()
	if l.house.Place.Fired() {
		switch {
		case wet > 20:
			return l.hours + l.hand(4, 8)
		case wet > 14:
			return l.hours + l.hand(1.5, 3.5)
		}
		return l.hours + l.hand(0.8, 2)
	}
	wait := l.hand(2.5, 4)
	switch {
	case wet > 20:
		wait = 24 + l.hand(8, 17) - clock // some hour of the next day
	case wet > 14:
		wait = l.hand(5, 8)
	}
	if at := clock + wait; wet <= 20 && (at > 18 || at < 7) { // nobody by night
		wait = 24 - clock + l.hand(7.5, 9.5)
	}
	return l.hours + wait
}
