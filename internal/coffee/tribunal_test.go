package coffee

import (
	"flag"
	"fmt"
	"testing"
	"time"

	"millwarden/internal/coffee/tribunal"
	"millwarden/internal/units"
)

// tribunalAsked asks the tanks of package tribunal. They were asked once, on 30 November 2026, after the last change of the forecaster, and are opened since.
var tribunalAsked = flag.Uint64("tribunal", 0, "estates of each law and yard of the tribunal that forecasts of the wash are judged on; 0: none")

// leastHeld is a bound of what was reached since, per cent of the truth in the interval. The goal is 70 to 90 %.
const leastHeld = 70

// judgedAt are the parts of the way at which it is asked.
var judgedAt = [...]float64{0.25, 0.5, 0.75}

// washedBefore are how many tanks the estate has washed before a forecast that is counted, and a bound of what was reached half way in every other tank, min. The goal is 45.
var washedBefore = [...]struct {
	name        string
	least, most int
	wrong       float64
}{{"all", 0, 99, 44}, {"none washed before", 0, 0, 72}, {"3 or more washed", 3, 99, 42}}

// tribunalTally is how forecasts did on some tanks.
type tribunalTally [len(washedBefore)][len(judgedAt)]judged

func (a *tribunalTally) add(o *tribunalTally) {
	for n := range a {
		for i := range a[n] {
			a[n][i].add(&o[n][i])
		}
	}
}

// log tells for each part of the way: forecasts, error of the median, nine of ten and the worst in minutes, part held, silent ones.
func (a *tribunalTally) log(t *testing.T, name string) {
	for n, before := range washedBefore {
		for i, part := range judgedAt {
			j, line := &a[n][i], "no forecast"
			switch {
			case len(j.wrong)+j.mute == 0: // not asked
				continue
			case len(j.wrong) > 0:
				line = fmt.Sprintf("%3d forecasts, %4.0f / %4.0f / %4.0f min, held %3.0f %%", len(j.wrong), quantileOf(j.wrong, 0.5), quantileOf(j.wrong, 0.9), quantileOf(j.wrong, 1), 100*j.coverage())
			}
			t.Logf("%-12s %-18s at %.0f %%: %s, silent %d", name, before.name, 100*part, line, j.mute)
		}
	}
}

// tanks are lots of an estate, each to its true end, with forecasts on the way; the habit learns from each as it does at a station.
func (a *tribunalTally) tanks(e *tribunal.Estate) {
	habit := UsualHabit(Usual, 15*time.Hour)
	for lot := range tribunal.SoakLots {
		end, ever := e.Ready(lot)
		if !ever {
			continue
		}
		w := watch{tank: e.Tank(lot), souring: NewSouring(habit)}
		for i, part := range judgedAt {
			for w.now.Minutes() < part*end.Minutes() {
				w.minute()
			}
			f, why := w.souring.Until(tribunal.Washed, units.Celsius(w.celsius), w.now)
			for n, before := range washedBefore {
				if habit.Tanks >= before.least && habit.Tanks <= before.most {
					a[n][i].take(f, why, end-w.now)
				}
			}
		}
		for w.souring.last > tribunal.Washed && w.now < 3*end/2 { // to its end as the electrode shows it
			w.minute()
		}
		if w.souring.last <= tribunal.Washed {
			habit = habit.With(w.souring, w.souring.Ended())
		}
	}
}

// Aim: the forecast of the wash reaches its goals on the tanks of small estates, by law and by yard, the estate's own washed tanks known as they come. A part of it (-run tribunal/laws/Puerta/shed) tells, but proves
// nothing.
func TestSouring_tribunal(t *testing.T) {
	if *tribunalAsked == 0 {
		t.Skip("the tribunal is asked by -tribunal 1")
	}
	var results [tribunal.Sourings][tribunal.Yards]tribunalTally
	t.Run("laws", func(t *testing.T) {
		for law := range tribunal.Sourings {
			for yard := range tribunal.Yards {
				t.Run(law.String()+"/"+yard.String(), func(t *testing.T) {
					t.Parallel()
					for seed := range *tribunalAsked {
						results[law][yard].tanks(tribunal.NewEstate(law, yard, tribunal.TankSeed+seed))
					}
				})
			}
		}
	})
	var all tribunalTally
	var byYard [tribunal.Yards]tribunalTally
	for law := range results {
		var tally tribunalTally
		for yard := range results[law] {
			tally.add(&results[law][yard])
			byYard[yard].add(&results[law][yard])
		}
		tally.log(t, tribunal.Souring(law).String())
		all.add(&tally)
	}
	for yard := range byYard {
		byYard[yard].log(t, tribunal.Yard(yard).String())
	}
	all.log(t, "all")
	all.reaches(t, len(results)*len(results[0])*tribunal.SoakLots*int(*tribunalAsked))
}

// reaches holds against what was reached, once all tanks were asked.
func (a *tribunalTally) reaches(t *testing.T, want int) {
	if j := &a[0][0]; len(j.wrong)+j.mute < want {
		t.Logf("%d of %d tanks: a part of them proves nothing", len(j.wrong)+j.mute, want)
		return
	}
	for n, before := range washedBefore {
		for i, part := range judgedAt {
			if c := 100 * a[n][i].coverage(); c < leastHeld {
				t.Errorf("%s, at %.0f %%: the interval held %.0f %%, want %d", before.name, 100*part, c, leastHeld)
			}
		}
		if got := a[n][1].median(); got > before.wrong {
			t.Errorf("%s, half way: every other forecast is wrong by more than %.0f min, want %.0f", before.name, got, before.wrong)
		}
	}
}
