package logbook

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"millwarden/gateway/logbook/query"
	"millwarden/internal/reading"
)

// Stay is one lot's time on one station.
type Stay struct {
	ID        int64
	Station   string
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

// Load begins a stay, with its line in the record, in one commit. ErrOccupied: one still lasts on that station.
func (l *Logbook) Load(s Stay) (id int64, err error) {
	if s.Station == "" || s.Lot == "" {
		return 0, fmt.Errorf("logbook: loading: %w: it needs a station and a lot", errEntry)
	}
	err = l.change("loading "+s.Station, func(ctx context.Context, tx *sql.Tx, q *query.Queries) error {
		standing, err := q.StandingAt(ctx, s.Station)
		if err == nil {
			return fmt.Errorf("%w: %s", ErrOccupied, standing.Lot)
		} else if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		p := query.InsertStayParams{Station: s.Station, Lot: s.Lot, LoadedKg: s.Loaded, Who: s.Who, Note: s.Note}
		p.Wall, p.Mono, p.Boot, p.Clock = columns(s.From)
		if id, err = q.InsertStay(ctx, p); err != nil {
			return err
		}
		_, err = record(ctx, tx, q, lotEntry("loaded", id, s.From, s.Station, s.Lot, s.Loaded, s.Who, s.Note))
		return err
	})
	return id, err
}

// Empty ends the stay on a station, with its line in the record, in one commit, and gives it. ErrNotLoaded: none lasts there.
func (l *Logbook) Empty(station string, at reading.Stamp, kg float64, who, note string) (s Stay, err error) {
	err = l.change("emptying "+station, func(ctx context.Context, tx *sql.Tx, q *query.Queries) error {
		row, err := q.StandingAt(ctx, station)
		if errors.Is(err, sql.ErrNoRows) {
			return ErrNotLoaded
		} else if err != nil {
			return err
		}
		if note != "" && row.Note != "" {
			row.Note += "\n"
		}
		row.Note, row.UnloadedKg, row.EmptiedBy = row.Note+note, kg, who
		wall, mono, boot, clock := columns(at)
		row.EndedWall, row.EndedMono, row.EndedBoot, row.EndedClock = known(wall), known(mono), known(boot), known(clock)
		if err := q.EndStay(ctx, query.EndStayParams{EndedWall: row.EndedWall, EndedMono: row.EndedMono, EndedBoot: row.EndedBoot,
			EndedClock: row.EndedClock, UnloadedKg: kg, EmptiedBy: who, Note: row.Note, ID: row.ID}); err != nil {
			return err
		}
		s = stayOf(&row)
		_, err = record(ctx, tx, q, lotEntry("emptied", row.ID, at, station, row.Lot, kg, who, note))
		return err
	})
	return s, err
}

func known(n int64) sql.NullInt64 { return sql.NullInt64{Int64: n, Valid: true} }

func lotEntry(act string, stay int64, at reading.Stamp, station, lot string, kg float64, who, note string) Entry {
	text := station + " " + act + ": " + lot
	if kg > 0 {
		text += fmt.Sprintf(", %g kg", kg)
	}
	data, _ := json.Marshal(map[string]any{"act": act, "stay": stay, "kg": kg}) // numbers and a word: nothing in it can fail but a NaN, and then the line stands without
	return Entry{At: at, Kind: Lot, Place: station, Lot: lot, Who: who, Why: note, Text: text, Data: data}
}

// Stays gives the stays of a station and a lot ("": of all), oldest first.
func (l *Logbook) Stays(ctx context.Context, station, lot string) ([]Stay, error) {
	var found []Stay
	err := l.look(ctx, "reading stays", func(ctx context.Context, q *query.Queries) error {
		rows, err := q.Stays(ctx, query.StaysParams{Station: station, Lot: lot})
		found = staysOf(rows)
		return err
	})
	return found, err
}

// Standing gives the stays that last now, by station.
func (l *Logbook) Standing(ctx context.Context) ([]Stay, error) {
	var found []Stay
	err := l.look(ctx, "reading standing stays", func(ctx context.Context, q *query.Queries) error {
		rows, err := q.Standing(ctx)
		found = staysOf(rows)
		return err
	})
	return found, err
}

func staysOf(rows []query.Stay) []Stay {
	var found []Stay
	for i := range rows {
		found = append(found, stayOf(&rows[i]))
	}
	return found
}

func stayOf(r *query.Stay) Stay {
	s := Stay{ID: r.ID, Station: r.Station, Lot: r.Lot, From: stampOf(r.Wall, r.Mono, r.Boot, r.Clock), Ended: r.EndedWall.Valid,
		Loaded: r.LoadedKg, Unloaded: r.UnloadedKg, Who: r.Who, EmptiedBy: r.EmptiedBy, Note: r.Note}
	if s.Ended {
		s.To = stampOf(r.EndedWall.Int64, r.EndedMono.Int64, r.EndedBoot.Int64, r.EndedClock.Int64)
	}
	return s
}
