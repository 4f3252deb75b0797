package history

import (
	"context"
	"database/sql"
	"fmt"
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

// Retain removes whole stretches of readings that are all older than before. Those above the watermark stay unless evenUnsent; the caller raises
// its alarm on Kept before it asks for that. The newest stretch always stays. The file does not shrink: what is freed is used again.
func (h *History) Retain(ctx context.Context, before time.Time, evenUnsent bool) (Removed, error) {
	h.writing.Lock()
	defer h.writing.Unlock()
	var done Removed
	if h.file == nil {
		return done, errClosed
	}
	for i := 0; i < len(h.closed)-1; {
		s := h.closed[i]
		unsent := s.last - min(s.last, max(h.mark.Commit, s.first-1))
		switch {
		case s.high >= before.UnixMilli():
			i++
		case unsent > 0 && !evenUnsent:
			done.Kept += s.last - s.first + 1
			i++
		default:
			if err := h.remove(ctx, i); err != nil {
				return done, fmt.Errorf("history: removing old readings: %w", database.Explain(err))
			}
			done.Readings += s.last - s.first + 1
			done.Unsent += unsent
		}
	}
	return done, nil
}

// remove deletes a stretch and its rows, and tells the stretch after it what is before it now. One stretch a commit: an append waits for no more.
func (h *History) remove(ctx context.Context, i int) error {
	s, after := h.closed[i], h.closed[i+1]
	var previous uint64
	if i > 0 {
		previous = h.closed[i-1].last
	}
	err := h.inTransaction(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM row WHERE first BETWEEN ? AND ?", int64(s.first), int64(s.last)); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM stretch WHERE first = ?", int64(s.first)); err != nil {
			return err
		}
		return after.write(ctx, tx, previous)
	})
	if err != nil {
		return err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = slices.Delete(slices.Clone(h.closed), i, i+1) // readers hold the old one
	return nil
}
