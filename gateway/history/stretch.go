package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"sort"
	"time"
)

// rowsPerStretch is how many rows a stretch covers. Chosen: about four minutes at one append a second, so that a query by time reads at most four
// minutes too much, the stretches of a year fit into 6 MB, and what they cost on the card is lost beside the rows.
const rowsPerStretch = 256

// stretch is rows that follow one another.
type stretch struct {
	first, last uint64 // positions
	low, high   int64  // wall times of its readings, Unix milliseconds
	unset       int64  // readings without a known wall time
	rows        int    // of the open one only
}

func (s *stretch) empty() bool { return s.last < s.first || s.first == 0 }

// take widens s by one row.
func (s *stretch) take(first uint64, rs []packed) {
	if s.empty() {
		*s = stretch{first: first, low: math.MaxInt64, high: math.MinInt64}
	}
	s.last = first + uint64(len(rs)) - 1
	s.rows++
	for i := range rs {
		s.low, s.high = min(s.low, rs[i].wall), max(s.high, rs[i].wall)
		if !rs[i].set {
			s.unset++
		}
	}
}

func (s *stretch) sum(previous uint64) int64 {
	return numbersSum("", int64(s.first), int64(s.last), int64(previous), s.low, s.high, s.unset)
}

// write puts a closed stretch into the file.
func (s *stretch) write(ctx context.Context, tx *sql.Tx, previous uint64) error {
	_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO stretch (first, last, previous, low, high, unset, crc) VALUES (?, ?, ?, ?, ?, ?, ?)",
		int64(s.first), int64(s.last), int64(previous), s.low, s.high, s.unset, s.sum(previous))
	return err
}

var errChain = errors.New("the stretches of rows do not follow one another")

// readStretches reads the closed stretches and checks that none is missing between them.
func readStretches(ctx context.Context, db *sql.DB) ([]stretch, error) {
	rows, err := db.QueryContext(ctx, "SELECT first, last, previous, low, high, unset, crc FROM stretch ORDER BY first")
	if err != nil {
		return nil, err
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	var all []stretch
	var before uint64
	for rows.Next() {
		var s stretch
		var previous uint64
		var check int64
		if err := rows.Scan(&s.first, &s.last, &previous, &s.low, &s.high, &s.unset, &check); err != nil {
			return nil, fmt.Errorf("%w: %w", errChain, err)
		}
		if check != s.sum(previous) || s.empty() || (len(all) > 0 && previous != before) || s.first <= before {
			return nil, errChain
		}
		all = append(all, s)
		before = s.last
	}
	return all, rows.Err()
}

// load reads all that is kept in memory from the file: names, stretches, the newest readings, the mark.
func (h *History) load(ctx context.Context) error {
	names, faults, err := readDictionary(ctx, h.file.Read)
	if err != nil {
		return err
	}
	h.names, h.counts.Damaged = names, h.counts.Damaged+uint64(faults)
	last, err := h.readMark(ctx)
	if err != nil {
		return err
	}
	h.closed, err = readStretches(ctx, h.file.Read)
	rebuild := errors.Is(err, errChain)
	if err != nil && !rebuild {
		return err
	}
	if rebuild {
		h.closed = nil
	}
	h.open, h.last = stretch{}, 0
	if n := len(h.closed); n > 0 {
		h.last = h.closed[n-1].last
	}
	if err := h.readNewest(ctx); err != nil {
		return err
	}
	if err := h.readTail(ctx, rebuild); err != nil {
		return err
	}
	if err := h.readRolled(ctx); err != nil {
		return err
	}
	h.written = h.last
	if h.last < last { // the tail is not there any more
		h.noteDamage(&Damage{First: h.last + 1, Last: last, Err: errGone})
		h.last, h.written = last, last
	}
	return nil
}

// readTail takes the rows after the last closed stretch into the open one; all rows, closing stretches anew, where their table is damaged.
func (h *History) readTail(ctx context.Context, rebuild bool) error {
	err := h.eachRow(ctx, func(first uint64, rs []packed, err error) {
		if err != nil {
			h.lostRow = true
			h.noteDamage(&Damage{First: first, Last: first, Err: err})
			return
		}
		if !h.open.empty() && first != h.open.last+1 {
			h.noteDamage(&Damage{First: h.open.last + 1, Last: first - 1, Err: errGone})
		}
		h.open.take(first, rs)
		h.last = h.open.last
		h.remember(first, rs)
		if rebuild && h.open.rows >= rowsPerStretch {
			h.closed = append(h.closed, h.open)
			h.open = stretch{}
		}
	}, "SELECT first, data FROM row WHERE first > ? ORDER BY first", int64(h.last))
	if err != nil || !rebuild {
		return err
	}
	return h.rewriteStretches(ctx)
}

// rewriteStretches puts the stretches in memory in place of a damaged table.
func (h *History) rewriteStretches(ctx context.Context) error {
	return h.inTransaction(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM stretch"); err != nil {
			return err
		}
		var previous uint64
		for i := range h.closed {
			if err := h.closed[i].write(ctx, tx, previous); err != nil {
				return err
			}
			previous = h.closed[i].last
		}
		return nil
	})
}

// eachRow visits every row that a query for first and data finds, with its readings or with what is wrong with it. The readings are lent: the next
// row is read into the same memory.
func (h *History) eachRow(ctx context.Context, visit func(first uint64, rs []packed, err error), query string, args ...any) error {
	rows, err := h.file.Read.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	var decoded []packed
	for rows.Next() {
		var first uint64
		var data sql.RawBytes
		if err := rows.Scan(&first, &data); err != nil {
			return err
		}
		decoded, err = h.decode(first, data, decoded[:0])
		visit(first, decoded, err)
	}
	return rows.Err()
}

// decode reads all readings of a row.
func (h *History) decode(first uint64, data []byte, into []packed) ([]packed, error) {
	r, err := openRow(first, data, h.trusting)
	if err != nil {
		return into, err
	}
	for {
		var p packed
		more, err := r.next(&p)
		if err != nil || !more {
			return into, err
		}
		into = append(into, p)
	}
}

// readNewest gives each point its newest reading from the row that the last closed stretch says holds it. What cannot be read there is unknown.
func (h *History) readNewest(ctx context.Context) error {
	return h.eachRow(ctx, func(first uint64, rs []packed, err error) {
		if err == nil {
			h.remember(first, rs)
		}
	}, "SELECT first, data FROM row WHERE first IN (SELECT first FROM newest)")
}

// remember takes the readings of a row that is in the file as the newest of their points, where they are.
func (h *History) remember(first uint64, rs []packed) {
	for i := range rs {
		if !h.names.knows(rs[i].point) {
			continue
		}
		p := h.names.points[rs[i].point]
		if p.old {
			p = h.names.current(p)
		}
		if rs[i].set {
			p.newest = max(p.newest, rs[i].wall)
		}
		if p.at != 0 && !isNewer(&rs[i], &p.latest) {
			continue
		}
		p.latest, p.at, p.row = rs[i], first+uint64(i), first
		h.names.use(p)
	}
}

// isNewer orders by wall time where both are known, else by the order in which they came.
func isNewer(r, than *packed) bool {
	return !r.set || !than.set || r.wall >= than.wall
}

// view is all stretches at one moment: the closed ones, of which none is ever changed in place, and the open one.
type view struct {
	closed []stretch
	open   stretch
}

func (h *History) stretches() view {
	h.mu.RLock()
	defer h.mu.RUnlock()
	return view{h.closed, h.open}
}

func (v view) count() int {
	if v.open.empty() {
		return len(v.closed)
	}
	return len(v.closed) + 1
}

func (v view) get(i int) stretch {
	if i < len(v.closed) {
		return v.closed[i]
	}
	return v.open
}

// at finds the first stretch that ends at position or later; count() if there is none.
func (v view) at(position uint64) int {
	return sort.Search(v.count(), func(i int) bool { return v.get(i).last >= position })
}

// ceilMilli is the first whole millisecond that is not before t.
func ceilMilli(t time.Time) int64 {
	ms := t.UnixMilli()
	if t.After(time.UnixMilli(ms)) {
		ms++
	}
	return ms
}
