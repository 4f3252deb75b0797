package history

import (
	"context"
	"database/sql"
	"errors"

	"millwarden/internal/database"
	"millwarden/internal/reading"
)

const (
	// ringReadings is how many readings wait in memory while the file cannot be written. Chosen: 17 minutes of 64 points a second, in about 7 MB
	// of a board of 512 MB: long enough to notice and to make room.
	ringReadings = 1 << 16
	// rowReadings is how many readings a row holds at most. Chosen: a row is read whole, and what waited must not become one row.
	rowReadings = 1024
)

// waiting is a reading that is accepted: rounded, its time settled.
type waiting struct {
	reading.Reading
	point *point
}

// ring is what waits, oldest first. What finds no room pushes the oldest out: the newest tell most about what is going on now.
type ring struct {
	all  []waiting
	lost uint64
}

func (r *ring) add(w *waiting) {
	if len(r.all) >= ringReadings {
		n := copy(r.all, r.all[rowReadings:]) // by whole rows: a shift for each reading would cost too much
		clear(r.all[n:])
		r.all = r.all[:n]
		r.lost += rowReadings
	}
	r.all = append(r.all, *w)
}

func (r *ring) empty() {
	clear(r.all)
	if cap(r.all) > 4*rowReadings {
		r.all = nil // what a full disk had gathered
	}
	r.all = r.all[:0]
}

// meet gives what waits the series of a new file.
func (r *ring) meet(d *dictionary) {
	for i := range r.all {
		r.all[i].point = d.find(&r.all[i].Reading, nil)
		if r.all[i].Stamp.Set {
			r.all[i].point.newest = max(r.all[i].point.newest, r.all[i].Stamp.Wall.UnixMilli())
		}
	}
}

// scratch is memory the writer uses again.
type scratch struct {
	points []*point // of the readings appended last
	packed []packed
	data   []byte
}

// Append keeps readings by one durable commit and gives the position of the last. It keeps no reference to rs. Readings delivered again are not kept
// twice (see Times of a point). The error is *Unwritten where the readings are in memory only; the position is then still that of the last written.
func (h *History) Append(rs []reading.Reading) (last uint64, err error) {
	h.writing.Lock()
	defer h.writing.Unlock()
	if h.ended {
		return 0, errClosed
	}
	h.accept(rs)
	if len(h.waiting.all) > 0 || h.pending {
		err = h.write(false)
	}
	if errors.Is(err, ErrDamaged) {
		if err = h.renew(err); err == nil {
			err = h.write(false)
		}
	}
	if errors.Is(err, ErrFull) && h.giveSpare() {
		err = h.write(false)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.counts.Waiting, h.counts.Lost = len(h.waiting.all), h.waiting.lost
	h.counts.Moved, h.counts.Repeated = h.moved, h.repeated
	if err != nil {
		return h.last, &Unwritten{Waiting: len(h.waiting.all), Lost: h.waiting.lost, Err: err}
	}
	return h.last, nil
}

// accept rounds readings and settles their times.
func (h *History) accept(rs []reading.Reading) {
	points := h.find(rs)
	var w waiting
	for i := range rs {
		w.Reading, w.point = rs[i], points[i]
		round(&w.Reading)
		if w.Stamp.Set && !h.place(w.point, &w.Reading) {
			h.repeated++
			continue
		}
		h.waiting.add(&w)
	}
}

// find gives the series of readings. One append is mostly of the same points in the same order as the one before.
func (h *History) find(rs []reading.Reading) []*point {
	h.mu.Lock()
	defer h.mu.Unlock()
	points := h.scratch.points
	for len(points) < len(rs) {
		points = append(points, nil)
	}
	for i := range rs {
		points[i] = h.names.find(&rs[i], points[i])
	}
	h.scratch.points = points
	return points
}

// write puts all that waits, and the mark, into the file by one commit; ending closes the open stretch too.
func (h *History) write(ending bool) error {
	if h.file == nil { // an earlier try to begin a new file failed
		if err := h.begin(); err != nil {
			return database.Explain(err)
		}
	}
	ctx := context.Background() // an append is never given up half-way; busyWait bounds it
	if err := h.name(ctx, h.waiting.all); err != nil {
		return database.Explain(err)
	}
	if err := h.reserve(h.last + uint64(len(h.waiting.all))); err != nil {
		return err
	}
	rows := h.rowsOf(h.waiting.all)
	next := h.open
	var full []stretch
	if !next.empty() && next.last != h.last { // the numbers jumped: a stretch has no gap
		full, next = append(full, next), stretch{}
	}
	written := h.written
	for _, r := range rows {
		next.take(r.first, r.packed)
		written = next.last
		if next.rows >= rowsPerStretch {
			full = append(full, next)
			next = stretch{}
		}
	}
	if ending && !next.empty() {
		full = append(full, next)
		next = stretch{}
	}
	if err := h.commit(ctx, rows, full, written); err != nil {
		return database.Explain(err)
	}
	h.apply(rows, full, next, written)
	return nil
}

// commit writes rows and what goes with them. A row alone is one statement, which is its own transaction: to begin and to end one costs as much again.
func (h *History) commit(ctx context.Context, rows []newRow, full []stretch, written uint64) error {
	if len(rows) == 1 && len(full) == 0 && !h.pending {
		return h.pen.do(ctx, h.file.Write, func() error { return h.insertRow(ctx, h.pen.insert, &rows[0]) })
	}
	return h.inTransaction(ctx, func(tx *sql.Tx) error {
		insert := tx.StmtContext(ctx, h.pen.insert) // closed by the end of tx
		for i := range rows {
			if err := h.insertRow(ctx, insert, &rows[i]); err != nil {
				return err
			}
		}
		return h.finish(ctx, tx, full, rows, written)
	})
}

func (h *History) insertRow(ctx context.Context, insert *sql.Stmt, r *newRow) error {
	h.scratch.data = encodeRow(h.scratch.data[:0], r.first, r.packed)
	_, err := insert.ExecContext(ctx, int64(r.first), h.scratch.data)
	return err
}

// newRow is a row to be written.
type newRow struct {
	first  uint64
	packed []packed
}

// rowsOf gives what waits its positions, in rows.
func (h *History) rowsOf(all []waiting) []newRow {
	if cap(h.scratch.packed) < len(all) {
		h.scratch.packed = make([]packed, 0, len(all))
	}
	list := h.scratch.packed[:0]
	for i := range all {
		list = append(list, h.names.pack(&all[i].Reading, all[i].point))
	}
	h.scratch.packed = list
	rows := make([]newRow, 0, len(list)/rowReadings+1)
	for first := h.last + 1; len(list) > 0; {
		n := min(len(list), rowReadings)
		rows = append(rows, newRow{first: first, packed: list[:n]})
		first, list = first+uint64(n), list[n:]
	}
	return rows
}

// finish writes what goes with a commit: stretches that are full, where the newest readings are, the mark.
func (h *History) finish(ctx context.Context, tx *sql.Tx, full []stretch, rows []newRow, written uint64) error {
	var previous uint64
	if n := len(h.closed); n > 0 {
		previous = h.closed[n-1].last
	}
	for i := range full {
		if err := full[i].write(ctx, tx, previous); err != nil {
			return err
		}
		previous = full[i].last
	}
	if len(full) > 0 {
		if err := h.writeNewest(ctx, tx, rows); err != nil {
			return err
		}
	}
	if h.pending || len(full) > 0 {
		return writeMark(ctx, tx, written, h.mark)
	}
	return nil
}

// writeNewest says in which row each point's newest reading is, those of rows included.
func (h *History) writeNewest(ctx context.Context, tx *sql.Tx, rows []newRow) error {
	at := map[int]uint64{}
	for _, p := range h.names.bySeries {
		if p.row != 0 && p.id != 0 {
			at[p.id] = p.row
		}
	}
	for _, r := range rows {
		for i := range r.packed {
			p := h.names.points[r.packed[i].point]
			if p.at == 0 || isNewer(&r.packed[i], &p.latest) {
				at[p.id] = r.first
			}
		}
	}
	insert, err := tx.PrepareContext(ctx, "INSERT OR REPLACE INTO newest (point, first) VALUES (?, ?)")
	if err != nil {
		return err
	}
	defer insert.Close() //nolint:errcheck // what went wrong is told by its use
	for id, first := range at {
		if _, err := insert.ExecContext(ctx, id, int64(first)); err != nil {
			return err
		}
	}
	return nil
}

// apply takes what was committed into memory.
func (h *History) apply(rows []newRow, full []stretch, open stretch, written uint64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = append(h.closed, full...)
	h.open = open
	h.pending = false
	for _, r := range rows {
		h.remember(r.first, r.packed)
		h.counts.Appended += uint64(len(r.packed))
	}
	if len(rows) > 0 {
		h.last, h.written = written, written
	}
	h.waiting.empty()
}
