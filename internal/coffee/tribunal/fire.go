package tribunal

import "math"

// fire is what heats the air of a dryer. Its temperature holds a chance, but the same for whoever looks: it depends on weather and hours alone.
type fire struct {
	habits *fireHabits
	chance Draw

	first, then, changes float64 // °C that it is set to until it is changed; h after loading at which it is, 0: never
	t                    float64 // °C of the air now
	aim                  float64 // °C that people want now: banked at night
	burns                bool
	wander, stoked       float64 // K; h since wood was put on
	every                float64 // h until the next time
}

// fireHabits are a house's: gas with a thermostat that hunts, or a furnace with husk and wood that somebody feeds.
type fireHabits struct {
	gas                     bool
	set, spread             float64 // °C; K between lots
	band, lag               float64 // K to either side; h that air follows the burner by
	wanders, feeds, hours   float64 // K; K that a fresh fire is hotter; h between
	leans                   float64 // K for each K outside
	banks, evening, morning float64 // K less at night; h of the day from which and until which
}

// newFireHabits of a house. 38 to 46 °C: parchment is said to want 40 at most (Wintgens 2004), Colombian dryers run at 50 (from memory); people lie between. A thermostat of 1 to 2 K, feeding every
// 40 to 90 minutes, a fire 2 to 5 K hotter when fresh: choice.
func newFireHabits(banked bool, own Draw) fireHabits {
	f := fireHabits{gas: own.of(0.5), set: own(39, 46), spread: own(0.3, 1), band: own(0.8, 2), lag: own(0.12, 0.25), wanders: own(0.6, 1.6), feeds: own(2, 4.5), hours: own(0.7, 1.5), leans: own(0.1, 0.35)}
	if banked {
		f.set, f.banks, f.evening, f.morning = own(38, 45), own(6, 14), own(19.5, 22), own(4.5, 6.5)
	}
	return f
}

// hottest is what nobody sets more than, °C.
const hottest = 48

// newFire is that of a lot. Every other lot sees the set point changed once, by 2 to 5 K, as the beans dry or as the crew thinks better of it (choice).
func newFire(habits *fireHabits, outside float64, chance Draw) *fire {
	f := &fire{habits: habits, chance: chance, t: outside + 8}
	f.then = habits.set + habits.spread*chance.normal()
	f.first = f.then
	by, at, up := chance(2, 5), chance(4, 28), chance.of(0.5)
	if chance.of(0.5) {
		f.changes, f.first = at, f.then+by
		if up {
			f.first = f.then - by
		}
	}
	f.then, f.first = math.Min(hottest, f.then), math.Min(hottest, f.first)
	f.aim, f.every = f.first, 0.5*habits.hours
	return f
}

// ahead is the fire as it may go on from now, in other hands: who has changed the set point does not do so again.
func (f *fire) ahead(now float64, chance Draw) *fire {
	a := *f
	a.chance = chance
	if f.changes > now || f.changes == 0 {
		a.then, a.changes = f.first, 0
		if at := chance(4, 28); at > now && chance.of(0.5) {
			a.changes, a.then = at, math.Min(hottest, f.first+chance(2, 5)*math.Copysign(1, chance(-1, 1)))
		}
	}
	return &a
}

// minute lets it burn, so many h after loading, at an hour of the day, in air of the outside.
func (f *fire) minute(hours, clock, outside float64) {
	const h = 1.0 / 60
	u := f.habits
	want := f.then
	if hours < f.changes {
		want = f.first
	}
	follows := 0.4 // h: a fire is soon lit and slow to die down
	if u.banks > 0 && (clock > u.evening || clock < u.morning) {
		want, follows = want-u.banks, 1.2
	}
	f.aim += (want - f.aim) * h / follows
	if !u.gas {
		f.feed(h, outside)
		return
	}
	if f.t < f.aim-u.band {
		f.burns = true
	} else if f.t > f.aim+u.band {
		f.burns = false
	}
	goal := outside + 3
	if f.burns {
		goal = f.aim + 14
	}
	f.t += (goal - f.t) * h / u.lag
	f.t = math.Max(f.t, outside)
}

// feed is the furnace: hottest some time after it was fed, and it feels the weather.
func (f *fire) feed(h, outside float64) {
	u := f.habits
	if f.stoked += h; f.stoked >= f.every {
		f.stoked, f.every = 0, u.hours*f.chance(0.6, 1.4)
	}
	f.wander += -f.wander*h/0.7 + u.wanders*math.Sqrt(2*h/0.7)*f.chance.normal()
	part := f.stoked / u.hours
	goal := f.aim + u.feeds*(2*part*math.Exp(1-2*part)-0.6) + f.wander + u.leans*(outside-20)
	f.t += (goal - f.t) * h / u.lag
	f.t = math.Max(f.t, outside)
}
