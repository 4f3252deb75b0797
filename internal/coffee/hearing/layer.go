package hearing

import "math"

// Layer is one lot in its house, a minute at a time.
type Layer struct {
	house   *House
	season  *season
	slices  [][]float64
	lot     int
	loaded  float64 // h of the season
	minutes int     // since then
	pace    float64
	thick   float64 // against the usual
	fire    *fire   // nil: the sun
	turned  float64 // h of the next time
	other   bool    // the air comes from above
	air     air     // at the probe
	known   float64 // h from which on a sibling's fire is in other hands; 0: it is, or never will be
	chance  draw
	strange draw
	hands   *hands
}

// Layer makes a lot that is laid at an hour of the season.
func (h *House) Layer(lot int, loaded float64) *Layer {
	l := h.layer(loaded, drawn(h.seed, "lot", h.Law, h.Place, lot))
	l.lights(lot)
	l.hands = &hands{chance: drawn(h.seed, "hands", h.Law, h.Place, lot)}
	l.hands.lies = h.meters.lie * l.hands.chance.normal()
	l.next(0)
	return l
}

// layer draws how one is unlike the others: beans by 7 % of the pace, thickness by 8, moisture after draining by 0.8 %wb at most (choice).
func (h *House) layer(loaded float64, own draw) *Layer {
	l := &Layer{house: h, season: h.season, loaded: loaded, pace: h.pace * math.Exp(0.07*own.normal()), thick: 1 + 0.08*own.normal(), chance: own}
	start := dryBasis(between(52, h.wet+own.in(-0.8, 0.8), 56))
	for range h.bed.slices {
		l.slices = append(l.slices, h.law.fresh(start))
	}
	l.turned = h.bed.turns * own.in(0.7, 1.3)
	return l
}

// lights the fire of a lot, if there is one.
func (l *Layer) lights(lot int) {
	l.lot = lot
	if h := l.house; h.Place.Fired() {
		l.fire = newFire(&h.burner, l.season.at(l.loaded).t, drawn(h.seed, "fire", h.Law, h.Place, lot))
	}
	l.breathes()
}

// Sibling is another lot of the house, laid at the same hour into the same air, which is the same until so many hours after loading and then as it might have come. No chance of the judged lot is in it, and nobody measures it.
func (l *Layer) Sibling(n int, known float64) *Layer {
	h := l.house
	s := h.layer(l.loaded, drawn(h.seed, "sibling", h.Law, h.Place, l.lot, n))
	s.strange, s.known = drawn(h.seed, "strange", h.Law, h.Place, l.lot, n), known
	s.season = h.season.forked(l.loaded+known, s.strange)
	s.lights(l.lot)
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
func (l *Layer) Moisture() float64 { return l.mean(l.slices) }

// Middle is the moisture of the part where the probe lies, %wb: all slices but those at top and bottom, where there are more than three.
func (l *Layer) Middle() float64 {
	if n := len(l.slices); n > 3 {
		return l.mean(l.slices[1 : n-1])
	}
	return l.Moisture()
}

func (l *Layer) mean(slices [][]float64) float64 {
	sum := 0.0
	for _, s := range slices {
		sum += l.house.law.mean(s)
	}
	return wetBasis(sum / float64(len(slices)))
}

// since is in h after loading, clock of the day.
func (l *Layer) since() float64 { return float64(l.minutes) / 60 }
func (l *Layer) clock() float64 { return math.Mod(l.loaded+l.since(), 24) }

// Minute lets a minute pass.
func (l *Layer) Minute() {
	since := l.since()
	if l.fire != nil {
		if l.known > 0 && since >= l.known {
			l.fire, l.known = l.fire.ahead(since, l.strange), 0
		}
		l.fire.minute(since, l.clock(), l.season.at(l.loaded+since).t)
	}
	l.minutes++
	l.breathes()
	if l.minutes%stepMinutes == 0 {
		if l.house.bed.flow > 0 {
			l.through()
		} else {
			l.past()
		}
		if since >= l.turned {
			l.turned += l.house.bed.turns * l.chance.in(0.6, 1.4)
			l.turn()
		}
	}
	if l.hands != nil {
		if l.hands.now = l.since() >= l.hands.reads; l.hands.now {
			l.next(l.since())
		}
	}
}

// breathes brings the air of now to the probe.
func (l *Layer) breathes() {
	if l.air = l.season.at(l.loaded + l.since()); l.fire != nil {
		l.air = l.air.warmed(l.fire.t)
		return
	}
	l.air = l.house.below(l.air, l.clock(), l.house.law.mean(l.slices[0]))
}

// below is the air below the film, over beans of such a moisture; by night it is a little warmer than outside and damp, and never quite full.
func (h *House) below(a air, clock, wet float64) air {
	if h.Place.Fired() {
		return a
	}
	b := a.warmed(a.t + 1 + h.film.warms*a.sun)
	b.rh *= 1 + h.film.damp*between(0, (wet-15)/80, 1)
	if h.shut(clock) {
		b.rh *= 1.03
	}
	b.rh = math.Min(b.rh, 0.97)
	return b
}

func (h *House) shut(clock float64) bool { return clock > h.film.shuts || clock < h.film.opens }

// turn makes slices more alike, and lets the air come from the other side; nobody rakes a deck at night.
func (l *Layer) turn() {
	if l.fire == nil && l.house.shut(l.clock()) {
		return
	}
	l.other = l.other != l.house.bed.reversed
	for i := range l.slices[0] {
		mean := 0.0
		for _, s := range l.slices {
			mean += s[i] / float64(len(l.slices))
		}
		for _, s := range l.slices {
			s[i] = mix(s[i], mean, l.house.bed.mixes)
		}
	}
	if l.hands != nil {
		l.hands.lies = l.house.meters.lie * l.hands.chance.normal()
	}
}

// past lets air go over the slices of a deck, and sun warm its top, the less the wetter; air is drier for warm beans.
func (l *Layer) past() {
	h, open := l.house, step*l.pace/l.thick
	if h.shut(l.clock()) {
		open *= h.film.night
	}
	sun := h.film.lifts * l.air.sun
	for _, s := range l.slices {
		beans := l.air.warmed(l.air.t + sun*(1-0.6*math.Min(1, h.law.mean(s)/120)))
		h.law.pass(s, open, beans.t, beans.rh)
		open, sun = open*h.bed.lower, sun*h.bed.lower/2
	}
}

// evaporates is what water takes with it, kJ/kg, heats what air needs, kJ/(kg K), and full the part of saturation that air never passes.
const evaporates, heats, full = 2430, 1.02, 0.98

// through lets air go through the slices of a dryer one after the other. What beans would give in such air, and what the air can take up until it is as cool as its wet bulb, hinder each other like resistances in series (choice). It gives the
// ratio with which the air leaves.
func (l *Layer) through() (leaves float64) {
	h, a := l.house, l.air
	flow := h.bed.flow * step
	if h.burner.night(l.clock()) {
		flow *= h.bed.night
	}
	ratio, dry := a.ratio(h.kPa), h.dryMass*l.thick/float64(len(l.slices))
	for k := range l.slices {
		s := l.slices[k]
		if l.other {
			s = l.slices[len(l.slices)-1-k]
		}
		before, wet := append([]float64(nil), s...), h.law.mean(s)
		h.law.pass(s, step*l.pace, a.t, math.Min(full, a.rh))
		gone := (wet - h.law.mean(s)) / 100 * dry / flow // kg for each kg of air
		if gone > 0 {
			room := math.Max(0, heats/evaporates*(a.t-a.wetBulb(h.kPa)))
			part := room / (gone + room)
			gone *= part
			for i := range s {
				s[i] = mix(before[i], s[i], part)
			}
		}
		a.t, ratio = a.t-evaporates/heats*gone, ratio+gone
		a.rh = humidity(a.t, ratio, h.kPa)
	}
	return ratio
}

// until is when a layer comes to 11 %wb, in h after loading; false: not within 18 days.
func (l *Layer) until() (float64, bool) {
	for l.Moisture() > Dry {
		if l.minutes >= longest*60 {
			return longest, false
		}
		l.Minute()
	}
	return l.since(), true
}
