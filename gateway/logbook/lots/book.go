package lots

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
)

// Stay is one lot's time on one station.
type Stay struct {
	Entry, EndEntry int64
	Station, Kind   string
	Lot             string
	From, To        reading.Stamp
	Ended           bool      // To holds
	Loaded          Kilograms // 0: not weighed
	Unloaded        Kilograms
	Who, EmptiedBy  string
	Note            string
}

// Weight is the lot on the scale.
type Weight struct {
	Entry    int64
	At       reading.Stamp
	Form     Form
	Kg       Kilograms
	Moisture coffee.WetBasis // 0: not measured
	Where    string          // what it is: "cherry taken in", "out of tank-1"
}

// Done is a step with its place in the record, and what became of it.
type Done struct {
	Entry
	Fixed *Fixed // nil: it holds as it was entered
}

// Fixed is the last correction of an entry.
type Fixed struct {
	Entry    int64
	Who, Why string
	Struck   bool // the step never was
	Step     Step // what holds instead
}

// standing is the entry as it holds.
func (d *Done) standing() Entry {
	e := d.Entry
	if d.Fixed != nil && !d.Fixed.Struck {
		e.Step = d.Fixed.Step
	}
	return e
}

// Lot is coffee traced as one, as the steps so far have made it.
type Lot struct {
	Name     string
	Began    reading.Stamp
	Form     Form
	Kg       Kilograms       // what is left of it; 0: not known
	Moisture coffee.WetBasis // last known; 0: not known
	Activity float64
	Used     bool // split, blended or roasted away
	Intakes  []Entry
	From     []Share // lots it was made of
	Into     []Share // lots made of it
	Stays    []Stay
	Weights  []Weight
	Checks   []Entry
	Hulled   []Entry
	Graded   []Entry
	Batches  []Batch
	Steps    []int64 // entries about it, oldest first
}

// Batch is one roast.
type Batch struct {
	Entry    int64
	At       reading.Stamp
	Name     string
	Station  string
	In, Out  Kilograms
	Step     Step // charge, first crack, drop, time, colour; empty where the batch was loaded and emptied
	Who      string
	Note     string
	ended    bool
	fromStay bool
}

// Share is what went from one lot into another.
type Share struct {
	Lot   string
	Entry int64
	At    reading.Stamp
	Kg    Kilograms
	Part  float64 // of the lot it was taken from, 0 to 1; 0: not known
	Blend bool
}

// Trouble is an entry of the record that the book cannot hold, and why.
type Trouble struct {
	Entry int64
	Says  string
}

// Book is all lots.
type Book struct {
	zone     *time.Location
	lots     map[string]*Lot
	order    []string
	standing map[string]string  // station to lot
	left     map[string]leaving // by station: what stood there last
	done     []Done
	at       map[int64]int // entry to its place in done
	troubles []Trouble
	righted  []Correction
	last     int64
	warnings []string // of the step that is taken
}

// leaving is the lot that left a station last.
type leaving struct {
	lot string
	at  reading.Stamp
}

// New is an empty book. Times in what it says are those of the zone; nil: UTC.
func New(zone *time.Location) *Book {
	if zone == nil {
		zone = time.UTC
	}
	return &Book{zone: zone, lots: map[string]*Lot{}, standing: map[string]string{}, left: map[string]leaving{}, at: map[int64]int{}}
}

// Last is the last entry the book has taken.
func (b *Book) Last() int64 { return b.last }

// Troubles are entries that could not be held: of older programs, or damaged.
func (b *Book) Troubles() []Trouble { return b.troubles }

// Lot gives a lot, nil if there is none. It is the book's own: it holds until the next step.
func (b *Book) Lot(name string) *Lot { return b.lots[name] }

// Lots gives all lots in the order in which they began.
func (b *Book) Lots() []*Lot {
	list := make([]*Lot, 0, len(b.order))
	for _, name := range b.order {
		list = append(list, b.lots[name])
	}
	return list
}

// Done gives an entry as it stands, false if there is none of that number.
func (b *Book) Done(id int64) (Done, bool) {
	i, ok := b.at[id]
	if !ok {
		return Done{}, false
	}
	return b.done[i], true
}

// Standing gives the stays that last, by station.
func (b *Book) Standing() []Stay {
	var list []Stay
	for _, station := range slices.Sorted(maps.Keys(b.standing)) {
		list = append(list, *b.stayAt(station))
	}
	return list
}

// StandingAt gives the stay that lasts on a station.
func (b *Book) StandingAt(station string) (Stay, bool) {
	if s := b.stayAt(station); s != nil {
		return *s, true
	}
	return Stay{}, false
}

func (b *Book) stayAt(station string) *Stay {
	lot := b.lots[b.standing[station]]
	if lot == nil {
		return nil
	}
	for i := len(lot.Stays) - 1; i >= 0; i-- {
		if s := &lot.Stays[i]; s.Station == station && !s.Ended {
			return s
		}
	}
	return nil
}

// Stays gives all stays in the order in which they began.
func (b *Book) Stays() []Stay {
	var list []Stay
	for _, name := range b.order {
		list = append(list, b.lots[name].Stays...)
	}
	slices.SortStableFunc(list, func(a, c Stay) int { return cmp.Compare(a.Entry, c.Entry) })
	return list
}

// Place is the stay of a lot that lasts, roasters apart: a batch is roasted while the rest stands in its bin. Nil: it stands nowhere.
func (l *Lot) Place() *Stay {
	for i := len(l.Stays) - 1; i >= 0; i-- {
		if s := &l.Stays[i]; !s.Ended && s.Kind != "roaster" {
			return s
		}
	}
	return nil
}

// Add takes an entry that stands in the record already. One that cannot be held is set down among the troubles, and the book goes on without it.
func (b *Book) Add(e Entry) {
	b.last = max(b.last, e.ID)
	if e.Step.Do == Correct {
		if err := b.correct(e); err != nil {
			b.troubles = append(b.troubles, Trouble{e.ID, err.Error()})
		}
		return
	}
	b.note(e)
	if err := b.take(&e); err != nil {
		b.troubles = append(b.troubles, Trouble{e.ID, err.Error()})
	}
}

func (b *Book) note(e Entry) {
	b.at[e.ID] = len(b.done)
	b.done = append(b.done, Done{Entry: e})
}

// Try checks a step that is about to be entered, with what should be looked at again though it is taken. It changes nothing.
func (b *Book) Try(e Entry) (warnings []string, err error) {
	if err := e.Step.Valid(); err != nil {
		return nil, err
	}
	inner := &e.Step
	if e.Step.Do == Correct && e.Step.Instead != nil {
		inner = e.Step.Instead
	}
	if err := inner.validTime(e.At.Wall, e.At.Set); err != nil {
		return nil, err
	}
	if e.Step.Do == Correct {
		next, err := b.corrected(e)
		if err != nil {
			return nil, err
		}
		return next.warnings, nil
	}
	scratch := b.copyFor(&e.Step)
	err = scratch.take(&e)
	return scratch.warnings, err
}

// copyFor is a book in which the step can be tried: the lots it may touch are copies.
func (b *Book) copyFor(s *Step) *Book {
	c := &Book{zone: b.zone, lots: maps.Clone(b.lots), standing: maps.Clone(b.standing), left: maps.Clone(b.left), order: slices.Clone(b.order), at: b.at, done: b.done}
	names := []string{s.Lot, b.standing[s.Station], b.standing[s.To]}
	for _, p := range s.Parts {
		names = append(names, p.Lot)
	}
	for _, name := range names {
		if lot := c.lots[name]; lot != nil {
			twin := *lot
			// What is changed in place is copied; what a trial appends lies behind the length of the lot's own slices, and is written over.
			twin.Stays, twin.Batches = slices.Clone(lot.Stays), slices.Clone(lot.Batches)
			c.lots[name] = &twin
		}
	}
	return c
}

// when is a time of day for people, with its date where it is not that of the step.
func (b *Book) when(at, now reading.Stamp) string {
	t := at.Wall.In(b.zone)
	if now.Wall.Sub(at.Wall).Abs() < 18*time.Hour {
		return t.Format("15:04")
	}
	return t.Format("2 January 15:04")
}

func kilograms(kg Kilograms) string { return fmt.Sprintf("%.4g kg", float64(kg)) }
