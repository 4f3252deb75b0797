package estate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/models"
)

const (
	// latelyHours before the estate begins its probes were read already: longer than a day, which forecasts of drying and means of bins want.
	latelyHours = 26
	// latelyStep is as long as its probes bear without being overdue.
	latelyStep = 20 * time.Second
	// coolNight is by how much a tank was cooler when it was filled than the truth reckons, K for each hour since; it is as warm as that says when it begins.
	coolNight = 0.26
	// dryerOpened is by how much the truth begins below the set point: somebody has just looked at the bed.
	dryerOpened = 3
)

// Lately plays the last day of all stations into history and models, as it led to the truth of NewTruth, so that the estate begins as one that has been watched. It wants what Begin wrote.
func Lately(folder string, plan *check.Plan, begins time.Time) (err error) {
	book, err := logbook.Open(folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, book.Close()) }()
	kept, err := history.Open(folder, history.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	l := &lately{book: book, history: kept, begins: begins, models: models.New(models.Of(plan)), last: map[string]reading.Reading{}, before: daysBefore(),
		noise: rand.New(rand.NewPCG(2, 0))} //nolint:gosec // what a probe adds
	if l.lots, err = book.Lots(context.Background(), plan.Site.Zone); err != nil {
		return err
	}
	if l.boot, err = book.NextBoot("the boot of yesterday", begins.Add(-latelyHours*time.Hour)); err != nil {
		return err
	}
	if err := l.play(); err != nil {
		return err
	}
	text, err := l.models.Save(l.now)
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(folder, floor.ModelsFile), text, 0o600)
}

// lately is that day while it is played.
type lately struct {
	book    *logbook.Logbook
	lots    *lots.Book
	history *history.History
	models  *models.Models
	begins  time.Time
	boot    uint32
	now     reading.Stamp
	before  [latelyHours * int64(time.Hour/latelyStep)]drying
	noise   *rand.Rand
	last    map[string]reading.Reading // kept of computed points
	pending []reading.Reading
}

// drying is how wet the coffee on deck and in dryer was.
type drying struct{ deck, dryer float64 }

// daysBefore goes back from the truth of the beginning, latest first.
func daysBefore() (list [latelyHours * int64(time.Hour/latelyStep)]drying) {
	t := NewTruth(beginHour, 0)
	for i := range list {
		t.Now -= latelyStep
		t.yard()
		t.Deck.shine(t.Yard, t.sun())
		t.Deck.dry(-latelyStep.Seconds(), t.sun())
		t.Dryer.dry(-latelyStep.Seconds())
		list[i] = drying{t.Deck.Moisture, t.Dryer.Moisture}
	}
	return list
}

// play lets the day pass.
func (l *lately) play() error {
	t := NewTruth(beginHour, 0)
	t.Now = -latelyHours * time.Hour
	l.models.Enters()
	stays := l.lots.Standing()
	for i := range slices.Backward(l.before[:]) {
		t.Now = -time.Duration(i+1) * latelyStep
		l.now = reading.Stamp{Wall: l.begins.Add(t.Now), Mono: t.Now + latelyHours*time.Hour + time.Hour, Boot: l.boot, Set: true}
		stays = slices.DeleteFunc(stays, func(s lots.Stay) bool {
			if s.From.Wall.After(l.now.Wall) {
				return false
			}
			l.models.Load(s.Station, s.Lot, s.From, l.now)
			return true
		})
		l.show(t, l.before[i])
		if t.Now%time.Minute == 0 { // as often as a computed point is kept
			l.compute()
		}
		if err := errors.Join(l.check(t), l.keep(5000)); err != nil {
			return err
		}
	}
	return l.keep(0)
}

// check is what the crew does at the dryer, which has no meter: a handful every eight hours.
func (l *lately) check(t *Truth) error {
	if (t.Now-time.Hour)%(8*time.Hour) != 0 || t.Dryer.Moisture > 40 { // above that no meter tells anything
		return nil
	}
	_, _, err := l.book.Enter(l.lots, lots.Entry{At: l.now, Who: "ben", Step: lots.Step{Do: lots.Check, Station: "dryer-1", Meter: fmt.Sprintf("%.1f %%wb", t.Dryer.Moisture)}})
	l.models.Measure("dryer-1", coffee.WetBasis(t.Dryer.Moisture), l.now)
	return err
}

// show reads all probes.
func (l *lately) show(t *Truth, d drying) {
	t.yard()
	t.Deck.Moisture, t.Dryer.Moisture = d.deck, d.dryer
	t.Deck.shine(t.Yard, t.sun())
	t.Deck.warm(latelyStep.Seconds(), t.sun())
	t.Dryer.Air = dryerSetpoint + 0.6*math.Sin(t.Now.Hours()*4) - dryerOpened*math.Exp(5*t.Now.Hours())
	for i, lot := range Lots[:len(t.Tanks)] {
		tank := Tank{PH: rinsePH, Celsius: t.Yard.Celsius}
		if soaked := time.Duration(lot.Hours*float64(time.Hour)) + t.Now; soaked >= 0 {
			tank = newTank(tankFresh[i], soaked)
			tank.Celsius -= coolNight * lot.Hours * (1 - math.Pow(soaked.Hours()/lot.Hours, 2))
		}
		l.sees(lot.Station+"/ph", units.PH, tank.PH, 0.01)
		l.sees(lot.Station+"/temperature", units.Temperature, tank.Celsius, 0.03)
	}
	l.sees("deck-a/air-temperature", units.Temperature, t.Deck.Air.Celsius, 0.02)
	l.sees("deck-a/air-humidity", units.Humidity, t.Deck.Air.Humidity, 0.1)
	l.sees("deck-a/moisture", units.Moisture, t.Deck.Moisture, 0.05)
	l.sees("deck-a/bean-temperature", units.Temperature, t.Deck.Bean, 0)
	l.sees("dryer-1/air-temperature", units.Temperature, t.Dryer.Air, 0.05)
	l.sees("dryer-1/air-humidity", units.Humidity, t.plenum().Humidity, 0)
	l.sees("dryer-1/exhaust-temperature", units.Temperature, t.Dryer.Air-9, 0.05)
	l.sees("dryer-1/fan", units.State, 1, 0)
	l.sees("dryer-1/burner", units.State, 1, 0)
	for i := range t.Bins {
		b, name := &t.Bins[i], Lots[i+4].Station
		l.sees(name+"/temperature", units.Temperature, b.Celsius, 0.03)
		l.sees(name+"/humidity", units.Humidity, b.Humidity, 0.2)
		l.sees(name+"/moisture", units.Moisture, b.Moisture, 0.02)
	}
	l.sees("roasted-store/temperature", units.Temperature, t.Store.Celsius, 0)
	l.sees("roasted-store/humidity", units.Humidity, t.Store.Humidity, 0.1)
	l.sees("roastery/co", units.Concentration, math.Round(t.CO), 0)
}

func (l *lately) sees(point string, q units.Quantity, v, deviation float64) {
	r := history.Round(reading.Reading{Point: point, Quantity: q, Value: v + l.noise.NormFloat64()*deviation, Stamp: l.now})
	l.models.Observe(&r)
	l.pending = append(l.pending, r)
}

// compute keeps computed points as the gateway does: where their quality changed, and once a minute.
func (l *lately) compute() {
	for _, r := range l.models.Tick(l.now, nil) {
		r = history.Round(r)
		if last, seen := l.last[r.Point]; seen && last.Quality == r.Quality && r.Stamp.Mono-last.Stamp.Mono < time.Minute {
			continue
		}
		l.last[r.Point] = r
		l.pending = append(l.pending, r)
	}
}

// keep writes what is pending, once it is more than so many.
func (l *lately) keep(most int) error {
	if len(l.pending) <= most {
		return nil
	}
	_, err := l.history.Append(l.pending)
	l.pending = l.pending[:0]
	return err
}
