package floor

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/gateway/web"
	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/models"
)

// openLots folds the book of lots from the record.
func (f *Floor) openLots() error {
	book, err := f.logbook.Lots(context.Background(), f.plan().Site.Zone)
	if err != nil {
		return fmt.Errorf("reading which lots stand where: %w", err)
	}
	for _, t := range book.Troubles() {
		f.log.Warn("an entry about a lot does not fit what was entered before", "entry", t.Entry, "cause", t.Says)
	}
	f.lots = book
	for _, s := range book.Standing() {
		f.stays[s.Station] = logbook.StayOf(&s)
	}
	f.entersLots.Store(len(book.Stays()) > 0)
	return nil
}

// Enter enters a step of a lot in the record, or refuses it with a *web.Refusal.
func (f *Floor) Enter(ctx context.Context, a web.Entering) (done web.Entered, err error) {
	if err := f.may(a.By, web.Tend); err != nil {
		return done, err
	}
	step := a.Step
	if err := f.kinds(&step); err != nil {
		return done, err
	}
	var refused error
	err = f.onFlow(ctx, func() { done, refused = f.enter(step, a.By) })
	return done, errors.Join(err, refused)
}

// kinds notes what kinds of stations a step names, so that the record can be read without the rules file; a station that is not in it is refused.
func (f *Floor) kinds(s *lots.Step) error {
	for _, named := range []struct {
		station string
		kind    *string
	}{{s.Station, &s.Kind}, {s.To, &s.ToKind}} {
		if named.station == "" {
			*named.kind = ""
			continue
		}
		kind, known := f.plan().kinds[named.station]
		if !known {
			return &web.Refusal{Kind: web.RefusedUnknown, Says: fmt.Sprintf("There is no station %q.", named.station)}
		}
		*named.kind = kind
	}
	if s.Instead != nil {
		instead := *s.Instead
		s.Instead = &instead
		return f.kinds(s.Instead)
	}
	return nil
}

// enter runs on the flow's goroutine.
func (f *Floor) enter(step lots.Step, by string) (web.Entered, error) {
	now := f.clock.Now()
	f.booking.Lock()
	before := f.lots.Standing()
	entered, warnings, err := f.logbook.Enter(f.lots, lots.Entry{At: now, Who: by, Step: step})
	after := f.lots.Standing()
	f.booking.Unlock()
	var refused *lots.Refusal
	if errors.As(err, &refused) {
		return web.Entered{}, &web.Refusal{Kind: refused.Kind, Says: refused.Says}
	}
	if err != nil {
		return web.Entered{}, fmt.Errorf("entering a lot: %w", err)
	}
	f.follow(f.moved(before, after, now))
	f.follow(f.momentsOf(&entered.Step, before, now))
	f.tellModels(&entered.Step, after, now)
	return web.Entered{Entry: entered.ID, Text: entered.Step.Text(), Look: warnings}, nil
}

// moved tells engine and models which stays ended and began between two looks at the book.
func (f *Floor) moved(before, after []lots.Stay, now reading.Stamp) (transitions []engine.Transition) {
	f.deciding.Lock()
	defer f.deciding.Unlock()
	for i := range before {
		if s := &before[i]; !stands(after, s) {
			delete(f.stays, s.Station)
			transitions = f.engine.Moment(s.Station+"/emptied", now, transitions)
			f.models.Empty(s.Station, now)
		}
	}
	for i := range after {
		if s := &after[i]; !stands(before, s) {
			f.entersLots.Store(true)
			f.stays[s.Station] = logbook.StayOf(s)
			transitions = f.engine.Moment(s.Station+"/loaded", now, transitions)
			f.models.Load(s.Station, s.Lot, s.From, now)
		}
	}
	return f.tickModels(now, transitions)
}

// tellModels hands on what a step says of moisture, and what parts and blends take along.
func (f *Floor) tellModels(s *lots.Step, standing []lots.Stay, now reading.Stamp) {
	moisture := s.Moisture
	if meter, err := lots.MeterOf(s.Meter); err == nil && s.Do == lots.Check {
		if read := f.meterRead(s, meter, standing); !read && meter.Quantity == units.Moisture {
			moisture = coffee.WetBasis(meter.Value)
		}
	}
	f.booking.Lock()
	if lot := f.lots.Lot(s.Lot); lot != nil && moisture == 0 && s.Do == lots.Weigh {
		moisture, _ = lot.MoistureByWeight()
	}
	f.booking.Unlock()
	f.deciding.Lock()
	defer f.deciding.Unlock()
	switch s.Do {
	case lots.Load, lots.Move, lots.Weigh, lots.Check:
		for i := range standing {
			if st := &standing[i]; moisture > 0 && (st.Lot == s.Lot || st.Station == s.Station) {
				f.models.Measure(st.Station, moisture, now)
			}
		}
	case lots.Split:
		for _, p := range s.Parts {
			f.models.Split(s.Lot, p.Lot)
		}
	case lots.Blend:
		parts := make([]models.Part, 0, len(s.Parts))
		for _, p := range s.Parts {
			parts = append(parts, models.Part{Lot: p.Lot, Kg: float64(p.Kg)})
		}
		f.models.Blend(s.Lot, parts...)
	}
}

// meterRead makes what a hand meter showed at a check a reading of the point that people enter there, if the station has one: said once, it counts by either way.
func (f *Floor) meterRead(s *lots.Step, meter units.Amount, standing []lots.Stay) (read bool) {
	at := s.Station
	for i := range standing {
		if at == "" && standing[i].Lot == s.Lot {
			at = standing[i].Station
		}
	}
	var meant *check.Point
	for i := range f.plan().Points {
		p := &f.plan().Points[i]
		switch {
		case p.Station != at || p.Quantity != meter.Quantity || !f.plan().entered[p.Name]:
		case meant != nil: // air or beans? Nobody said
			return false
		default:
			meant = p
		}
	}
	if meant == nil || meant.Range != nil && !(meter.Value >= meant.Range.Low && meter.Value <= meant.Range.High) {
		return false
	}
	f.take(meant, meter.Value)
	return true
}

// momentsOf tells engine and models what a step says of a station besides its stay: that it was checked by hand, that a tank was washed.
func (f *Floor) momentsOf(s *lots.Step, before []lots.Stay, now reading.Stamp) []engine.Transition {
	for i := range before {
		st := &before[i]
		switch {
		case s.Do == lots.Check && (st.Station == s.Station || s.Station == "" && st.Lot == s.Lot):
			return f.moment(st.Station, "hand-checked", now)
		case (s.Do == lots.Empty || s.Do == lots.Move) && st.Station == s.Station && st.Kind == "tank":
			return f.moment(st.Station, "washed", now)
		}
	}
	return nil
}

func (f *Floor) moment(station, name string, now reading.Stamp) []engine.Transition {
	f.deciding.Lock()
	defer f.deciding.Unlock()
	transitions := f.engine.Moment(station+"/"+name, now, nil)
	f.models.Moment(station, name, now)
	return f.tickModels(now, transitions)
}

// markable is what people do to a kind of station besides loading and emptying it; the moments that rules/check declares, without those that are found.
var markable = map[string][]string{
	"tank": {"hand-checked", "stirred", "washed"}, "deck": {"stirred", "covered", "uncovered"}, "dryer": {"stirred"}, "bin": {"turned", "hand-checked"},
	"store": {"hand-checked"}, "room": {"hand-checked"}, "huller": {"started", "stopped", "cleaned"}, "roaster": {"first-crack", "chaff-emptied", "ducts-cleaned"},
}

// mark writes down what was done to a station, and tells engine and models.
func (f *Floor) mark(ctx context.Context, a web.Act) error {
	kind, known := f.plan().kinds[a.Station]
	if !known {
		return &web.Refusal{Kind: web.RefusedUnknown, Says: fmt.Sprintf("There is no station %q.", a.Station)}
	}
	if !slices.Contains(markable[kind], a.What) {
		return &web.Refusal{Kind: web.RefusedInput, Says: fmt.Sprintf("A %s is not %q: write one of %s.", kind, a.What, strings.Join(markable[kind], ", "))}
	}
	var failed error
	err := f.onFlow(ctx, func() {
		now := f.clock.Now()
		f.deciding.Lock()
		lot := f.stays[a.Station].Lot
		f.deciding.Unlock()
		_, failed = f.logbook.Write(logbook.Entry{At: now, Kind: logbook.Note, Place: a.Station, Lot: lot, Who: a.By, Why: a.Why, Text: strings.ReplaceAll(a.What, "-", " ")})
		if failed == nil {
			f.follow(f.moment(a.Station, a.What, now))
		}
	})
	return errors.Join(err, failed)
}

// stands tells whether the same lot stands on the same station since the same time.
func stands(list []lots.Stay, s *lots.Stay) bool {
	for i := range list {
		if o := &list[i]; o.Station == s.Station && o.Lot == s.Lot && o.From.Wall.Equal(s.From.Wall) {
			return true
		}
	}
	return false
}

// Lots lists all lots, those last begun first.
func (f *Floor) Lots() []lots.Line {
	f.booking.Lock()
	defer f.booking.Unlock()
	return f.lots.Lines()
}

// Lot shows one lot whole.
func (f *Floor) Lot(name string) (lots.Shown, bool) {
	f.booking.Lock()
	defer f.booking.Unlock()
	return f.lots.Show(name)
}
