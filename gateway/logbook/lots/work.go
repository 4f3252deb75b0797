package lots

import (
	"fmt"
	"slices"

	"millwarden/internal/coffee"
	"millwarden/internal/units"
)

// check sets down what a hand, a tooth or a hand meter found.
func (b *Book) check(e *Entry) error {
	s := &e.Step
	name := s.Lot
	if s.Station != "" {
		stay := b.stayAt(s.Station)
		switch {
		case stay == nil && name == "":
			return state("No lot stands in %s: say which lot was checked.", s.Station)
		case stay != nil && name != "" && stay.Lot != name:
			return state("Lot %s stands in %s, not %s.", stay.Lot, s.Station, name)
		case stay != nil:
			name = stay.Lot
		}
	}
	lot := b.lots[name]
	if lot == nil {
		return unknown("There is no lot %s.", name)
	}
	if a, err := MeterOf(s.Meter); err == nil {
		switch a.Quantity {
		case units.Moisture:
			lot.Moisture = coffee.WetBasis(a.Value)
		case units.WaterActivity:
			lot.Activity = a.Value
		}
	}
	lot.Checks = append(lot.Checks, *e)
	lot.stepped(e)
	return nil
}

// Bounds for warnings; what lies outside is taken, and asked about. [trade.md: outturn 0.78 to 0.84; dried cherry to green 0.5 of the ICO; roast loss 14 to 20 %]
const (
	leastLoss = 8.0  // % in the roaster; chosen: the lightest roasts lose 11 to 12
	mostLoss  = 22.0 // %; chosen: the darkest lose 20
)

func (b *Book) hull(e *Entry) error {
	s := &e.Step
	lot, err := b.find(s.Lot)
	if err != nil {
		return err
	}
	switch {
	case lot.Form == Green || lot.Form == Roasted:
		return state("Lot %s is %s already.", lot.Name, lot.Form)
	case lot.Form == Cherry || lot.Form == Pulped:
		return state("Lot %s is %s: it is hulled once it is dry.", lot.Name, lot.Form)
	}
	if place := lot.Place(); place != nil && place.Kind != "huller" {
		return state("Lot %s stands in %s: empty that first.", lot.Name, place.Station)
	}
	in := s.In
	if in == 0 {
		in = lot.Kg
	}
	switch {
	case lot.Kg > 0 && in > lot.most(lot.Kg):
		return state("Only %s of %s are there.", kilograms(lot.Kg), lot.Name)
	case lot.Kg > 0 && in < lot.Kg*(1-scalePart)-scaleKg:
		return state("%s of %s are hulled, and the rest is not: split it first.", kilograms(in), kilograms(lot.Kg))
	case in > 0 && s.Kg > in:
		return state("%s cannot come of %s.", kilograms(s.Kg), kilograms(in))
	}
	if part, usual := coffee.Outturn(float64(in), float64(s.Kg)); in > 0 && lot.Form != DriedCherry && !usual {
		b.warn("%.1f %% of the parchment is green; 78 to 84 %% is usual. Weigh again.", 100*part)
	}
	if s.In > 0 {
		lot.Weights = append(lot.Weights, Weight{Entry: e.ID, At: e.when(), Form: lot.Form, Kg: s.In, Where: "to the huller"})
		lot.Kg = s.In
	}
	if lot.Form == WetParchment || lot.Form == "" {
		lot.Form = Parchment
	}
	hulled := *e
	hulled.Step.In = in
	lot.Form = Green
	if s.Activity > 0 {
		lot.Activity = s.Activity
	}
	lot.Kg = 0 // husk is gone: what is green is not compared with parchment twice
	_ = b.weighed(lot, e, s.Kg, s.Moisture, "hulled")
	lot.Hulled = append(lot.Hulled, hulled)
	lot.stepped(e)
	return nil
}

func (b *Book) grade(e *Entry) error {
	s := &e.Step
	lot, err := b.find(s.Lot)
	if err != nil {
		return err
	}
	if lot.Form != Green && lot.Form != "" {
		return state("Lot %s is %s: green is graded.", lot.Name, lot.Form)
	}
	sum := s.Below
	for _, screen := range s.Screens {
		sum += screen.Kg
	}
	if !s.Sample && lot.Kg > 0 && sum > lot.most(lot.Kg) {
		return state("The screens hold %s, and %s are there. Is it a sample?", kilograms(sum), kilograms(lot.Kg))
	}
	if s.Moisture > 0 {
		lot.Moisture = s.Moisture
	}
	if s.Activity > 0 {
		lot.Activity = s.Activity
	}
	lot.Graded = append(lot.Graded, *e)
	lot.stepped(e)
	return nil
}

func (b *Book) roast(e *Entry) error {
	s := &e.Step
	lot, err := b.find(s.Lot)
	if err != nil {
		return err
	}
	switch {
	case lot.Form != Green && lot.Form != "":
		return state("Lot %s is %s: hull it before it is roasted.", lot.Name, lot.name())
	case lot.Kg > 0 && s.In > lot.most(lot.Kg):
		return state("Only %s of %s are left.", kilograms(lot.Kg), lot.Name)
	case s.Kg > s.In:
		return state("%s cannot come of %s.", kilograms(s.Kg), kilograms(s.In))
	case s.Batch != "" && slices.ContainsFunc(lot.Batches, func(x Batch) bool { return x.Name == s.Batch }):
		return state("There is a batch %s of %s already.", s.Batch, lot.Name)
	}
	batch := Batch{Entry: e.ID, At: e.when(), Name: s.Batch, Station: s.Station, In: s.In, Step: *s, Who: e.Who, Note: s.Note}
	if batch.Name == "" {
		batch.Name = nextBatch(lot)
	}
	lot.Batches = append(lot.Batches, batch)
	b.finish(lot, &lot.Batches[len(lot.Batches)-1], s.Kg)
	lot.stepped(e)
	return nil
}

// endBatch ends the batch that was loaded into a roaster.
func (b *Book) endBatch(lot *Lot, e *Entry, out Kilograms) error {
	for i := len(lot.Batches) - 1; i >= 0; i-- {
		batch := &lot.Batches[i]
		if !batch.fromStay || batch.ended || batch.Station != e.Step.Station {
			continue
		}
		if out > 0 && batch.In > 0 && out > batch.In {
			return state("%s cannot come of %s.", kilograms(out), kilograms(batch.In))
		}
		b.finish(lot, batch, out)
		return nil
	}
	return nil
}

// finish takes a batch out of its lot.
func (b *Book) finish(lot *Lot, batch *Batch, out Kilograms) {
	batch.Out, batch.ended = out, true
	if out > 0 && batch.In > 0 {
		if loss := 100 * (1 - float64(out/batch.In)); loss < leastLoss || loss > mostLoss {
			b.warn("The batch lost %.1f %% of its weight; 12 to 20 %% is usual. Weigh again.", loss)
		}
	}
	if lot.Kg == 0 || batch.In == 0 {
		return
	}
	if lot.Kg -= batch.In; lot.Kg <= scaleKg {
		lot.Kg, lot.Used, lot.Form = 0, true, Roasted
	}
}

// nextBatch names a batch by its number in the lot.
func nextBatch(l *Lot) string { return fmt.Sprintf("%s-%d", l.Name, len(l.Batches)+1) }

// Roasted is what went into the roaster and what came out, of the batches whose two weights are known.
func (l *Lot) Roasted() (in, out Kilograms) {
	for i := range l.Batches {
		if b := &l.Batches[i]; b.ended && b.In > 0 && b.Out > 0 {
			in += b.In
			out += b.Out
		}
	}
	return in, out
}
