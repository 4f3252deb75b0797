package models_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"testing"

	"millwarden/internal/coffee/tribunal"
)

// tribunalSiblings are layers of the same house that the oracle knows from wash to target; it goes by the nearest of them.
const tribunalSiblings, tribunalNearest = 100, 9

// known is a moisture that the oracle sees: the minute after loading, what a meter shows, and what a sibling has there.
type known struct {
	minute int
	shows  float64
}

// ordinary is what the oracle takes for usual in a meter, %wb: off all the time, and off each time, at 11 and more for each per cent above.
var ordinary = [regimes]struct{ off, each, more float64 }{{0.45, 0.2, 0.03}, {0.4, 0.35, 0.03}}

// seen is what becomes known of a layer in so many minutes: the mean of each hour of a probe, or what is read by hand.
func seen(l *tribunal.Layer, how regime, minutes int) (list []known) {
	sum, n := 0.0, 0.0
	for m := range minutes {
		if how == byProbe {
			if v, tells := l.Rod(); tells {
				sum, n = sum+v, n+1
			}
			if m%60 == 59 && n > 30 {
				list = append(list, known{m - 30, sum / n})
			}
			if m%60 == 59 {
				sum, n = 0, 0
			}
		}
		l.Minute()
		if v, tells := l.Reading(); tells && how == byHand {
			list = append(list, known{m + 1, v})
		}
	}
	return list
}

// glances is how many minutes pass between two moistures of a sibling: as many as its physics takes for a step.
const glances = 5

// sibling is another layer of the house: its moisture every few minutes until somebody asks, where each regime looks, and its end.
type sibling struct {
	wet [regimes][]float64
	end float64
}

// siblings live in the same air until so many minutes after loading, and then in air that might come. Those that are dry before are none.
func siblings(l *tribunal.Layer, minutes int) (list []sibling) {
	for n := range tribunalSiblings {
		s := sibling{}
		other := l.Sibling(n, float64(minutes)/60)
		for m := range minutes {
			if m%glances > 0 {
				other.Minute()
				continue
			}
			s.wet[byProbe] = append(s.wet[byProbe], other.Middle())
			s.wet[byHand] = append(s.wet[byHand], other.Moisture())
			other.Minute()
		}
		if other.Moisture() > tribunal.Dry {
			s.end, _ = other.Until()
			list = append(list, s)
		}
	}
	return list
}

// unlike is how far a sibling is from what was seen, the part of it aside that a meter which is off all the time explains.
func (s *sibling) unlike(list []known, how regime) float64 {
	usual := ordinary[how]
	weights, sum, squares := 0.0, 0.0, 0.0
	for _, k := range list {
		wet := s.wet[how][min(k.minute/glances, len(s.wet[how])-1)]
		each := usual.each + usual.more*max(0, wet-tribunal.Dry)
		weight, off := 1/(each*each), k.shows-wet
		weights, sum, squares = weights+weight, sum+weight*off, squares+weight*off*off
	}
	return squares - sum*sum/(weights+1/(usual.off*usual.off))
}

// foresees is the middle end of the nearest, or of all while nothing is known.
func foresees(list []sibling, what []known, how regime) float64 {
	type likeness struct{ unlike, end float64 }
	var all []likeness
	for i := range list {
		all = append(all, likeness{list[i].unlike(what, how), list[i].end})
	}
	slices.SortFunc(all, func(a, b likeness) int { return cmp.Compare(a.unlike, b.unlike) })
	if len(what) > 0 {
		all = all[:min(tribunalNearest, len(all))]
	}
	var ends []float64
	for _, l := range all {
		ends = append(ends, l.end)
	}
	slices.Sort(ends)
	return ends[len(ends)/2]
}

// oracleTally is how the oracle did; later: where the set point is changed after it was asked.
type oracleTally [regimes]struct{ known, later verdict }

func (a *oracleTally) add(o *oracleTally) {
	for how := range a {
		a[how].known.add(&o[how].known)
		a[how].later.add(&o[how].later)
	}
}

// asks the oracle half way of a lot, in each regime.
func (a *oracleTally) asks(h *tribunal.House, lot int, loaded float64) (took float64) {
	hours, ever := h.Hours(lot, loaded)
	if !ever {
		return hours
	}
	minutes := int(30 * hours)
	list := siblings(h.Layer(lot, loaded), minutes)
	if len(list) == 0 {
		return hours
	}
	for how := range regimes {
		l := h.Layer(lot, loaded)
		what := seen(l, how, minutes)
		end := foresees(list, what, how)
		v := &a[how].known
		if l.Changes() > hours/2-0.5 {
			v = &a[how].later
		}
		v.wrong = append(v.wrong, 100*math.Abs(end-hours)/(hours-float64(minutes)/60))
	}
	return hours
}

func (v *verdict) oracled() string {
	if len(v.wrong) == 0 {
		return "none"
	}
	return fmt.Sprintf("%d, %.0f / %.0f / %.0f %%", len(v.wrong), v.at(0.5), v.at(0.9), v.at(1))
}

// Aim: how much of the error half way lies in the layers and meters, not in the forecaster. Who knows the law, the house and its habits, and the air so far, but neither the air to come nor how meters err, foresees by the layers of the
// house that went likest so far (approximate Bayesian computation: Beaumont, Zhang, Balding 2002). The weather of the day on which it is asked is known to its end. Each line tells: layers, median / nine of ten / worst
// error in per cent of the time left, by how moisture becomes known.
func TestBed_tribunalOracle(t *testing.T) {
	if *tribunalAsked == 0 {
		t.Skip("the tribunal is asked by -tribunal 1")
	}
	var results [tribunal.Dryings][tribunal.Places]oracleTally
	t.Run("laws", func(t *testing.T) {
		for law := range tribunal.Dryings {
			for place := range tribunal.Places {
				t.Run(law.String()+"/"+place.String(), func(t *testing.T) {
					t.Parallel()
					h := tribunal.NewHouse(law, place, tribunal.LayerSeed)
					after := float64(dusk + 24)
					for _, lot := range []int{1, place.Lots() - 1} {
						loaded := h.Loads(after)
						after = loaded + results[law][place].asks(h, lot, loaded) + 1
					}
				})
			}
		}
	})
	var all [2]oracleTally
	for place := range tribunal.Places {
		var tally oracleTally
		for law := range results {
			tally.add(&results[law][place])
		}
		for how := range regimes {
			t.Logf("oracle, %-16s %-5v half way: %s; where the set point changes later: %s", place, how, tally[how].known.oracled(), tally[how].later.oracled())
		}
		kind := 0
		if !place.Fired() {
			kind = 1
		}
		all[kind].add(&tally)
	}
	for kind, name := range []string{"dryers", "decks"} {
		for how := range regimes {
			known := &all[kind][how].known
			t.Logf("oracle, %-16s %-5v half way: %s; where the set point changes later: %s", name, how, known.oracled(), all[kind][how].later.oracled())
			if len(known.wrong) > 10 && known.at(0.5) > 40 {
				t.Errorf("%s, %v: wrong by %.0f %%: that is no oracle", name, how, known.at(0.5))
			}
		}
	}
}
