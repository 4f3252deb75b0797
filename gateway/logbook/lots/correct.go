package lots

import "fmt"

// Correction is an entry that puts an older one right. The older one stays in the record as it was entered.
type Correction struct {
	Entry
	Of   int64
	Text string // what holds since
	Was  string // what held before; of a correction of a correction that of the one before
}

// correct puts an entry right.
func (b *Book) correct(e Entry) error {
	next, err := b.corrected(e)
	if err != nil {
		return err
	}
	last := max(b.last, e.ID)
	*b = *next
	b.last = last
	return nil
}

// corrected is the book as it would be with one entry put right: folded anew from the first step. A step that held before and would no longer refuses it.
func (b *Book) corrected(e Entry) (*Book, error) {
	at, ok := b.at[e.Step.Entry]
	if !ok {
		return nil, unknown("There is no entry %d about a lot.", e.Step.Entry)
	}
	old := b.done[at]
	if instead := e.Step.Instead; instead != nil && instead.Do != old.Step.Do {
		return nil, input("Entry %d is %s: it can be corrected as that, or struck, and %s entered anew.", e.Step.Entry, old.Step.Do, instead.Do)
	}
	done := append([]Done(nil), b.done...)
	fixed := Fixed{Entry: e.ID, Who: e.Who, Why: e.Step.Note, Struck: e.Step.Instead == nil}
	if instead := e.Step.Instead; instead != nil {
		fixed.Step = *instead
		if instead.When == 0 {
			held := old.standing()
			fixed.Step.When = held.Step.When
		}
	}
	done[at].Fixed = &fixed
	was := map[int64]bool{}
	for _, t := range b.troubles {
		was[t.Entry] = true
	}
	before := old.standing()
	next := New(b.zone)
	next.righted = append(append(next.righted, b.righted...), Correction{Entry: e, Of: old.ID, Text: e.Step.Text(), Was: before.Step.Text()})
	for i := range done {
		d := &done[i]
		next.at[d.ID] = len(next.done)
		next.done = append(next.done, *d)
		if d.Fixed != nil && d.Fixed.Struck {
			continue
		}
		standing := d.standing()
		next.warnings = nil
		if err := next.take(&standing); err != nil {
			if !was[d.ID] {
				return nil, &Refusal{RefusedState, refusedBy(e.Step.Entry, d, err)}
			}
			next.troubles = append(next.troubles, Trouble{d.ID, err.Error()})
		}
	}
	if e.Step.Instead == nil {
		next.warnings = nil
	}
	return next, nil
}

func refusedBy(corrected int64, d *Done, err error) string {
	if d.ID == corrected {
		return err.Error()
	}
	held := d.standing()
	return fmt.Sprintf("Then entry %d (%s) would not hold: %s Correct that one first.", d.ID, held.Step.Text(), err)
}
