package lots

import (
	"slices"

	"millwarden/internal/reading"
)

// The lot as it is shown by the page's interface. Times are Unix milliseconds of the wall clock; 0 is none, and what is not known is left out.

// Line is a lot in a list.
type Line struct {
	Lot      string    `json:"lot"`
	Began    int64     `json:"began"`
	Form     Form      `json:"form,omitempty"`
	Kg       Kilograms `json:"kg,omitempty"`
	Moisture float64   `json:"moisture,omitempty"` // %wb
	Activity float64   `json:"aw,omitempty"`
	Used     bool      `json:"used"` // nothing is left of it
	Station  string    `json:"station,omitempty"`
	Since    int64     `json:"since,omitempty"`
	From     []string  `json:"from"` // lots it was made of
	Into     []string  `json:"into"` // lots made of it
	Last     int64     `json:"last"` // when it was last touched
}

// Shown is one lot whole.
type Shown struct {
	Line
	Stays   []ShownStay   `json:"stays"`
	Weights []ShownWeight `json:"weights"`
	Batches []ShownBatch  `json:"batches"`
	Steps   []ShownStep   `json:"steps"`       // every entry about it, as it was entered, with what became of it
	Righted []ShownRight  `json:"corrections"` // the entries that corrected them, each for itself, oldest first
	Yield   Yield         `json:"yield"`
}

// ShownStay is one stay.
type ShownStay struct {
	Entry     int64     `json:"entry"`
	Station   string    `json:"station"`
	Kind      string    `json:"kind,omitempty"`
	From      int64     `json:"from"`
	To        int64     `json:"to,omitempty"`
	Loaded    Kilograms `json:"loaded,omitempty"`
	Unloaded  Kilograms `json:"unloaded,omitempty"`
	Who       string    `json:"who"`
	EmptiedBy string    `json:"emptiedBy,omitempty"`
	Note      string    `json:"note,omitempty"`
}

// ShownWeight is one weighing.
type ShownWeight struct {
	Entry    int64     `json:"entry"`
	At       int64     `json:"at"`
	Form     Form      `json:"form,omitempty"`
	Kg       Kilograms `json:"kg,omitempty"`
	Moisture float64   `json:"moisture,omitempty"`
	Where    string    `json:"where"`
}

// ShownBatch is one roast.
type ShownBatch struct {
	Entry   int64     `json:"entry"`
	At      int64     `json:"at"`
	Batch   string    `json:"batch"`
	Station string    `json:"station,omitempty"`
	In      Kilograms `json:"in,omitempty"`
	Out     Kilograms `json:"out,omitempty"`
	Loss    float64   `json:"loss,omitempty"` // %
	Charge  float64   `json:"charge,omitempty"`
	Crack   float64   `json:"firstCrack,omitempty"`
	CrackAt int       `json:"firstCrackAt,omitempty"`
	Drop    float64   `json:"drop,omitempty"`
	Seconds int       `json:"seconds,omitempty"`
	Colour  string    `json:"colour,omitempty"`
	Who     string    `json:"who"`
}

// ShownRight is an entry that corrected another one.
type ShownRight struct {
	Entry int64  `json:"entry"`
	Of    int64  `json:"of"`
	At    int64  `json:"at"` // when it was entered
	Who   string `json:"who"`
	Text  string `json:"text"`
	Was   string `json:"was"` // what held before it
	Why   string `json:"why,omitempty"`
}

// ShownStep is one entry.
type ShownStep struct {
	Entry       int64  `json:"entry"`
	At          int64  `json:"at"`      // when it was done
	Entered     int64  `json:"entered"` // when it was entered
	Who         string `json:"who"`
	Text        string `json:"text"`
	Note        string `json:"note,omitempty"`
	CorrectedBy int64  `json:"correctedBy,omitempty"` // by that entry; the step is the one that holds
	Corrector   string `json:"corrector,omitempty"`
	Why         string `json:"why,omitempty"`
	Was         string `json:"was,omitempty"` // the text before the correction
	Struck      bool   `json:"struck,omitempty"`
	Step        Step   `json:"step"`
}

func milliseconds(s reading.Stamp) int64 {
	if s.Wall.IsZero() {
		return 0
	}
	return s.Wall.UnixMilli()
}

// Line shows a lot in a list.
func (b *Book) Line(l *Lot) Line {
	line := Line{Lot: l.Name, Began: milliseconds(l.Began), Form: l.Form, Kg: l.Kg, Moisture: float64(l.Moisture), Activity: l.Activity, Used: l.Used, From: []string{}, Into: []string{}}
	if place := l.Place(); place != nil {
		line.Station, line.Since = place.Station, milliseconds(place.From)
	}
	for _, s := range l.From {
		line.From = append(line.From, s.Lot)
	}
	for _, s := range l.Into {
		if !slices.Contains(line.Into, s.Lot) {
			line.Into = append(line.Into, s.Lot)
		}
	}
	if n := len(l.Steps); n > 0 {
		if d, ok := b.Done(l.Steps[n-1]); ok {
			held := d.standing()
			line.Last = milliseconds(held.when())
		}
	}
	return line
}

// Lines shows all lots, those last begun first.
func (b *Book) Lines() []Line {
	list := make([]Line, 0, len(b.order))
	for _, name := range b.order {
		list = append(list, b.Line(b.lots[name]))
	}
	slices.Reverse(list)
	return list
}

// Show shows one lot whole, false if there is none.
func (b *Book) Show(name string) (Shown, bool) {
	l := b.lots[name]
	if l == nil {
		return Shown{}, false
	}
	shown := Shown{Line: b.Line(l), Stays: []ShownStay{}, Weights: []ShownWeight{}, Batches: []ShownBatch{}, Steps: b.Steps(name), Righted: []ShownRight{}, Yield: b.Yield(name)}
	for i := range b.righted {
		if c := &b.righted[i]; slices.ContainsFunc(shown.Steps, func(s ShownStep) bool { return s.Entry == c.Of }) {
			shown.Righted = append(shown.Righted, ShownRight{c.ID, c.Of, milliseconds(c.At), c.Who, c.Text, c.Was, c.Step.Note})
		}
	}
	for i := range l.Stays {
		s := &l.Stays[i]
		stay := ShownStay{Entry: s.Entry, Station: s.Station, Kind: s.Kind, From: milliseconds(s.From), Loaded: s.Loaded, Unloaded: s.Unloaded, Who: s.Who, EmptiedBy: s.EmptiedBy, Note: s.Note}
		if s.Ended {
			stay.To = milliseconds(s.To)
		}
		shown.Stays = append(shown.Stays, stay)
	}
	for i := range l.Weights {
		w := &l.Weights[i]
		shown.Weights = append(shown.Weights, ShownWeight{w.Entry, milliseconds(w.At), w.Form, w.Kg, float64(w.Moisture), w.Where})
	}
	for i := range l.Batches {
		x := &l.Batches[i]
		s := ShownBatch{Entry: x.Entry, At: milliseconds(x.At), Batch: x.Name, Station: x.Station, In: x.In, Out: x.Out, Charge: x.Step.Charge, Crack: x.Step.Crack,
			CrackAt: x.Step.CrackAt, Drop: x.Step.Drop, Seconds: x.Step.Seconds, Colour: x.Step.Colour, Who: x.Who}
		if x.In > 0 && x.Out > 0 {
			s.Loss = 100 * (1 - float64(x.Out/x.In))
		}
		shown.Batches = append(shown.Batches, s)
	}
	return shown, true
}

// Steps gives every entry about a lot, also those that were struck, oldest first.
func (b *Book) Steps(name string) []ShownStep {
	list := []ShownStep{}
	for i := range b.done {
		d := &b.done[i]
		if !b.about(d, name) {
			continue
		}
		held := d.standing()
		s := ShownStep{Entry: d.ID, At: milliseconds(held.when()), Entered: milliseconds(d.At), Who: d.Who, Text: held.Step.Text(), Note: held.Step.Note, Step: held.Step}
		if f := d.Fixed; f != nil {
			s.CorrectedBy, s.Corrector, s.Why, s.Struck = f.Entry, f.Who, f.Why, f.Struck
			if !f.Struck {
				s.Was = d.Step.Text()
			}
		}
		list = append(list, s)
	}
	return list
}

func (b *Book) about(d *Done, name string) bool {
	held := d.standing()
	for _, s := range []*Step{&held.Step, &d.Step} {
		if s.Lot == name || slices.ContainsFunc(s.Parts, func(p Part) bool { return p.Lot == name }) {
			return true
		}
	}
	lot := b.lots[name]
	return lot != nil && slices.Contains(lot.Steps, d.ID)
}
