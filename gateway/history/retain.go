package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"millwarden/internal/database"
)

// Removed is what Retain did.
type Removed struct {
	Readings uint64 // removed
	Unsent   uint64 // of them, not yet in the store
	Kept     uint64 // old enough, but kept because not yet in the store
}

// Retain removes whole stretches and chunks of readings that are all older than before. Those above the watermark stay unless evenUnsent; the caller
// raises its alarm on Kept before it asks for that. The newest stretch always stays. The file does not shrink: what is freed is used again.
func (h *History) Retain(ctx context.Context, before time.Time, evenUnsent bool) (Removed, error) {
	h.tending.Lock()
	defer h.tending.Unlock()
	h.keepSpare()
	done, err := h.retainRows(ctx, before, evenUnsent)
	if err == nil {
		err = h.retainChunks(ctx, before, &done)
	}
	if err != nil && !errors.Is(err, errClosed) {
		err = fmt.Errorf("history: removing old readings: %w", database.Explain(err))
	}
	return done, err
}

func (h *History) retainRows(ctx context.Context, before time.Time, evenUnsent bool) (done Removed, err error) {
	h.writing.Lock()
	defer h.writing.Unlock()
	if h.file == nil {
		return done, errClosed
	}
	for i := 0; i < len(h.closed)-1; {
		s := h.closed[i]
		unsent := h.unsent(s)
		switch {
		case s.high >= before.UnixMilli():
			i++
		case unsent > 0 && !evenUnsent:
			done.Kept += s.last - s.first + 1
			i++
		default:
			if err := h.remove(ctx, i); err != nil {
				return done, err
			}
			done.Readings += s.last - s.first + 1
			done.Unsent += unsent
		}
	}
	return done, nil
}

// chunksAtOnce is how many chunks of a point are removed by one commit, so that an append does not wait long. Chosen: a month of days.
const chunksAtOnce = 31

// retainChunks removes chunks that ended before a time. What is rolled up is in the store, or there is none.
func (h *History) retainChunks(ctx context.Context, before time.Time, done *Removed) error {
	h.mu.RLock()
	ids := len(h.names.points)
	h.mu.RUnlock()
	for id := 1; id < ids; {
		readings, chunks, err := h.removeChunks(ctx, id, keyHour(before.UnixMilli()))
		if err != nil {
			return err
		}
		done.Readings += readings
		if chunks < chunksAtOnce {
			id++
		}
	}
	return nil
}

func (h *History) removeChunks(ctx context.Context, id int, before int64) (readings uint64, chunks int, err error) {
	h.writing.Lock()
	defer h.writing.Unlock()
	if h.file == nil {
		return 0, 0, errClosed
	}
	old, err := h.endedChunks(ctx, id, before)
	if err != nil || len(old) == 0 {
		return 0, 0, err
	}
	for _, c := range old {
		readings += uint64(c.count)
	}
	return readings, len(old), h.rearrange(ctx, func(tx *sql.Tx) error {
		for _, c := range old {
			if _, err := tx.ExecContext(ctx, "DELETE FROM chunk WHERE key = ?", c.key); err != nil {
				return err
			}
			if err := unlist(ctx, tx, c); err != nil {
				return err
			}
		}
		if len(old) == chunksAtOnce {
			return nil
		}
		// What is listed of these days still was lost, and would be old by now.
		_, err := tx.ExecContext(ctx, "DELETE FROM day WHERE key >= ? AND key + 24 <= ?", chunkKey(id, math.MinInt32), chunkKey(id, before))
		return err
	}, func() {})
}

// endedChunks gives the oldest chunks of a point that ended before an hour, without their data.
func (h *History) endedChunks(ctx context.Context, id int, before int64) (old []*chunk, err error) {
	rows, err := h.file.Read.QueryContext(ctx, "SELECT key, hours, count FROM chunk WHERE key >= ?1 AND key + hours <= ?2 AND key < ?2 ORDER BY key LIMIT ?3",
		chunkKey(id, math.MinInt32), chunkKey(id, before), chunksAtOnce)
	if err != nil {
		return nil, err
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	for rows.Next() {
		c := new(chunk)
		if err := rows.Scan(&c.key, &c.hours, &c.count); err != nil {
			return nil, err
		}
		old = append(old, c)
	}
	return old, rows.Err()
}

// remove deletes a stretch and its rows. One stretch a commit: an append waits for no more.
func (h *History) remove(ctx context.Context, i int) error {
	return h.rearrange(ctx, func(tx *sql.Tx) error { return h.deleteStretch(ctx, tx, i) }, func() {
		h.closed = slices.Delete(slices.Clone(h.closed), i, i+1) // readers hold the old one
	})
}

// deleteStretch deletes a stretch and its rows, and tells the stretch after it what is before it now.
func (h *History) deleteStretch(ctx context.Context, tx *sql.Tx, i int) error {
	s, after := h.closed[i], h.closed[i+1]
	var previous uint64
	if i > 0 {
		previous = h.closed[i-1].last
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM row WHERE first BETWEEN ? AND ?", int64(s.first), int64(s.last)); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM stretch WHERE first = ?", int64(s.first)); err != nil {
		return err
	}
	return after.write(ctx, tx, previous)
}
