package logbook

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"millwarden/gateway/logbook/lots"
	"millwarden/gateway/logbook/query"
	"millwarden/internal/database"
	"millwarden/internal/reading"
)

// lotsAtOnce is how many entries about lots are read between two looks at the file; chosen as verifyAtOnce.
const lotsAtOnce = 500

// Lots gives the book of lots, folded over all entries about them. Times in what it says are those of the zone; nil: UTC.
func (l *Logbook) Lots(ctx context.Context, zone *time.Location) (*lots.Book, error) {
	book := lots.New(zone)
	if err := fold(ctx, query.New(l.file.Read), book); err != nil {
		return nil, fmt.Errorf("logbook: reading the lots: %w", database.Explain(err))
	}
	return book, nil
}

// fold takes into a book the entries that it has not taken yet.
func fold(ctx context.Context, q *query.Queries, book *lots.Book) error {
	for after := book.Last(); ; {
		rows, err := q.LotEntriesAfter(ctx, query.LotEntriesAfterParams{ID: after, Limit: lotsAtOnce})
		if err != nil {
			return err
		}
		for i := range rows {
			book.Add(stepOf(&rows[i]))
			after = rows[i].ID
		}
		if len(rows) < lotsAtOnce {
			return nil
		}
	}
}

// stepOf reads an entry about a lot. Records of the first form have another word for what was done, and the lot and the note in columns only.
func stepOf(row *query.Entry) lots.Entry {
	e := entryOf(row)
	step := lots.Step{}
	_ = json.Unmarshal(e.Data, &step) // what cannot be read has no act, and the book sets it down as a trouble
	switch step.Do {
	case "loaded":
		step.Do = lots.Load
	case "emptied":
		step.Do = lots.Empty
	}
	if step.Do == lots.Load || step.Do == lots.Empty {
		step.Station, step.Lot = cmp.Or(step.Station, e.Place), cmp.Or(step.Lot, e.Lot)
	}
	step.Note = cmp.Or(step.Note, e.Why)
	return lots.Entry{ID: e.ID, At: e.At, Who: e.Who, Step: step}
}

// Enter checks a step against the book, writes it in one synced commit and takes it into the book, which it first brings up to what other processes have
// written. It gives the entry, and what should be looked at again. The error is a *lots.Refusal where the step cannot be.
func (l *Logbook) Enter(book *lots.Book, e lots.Entry) (entered lots.Entry, warnings []string, err error) {
	err = l.change("entering "+string(e.Step.Do), func(ctx context.Context, tx *sql.Tx, q *query.Queries) error {
		if err := fold(ctx, q, book); err != nil {
			return err
		}
		if e.Step.Lot == "" {
			if stay, ok := book.StandingAt(e.Step.Station); ok {
				e.Step.Lot = stay.Lot
			}
		}
		if warnings, err = book.Try(e); err != nil {
			return err
		}
		line, err := lotEntry(&e)
		if err != nil {
			return err
		}
		e.ID, err = record(ctx, tx, q, line)
		return err
	})
	if err != nil {
		return e, nil, err
	}
	book.Add(e)
	return e, warnings, nil
}

// lotEntry is the line of the record about a step. A correction stands under the lot of what it corrects.
func lotEntry(e *lots.Entry) (Entry, error) {
	step := &e.Step
	line := Entry{At: e.At, Kind: Lot, Place: step.Station, Lot: step.Lot, Who: e.Who, Why: step.Note, Text: step.Text()}
	if step.Instead != nil {
		line.Place, line.Lot = step.Instead.Station, step.Instead.Lot
	}
	plain := *step
	plain.Note = "" // it has a column of its own
	var err error
	line.Data, err = json.Marshal(plain)
	return line, err
}

// Stay is one lot's time on one station.
type Stay struct {
	ID        int64 // of the entry that began it
	Station   string
	Kind      string // of the station; "" in old records
	Lot       string
	From      reading.Stamp
	To        reading.Stamp
	Ended     bool    // To holds
	Loaded    float64 // kg; 0: not weighed
	Unloaded  float64 // kg; 0: not weighed
	Who       string  // who loaded
	EmptiedBy string
	Note      string
}

// StayOf is a stay of the book.
func StayOf(s *lots.Stay) Stay {
	return Stay{ID: s.Entry, Station: s.Station, Kind: s.Kind, Lot: s.Lot, From: s.From, To: s.To, Ended: s.Ended, Loaded: float64(s.Loaded), Unloaded: float64(s.Unloaded),
		Who: s.Who, EmptiedBy: s.EmptiedBy, Note: s.Note}
}

// Load begins a stay: Enter for who keeps no book.
func (l *Logbook) Load(s Stay) (id int64, err error) {
	e, _, err := l.Enter(lots.New(nil), lots.Entry{At: s.From, Who: s.Who,
		Step: lots.Step{Do: lots.Load, Station: s.Station, Kind: s.Kind, Lot: s.Lot, Kg: lots.Kilograms(s.Loaded), Note: s.Note}})
	return e.ID, err
}

// Empty ends the stay on a station and gives it: Enter for who keeps no book.
func (l *Logbook) Empty(station string, at reading.Stamp, kg float64, who, note string) (Stay, error) {
	book := lots.New(nil)
	e, _, err := l.Enter(book, lots.Entry{At: at, Who: who, Step: lots.Step{Do: lots.Empty, Station: station, Kg: lots.Kilograms(kg), Note: note}})
	if err != nil {
		return Stay{}, err
	}
	for _, s := range book.Lot(e.Step.Lot).Stays {
		if s.EndEntry == e.ID {
			return StayOf(&s), nil
		}
	}
	return Stay{}, fmt.Errorf("logbook: emptying %s: the stay that ended is not in the book", station)
}

// Stays gives the stays of a station and a lot ("": of all), oldest first.
func (l *Logbook) Stays(ctx context.Context, station, lot string) ([]Stay, error) {
	book, err := l.Lots(ctx, nil)
	if err != nil {
		return nil, err
	}
	var found []Stay
	for _, s := range book.Stays() {
		if (station == "" || s.Station == station) && (lot == "" || s.Lot == lot) {
			found = append(found, StayOf(&s))
		}
	}
	return found, nil
}

// Standing gives the stays that last now, by station.
func (l *Logbook) Standing(ctx context.Context) ([]Stay, error) {
	book, err := l.Lots(ctx, nil)
	if err != nil {
		return nil, err
	}
	var found []Stay
	for _, s := range book.Standing() {
		found = append(found, StayOf(&s))
	}
	return found, nil
}
