package history

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"millwarden/internal/database"
	"millwarden/internal/reading"
)

// errEnough ends a scan early.
var errEnough = errors.New("enough")

// visitor is given each reading with its position and the names to read it by. The reading is its own for the call only.
type visitor func(position uint64, k *packed, d *dictionary) error

// scanTime visits all readings in rows of stretches that touch low <= wall < high, in Unix milliseconds; others of the same stretches too. Damage is
// joined and does not end it.
func (h *History) scanTime(ctx context.Context, sn *snapshot, low, high int64, visit visitor) error {
	var damage error
	for i := range sn.count() {
		s := sn.get(i)
		if s.low >= high || s.high < low {
			continue
		}
		if err := passDamage(h.scan(ctx, sn, s, s.first, visit), &damage); err != nil {
			return err
		}
	}
	return damage
}

// passDamage joins err to damage if it is such; others it gives back.
func passDamage(err error, damage *error) error {
	var d *Damage
	if err != nil && !errors.As(err, &d) {
		return err
	}
	*damage = errors.Join(*damage, err)
	return nil
}

// scan visits the readings of one stretch from a position on. All that can be read is visited; what cannot is *Damage, joined.
func (h *History) scan(ctx context.Context, sn *snapshot, s stretch, from uint64, visit visitor) error {
	var damage error
	for next := max(from, s.first); next <= s.last; {
		reached, err := h.scanRows(ctx, sn, s, next, visit)
		var d *Damage
		if err == nil || !errors.As(err, &d) {
			return errors.Join(damage, err)
		}
		damage = errors.Join(damage, err)
		next = max(reached, d.Last+1)
	}
	return damage
}

// scanRows visits readings from a position of s to its end, or to the first damage; that is reported, and reached is where it stopped.
func (h *History) scanRows(ctx context.Context, sn *snapshot, s stretch, next uint64, visit visitor) (reached uint64, err error) {
	rows, err := sn.tx.StmtContext(ctx, sn.rows).QueryContext(ctx, int64(s.first), int64(next), int64(s.last)) //nolint:sqlclosecheck // it is closed below
	if err != nil {
		return next, h.unreadable(next, s.last, err)
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	for rows.Next() {
		var first uint64
		var data sql.RawBytes
		if err := rows.Scan(&first, &data); err != nil {
			return next, h.unreadable(next, s.last, err)
		}
		if first > next {
			return first, h.damage(next, first-1, errGone)
		}
		r, err := openRow(first, data, h.trusting)
		if err == nil && first+r.count <= next {
			return next, h.damage(next, h.endOfGap(rows, s), errGone)
		}
		if err == nil {
			err = visitRow(&r, next, &sn.names, visit)
		}
		var f *fault
		switch {
		case err == nil:
			next = first + r.count
		case errors.As(err, &f):
			return f.position, h.damage(f.position, f.position, err)
		case errors.Is(err, errSum), errors.Is(err, errShort), errors.Is(err, errLayout):
			return next, h.damage(next, h.endOfGap(rows, s), err)
		default:
			return next, err
		}
	}
	if err := rows.Err(); err != nil {
		return next, h.unreadable(next, s.last, err)
	}
	if next <= s.last {
		return s.last + 1, h.damage(next, s.last, errGone)
	}
	return next, nil
}

// endOfGap is the position before the next row, or the end of the stretch.
func (h *History) endOfGap(rows *sql.Rows, s stretch) uint64 {
	var first uint64
	var data sql.RawBytes
	if rows.Next() && rows.Scan(&first, &data) == nil && first > s.first {
		return first - 1
	}
	return s.last
}

// fault is a reading of a row that cannot be understood, though its checksum fits: its point is not known.
type fault struct {
	position uint64
	error
}

func visitRow(r *row, next uint64, names *dictionary, visit visitor) error {
	var k packed
	for position := r.first; ; position++ {
		more, err := r.next(&k)
		if err != nil || !more {
			return err
		}
		if position < next {
			continue
		}
		if err := visit(position, &k, names); err != nil {
			return err
		}
	}
}

// unreadable tells a damaged file from a query that was ended.
func (h *History) unreadable(first, last uint64, err error) error {
	if err = database.Explain(err); errors.Is(err, ErrDamaged) {
		return h.damage(first, last, err)
	}
	return fmt.Errorf("history: reading: %w", err)
}

// From appends at most limit entries in order, beginning with the first whose position is at least position. Positions removed by retention, or
// jumped over when a file was set aside, are passed over, and so are readings that are rolled up: they are below the watermark, and chunks know no
// positions. Before a damaged stretch it stops; asked from within one, it returns *Damage: the caller counts it and goes on after its Last. An entry
// whose Stamp.Set is false has no known wall time yet: see Settle.
func (h *History) From(position uint64, limit int, into []Entry) ([]Entry, error) {
	ctx, cancel := context.WithTimeout(context.Background(), queryWait)
	defer cancel()
	sn, err := h.look(ctx)
	if err != nil {
		return into, err
	}
	defer sn.close() //nolint:errcheck // it was only read
	start := len(into)
	visit := func(position uint64, k *packed, d *dictionary) error {
		if len(into)-start >= limit {
			return errEnough
		}
		e := Entry{Position: position}
		if err := d.reading(k, &e.Reading); err != nil {
			return &fault{position, err}
		}
		into = append(into, e)
		return nil
	}
	for i := sn.at(position); i < sn.count() && len(into)-start < limit; i++ {
		s := sn.get(i)
		_, err := h.scanRows(ctx, sn, s, max(position, s.first), visit)
		var d *Damage
		switch {
		case errors.Is(err, errEnough), errors.As(err, &d) && len(into) > start:
			return into, nil // damage is met again, from its beginning
		case err != nil:
			return into, err
		}
	}
	return into, nil
}

// Range gives the readings of a point with from <= time < to, oldest first, at most limit (0: all). Where some cannot be read it gives the others
// and *Damage. Readings of a clock that is not set yet stand at the time it showed.
func (h *History) Range(ctx context.Context, point string, from, to time.Time, limit int) ([]Entry, error) {
	var found []Entry
	err := h.scanPoint(ctx, point, from, to, func(position uint64, k *packed, d *dictionary) error {
		e := Entry{Position: position}
		if err := d.reading(k, &e.Reading); err != nil {
			return &fault{position, err}
		}
		found = append(found, e)
		return nil
	})
	slices.SortStableFunc(found, func(a, b Entry) int { return a.Stamp.Wall.Compare(b.Stamp.Wall) })
	if limit > 0 && len(found) > limit {
		found = found[:limit]
	}
	return found, err
}

// scanPoint visits the readings of a point in from <= time < to: those of chunks in the order of time, then those of rows in the order of positions.
func (h *History) scanPoint(ctx context.Context, name string, from, to time.Time, visit visitor) error {
	ctx, cancel := context.WithTimeout(ctx, queryWait)
	defer cancel()
	h.mu.RLock()
	var p *point
	if h.file != nil {
		p = h.names.byName[name]
	}
	h.mu.RUnlock()
	if p == nil {
		return nil
	}
	sn, err := h.look(ctx)
	if err != nil {
		return err
	}
	defer sn.close() //nolint:errcheck // it was only read
	return h.scanSeries(ctx, sn, p.key, ceilMilli(from), ceilMilli(to), visit)
}

// scanSeries visits the readings of a series with low <= wall < high.
func (h *History) scanSeries(ctx context.Context, sn *snapshot, k key, low, high int64, visit visitor) error {
	var damage error
	for id, p := range sn.names.points {
		if p == nil || p.key != k {
			continue
		}
		if err := passDamage(h.scanChunks(ctx, sn, id, low, high, visit), &damage); err != nil {
			return err
		}
	}
	ours := &point{key: k}
	err := h.scanTime(ctx, sn, low, high, func(position uint64, k *packed, d *dictionary) error {
		if k.wall < low || k.wall >= high || !d.of(k.point, ours) {
			return nil
		}
		return visit(position, k, d)
	})
	return errors.Join(damage, err)
}

// Recent visits the readings of a boot whose monotonic time is since or later, those rolled up in the order of time, then the others in the order of
// positions: to fill the engine's windows after a start. The reading is the visitor's for the call only. An error of visit ends it. What cannot be
// read is left out and returned as *Damage.
func (h *History) Recent(ctx context.Context, boot uint32, since time.Duration, visit func(*reading.Reading) error) error {
	ctx, cancel := context.WithTimeout(ctx, queryWait)
	defer cancel()
	oldest := stamp{boot: boot, mono: since.Milliseconds()}
	return h.replay(ctx, &oldest, func(e *Entry) error {
		if e.Stamp.Boot != boot || e.Stamp.Mono < since {
			return nil
		}
		return visit(&e.Reading)
	})
}

// Replay visits all readings kept, those rolled up in the order of time, then the others in the order of positions. The entry is the visitor's for
// the call only; Position is 0 where it was rolled up. An error of visit ends it. What cannot be read is left out and returned as *Damage.
func (h *History) Replay(ctx context.Context, visit func(*Entry) error) error {
	return h.replay(ctx, nil, visit)
}

// replay visits all readings; those stamped before oldest may be left out.
func (h *History) replay(ctx context.Context, oldest *stamp, visit func(*Entry) error) error {
	sn, err := h.look(ctx)
	if err != nil {
		return err
	}
	defer sn.close() //nolint:errcheck // it was only read
	var e Entry
	each := func(position uint64, k *packed, d *dictionary) error {
		e.Position = position
		if err := d.reading(k, &e.Reading); err != nil {
			return &fault{position, err}
		}
		return visit(&e)
	}
	var damage error
	if err := passDamage(h.mergeChunks(ctx, sn, oldest, each), &damage); err != nil {
		return err
	}
	var from uint64
	if oldest != nil {
		if from, err = h.firstSince(ctx, sn, *oldest); err != nil {
			return err
		}
	}
	for i := sn.at(from); i < sn.count(); i++ {
		if err := passDamage(h.scan(ctx, sn, sn.get(i), from, each), &damage); err != nil {
			return err
		}
	}
	return damage
}

// firstSince finds the row from which on there may be readings as new as oldest: rows carry the newest stamp of their readings.
func (h *History) firstSince(ctx context.Context, sn *snapshot, oldest stamp) (uint64, error) {
	rows, err := sn.tx.QueryContext(ctx, "SELECT first, data FROM row ORDER BY first DESC")
	if err != nil {
		return 0, h.unreadable(1, 1, err)
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	from := h.Last() + 1
	for rows.Next() {
		var first uint64
		var data sql.RawBytes
		if err := rows.Scan(&first, &data); err != nil {
			return 0, h.unreadable(1, 1, err)
		}
		r, err := openRow(first, data, h.trusting)
		if err != nil {
			continue // reported when it is read
		}
		if oldest.after(r.base) {
			break
		}
		from = first
	}
	if err := rows.Err(); err != nil {
		return 0, h.unreadable(1, 1, err)
	}
	return from, nil
}

// Latest gives the newest written entry of every point, by name.
func (h *History) Latest() []Entry {
	h.mu.RLock()
	defer h.mu.RUnlock()
	all := make([]Entry, 0, len(h.names.byName))
	for _, p := range h.names.byName {
		e := Entry{Position: p.at}
		if p.at != 0 && h.names.reading(&p.latest, &e.Reading) == nil {
			all = append(all, e)
		}
	}
	slices.SortFunc(all, func(a, b Entry) int { return cmp.Compare(a.Point, b.Point) })
	return all
}

// Points gives the names of all points that ever had a reading here, also of those whose readings cannot be read.
func (h *History) Points() []string {
	h.mu.RLock()
	defer h.mu.RUnlock()
	return slices.Sorted(maps.Keys(h.names.byName))
}
