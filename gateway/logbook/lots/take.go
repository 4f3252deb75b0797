package lots

import (
	"fmt"
	"math"
	"slices"

	"millwarden/internal/coffee"
)

func state(format string, args ...any) error {
	return &Refusal{RefusedState, fmt.Sprintf(format, args...)}
}

func unknown(format string, args ...any) error {
	return &Refusal{RefusedUnknown, fmt.Sprintf(format, args...)}
}

// warn says what should be looked at again, though it is taken.
func (b *Book) warn(format string, args ...any) {
	b.warnings = append(b.warnings, fmt.Sprintf(format, args...))
}

// take lets a step happen, or refuses it and leaves the book as it was.
func (b *Book) take(e *Entry) error {
	switch e.Step.Do {
	case Intake:
		return b.intake(e)
	case Load:
		return b.load(e, e.Step.Station, e.Step.Kind)
	case Empty:
		return b.empty(e)
	case Move:
		return b.move(e)
	case Split:
		return b.split(e)
	case Blend:
		return b.blend(e)
	case Weigh:
		return b.weigh(e)
	case Check:
		return b.check(e)
	case Hull:
		return b.hull(e)
	case Grade:
		return b.grade(e)
	case Roast:
		return b.roast(e)
	}
	return input("There is no act %q.", e.Step.Do)
}

// begin gives a lot, made now where there is none.
func (b *Book) begin(e *Entry, name string) *Lot {
	if lot := b.lots[name]; lot != nil {
		return lot
	}
	lot := &Lot{Name: name, Began: e.when()}
	b.lots[name] = lot
	b.order = append(b.order, name)
	return lot
}

// find gives a lot of which something is left.
func (b *Book) find(name string) (*Lot, error) {
	lot := b.lots[name]
	switch {
	case lot == nil:
		return nil, unknown("There is no lot %s.", name)
	case lot.Used:
		return nil, state("Nothing is left of %s: %s.", name, lot.went())
	}
	return lot, nil
}

func (l *Lot) went() string {
	if len(l.Into) > 0 {
		return "it went into " + l.Into[len(l.Into)-1].Lot
	}
	return "it is roasted"
}

// The scale may differ between two weighings. Chosen: 2 % and half a kilogram, what a mill's hanging scale and a wet sack make.
const (
	scalePart = 0.02
	scaleKg   = 0.5
)

func (l *Lot) most(kg Kilograms) Kilograms { return kg*(1+scalePart) + scaleKg }

// weighed sets a weight down. Coffee loses weight on its way; it does not gain any.
func (b *Book) weighed(l *Lot, e *Entry, kg Kilograms, moisture coffee.WetBasis, where string) error {
	if kg > 0 && l.Kg > 0 && kg > l.most(l.Kg) {
		return state("%s weighed %s before and cannot weigh %s now: weigh it again, or correct the earlier weight (entry %d).", l.Name, kilograms(l.Kg), kilograms(kg), l.lastWeight())
	}
	if kg == 0 && moisture == 0 {
		return nil
	}
	if kg > 0 {
		l.Kg = kg
	}
	if moisture > 0 {
		l.Moisture = moisture
	}
	l.Weights = append(l.Weights, Weight{Entry: e.ID, At: e.when(), Form: l.Form, Kg: kg, Moisture: moisture, Where: where})
	return nil
}

func (l *Lot) lastWeight() int64 {
	for i := len(l.Weights) - 1; i >= 0; i-- {
		if l.Weights[i].Kg > 0 {
			return l.Weights[i].Entry
		}
	}
	return 0
}

func (l *Lot) stepped(e *Entry) { l.Steps = append(l.Steps, e.ID) }

func (b *Book) intake(e *Entry) error {
	s := &e.Step
	if lot := b.lots[s.Lot]; lot != nil {
		switch {
		case lot.Used:
			return state("Nothing is left of %s: %s. Give the new cherry its own name.", s.Lot, lot.went())
		case len(lot.Stays) > 0 || lot.Form != Cherry:
			return state("%s is on its way already: give the new cherry its own name.", s.Lot)
		}
	}
	lot := b.begin(e, s.Lot)
	lot.Form = Cherry
	lot.Intakes = append(lot.Intakes, *e)
	lot.Kg += s.Kg
	lot.Weights = append(lot.Weights, Weight{Entry: e.ID, At: e.when(), Form: Cherry, Kg: s.Kg, Moisture: s.Moisture, Where: "cherry taken in"})
	lot.stepped(e)
	return nil
}

// formOn is what coffee is once it stands on a kind of station. Where a lot was never taken in, the station tells.
func formOn(f Form, kind string) Form {
	switch kind {
	case "tank":
		if f == Cherry || f == "" {
			return Pulped
		}
	case "deck", "dryer":
		if f == "" || f == Pulped {
			return WetParchment
		}
	case "huller":
		if f == "" {
			return Parchment
		}
	case "roaster":
		if f == "" {
			return Green
		}
	}
	return f
}

// formOff is what coffee is once it came off a kind of station.
func formOff(f Form, kind string) Form {
	switch {
	case kind == "tank" && f == Pulped:
		return WetParchment
	case (kind == "deck" || kind == "dryer") && f == WetParchment:
		return Parchment
	case (kind == "deck" || kind == "dryer") && f == Cherry:
		return DriedCherry
	}
	return f
}

func (b *Book) load(e *Entry, station, kind string) error {
	s := &e.Step
	name := s.Lot
	if stay := b.stayAt(station); stay != nil {
		return state("Lot %s stands in %s since %s: empty it first.", stay.Lot, station, b.when(stay.From, e.when()))
	}
	if err := b.after(e, station); err != nil {
		return err
	}
	if lot := b.lots[name]; lot != nil {
		if lot.Used {
			return state("Nothing is left of %s: %s.", name, lot.went())
		}
		if place := lot.Place(); place != nil && kind != "roaster" {
			return state("Lot %s stands in %s since %s, and cannot be in two places: move it, or split it first.", name, place.Station, b.when(place.From, e.when()))
		}
		if kind == "roaster" && lot.Form != Green && lot.Form != "" {
			return state("Lot %s is %s: hull it before it is roasted.", name, lot.Form)
		}
	} else {
		b.warn("Nobody has entered where the cherry of %s came from.", name)
	}
	lot := b.begin(e, name)
	before := lot.Form
	lot.Form = formOn(lot.Form, kind)
	if kind == "roaster" {
		if s.Kg > 0 && lot.Kg > 0 && s.Kg > lot.most(lot.Kg) {
			lot.Form = before
			return state("Only %s of %s are left.", kilograms(lot.Kg), name)
		}
		lot.Batches = append(lot.Batches, Batch{Entry: e.ID, At: e.when(), Name: nextBatch(lot), Station: station, In: s.Kg, Who: e.Who, Note: s.Note, fromStay: true})
	} else if err := b.weighed(lot, e, s.Kg, s.Moisture, "into "+station); err != nil {
		lot.Form = before
		return err
	}
	lot.Stays = append(lot.Stays, Stay{Entry: e.ID, Station: station, Kind: kind, Lot: name, From: e.when(), Loaded: s.Kg, Who: e.Who, Note: s.Note})
	b.standing[station] = name
	lot.stepped(e)
	return nil
}

// after checks that a station was free by then.
func (b *Book) after(e *Entry, station string) error {
	left, known := b.left[station]
	if at := e.when(); known && left.at.Set && at.Set && left.at.Wall.After(at.Wall) {
		return state("Lot %s stood in %s until %s.", left.lot, station, b.when(left.at, at))
	}
	return nil
}

func (b *Book) empty(e *Entry) error {
	s := &e.Step
	stay := b.stayAt(s.Station)
	if stay == nil {
		return state("No lot stands in %s.", s.Station)
	}
	if s.Lot != "" && s.Lot != stay.Lot {
		return state("Lot %s stands in %s, not %s.", stay.Lot, s.Station, s.Lot)
	}
	if at := e.when(); at.Set && stay.From.Set && at.Wall.Before(stay.From.Wall) {
		return state("Lot %s was loaded into %s at %s: it cannot come out before.", stay.Lot, s.Station, b.when(stay.From, at))
	}
	lot := b.lots[stay.Lot]
	if stay.Kind == "roaster" {
		if err := b.endBatch(lot, e, s.Kg); err != nil {
			return err
		}
	} else {
		before := lot.Form
		lot.Form = formOff(lot.Form, stay.Kind)
		if err := b.weighed(lot, e, s.Kg, s.Moisture, "out of "+s.Station); err != nil {
			lot.Form = before
			return err
		}
	}
	stay.Ended, stay.To, stay.EndEntry, stay.Unloaded, stay.EmptiedBy = true, e.when(), e.ID, s.Kg, e.Who
	if s.Note != "" && stay.Note != "" {
		stay.Note += "\n"
	}
	stay.Note += s.Note
	delete(b.standing, s.Station)
	b.left[s.Station] = leaving{stay.Lot, stay.To}
	lot.stepped(e)
	return nil
}

// move is an emptying and a loading in one.
func (b *Book) move(e *Entry) error {
	s := &e.Step
	stay := b.stayAt(s.Station)
	if stay == nil {
		return state("No lot stands in %s.", s.Station)
	}
	if other := b.stayAt(s.To); other != nil {
		return state("Lot %s stands in %s since %s: empty it first.", other.Lot, s.To, b.when(other.From, e.when()))
	}
	if stay.Kind == "roaster" || s.ToKind == "roaster" {
		return input("A roaster is loaded and emptied: its batch is a part of the lot.")
	}
	name := stay.Lot
	if err := b.empty(e); err != nil {
		return err
	}
	next := *e
	next.Step.Lot, next.Step.Kg, next.Step.Moisture, next.Step.Note = name, 0, 0, ""
	err := b.load(&next, s.To, s.ToKind)
	if err == nil {
		lot := b.lots[name]
		lot.Stays[len(lot.Stays)-1].Loaded = s.Kg
		lot.Steps = lot.Steps[:len(lot.Steps)-1] // one step, not two
	}
	return err
}

func (b *Book) split(e *Entry) error {
	s := &e.Step
	lot, err := b.find(s.Lot)
	if err != nil {
		return err
	}
	sum, rest := Kilograms(0), 0
	for _, p := range s.Parts {
		if b.lots[p.Lot] != nil {
			return state("There is a lot %s already: give the part a name of its own.", p.Lot)
		}
		sum += p.Kg
		if p.Kg == 0 {
			rest++
		}
	}
	switch {
	case rest > 1 || rest == 1 && lot.Kg == 0:
		return input("Say what each part weighs; only the last may be what is left, and only of a lot that was weighed.")
	case lot.Kg > 0 && sum > lot.most(lot.Kg):
		return state("The parts weigh %s, and %s are there.", kilograms(sum), kilograms(lot.Kg))
	case rest == 1 && sum >= lot.Kg:
		return state("Nothing is left for the last part: the others weigh %s of %s.", kilograms(sum), kilograms(lot.Kg))
	}
	whole := rest == 1 || lot.Kg > 0 && sum >= lot.Kg*(1-scalePart)-scaleKg
	if place := lot.Place(); whole && place != nil {
		return state("All of %s goes into the parts, and it stands in %s: empty that first.", lot.Name, place.Station)
	}
	total := lot.Kg
	for _, p := range s.Parts {
		if p.Kg == 0 {
			p.Kg = total - sum
		}
		b.part(e, lot, p, total)
	}
	lot.Kg = max(0, lot.Kg-sum)
	if whole {
		lot.Kg, lot.Used = 0, true
	}
	lot.stepped(e)
	return nil
}

// part makes a lot of a part of another.
func (b *Book) part(e *Entry, of *Lot, p Part, total Kilograms) {
	made := b.begin(e, p.Lot)
	made.Form, made.Kg, made.Moisture, made.Activity = of.Form, p.Kg, of.Moisture, of.Activity
	share := Share{Lot: of.Name, Entry: e.ID, At: e.when(), Kg: p.Kg}
	if total > 0 {
		share.Part = math.Min(1, float64(p.Kg/total))
	}
	made.From = append(made.From, share)
	made.Weights = append(made.Weights, Weight{Entry: e.ID, At: e.when(), Form: of.Form, Kg: p.Kg, Where: "split from " + of.Name})
	made.stepped(e)
	share.Lot = p.Lot
	of.Into = append(of.Into, share)
}

func (b *Book) blend(e *Entry) error {
	s := &e.Step
	if b.lots[s.Lot] != nil {
		return state("There is a lot %s already: give the blend a name of its own.", s.Lot)
	}
	parts, sources, err := b.blended(s)
	if err != nil {
		return err
	}
	mix := coffee.Blend(parts...)
	made := b.begin(e, s.Lot)
	made.Form = sources[0].Form
	known := true
	for i, lot := range sources {
		known = known && parts[i].Kilograms > 0
		kg := Kilograms(parts[i].Kilograms)
		share := Share{Lot: lot.Name, Entry: e.ID, At: e.when(), Kg: kg, Blend: true}
		if lot.Kg > 0 {
			share.Part = math.Min(1, float64(kg/lot.Kg))
		}
		made.From = append(made.From, share)
		share.Lot = s.Lot
		lot.Into = append(lot.Into, share)
		if s.Parts[i].Kg == 0 || kg >= lot.Kg*(1-scalePart)-scaleKg {
			lot.Used, lot.Kg = true, 0
		} else {
			lot.Kg -= kg
		}
		lot.stepped(e)
	}
	if known {
		made.Kg = Kilograms(mix.Kilograms)
		if !slices.ContainsFunc(parts, func(p coffee.Part) bool { return p.Moisture == 0 }) {
			made.Moisture = mix.Moisture
		}
	}
	if err := b.weighed(made, e, s.Kg, s.Moisture, "blended"); err != nil {
		return err
	}
	if s.Kg == 0 && s.Moisture == 0 {
		made.Weights = append(made.Weights, Weight{Entry: e.ID, At: e.when(), Form: made.Form, Kg: made.Kg, Where: "blended"})
	}
	made.stepped(e)
	return nil
}

// blended checks the lots of a blend, and gives each with its weight and moisture.
func (b *Book) blended(s *Step) (parts []coffee.Part, sources []*Lot, err error) {
	sum := Kilograms(0)
	for _, p := range s.Parts {
		lot, err := b.find(p.Lot)
		if err != nil {
			return nil, nil, err
		}
		if place := lot.Place(); p.Kg == 0 && place != nil {
			return nil, nil, state("All of %s goes into the blend, and it stands in %s: empty that first, or say how much.", lot.Name, place.Station)
		}
		if p.Kg > 0 && lot.Kg > 0 && p.Kg > lot.most(lot.Kg) {
			return nil, nil, state("Only %s of %s are left.", kilograms(lot.Kg), lot.Name)
		}
		if len(sources) > 0 && sources[0].Form != lot.Form {
			return nil, nil, state("%s is %s and %s is %s: they can be blended once they are the same.", sources[0].Name, sources[0].name(), lot.Name, lot.name())
		}
		kg := p.Kg
		if kg == 0 {
			kg = lot.Kg
		}
		sum += kg
		sources = append(sources, lot)
		parts = append(parts, coffee.Part{Kilograms: float64(kg), Moisture: lot.Moisture})
	}
	if s.Kg > 0 && sum > 0 && s.Kg > (&Lot{}).most(sum) {
		return nil, nil, state("The parts weigh %s, and the blend cannot weigh %s.", kilograms(sum), kilograms(s.Kg))
	}
	return parts, sources, nil
}

func (l *Lot) name() string {
	if l.Form == "" {
		return "nobody knows what"
	}
	return string(l.Form)
}

func (b *Book) weigh(e *Entry) error {
	lot, err := b.find(e.Step.Lot)
	if err != nil {
		return err
	}
	if err := b.weighed(lot, e, e.Step.Kg, e.Step.Moisture, "weighed"); err != nil {
		return err
	}
	lot.stepped(e)
	return nil
}
