package jury

import "math"

// fire is what heats the air of a dryer. Its temperature depends on weather, hours and its own chance alone, so that it is the same for whoever looks.
type fire struct {
	habits *fireHabits
	chance Draw

	first, then, changes float64 // °C that it is set to until it is changed; h after loading at which it is, 0: never
	t, aim, feeds        float64 // °C of the air now; °C wanted now, banked at night; K that the fire is hotter than wanted
	burns                bool
	waits                float64 // h until the burner obeys, or until somebody feeds
}

// fireHabits are a house's: gas with a thermostat that hunts, or a furnace with husk and wood that somebody feeds.
type fireHabits struct {
	gas                     bool
	set, spread             float64 // °C; K between lots
	band, dead, lag         float64 // K to either side; h that the burner obeys late by, and that air follows by
	feeds, every            float64 // K that a fresh fire is hotter; h between
	leans                   float64 // K for each K outside
	banks, evening, morning float64 // K less at night; h of the day from which and until which
}

// hottest is what nobody sets more than, °C.
const hottest = 48

// newFireHabits of a house. 38 to 46 °C: parchment is said to want 40 at most (Wintgens 2004, as quoted), Colombian dryers run at 50 (from memory); people lie between. A thermostat of 0.7 to 2 K, feeding every 40 to 90 minutes, a fire
// 2 to 5 K hotter when fresh, 5 to 12 K less when it is banked: choice.
func newFireHabits(banked bool, own Draw) fireHabits {
	f := fireHabits{gas: own.of(0.5), set: own(39, 46), spread: own(0.3, 1), band: own(0.7, 2), dead: own(0.01, 0.04), lag: own(0.1, 0.25), feeds: own(2, 5), every: own(0.7, 1.5), leans: own(0.05, 0.3)}
	if banked {
		f.set, f.banks, f.evening, f.morning = own(39, 45), own(5, 12), own(19.5, 22), own(4.5, 6.5)
	}
	return f
}

// newFire is that of a lot. Two lots of five see the set point changed once, by 2 to 5 K (choice).
func newFire(habits *fireHabits, outside float64, chance Draw) *fire {
	f := &fire{habits: habits, chance: chance, t: outside + 8}
	f.first = math.Min(hottest, habits.set+habits.spread*between(-2, chance.normal(), 2))
	f.changes, f.then = f.turned(chance)
	f.aim = f.first
	return f
}

// turned draws whether, when and to what somebody changes the set point.
func (f *fire) turned(chance Draw) (at, to float64) {
	at, to = chance(3, 26), math.Min(hottest, f.first+chance(2, 5)*math.Copysign(1, chance(-1, 1)))
	if chance.of(0.6) {
		return 0, f.first
	}
	return at, to
}

// ahead is the fire as it may go on from now, in other hands: who has changed the set point does not do so again.
func (f *fire) ahead(now float64, chance Draw) *fire {
	a := *f
	a.chance = chance
	if f.changes == 0 || f.changes > now {
		if a.changes, a.then = f.turned(chance); a.changes <= now {
			a.changes, a.then = 0, f.first
		}
	}
	return &a
}

// minute lets it burn, so many h after loading, at an hour of the day, in air of the outside.
func (f *fire) minute(hours, clock, outside float64) {
	const h = 1.0 / 60
	u := f.habits
	want, follows := f.first, 0.4 // h: a fire is soon lit and slow to die down
	if f.changes > 0 && hours >= f.changes {
		want = f.then
	}
	if u.night(clock) {
		want, follows = want-u.banks, 1.2
	}
	f.aim += (want - f.aim) * h / follows
	f.waits -= h
	goal := outside + 3
	if u.gas {
		if turn := !f.burns && f.t < f.aim-u.band || f.burns && f.t > f.aim+u.band; !turn {
			f.waits = u.dead
		} else if f.waits <= 0 {
			f.burns = !f.burns
		}
		if f.burns {
			goal = f.aim + 13
		}
	} else {
		if f.feeds -= f.feeds * h / 0.6; f.waits <= 0 {
			f.feeds, f.waits = math.Min(6, f.feeds+u.feeds*f.chance(0.7, 1.3)), u.every*f.chance(0.7, 1.3)
		}
		goal = f.aim + f.feeds - u.feeds*0.6/u.every + u.leans*(outside-20)
	}
	f.t = math.Max(outside, f.t+(goal-f.t)*h/u.lag)
}

func (u *fireHabits) night(clock float64) bool {
	return u.banks > 0 && (clock > u.evening || clock < u.morning)
}
