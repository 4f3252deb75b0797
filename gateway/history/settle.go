package history

import (
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

// estimated is the cause of readings whose time could only be estimated.
const estimated = "time estimated"

// betweenBoots is how long the board is taken to have been off where nobody knows. Chosen: a power cut that ends at once; a longer one makes the
// estimate too late, never so early that it would stand among older readings.
const betweenBoots = time.Second

// begun is when a boot began by the wall clock, Unix milliseconds.
type begun struct {
	at      int64
	guessed bool
}

// Settle gives the readings that were taken while the clock was not set their wall time, now that it is: those of this boot by the monotonic
// clock, those of earlier boots by estimate (uncertain, "time estimated": that boot is taken to have ended just before the next began). Call it
// when the clock becomes set, and once after each start with a set clock; it is cheap where there is nothing to do. Positions stay.
func (h *History) Settle(ctx context.Context, now reading.Stamp) (settled int, err error) {
	if !now.Set {
		return 0, errors.New("history: settling times: the clock is not set")
	}
	h.writing.Lock()
	defer h.writing.Unlock()
	if h.file == nil {
		return 0, errClosed
	}
	boots, err := h.boots(ctx, stampOf(now))
	if err != nil || len(boots) == 0 {
		return 0, err
	}
	for i, all := 0, h.stretches(); i < all.count(); i++ {
		s := all.get(i)
		if s.unset == 0 {
			continue
		}
		n, err := h.settleStretch(ctx, s, boots)
		settled += n
		if err != nil {
			return settled, fmt.Errorf("history: settling times: %w", database.Explain(err))
		}
	}
	return settled, nil
}

// boots finds when the boots with unset readings began; none: nothing to do.
func (h *History) boots(ctx context.Context, now stamp) (map[uint32]begun, error) {
	known := map[uint32]begun{now.boot: {at: now.wall - now.mono}}
	ends := map[uint32]int64{} // monotonic time of the newest unset reading
	var d *Damage
	sn, err := h.look(ctx)
	if err != nil {
		return nil, err
	}
	defer sn.close() //nolint:errcheck // it was only read
	for i := range sn.count() {
		s := sn.get(i)
		if s.unset == 0 {
			continue
		}
		err := h.scan(ctx, sn, s, s.first, func(_ uint64, k *packed, _ *dictionary) error {
			if !k.set {
				ends[k.boot] = max(ends[k.boot], k.mono)
			} else if _, ok := known[k.boot]; !ok {
				known[k.boot] = begun{at: k.wall - k.mono}
			}
			return nil
		})
		if err != nil && !errors.As(err, &d) {
			return nil, err
		}
	}
	if len(ends) == 0 {
		return nil, nil
	}
	next := known[now.boot].at
	for _, boot := range slices.Backward(slices.Sorted(maps.Keys(ends))) {
		if b, ok := known[boot]; ok {
			next = b.at
			continue
		}
		next -= ends[boot] + betweenBoots.Milliseconds()
		known[boot] = begun{at: next, guessed: true}
	}
	return known, nil
}

// settleStretch rewrites the rows of one stretch in one commit.
func (h *History) settleStretch(ctx context.Context, s stretch, boots map[uint32]begun) (int, error) {
	rows, err := h.readRows(ctx, s)
	if err != nil {
		return 0, err
	}
	settled := stretch{rows: s.rows}
	count := 0
	for _, r := range rows {
		for i := range r.packed {
			if k := &r.packed[i]; !k.set {
				h.settleReading(k, boots[k.boot])
				count++
			}
		}
		settled.take(r.first, r.packed)
	}
	settled.first, settled.last, settled.rows = s.first, s.last, s.rows // also where a row could not be read
	isOpen := s.first == h.open.first
	previous := uint64(0)
	at := slices.IndexFunc(h.closed, func(c stretch) bool { return c.first == s.first })
	if at > 0 {
		previous = h.closed[at-1].last
	}
	err = h.inTransaction(ctx, func(tx *sql.Tx) error {
		for _, r := range rows {
			h.scratch.data = encodeRow(h.scratch.data[:0], r.first, r.packed)
			if _, err := tx.ExecContext(ctx, "UPDATE row SET data = ? WHERE first = ?", h.scratch.data, int64(r.first)); err != nil {
				return err
			}
		}
		if isOpen {
			return nil
		}
		return settled.write(ctx, tx, previous)
	})
	if err != nil {
		return 0, err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if isOpen {
		h.open = settled
	} else {
		h.closed = slices.Clone(h.closed) // readers hold the old one
		h.closed[at] = settled
	}
	for _, r := range rows {
		h.remember(r.first, r.packed)
	}
	return count, nil
}

// settleReading gives one reading its time.
func (h *History) settleReading(k *packed, b begun) {
	k.wall, k.set = b.at+k.mono, true
	if b.guessed && k.quality == reading.Good {
		k.quality, k.cause, k.text = reading.Uncertain, 0, estimated
	}
	if !h.names.knows(k.point) {
		return
	}
	p := h.names.points[k.point]
	r := reading.Reading{Value: unpack(k.form, k.number, p.steps), Quality: k.quality, Stamp: k.reading()}
	h.placeLate(p, &r, k.wall, false)
	k.wall = r.Stamp.Wall.UnixMilli()
}

// readRows reads the rows of a stretch; one that is damaged stays as it is.
func (h *History) readRows(ctx context.Context, s stretch) ([]newRow, error) {
	var all []newRow
	err := h.eachRow(ctx, func(first uint64, rs []packed, err error) {
		if err == nil {
			all = append(all, newRow{first: first, packed: slices.Clone(rs)})
		}
	}, "SELECT first, data FROM row WHERE first BETWEEN ? AND ? ORDER BY first", int64(s.first), int64(s.last))
	return all, err
}
