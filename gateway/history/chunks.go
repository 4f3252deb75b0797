package history

import (
	"container/heap"
	"context"
	"database/sql"
	"errors"
	"math"
	"slices"
	"time"

	"millwarden/internal/database"
)

// scanChunks visits the readings with low <= wall < high that are rolled up under one number of a point, in the order of time. Damage is joined and
// does not end it.
func (h *History) scanChunks(ctx context.Context, sn *snapshot, id int, low, high int64, visit visitor) error {
	if low >= high {
		return nil
	}
	first, last := keyHour(low), keyHour(high-1)
	rows, err := sn.tx.QueryContext(ctx, "SELECT key, hours, count, data FROM chunk WHERE key BETWEEN ? AND ? AND key + hours > ? ORDER BY key",
		chunkKey(id, max(dayOf(first), math.MinInt32)), chunkKey(id, last), chunkKey(id, first))
	if err != nil {
		return unreadable(err)
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	var damage error
	var r chunkReader
	met := map[int64]bool{}
	for rows.Next() {
		c, err := lend(rows)
		if err != nil {
			return unreadable(err)
		}
		met[c.key] = true
		err = visitChunk(&r, &c, h.trusting, func(k *packed) error {
			if k.wall < low || k.wall >= high {
				return nil
			}
			return visit(0, k, &sn.names)
		})
		if err := h.chunkDamage(sn, &c, err, &damage); err != nil {
			return err
		}
	}
	if err := unreadable(rows.Err()); err != nil {
		return errors.Join(damage, err)
	}
	err = h.wantChunks(ctx, sn, id, first, last, met, &damage)
	return errors.Join(damage, err)
}

// lend reads a row of the table; its data is lent until the next.
func lend(rows *sql.Rows) (c chunk, err error) {
	var data sql.RawBytes
	err = rows.Scan(&c.key, &c.hours, &c.count, &data)
	c.data = data
	return c, err
}

func visitChunk(r *chunkReader, c *chunk, trusting bool, visit func(*packed) error) error {
	if err := r.open(c, trusting); err != nil {
		return err
	}
	var k packed
	for {
		more, err := r.next(&k)
		if err != nil || !more {
			return err
		}
		if err := visit(&k); err != nil {
			return err
		}
	}
}

// keyHour is the hour of a time, within what a key holds.
func keyHour(wall int64) int64 { return min(max(hourOf(wall), math.MinInt32), math.MaxInt32) }

// chunkDamage joins to damage what is wrong with a chunk; other errors it gives back.
func (h *History) chunkDamage(sn *snapshot, c *chunk, err error, damage *error) error {
	var f *fault
	switch {
	case err == nil:
		return nil
	case errors.As(err, &f), errors.Is(err, errSum), errors.Is(err, errShort), errors.Is(err, errLayout), errors.Is(err, errNoChunk), errors.Is(err, errDay):
	default:
		return err
	}
	d := &Damage{Point: "a point that is not known", From: hourTime(c.firstHour()), To: hourTime(c.endHour()), Err: err}
	if id := pointOf(c.key); id < len(sn.names.points) && id > 0 && sn.names.points[id] != nil {
		d.Point = sn.names.points[id].point
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if !h.spoiled[c.key] && len(h.spoiled) < mostDamages {
		h.spoiled[c.key] = true
		h.counts.Damaged += uint64(min(max(c.count, 1), mostInChunk))
	}
	*damage = errors.Join(*damage, d)
	return nil
}

func hourTime(hour int64) time.Time { return time.Unix(hour*3600, 0).UTC() }

// unreadable tells a damaged file from a query that was ended.
func unreadable(err error) error {
	if err == nil {
		return nil
	}
	if err = database.Explain(err); errors.Is(err, ErrDamaged) {
		return &Damage{Point: "all points", Err: err}
	}
	return err
}

// stream is the chunks of one point, read one after the other.
type stream struct {
	keys   []int64
	reader chunkReader
	now    packed
}

// streams is a heap of them, by the time of the reading that comes next.
type streams []*stream

func (s streams) Len() int { return len(s) }
func (s streams) Less(i, j int) bool {
	return s[i].now.wall < s[j].now.wall || s[i].now.wall == s[j].now.wall && s[i].now.point < s[j].now.point
}
func (s streams) Swap(i, j int) { s[i], s[j] = s[j], s[i] }
func (s *streams) Push(x any)   { *s = append(*s, x.(*stream)) }
func (s *streams) Pop() any {
	last := (*s)[len(*s)-1]
	*s = (*s)[:len(*s)-1]
	return last
}

// mergeChunks visits the readings of all points that are rolled up, in the order of time; chunks without any as new as oldest may be left out. One chunk
// of each point is in memory at a time.
func (h *History) mergeChunks(ctx context.Context, sn *snapshot, oldest *stamp, visit visitor) error {
	var damage error
	var all streams
	for id, p := range sn.names.points {
		if p == nil {
			continue
		}
		keys, err := h.keysSince(ctx, sn, id, oldest)
		if err == nil && oldest == nil {
			err = h.wantChunks(ctx, sn, id, math.MinInt32, math.MaxInt32, setOf(keys), &damage)
		}
		if err != nil {
			return err
		}
		s := &stream{keys: keys}
		more, err := h.advance(ctx, sn, s, &damage)
		if err != nil {
			return err
		}
		if more {
			all = append(all, s)
		}
	}
	heap.Init(&all)
	for len(all) > 0 {
		s := all[0]
		here := &chunk{key: s.reader.key, hours: 1, count: 1}
		if err := h.chunkDamage(sn, here, visit(0, &s.now, &sn.names), &damage); err != nil {
			return err
		}
		more, err := h.advance(ctx, sn, s, &damage)
		switch {
		case err != nil:
			return err
		case more:
			heap.Fix(&all, 0)
		default:
			heap.Pop(&all)
		}
	}
	return damage
}

// advance reads the next reading of a stream, from the next chunk where one ends or is damaged.
func (h *History) advance(ctx context.Context, sn *snapshot, s *stream, damage *error) (bool, error) {
	for {
		more, err := s.reader.next(&s.now)
		if more {
			return true, nil
		}
		if err != nil {
			s.reader.left = 0
			if err := h.chunkDamage(sn, &chunk{key: s.reader.key, hours: 1, count: 1}, err, damage); err != nil {
				return false, err
			}
		}
		if len(s.keys) == 0 {
			return false, nil
		}
		c, err := readChunk(ctx, sn, s.keys[0])
		if err != nil {
			return false, err
		}
		s.keys = s.keys[1:]
		err = s.reader.open(c, h.trusting)
		if err != nil {
			s.reader.left = 0
		}
		if err := h.chunkDamage(sn, c, err, damage); err != nil {
			return false, err
		}
	}
}

func readChunk(ctx context.Context, sn *snapshot, key int64) (*chunk, error) {
	c := &chunk{key: key}
	err := sn.tx.QueryRowContext(ctx, "SELECT hours, count, data FROM chunk WHERE key = ?", key).Scan(&c.hours, &c.count, &c.data)
	return c, unreadable(err)
}

// strays is how many chunks that are too old end the search for new ones. Chosen: a wall clock that was ahead for an hour or two leaves as many behind
// at a time to come.
const strays = 3

// keysSince gives the keys of the chunks of a point, in order: all, or from the first on that holds a stamp as new as oldest.
func (h *History) keysSince(ctx context.Context, sn *snapshot, id int, oldest *stamp) ([]int64, error) {
	query := "SELECT key, hours, count, data FROM chunk WHERE key >= ? AND key < ? ORDER BY key DESC"
	if oldest == nil {
		query = "SELECT key, hours, count, NULL FROM chunk WHERE key >= ? AND key < ? ORDER BY key DESC"
	}
	rows, err := sn.tx.QueryContext(ctx, query, chunkKey(id, math.MinInt32), chunkKey(id+1, math.MinInt32))
	if err != nil {
		return nil, unreadable(err)
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	var keys []int64
	for old := 0; rows.Next() && old < strays; {
		c, err := lend(rows)
		if err != nil {
			return nil, unreadable(err)
		}
		if oldest != nil {
			var r chunkReader
			at := cursor{c.data[min(1, len(c.data)):]}
			if _, err := r.readHead(&at); err == nil && oldest.after(r.newest) { // what cannot be read is reported when it is played
				old++
				continue
			}
			old = 0
		}
		keys = append(keys, c.key)
	}
	slices.Reverse(keys)
	return keys, unreadable(rows.Err())
}

// readRolled gives points what chunks know of them: how new their newest reading is, and where rows know of none as new, that reading.
func (h *History) readRolled(ctx context.Context) error {
	for id, p := range h.names.points {
		if p == nil {
			continue
		}
		c := chunk{}
		err := h.file.Read.QueryRowContext(ctx, "SELECT key, hours, count FROM chunk WHERE key >= ? AND key < ? ORDER BY key DESC LIMIT 1",
			chunkKey(id, math.MinInt32), chunkKey(id+1, math.MinInt32)).Scan(&c.key, &c.hours, &c.count)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		} else if err != nil {
			return err
		}
		p = h.names.current(p)
		end := c.endHour() * hourMilli
		p.newest = max(p.newest, end-1) // not before its newest: what is earlier is looked up
		if p.at != 0 && p.latest.set && p.latest.wall >= end {
			continue
		}
		if err := h.file.Read.QueryRowContext(ctx, "SELECT data FROM chunk WHERE key = ?", c.key).Scan(&c.data); err != nil {
			return err
		}
		h.rememberChunk(&c, p)
	}
	return nil
}

// rememberChunk takes the last reading of a chunk as the newest of its point, where it is.
func (h *History) rememberChunk(c *chunk, p *point) {
	rs, head, err := decodeChunk(c, h.trusting)
	if err != nil { // counted when it is read
		return
	}
	last := &rs[len(rs)-1]
	if p.at != 0 && !isNewer(last, &p.latest) {
		return
	}
	if h.names.knows(last.point) {
		p.latest, p.at, p.row = *last, head.position, 0
		h.names.use(p)
	}
}
