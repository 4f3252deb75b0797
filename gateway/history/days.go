package history

import (
	"context"
	"database/sql"
	"errors"
	"math"
)

// A chunk that is not there leaves no trace where chunks are looked for: a damaged key in the file, and the readings of an hour would be gone as if the
// probe had been silent. So for each day of a point the file says which chunks there are. A day that it says nothing of, as in a file of an older
// version, is taken as it is found.

var (
	errNoChunk = errors.New("a piece of the file is not there")
	errDay     = errors.New("checksum of the list of pieces does not fit")
)

// wholeDay is the bit of a chunk of 24 hours.
const wholeDay = 1 << 24

// dayKey is the key under which a chunk is listed, and bit its place there.
func (c *chunk) dayKey() int64 { return chunkKey(pointOf(c.key), dayOf(c.firstHour())) }

func (c *chunk) bit() int64 {
	if c.hours == 24 {
		return wholeDay
	}
	return 1 << (c.firstHour() - dayOf(c.firstHour()))
}

func daySum(key, hours int64) int64 { return numbersSum("day", key, hours) }

// listed gives which chunks of a day there should be; 0: nothing is known.
func listed(ctx context.Context, tx *sql.Tx, key int64) (hours int64, err error) {
	var crc int64
	err = tx.QueryRowContext(ctx, "SELECT hours, crc FROM day WHERE key = ?", key).Scan(&hours, &crc)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	if err == nil && crc != daySum(key, hours) {
		return 0, nil // reported when it is read; what is found is listed anew
	}
	return hours, err
}

// list says that chunks are there, beside those of their days that were.
func list(ctx context.Context, tx *sql.Tx, chunks []*chunk) error {
	for _, c := range chunks {
		key := c.dayKey()
		hours, err := listed(ctx, tx, key)
		if err != nil {
			return err
		}
		if next := hours | c.bit(); next != hours {
			if err := listDay(ctx, tx, key, next); err != nil {
				return err
			}
		}
	}
	return nil
}

// listDay says which chunks of a day there are; 0: none.
func listDay(ctx context.Context, tx *sql.Tx, key, hours int64) (err error) {
	if hours == 0 {
		_, err = tx.ExecContext(ctx, "DELETE FROM day WHERE key = ?", key)
	} else {
		_, err = tx.ExecContext(ctx, "INSERT OR REPLACE INTO day (key, hours, crc) VALUES (?, ?, ?)", key, hours, daySum(key, hours))
	}
	return err
}

// unlist says that a chunk is not there any more.
func unlist(ctx context.Context, tx *sql.Tx, c *chunk) error {
	hours, err := listed(ctx, tx, c.dayKey())
	if err != nil || hours&c.bit() == 0 {
		return err
	}
	return listDay(ctx, tx, c.dayKey(), hours&^c.bit())
}

// missed is the chunk that should be there for an hour of a point that has none; nil: there need be none.
func missed(ctx context.Context, tx *sql.Tx, id int, hour int64) (*chunk, error) {
	c := &chunk{key: chunkKey(id, hour), hours: 1, count: 1}
	hours, err := listed(ctx, tx, c.dayKey())
	switch {
	case err != nil:
		return nil, unreadable(err)
	case hours&wholeDay != 0:
		return &chunk{key: c.dayKey(), hours: 24, count: 1}, nil
	case hours&c.bit() != 0:
		return c, nil
	}
	return nil, nil
}

// wantChunks joins to damage the chunks of a point that hold something of the hours from first to last and are not among those met.
func (h *History) wantChunks(ctx context.Context, sn *snapshot, id int, first, last int64, met map[int64]bool, damage *error) error {
	rows, err := sn.tx.QueryContext(ctx, "SELECT key, hours, crc FROM day WHERE key BETWEEN ? AND ? ORDER BY key",
		chunkKey(id, max(dayOf(first), math.MinInt32)), chunkKey(id, last))
	if err != nil {
		return unreadable(err)
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	for rows.Next() {
		var key, hours, crc int64
		if err := rows.Scan(&key, &hours, &crc); err != nil {
			return unreadable(err)
		}
		day := &chunk{key: key, hours: 24, count: 1}
		if crc != daySum(key, hours) {
			_ = h.chunkDamage(sn, day, errDay, damage)
			continue
		}
		for bit := range int64(25) {
			c := &chunk{key: key + bit, hours: 1, count: 1}
			if bit == 24 {
				c = day
			}
			if hours&(1<<bit) != 0 && !met[c.key] && c.firstHour() <= last && c.endHour() > first {
				_ = h.chunkDamage(sn, c, errNoChunk, damage)
			}
		}
	}
	return unreadable(rows.Err())
}

// checkDays looks whether all chunks of a point are there, one point a call, once after each start: what is not there is counted and told, though
// nobody asks for it.
func (h *History) checkDays(ctx context.Context, sn *snapshot) error {
	for h.roller.checked < len(sn.names.points)-1 {
		h.roller.checked++
		id := h.roller.checked
		if sn.names.points[id] == nil {
			continue
		}
		keys, err := h.keysSince(ctx, sn, id, nil)
		if err != nil {
			return err
		}
		var damage error // it is counted
		return h.wantChunks(ctx, sn, id, math.MinInt32, math.MaxInt32, setOf(keys), &damage)
	}
	return nil
}

func setOf(keys []int64) map[int64]bool {
	set := make(map[int64]bool, len(keys))
	for _, k := range keys {
		set[k] = true
	}
	return set
}
