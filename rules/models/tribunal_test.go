package models_test

import (
	"flag"
	"testing"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/coffee/tribunal"
	"millwarden/internal/reading"
)

// tribunalAsked asks the layers of package tribunal. They were asked once, on 30 November 2026, after the last change of the forecaster, and are opened since.
var tribunalAsked = flag.Uint64("tribunal", 0, "houses of each law and place of the tribunal that drying forecasts are judged on; 0: none")

// dryingReached and leastHeld are bounds of what was reached in dryers since it is opened, with some room: per cent of the time left half way in every other layer, by driedBefore, and of the truth in the interval. The goals are 10 %, and 70
// to 90 %. Sun decks are told beside it.
const leastHeld = 70

var dryingReached = [regimes][len(driedBefore)]float64{{10, 17, 10}, {10, 15, 10}}

// regime is how moisture becomes known.
type regime uint8

const (
	byProbe regime = iota // a probe lies in the layer
	byHand                // somebody comes with a meter every few hours
	regimes
)

func (r regime) String() string { return [...]string{"probe", "hand"}[r] }

// driedBefore are how many layers the same house has finished before a forecast that is counted.
var driedBefore = [...]struct {
	name        string
	least, most int
}{{"all", 0, 99}, {"none dried before", 0, 0}, {"2 or more dried", 2, 99}}

// tribunalTally is how forecasts did on some layers; later: where the set point is changed after the forecast, which nobody can know.
type tribunalTally struct {
	known, later [len(driedBefore)][len(wayParts)]verdict
}

func (a *tribunalTally) add(o *tribunalTally) {
	for n := range driedBefore {
		for k := range wayParts {
			a.known[n][k].add(&o.known[n][k])
			a.later[n][k].add(&o.later[n][k])
		}
	}
}

// asked is how often a forecast was asked for.
func (a *tribunalTally) asked(n, k int) int {
	known, later := &a.known[n][k], &a.later[n][k]
	return len(known.wrong) + known.silent + len(later.wrong) + later.silent
}

func (a *tribunalTally) log(t *testing.T, name string) {
	for n, before := range driedBefore {
		for k, part := range wayParts {
			if a.asked(n, k) == 0 {
				continue
			}
			t.Logf("%-34s %-17s at %.0f %%: %v; where the set point changes later: %v", name, before.name, 100*part, &a.known[n][k], &a.later[n][k])
		}
	}
}

// tribunalHouse is a house with the models beside it, all its season long.
type tribunalHouse struct {
	*floor
	house  *tribunal.House
	regime regime
	idle   func(hours float64) (t, rh float64)
}

func newTribunalHouse(t *testing.T, house *tribunal.House, how regime) *tribunalHouse {
	station := one("bed", house.Place.Kind())
	if how == byHand {
		delete(station.Measured, "moisture")
	}
	return &tribunalHouse{floor: start(t, site(station)), house: house, regime: how, idle: house.Idle()}
}

// hours of the season: it begins as evening does.
func (a *tribunalHouse) hours() float64 { return dusk + a.now.Hours() }

// minute passes with what the probes show.
func (a *tribunalHouse) minute(t, rh, percent float64, tells bool) {
	a.sees("bed/air-temperature", t)
	a.sees("bed/air-humidity", rh)
	switch {
	case a.regime == byHand:
	case tells:
		a.sees("bed/moisture", percent)
	default:
		a.sees("bed/moisture", percent, reading.Bad)
	}
	a.tick(time.Minute / 4)
	a.now += 3 * time.Minute / 4
}

// waits until the next layer is laid; a probe of moisture that lies in no coffee tells nothing.
func (a *tribunalHouse) waits(until float64) {
	for a.hours() < until-1e-6 {
		t, rh := a.idle(a.hours())
		a.minute(t, rh, 0, false)
	}
}

// dries lets a layer pass a minute and gives what is newly known of its moisture, if anything is.
func (a *tribunalHouse) dries(l *tribunal.Layer) (percent float64, tells bool) {
	t, rh := l.Probe()
	if a.regime == byProbe {
		percent, tells = l.Rod()
	}
	a.minute(t, rh, percent, tells)
	l.Minute()
	if a.regime == byHand {
		if percent, tells = l.Reading(); tells {
			a.m.Measure("bed", coffee.WetBasis(percent))
		}
	}
	return percent, tells
}

// run dries lots of a house one after the other, and takes forecasts on the way. The crew takes a lot out when its own meter tells that it is dry, be it right or not, but not before the
// last forecast, and a day after the truth at the latest.
func (a *tribunalHouse) run(tally *tribunalTally) {
	after := float64(dusk + 24) // a day of air is known
	for lot := range a.house.Place.Lots() {
		loaded := a.house.Loads(after)
		a.waits(loaded)
		hours, ever := a.house.Hours(lot, loaded)
		l := a.house.Layer(lot, loaded)
		a.m.Load("bed", string(rune('1'+lot)), a.stamp(), a.stamp())
		for m, k := 1, 0; ; m++ {
			percent, tells := a.dries(l)
			gone := float64(m) / 60
			if ever && k < len(wayParts) && gone >= wayParts[k]*hours {
				tally.take(a.floor, lot, k, l.Changes() > gone-0.5, hours-gone)
				k++
			}
			if tells && percent <= tribunal.Dry && (k == len(wayParts) || !ever) || gone > hours+24 {
				break
			}
		}
		a.m.Empty("bed", a.stamp())
		after = a.hours() + 1
	}
}

// take notes the forecast of now, the k-th of a lot.
func (a *tribunalTally) take(f *floor, lot, k int, later bool, left float64) {
	for n, before := range driedBefore {
		v := &a.known[n][k]
		if later {
			v = &a.later[n][k]
		}
		if lot >= before.least && lot <= before.most {
			v.takes(f, left)
		}
	}
}

// Aim: the drying forecast reaches its goals on the layers of small estates, through the whole model, by law, by place and by how moisture becomes known; finished layers of the same house go before. A part of it
// (-run tribunal/probe/activity/drum) tells, but proves nothing. Each line tells: forecasts, median / nine of ten / worst error in per cent of the time left, part held, silent ones.
func TestBed_tribunal(t *testing.T) {
	if *tribunalAsked == 0 {
		t.Skip("the tribunal is asked by -tribunal 1")
	}
	for how := range regimes {
		var results [tribunal.Dryings][tribunal.Places]tribunalTally
		t.Run(how.String(), func(t *testing.T) {
			for law := range tribunal.Dryings {
				for place := range tribunal.Places {
					t.Run(law.String()+"/"+place.String(), func(t *testing.T) {
						t.Parallel()
						for seed := range *tribunalAsked {
							newTribunalHouse(t, tribunal.NewHouse(law, place, tribunal.LayerSeed+seed), how).run(&results[law][place])
						}
					})
				}
			}
		})
		tell(t, how, &results)
	}
}

// tell prints what came out, dryers and decks apart, and holds dryers against what was reached.
func tell(t *testing.T, how regime, results *[tribunal.Dryings][tribunal.Places]tribunalTally) {
	var byKind [2]tribunalTally
	var byPlace [tribunal.Places]tribunalTally
	for kind, name := range []string{"dryers", "decks"} {
		for law := range results {
			var tally tribunalTally
			for place := range tribunal.Places {
				if place.Fired() == (kind == 0) {
					tally.add(&results[law][place])
					byPlace[place].add(&results[law][place])
				}
			}
			tally.log(t, how.String()+", "+name+", "+tribunal.Drying(law).String())
			byKind[kind].add(&tally)
		}
	}
	for place := range byPlace {
		byPlace[place].log(t, how.String()+", "+tribunal.Place(place).String())
	}
	byKind[1].log(t, how.String()+", decks")
	byKind[0].log(t, how.String()+", dryers")
	byKind[0].reaches(t, how, 3*len(results)*tribunal.Drum.Lots()*int(*tribunalAsked))
}

// reaches holds against what was reached, once the layers of all three places with a fire were asked.
func (a *tribunalTally) reaches(t *testing.T, how regime, want int) {
	if asked := a.asked(0, 0); asked < want {
		t.Logf("%v: %d of %d layers in dryers: a part of them proves nothing", how, asked, want)
		return
	}
	for n, before := range driedBefore {
		for k, part := range wayParts {
			if c := a.known[n][k].coverage(); c < leastHeld {
				t.Errorf("%v, %s, at %.0f %%: the interval held %.0f %%, want %d", how, before.name, 100*part, c, leastHeld)
			}
		}
		if half := &a.known[n][1]; len(half.wrong) == 0 || half.at(0.5) > dryingReached[how][n] {
			t.Errorf("%v, %s, half way: %v; want a median of at most %.0f %%", how, before.name, half, dryingReached[how][n])
		}
	}
}
