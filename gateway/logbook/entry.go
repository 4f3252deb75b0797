package logbook

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"millwarden/gateway/logbook/query"
	"millwarden/internal/reading"
)

// Kind of an entry.
type Kind string

// The kinds of entries.
const (
	Transition  Kind = "transition"  // of an alarm
	Act         Kind = "act"         // of a person
	Message     Kind = "message"     // a try to send one
	Receipt     Kind = "receipt"     // what came back
	Lot         Kind = "lot"         // loaded, emptied
	Calibrated  Kind = "calibration" // as found, as left
	RulesChange Kind = "rules"       // the rules file changed
	Roster      Kind = "roster"      // somebody takes another's calls for a while
	ClockStep   Kind = "clock"       // the wall clock was set or stepped
	Start       Kind = "start"       // the gateway began or ended
	Fault       Kind = "fault"       // of the gateway itself
	Note        Kind = "note"        // what somebody wants to have written
)

// Entry is one line of the record.
type Entry struct {
	ID         int64 // set by Write; rises by one, and is the order of the record
	At         reading.Stamp
	Kind       Kind
	Alarm      string // "over-fermented@tank-1"
	Occurrence int64
	Place      string // station, bus, channel, probe or point
	Lot        string
	Who        string
	Why        string
	Text       string          // the line as people read it
	Data       json.RawMessage // the rest, for programs; nil: nothing
}

// errEntry is what is wrong with an entry before it is written.
var errEntry = errors.New("cannot be written")

func (e *Entry) check() error {
	if e.Kind == "" || strings.Contains(string(e.Kind), "|") {
		return fmt.Errorf("%w: kind %q", errEntry, e.Kind)
	}
	if len(e.Data) > 0 && !json.Valid(e.Data) {
		return fmt.Errorf("%w: its data are not JSON", errEntry)
	}
	return nil
}

// Write appends entries in one synced commit and gives the ID of the last. Times are kept to the millisecond.
func (l *Logbook) Write(entries ...Entry) (last int64, err error) {
	err = l.change("writing", func(ctx context.Context, tx *sql.Tx, q *query.Queries) error {
		last, err = record(ctx, tx, q, entries...)
		return err
	})
	return last, err
}

// record appends entries inside a transaction.
func record(ctx context.Context, tx query.DBTX, q *query.Queries, entries ...Entry) (int64, error) {
	head, err := readHead(ctx, tx, q)
	if err != nil {
		return 0, err
	}
	for i := range entries {
		e := entries[i]
		if err := e.check(); err != nil {
			return 0, err
		}
		e.ID = head.ID + 1
		row := rowOf(&e)
		head = Head{ID: e.ID, Seal: seal(head.Seal, &row)}
		row.Seal = head.Seal[:]
		if err := q.InsertEntry(ctx, query.InsertEntryParams(row)); err != nil {
			return 0, err
		}
	}
	return head.ID, nil
}

func rowOf(e *Entry) query.Entry {
	row := query.Entry{ID: e.ID, Kind: string(e.Kind), Alarm: e.Alarm, Occurrence: e.Occurrence, Place: e.Place, Lot: e.Lot,
		Who: e.Who, Why: e.Why, Text: e.Text, Data: string(e.Data)}
	row.Wall, row.Mono, row.Boot, row.Clock = columns(e.At)
	return row
}

func entryOf(r *query.Entry) Entry {
	e := Entry{ID: r.ID, At: stampOf(r.Wall, r.Mono, r.Boot, r.Clock), Kind: Kind(r.Kind), Alarm: r.Alarm, Occurrence: r.Occurrence,
		Place: r.Place, Lot: r.Lot, Who: r.Who, Why: r.Why, Text: r.Text}
	if r.Data != "" {
		e.Data = json.RawMessage(r.Data)
	}
	return e
}

// Filter chooses entries; what is zero chooses all.
type Filter struct {
	Kinds      []Kind
	Alarm      string
	Occurrence int64
	Place      string
	Lot        string
	From, To   time.Time // wall time; To is not included
	After      int64     // only entries with a greater ID
	Before     int64     // only entries with a smaller ID
	Words      string    // that stand in its texts, names or places, whatever their case (of ASCII letters)
	Limit      int       // 0: 1,000
	Newest     bool      // newest first
}

// usualLimit of a query without one. Chosen: what a person scrolls through, and a bound for what a page can ask for by mistake.
const usualLimit = 1000

func (f *Filter) params() query.EntriesParams {
	p := query.EntriesParams{After: f.After, Alarm: f.Alarm, Occurrence: f.Occurrence, Place: f.Place, Lot: f.Lot,
		Begins: math.MinInt64, Ends: math.MaxInt64, Before: f.Before, Words: strings.ToLower(f.Words), Most: int64(f.Limit)}
	if f.Limit <= 0 {
		p.Most = usualLimit
	}
	for _, k := range f.Kinds {
		p.Kinds += "|" + string(k)
	}
	if p.Kinds != "" {
		p.Kinds += "|"
	}
	if !f.From.IsZero() {
		p.Begins = f.From.UnixMilli()
	}
	if !f.To.IsZero() {
		p.Ends = f.To.UnixMilli()
	}
	return p
}

// Entries gives the entries that the filter chooses, oldest first unless Newest.
func (l *Logbook) Entries(ctx context.Context, f Filter) ([]Entry, error) {
	var found []Entry
	err := l.look(ctx, "reading entries", func(ctx context.Context, q *query.Queries) error {
		var rows []query.Entry
		var err error
		if f.Newest {
			rows, err = q.EntriesBackward(ctx, query.EntriesBackwardParams(f.params()))
		} else {
			rows, err = q.Entries(ctx, f.params())
		}
		for i := range rows {
			found = append(found, entryOf(&rows[i]))
		}
		return err
	})
	return found, err
}

// OfOccurrence gives all entries of one occurrence of an alarm, oldest first, without reading through the rest of the record.
func (l *Logbook) OfOccurrence(ctx context.Context, alarm string, occurrence int64) ([]Entry, error) {
	var found []Entry
	err := l.look(ctx, "reading an occurrence", func(ctx context.Context, q *query.Queries) error {
		rows, err := q.EntriesOfOccurrence(ctx, query.EntriesOfOccurrenceParams{Occurrence: occurrence, Alarm: alarm})
		for i := range rows {
			found = append(found, entryOf(&rows[i]))
		}
		return err
	})
	return found, err
}
