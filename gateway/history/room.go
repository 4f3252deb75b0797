package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"

	"millwarden/internal/database"
)

// mostPieces bounds what one call of MakeRoom removes. Chosen: some seconds on a slow card; it is called again.
const mostPieces = 64

// Room is how the bytes of history.db are used. Its log is not counted: it does not grow.
type Room struct {
	Bytes int64 // of the file
	Free  int64 // of them, that the next readings will use
}

// Room tells how the bytes of the file are used.
func (h *History) Room(ctx context.Context) (r Room, err error) {
	h.mu.RLock()
	file := h.file
	h.mu.RUnlock()
	if file == nil {
		return r, errClosed
	}
	var pages, free, size int64
	err = file.Read.QueryRowContext(ctx, "SELECT (SELECT page_count FROM pragma_page_count), (SELECT freelist_count FROM pragma_freelist_count), (SELECT page_size FROM pragma_page_size)").
		Scan(&pages, &free, &size)
	if err != nil {
		return r, fmt.Errorf("history: %w", database.Explain(err))
	}
	return Room{pages * size, free * size}, nil
}

// MakeRoom removes the oldest readings that are in the store until free bytes of the file are unused, so that it does not grow on a disk that has no
// more room. What is not in the store stays, unless evenUnsent: then its oldest goes last. Kept counts what would have gone. The newest stretch always
// stays. Call it again while it removes something.
func (h *History) MakeRoom(ctx context.Context, free int64, evenUnsent bool) (done Removed, err error) {
	h.tending.Lock()
	defer h.tending.Unlock()
	h.keepSpare()
	for range mostPieces {
		room, err := h.Room(ctx)
		if err != nil || room.Free >= free {
			return done, err
		}
		more, err := h.removeOldest(ctx, evenUnsent, &done)
		if errors.Is(err, ErrFull) && h.giveSpare() {
			continue
		}
		if err != nil || !more {
			return done, err
		}
	}
	return done, nil
}

// removeOldest removes the oldest chunks, of an hour or day of all points; where there are none, the oldest stretch of rows; false: nothing may go.
func (h *History) removeOldest(ctx context.Context, evenUnsent bool, done *Removed) (more bool, err error) {
	before, err := h.endOfOldest(ctx)
	switch {
	case err != nil:
	case before != nil:
		more, err = true, h.retainChunks(ctx, hourTime(*before), done)
	default:
		more, err = h.removeOldestRows(ctx, evenUnsent, done)
	}
	if err != nil && !errors.Is(err, errClosed) {
		err = fmt.Errorf("history: making room: %w", database.Explain(err))
	}
	return more, err
}

// endOfOldest is the hour at which the oldest chunk ends; nil: there is none.
func (h *History) endOfOldest(ctx context.Context) (end *int64, err error) {
	h.mu.RLock()
	file, ids := h.file, len(h.names.points)
	h.mu.RUnlock()
	if file == nil {
		return nil, errClosed
	}
	for id := 1; id < ids; id++ {
		var c chunk
		err := file.Read.QueryRowContext(ctx, "SELECT key, hours FROM chunk WHERE key >= ? AND key < ? ORDER BY key LIMIT 1",
			chunkKey(id, math.MinInt32), chunkKey(id+1, math.MinInt32)).Scan(&c.key, &c.hours)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if at := c.endHour(); end == nil || at < *end {
			end = &at
		}
	}
	return end, nil
}

func (h *History) removeOldestRows(ctx context.Context, evenUnsent bool, done *Removed) (more bool, err error) {
	h.writing.Lock()
	defer h.writing.Unlock()
	if h.file == nil {
		return false, errClosed
	}
	done.Kept = 0
	for i := range max(len(h.closed)-1, 0) {
		s := h.closed[i]
		unsent := h.unsent(s)
		if unsent > 0 && !evenUnsent {
			done.Kept += unsent
			continue
		}
		if err := h.remove(ctx, i); err != nil {
			return false, err
		}
		done.Readings += s.last - s.first + 1
		done.Unsent += unsent
		return true, nil
	}
	return false, nil
}

// unsent is how many readings of a stretch are not known to be in the store.
func (h *History) unsent(s stretch) uint64 {
	return s.last - min(s.last, max(h.mark.Commit, s.first-1))
}
