package models_test

import (
	"math"
	"testing"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
)

// dryTarget is the moisture in %wb that is to be foreseen, in all sealed sets.
const dryTarget = 11.0

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

// dryingTally is how forecasts did on some layers; later: where the set point is changed after the forecast, which nobody can know.
type dryingTally struct {
	known, later [len(driedBefore)][len(wayParts)]verdict
}

func (a *dryingTally) add(o *dryingTally) {
	for n := range driedBefore {
		for k := range wayParts {
			a.known[n][k].add(&o.known[n][k])
			a.later[n][k].add(&o.later[n][k])
		}
	}
}

// asked is how often a forecast was asked for.
func (a *dryingTally) asked(n, k int) int {
	known, later := &a.known[n][k], &a.later[n][k]
	return len(known.wrong) + known.silent + len(later.wrong) + later.silent
}

func (a *dryingTally) log(t *testing.T, name string) {
	for n, before := range driedBefore {
		for k, part := range wayParts {
			if a.asked(n, k) == 0 {
				continue
			}
			t.Logf("%-34s %-17s at %.0f %%: %v; where the set point changes later: %v", name, before.name, 100*part, &a.known[n][k], &a.later[n][k])
		}
	}
}

// take notes the forecast of now, the k-th of a lot.
func (a *dryingTally) take(f *floor, lot, k int, later bool, left float64) {
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

// takes notes a forecast, against the hours that are left.
func (v *verdict) takes(f *floor, left float64) {
	in := f.newest["bed/drying-in"]
	if in.Quality == reading.Bad || in.Point == "" {
		v.silent++
		return
	}
	v.wrong = append(v.wrong, 100*math.Abs(in.Value/3600-left)/left)
	if f.newest["bed/drying-in-early"].Value/3600 <= left && left <= f.newest["bed/drying-in-late"].Value/3600 {
		v.held++
	}
}

// dusk is the hour of the day at which the season begins, as evening does.
const dusk = 18

// rodded is a layer in which a probe of moisture may lie.
type rodded interface {
	Rod() (percent float64, tells bool)
}

// lying is a layer of a sealed set.
type lying interface {
	Probe() (t, rh float64)
	Reading() (percent float64, read bool)
	Changes() float64
	Minute()
}

// sealedHouse dries lots one after the other.
type sealedHouse struct {
	lots  int
	loads func(after float64) float64                         // h of the season
	hours func(lot int, loaded float64) (float64, bool)       // to the true end
	layer func(lot int, loaded float64) lying                 // from the beginning
	dried func(l lying, percent float64, tells bool) bool     // what the crew does, after the last forecast
	idle  func() func(hours float64) (celsius, humid float64) // what the probe of air shows between lots
}

// judgedHouse is a house with the models beside it, all its season long.
type judgedHouse struct {
	*floor
	*sealedHouse
	regime regime
	idles  func(hours float64) (t, rh float64)
}

func newJudgedHouse(t *testing.T, kind string, house *sealedHouse, how regime) *judgedHouse {
	station := one("bed", kind)
	if how == byHand {
		delete(station.Measured, "moisture")
	}
	return &judgedHouse{floor: start(t, site(station)), sealedHouse: house, regime: how, idles: house.idle()}
}

// clock is in hours of the season, which begins as evening does.
func (a *judgedHouse) clock() float64 { return dusk + a.now.Hours() }

// minute passes with what the probes show.
func (a *judgedHouse) minute(t, rh, percent float64, tells bool) {
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
func (a *judgedHouse) waits(until float64) {
	for a.clock() < until-1e-6 {
		t, rh := a.idles(a.clock())
		a.minute(t, rh, 0, false)
	}
}

// dries lets a layer pass a minute and gives what is newly known of its moisture, if anything is.
func (a *judgedHouse) dries(l lying) (percent float64, tells bool) {
	t, rh := l.Probe()
	if a.regime == byProbe {
		percent, tells = l.(rodded).Rod()
	}
	a.minute(t, rh, percent, tells)
	l.Minute()
	if a.regime == byHand {
		if percent, tells = l.Reading(); tells {
			a.m.Measure("bed", coffee.WetBasis(percent), a.stamp())
		}
	}
	return percent, tells
}

// run dries lots of a house one after the other, and takes forecasts on the way. The crew takes a lot out when it holds it for dry, be it right or not, but not before the last forecast, and a day after the truth at the latest.
func (a *judgedHouse) run(tally *dryingTally) {
	after := float64(dusk + 24) // a day of air is known
	for lot := range a.lots {
		loaded := a.loads(after)
		a.waits(loaded)
		hours, ever := a.hours(lot, loaded)
		l := a.layer(lot, loaded)
		a.m.Load("bed", string(rune('1'+lot)), a.stamp(), a.stamp())
		for m, k := 1, 0; ; m++ {
			percent, tells := a.dries(l)
			gone := float64(m) / 60
			if ever && k < len(wayParts) && gone >= wayParts[k]*hours {
				tally.take(a.floor, lot, k, l.Changes() > gone-0.5, hours-gone)
				k++
			}
			if (k == len(wayParts) || !ever) && a.dried(l, percent, tells) || gone > hours+24 {
				break
			}
		}
		a.m.Empty("bed", a.stamp())
		after = a.clock() + 1
	}
}

// dryingGrid asks about the houses of each law in each place, tells dryers and decks apart by law and by place, and gives what dryers came to. Each line tells: forecasts, median / nine of ten / worst error in per cent of the time left, part
// held, silent ones.
func dryingGrid[Law interface {
	~uint8
	String() string
}, Place interface {
	~uint8
	String() string
	Kind() string
	Fired() bool
}](t *testing.T, how regime, laws Law, places Place, house func(law Law, place Place, seed uint64) *sealedHouse, seeds uint64) *dryingTally {
	cells, byPlace := make([]dryingTally, int(laws)*int(places)), make([]dryingTally, places)
	t.Run(how.String(), func(t *testing.T) {
		for law := range laws {
			for place := range places {
				t.Run(law.String()+"/"+place.String(), func(t *testing.T) {
					t.Parallel()
					for seed := range seeds {
						newJudgedHouse(t, place.Kind(), house(law, place, seed), how).run(&cells[int(law)*int(places)+int(place)])
					}
				})
			}
		}
	})
	var byKind [2]dryingTally
	for kind, name := range []string{"dryers", "decks"} {
		for law := range laws {
			var tally dryingTally
			for place := range places {
				if place.Fired() == (kind == 0) {
					cell := &cells[int(law)*int(places)+int(place)]
					tally.add(cell)
					byPlace[place].add(cell)
				}
			}
			tally.log(t, how.String()+", "+name+", "+law.String())
			byKind[kind].add(&tally)
		}
	}
	for place := range places {
		byPlace[place].log(t, how.String()+", "+place.String())
	}
	byKind[1].log(t, how.String()+", decks")
	byKind[0].log(t, how.String()+", dryers")
	return &byKind[0]
}

// reaches holds against the least part held and the most error half way, in per cent, once the layers of all dryers were asked.
func (a *dryingTally) reaches(t *testing.T, how regime, want int, held float64, reached [len(driedBefore)]float64) {
	if asked := a.asked(0, 0); asked < want {
		t.Logf("%v: %d of %d layers in dryers: a part of them proves nothing", how, asked, want)
		return
	}
	for n, before := range driedBefore {
		for k, part := range wayParts {
			if c := a.known[n][k].coverage(); c < held {
				t.Errorf("%v, %s, at %.0f %%: the interval held %.0f %%, want %.0f", how, before.name, 100*part, c, held)
			}
		}
		if half := &a.known[n][1]; len(half.wrong) == 0 || half.at(0.5) > reached[n] {
			t.Errorf("%v, %s, half way: %v; want a median of at most %.0f %%", how, before.name, half, reached[n])
		}
	}
}
