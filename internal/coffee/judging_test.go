package coffee

import (
	"fmt"
	"testing"
	"time"

	"millwarden/internal/units"
)

// judgedAt are the parts of the way at which sealed sets are asked about.
var judgedAt = [...]float64{0.25, 0.5, 0.75}

// washedBefore are how many tanks the estate has washed before a forecast that is counted.
var washedBefore = [...]struct {
	name        string
	least, most int
}{{"all", 0, 99}, {"none washed before", 0, 0}, {"3 or more washed", 3, 99}}

// washTally is how forecasts did on some tanks.
type washTally [len(washedBefore)][len(judgedAt)]judged

func (a *washTally) add(o *washTally) {
	for n := range a {
		for i := range a[n] {
			a[n][i].add(&o[n][i])
		}
	}
}

// log tells for each part of the way: forecasts, error of the median, nine of ten and the worst in minutes, part held, silent ones.
func (a *washTally) log(t *testing.T, name string) {
	for n, before := range washedBefore {
		for i, part := range judgedAt {
			j, line := &a[n][i], "no forecast"
			switch {
			case len(j.wrong)+j.mute == 0: // not asked
				continue
			case len(j.wrong) > 0:
				line = fmt.Sprintf("%3d forecasts, %4.0f / %4.0f / %4.0f min, held %3.0f %%", len(j.wrong), quantileOf(j.wrong, 0.5), quantileOf(j.wrong, 0.9), quantileOf(j.wrong, 1), 100*j.coverage())
			}
			t.Logf("%-13s %-18s at %.0f %%: %s, silent %d", name, before.name, 100*part, line, j.mute)
		}
	}
}

// judgedEstate washes lots one after the other.
type judgedEstate struct {
	lots   int
	until  float64                             // pH that is to be foreseen
	ready  func(lot int) (time.Duration, bool) // when it truly comes
	tank   func(lot int) soaking
	washed func(tank soaking, shown float64) bool // what the crew does, after the last forecast
}

// tanks are lots of an estate, each until the crew washes it, with forecasts on the way; the habit learns from each that came to its end as the electrode shows it.
func (a *washTally) tanks(e *judgedEstate) {
	habit := UsualHabit(Usual, 15*time.Hour)
	for lot := range e.lots {
		end, ever := e.ready(lot)
		if !ever {
			continue
		}
		w := watch{tank: e.tank(lot), souring: NewSouring(habit)}
		for i, part := range judgedAt {
			for w.now.Minutes() < part*end.Minutes() {
				w.minute()
			}
			f, why := w.souring.Until(e.until, units.Celsius(w.celsius), w.now)
			for n, before := range washedBefore {
				if habit.Tanks >= before.least && habit.Tanks <= before.most {
					a[n][i].take(f, why, end-w.now)
				}
			}
		}
		for !e.washed(w.tank, w.souring.last) && w.now < 3*end/2 {
			w.minute()
		}
		if w.souring.last <= e.until {
			habit = habit.With(w.souring, w.souring.Ended())
		}
	}
}

// washGrid asks about the estates of each law in each yard, tells by law, by yard and of all, and gives all.
func washGrid[Law, Yard interface {
	~uint8
	String() string
}](t *testing.T, laws Law, yards Yard, estates func(law Law, yard Yard, tally *washTally)) (all *washTally) {
	byLaw, byYard := make([]washTally, laws), make([]washTally, yards)
	cells := make([]washTally, int(laws)*int(yards))
	t.Run("laws", func(t *testing.T) {
		for law := range laws {
			for yard := range yards {
				t.Run(law.String()+"/"+yard.String(), func(t *testing.T) {
					t.Parallel()
					estates(law, yard, &cells[int(law)*int(yards)+int(yard)])
				})
			}
		}
	})
	all = &washTally{}
	for law := range laws {
		for yard := range yards {
			cell := &cells[int(law)*int(yards)+int(yard)]
			byLaw[law].add(cell)
			byYard[yard].add(cell)
			all.add(cell)
		}
		byLaw[law].log(t, law.String())
	}
	for yard := range yards {
		byYard[yard].log(t, yard.String())
	}
	all.log(t, "all")
	return all
}

// reaches holds against the least part held, in per cent, and the most minutes half way, by washedBefore, once all tanks were asked.
func (a *washTally) reaches(t *testing.T, want int, held float64, minutes [len(washedBefore)]float64) {
	if j := &a[0][0]; len(j.wrong)+j.mute < want {
		t.Logf("%d of %d tanks: a part of them proves nothing", len(j.wrong)+j.mute, want)
		return
	}
	for n, before := range washedBefore {
		for i, part := range judgedAt {
			if c := 100 * a[n][i].coverage(); !(c >= held) {
				t.Errorf("%s, at %.0f %%: the interval held %.0f %%, want %.0f", before.name, 100*part, c, held)
			}
		}
		if got := a[n][1].median(); !(got <= minutes[n]) {
			t.Errorf("%s, half way: every other forecast is wrong by more than %.0f min, want %.0f", before.name, got, minutes[n])
		}
	}
}
