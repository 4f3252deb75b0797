package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"millwarden/internal/database"
)

// Rows are good for what comes in: all points of a second, one commit. Chunks are good for what stays: one point, one hour or day, a tenth of the room.
// RollUp moves readings from the ones to the others, a stretch of rows at a time, in one transaction: at every moment, also after a power cut, a
// reading is in a row or in a chunk, never in both. What comes late is in its row until its stretch is rolled up, and then joins the chunk of its hour
// or day.

const (
	// settleHours is how long an hour has been over when it is rolled up. Chosen: what the engine's windows and the page ask for most is in rows.
	settleHours = 1
	// mergeHours is how long a day has been over when its chunks become one. Chosen: what radio probes kept over night is in by then.
	mergeHours = 6
)

// Rolled is what a step of RollUp did; all zero: there is nothing to do now.
type Rolled struct {
	Readings int // moved from rows to chunks
	Hours    int // chunks of an hour that became one of a day
}

// roller is what RollUp keeps from step to step.
type roller struct {
	encoder
	stuck   map[uint64]bool // first positions of stretches that stay as they are, since something there is damaged
	merged  map[int]int64   // by point: no chunk of an hour is left before this hour
	checked int             // points up to this one have all their chunks, or it was told
	held    time.Duration   // how long the last step kept appends waiting
}

func newRoller() roller { return roller{stuck: map[uint64]bool{}, merged: map[int]int64{}} }

func (r *roller) hold(since time.Time) { r.held = time.Since(since) }

// RollUp does one step: it moves one stretch of readings that are in the store, of hours that are over, from rows to chunks, or makes the chunks of a
// point's day one. evenUnsent also takes what is not in the store, for a site that has none. Call it about once a second: an append waits for the
// writing of one step only, and where there is nothing to do it costs next to nothing. A stretch in which something is damaged, or a reading has no
// known time yet, stays as it is. From does not give what is rolled up any more.
func (h *History) RollUp(ctx context.Context, now time.Time, evenUnsent bool) (Rolled, error) {
	h.tending.Lock()
	defer h.tending.Unlock()
	ctx, cancel := context.WithTimeout(ctx, queryWait)
	defer cancel()
	sn, err := h.look(ctx)
	if err != nil {
		return Rolled{}, err
	}
	defer sn.close() //nolint:errcheck // it was only read
	var done Rolled
	for s, ok := h.ripe(sn, now, evenUnsent); ok && done.Readings == 0 && err == nil; s, ok = h.ripe(sn, now, evenUnsent) {
		done.Readings, err = h.rollStretch(ctx, sn, s) // none where it is stuck
	}
	if done.Readings == 0 && err == nil {
		done.Hours, err = h.mergeDays(ctx, sn, dayOf(keyHour(now.UnixMilli())-mergeHours))
	}
	if done == (Rolled{}) && err == nil {
		err = h.checkDays(ctx, sn)
	}
	if err != nil {
		return done, fmt.Errorf("history: rolling up: %w", database.Explain(err))
	}
	return done, nil
}

// ripe finds a stretch that can be rolled up. The newest closed one stays, as the link to what follows.
func (h *History) ripe(sn *snapshot, now time.Time, evenUnsent bool) (stretch, bool) {
	over := (keyHour(now.UnixMilli()) - settleHours) * hourMilli
	soon := now.Add(time.Hour).UnixMilli()
	safe := h.Watermark().Commit
	for i := range len(sn.closed) - 1 {
		s := sn.closed[i]
		timely := s.high < over || s.high > soon // what a wrong clock put ahead must not stay for years
		if timely && s.unset == 0 && (evenUnsent || s.last <= safe) && canRoll(s) && !h.roller.stuck[s.first] {
			return s, true
		}
	}
	return stretch{}, false
}

// canRoll tells whether keys can hold the times of a stretch: 245,000 years.
func canRoll(s stretch) bool {
	return keyHour(s.low) == hourOf(s.low) && keyHour(s.high) == hourOf(s.high) && keyHour(s.low) > math.MinInt32+24
}

// placed is a reading to be rolled up and its position.
type placed struct {
	packed
	position uint64
}

// rollStretch moves the readings of one stretch into chunks.
func (h *History) rollStretch(ctx context.Context, sn *snapshot, s stretch) (int, error) {
	byPoint := map[int][]placed{}
	count := 0
	err := h.scan(ctx, sn, s, s.first, func(position uint64, k *packed, d *dictionary) error {
		if k.point <= 0 || k.point >= len(d.points) || d.points[k.point] == nil {
			return &fault{position, errors.New("its point is not known")}
		}
		byPoint[k.point] = append(byPoint[k.point], placed{*k, position})
		count++
		return nil
	})
	var chunks []*chunk
	for _, id := range slices.Sorted(maps.Keys(byPoint)) { // in the order of the table
		if err != nil {
			break
		}
		rs := byPoint[id]
		slices.SortStableFunc(rs, func(a, b placed) int { return compareWall(&a.packed, &b.packed) })
		chunks, err = h.join(ctx, sn, id, rs, chunks)
	}
	if h.isDamage(err) {
		h.roller.stuck[s.first] = true
		return 0, nil
	} else if err != nil {
		return 0, err
	}
	return count, h.replaceRows(ctx, s, chunks)
}

func compareWall(a, b *packed) int {
	switch {
	case a.wall < b.wall:
		return -1
	case a.wall > b.wall:
		return 1
	}
	return 0
}

func (h *History) isDamage(err error) bool {
	var d *Damage
	return errors.As(err, &d)
}

// join appends the chunks in which the readings of a point stand, those that are there already with what they hold.
func (h *History) join(ctx context.Context, sn *snapshot, id int, rs []placed, chunks []*chunk) ([]*chunk, error) {
	for len(rs) > 0 {
		hour := hourOf(rs[0].wall)
		c, err := h.chunkAt(ctx, sn, id, hour)
		if err != nil {
			return nil, err
		}
		n := 1
		for n < len(rs) && c.holds(hourOf(rs[n].wall)) {
			n++
		}
		all, position, err := h.decodeWhole(sn, c)
		if err != nil {
			return nil, err
		}
		if last := &rs[n-1]; len(all) == 0 || last.wall >= all[len(all)-1].wall {
			position = last.position
		}
		for i := range rs[:n] {
			all = append(all, rs[i].packed)
		}
		slices.SortStableFunc(all, func(a, b packed) int { return compareWall(&a, &b) })
		if err := h.roller.encode(c, position, all); err != nil {
			return nil, err
		}
		chunks = append(chunks, c)
		rs = rs[n:]
	}
	return chunks, nil
}

// decodeWhole decodes a chunk for good; damage is counted and reported.
func (h *History) decodeWhole(sn *snapshot, c *chunk) (all []packed, position uint64, err error) {
	if c.count == 0 { // a new one
		return nil, 0, nil
	}
	all, head, err := decodeChunk(c, h.trusting)
	var damage error
	if err := h.chunkDamage(sn, c, err, &damage); err != nil {
		return nil, 0, err
	}
	return all, head.position, damage
}

// chunkAt reads the chunk of a point that holds an hour, or begins one. Where one should be and is not, that is damage: a new one in its place would
// hide it.
func (h *History) chunkAt(ctx context.Context, sn *snapshot, id int, hour int64) (*chunk, error) {
	c := new(chunk)
	err := sn.tx.QueryRowContext(ctx, "SELECT key, hours, count, data FROM chunk WHERE key BETWEEN ? AND ? ORDER BY key DESC LIMIT 1",
		chunkKey(id, dayOf(hour)), chunkKey(id, hour)).Scan(&c.key, &c.hours, &c.count, &c.data)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, unreadable(err)
	}
	if err == nil && c.holds(hour) {
		return c, nil
	}
	lost, err := missed(ctx, sn.tx, id, hour)
	if err != nil {
		return nil, err
	}
	if lost != nil {
		var damage error
		err = h.chunkDamage(sn, lost, errNoChunk, &damage)
		return nil, errors.Join(damage, err)
	}
	return &chunk{key: chunkKey(id, hour), hours: 1}, nil
}

// replaceRows puts chunks in place of the rows of a stretch.
func (h *History) replaceRows(ctx context.Context, s stretch, chunks []*chunk) error {
	h.writing.Lock()
	defer h.writing.Unlock()
	defer h.roller.hold(time.Now())
	i := slices.Index(h.closed, s)
	if h.file == nil || i < 0 || i == len(h.closed)-1 { // a new file was begun, or a time settled, meanwhile
		return nil
	}
	err := h.rearrange(ctx, func(tx *sql.Tx) error {
		if err := writeChunks(ctx, tx, chunks); err != nil {
			return err
		}
		return h.deleteStretch(ctx, tx, i)
	}, func() {
		h.closed = slices.Delete(slices.Clone(h.closed), i, i+1) // readers hold the old one
	})
	if err != nil {
		return err
	}
	for _, c := range chunks {
		if id := pointOf(c.key); c.hours == 1 && c.firstHour() < h.roller.merged[id] {
			h.roller.merged[id] = dayOf(c.firstHour())
		}
	}
	return nil
}

func writeChunks(ctx context.Context, tx *sql.Tx, chunks []*chunk) error {
	insert, err := tx.PrepareContext(ctx, "INSERT OR REPLACE INTO chunk (key, hours, count, data) VALUES (?, ?, ?, ?)")
	if err != nil {
		return err
	}
	defer insert.Close() //nolint:errcheck // it ends with tx
	for _, c := range chunks {
		if _, err := insert.ExecContext(ctx, c.key, c.hours, c.count, c.data); err != nil {
			return err
		}
	}
	return list(ctx, tx, chunks)
}

// mergeDays makes the chunks of the oldest day that still has hours, of one point, a chunk of the day; it gives how many there were.
func (h *History) mergeDays(ctx context.Context, sn *snapshot, before int64) (int, error) {
	for id, p := range sn.names.points {
		for from := h.mergedTo(id); p != nil && from < before; from = h.mergedTo(id) {
			var key int64
			err := sn.tx.QueryRowContext(ctx, "SELECT key FROM chunk WHERE key >= ? AND key < ? AND hours = 1 ORDER BY key LIMIT 1",
				chunkKey(id, from), chunkKey(id, before)).Scan(&key)
			if errors.Is(err, sql.ErrNoRows) {
				h.roller.merged[id] = before
				continue
			} else if err != nil {
				return 0, err
			}
			day := dayOf((&chunk{key: key}).firstHour())
			h.roller.merged[id] = day + 24
			n, err := h.mergeDay(ctx, sn, id, day)
			if n > 0 || err != nil && !h.isDamage(err) {
				return n, err
			} // a day of which something is damaged stays in hours
		}
	}
	return 0, nil
}

func (h *History) mergedTo(id int) int64 {
	if to, ok := h.roller.merged[id]; ok {
		return to
	}
	return math.MinInt32 + 24
}

// mergeDay takes one reading after the other from the hours to the day: a day of them at once would be the most memory that the program ever takes.
func (h *History) mergeDay(ctx context.Context, sn *snapshot, id int, day int64) (int, error) {
	h.roller.begin()
	var reader chunkReader
	var position uint64
	n := 0
	for hour := day; hour < day+24; hour++ {
		c, err := h.chunkAt(ctx, sn, id, hour)
		if err != nil {
			return 0, err
		}
		if c.count == 0 {
			continue
		}
		var damage error
		if err := h.chunkDamage(sn, c, visitChunk(&reader, c, h.trusting, h.roller.add), &damage); err != nil || damage != nil {
			return 0, errors.Join(err, damage)
		}
		position = reader.position
		n++
	}
	whole := &chunk{key: chunkKey(id, day), hours: 24}
	if err := h.roller.end(whole, position); err != nil {
		return 0, err
	}
	h.writing.Lock()
	defer h.writing.Unlock()
	defer h.roller.hold(time.Now())
	if h.file == nil {
		return 0, nil
	}
	return n, h.rearrange(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM chunk WHERE key >= ? AND key < ?", chunkKey(id, day), chunkKey(id, day+24)); err != nil {
			return err
		}
		if err := listDay(ctx, tx, whole.key, 0); err != nil {
			return err
		}
		return writeChunks(ctx, tx, []*chunk{whole})
	}, func() {})
}
