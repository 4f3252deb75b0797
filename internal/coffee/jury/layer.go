package jury

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
	opens   float64 // h of the day, today
	day     int
	t, rh   float64 // of the air at the probe; a part
	known   float64 // h from which on a sibling's fire is in other hands
	chance  Draw
	strange Draw
	*hands
}

// Layer makes a lot that is laid at an hour of the season.
func (h *House) Layer(lot int, loaded float64) *Layer {
	l := h.layer(loaded, drawn(h.seed, forLot, int(h.Law), int(h.Place), lot))
	l.lights(lot)
	l.hands = newHands(&h.meters, drawn(h.seed, forHands, int(h.Law), int(h.Place), lot))
	l.next(l)
	return l
}

// layer draws how one is unlike the others: beans by some 5 % of the pace, thickness by 12 at most, moisture after draining by 0.8 %wb (common practice).
func (h *House) layer(loaded float64, own Draw) *Layer {
	l := &Layer{house: h, season: h.season, loaded: loaded, pace: h.pace * math.Exp(0.05*own.normal()), thick: 1 + 0.12*own(-1, 1), chance: own, day: -1}
	start := dryBasis(between(52, h.wet+0.8*own(-1, 1), 56))
	for range h.bed.slices {
		l.slices = append(l.slices, h.law.fresh(start))
	}
	l.turned = h.bed.turns * own(0.7, 1.3)
	return l
}

// lights the fire of a lot, if there is one.
func (l *Layer) lights(lot int) {
	l.lot = lot
	if h := l.house; h.Place.Fired() {
		outside, _, _, _ := l.season.at(l.loaded)
		l.fire = newFire(&h.fire, outside, drawn(h.seed, forFire, int(h.Law), int(h.Place), lot))
	}
	l.breathes()
}

// Sibling is another lot of the house, laid at the same hour into the same air, which is the same until so many hours after loading and then as it might have come. No chance of the judged lot is in it, and nobody measures it.
func (l *Layer) Sibling(n int, known float64) *Layer {
	h, of := l.house, []int{forSibling, int(l.house.Law), int(l.house.Place), l.lot, n}
	s := h.layer(l.loaded, drawn(h.seed, append(of, 1)...))
	s.strange, s.known = drawn(h.seed, append(of, 2)...), known
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

// Middle is the moisture of the part of the layer where the probe lies, %wb: all slices but those at top and bottom, where there are more than three.
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

// hours since loading, of the season and of the day.
func (l *Layer) hours() (since, season, clock float64) {
	since = float64(l.minutes) / 60
	return since, l.loaded + since, math.Mod(l.loaded+since, 24)
}

// breathes brings the air of now to the probe.
func (l *Layer) breathes() {
	_, season, _ := l.hours()
	l.t, l.rh, _, _ = l.season.at(season)
	if l.fire != nil {
		l.t, l.rh = l.fire.t, heated(l.rh, l.t, l.fire.t)
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
	l.minutes++
	l.hands.minute(l)
	if l.minutes%stepMinutes > 0 {
		if l.hands != nil { // somebody looks at the probe
			l.breathes()
		}
		return
	}
	l.breathes()
	if l.house.bed.flow > 0 {
		l.through(clock)
	} else {
		l.past(season, clock)
	}
	if since >= l.turned {
		l.turned += l.house.bed.turns * l.chance(0.6, 1.4)
		l.turn(clock)
	}
}

// turn makes slices more alike, and lets the air come from the other side; nobody rakes a deck at night.
func (l *Layer) turn(clock float64) {
	if l.fire == nil && (clock < 7 || clock > 17) {
		return
	}
	l.other = l.other != l.house.bed.reversed
	for i := range l.slices[0] {
		mean := 0.0
		for _, s := range l.slices {
			mean += s[i] / float64(len(l.slices))
		}
		for _, s := range l.slices {
			s[i] = interpolate(s[i], mean, l.house.bed.mixes)
		}
	}
	l.stirred()
}

// past lets air go over the slices of a deck, in sun, which warms beans the more the less water cools them; air is drier for warm beans.
func (l *Layer) past(season, clock float64) {
	d, bed := &l.house.deck, &l.house.bed
	t, rh, sun, rain := l.season.at(season)
	open := 1.0
	if l.covered(season, clock) {
		open, sun = d.covered, 0
	} else if rain {
		l.house.law.soak(l.slices[0], d.soaks*step)
	}
	down := 1.0
	for _, s := range l.slices {
		warm := t + d.lift*sun*down*(1-0.5*math.Min(1, l.house.law.mean(s)/120))
		l.house.law.pass(s, step*l.pace*open*bed.past*down/l.thick, warm, heated(rh, t, warm))
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

// through lets air go through the slices of a dryer one after the other. What beans would give in such air comes nearer to what the air can still take the thinner the slice against the flow, and never past it (as
// in the logarithmic model of Barre 1971, from memory). It gives the ratio with which the air leaves.
func (l *Layer) through(clock float64) float64 {
	bed := &l.house.bed
	air := bed.flow * step
	if l.house.fire.night(clock) {
		air *= bed.night
	}
	t, ratio := l.t, l.house.ratio(l.t, l.rh)
	dry := bed.dry * l.thick / float64(bed.slices)
	for k := range l.slices {
		s := l.slices[k]
		if l.other {
			s = l.slices[len(l.slices)-1-k]
		}
		before, wet := append([]float64(nil), s...), l.house.law.mean(s)
		l.house.law.pass(s, step*l.pace, t, math.Min(full, l.house.humidity(t, ratio)))
		would := (wet - l.house.law.mean(s)) / 100 * dry / air // kg for each kg of air
		gone := would
		if would > 0 {
			room := l.house.room(t, ratio)
			gone = room * (1 - math.Exp(-would/math.Max(1e-9, room)))
			for i := range s {
				s[i] = interpolate(before[i], s[i], gone/would)
			}
		}
		t, ratio = t-evaporates/heats*gone, ratio+gone
	}
	return ratio
}

// room is the water that air of t °C can still take up, cooling by it, kg/kg.
func (h *House) room(t, ratio float64) float64 {
	low, high := 0.0, 0.05
	for range 14 {
		if mid := (low + high) / 2; h.humidity(t-evaporates/heats*mid, ratio+mid) > full {
			high = mid
		} else {
			low = mid
		}
	}
	return low
}

// Until is when a layer comes to 11 %wb, in h after loading; false: not within 18 days.
func (l *Layer) Until() (float64, bool) {
	for l.Moisture() > Dry {
		if l.minutes >= longest*60 {
			return longest, false
		}
		l.Minute()
	}
	return float64(l.minutes) / 60, true
}
