package history

import (
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// Bounds of the dictionary of causes. Chosen: drivers have a few dozen; a cause that carries a changing number must not fill the memory of the
// board, so that what is longer or comes later is written in full in its row.
const (
	mostCauses  = 1000
	longestText = 80
)

// lostCause stands for a cause whose text is damaged: the reading and its quality are not.
const lostCause = "a cause that cannot be read any more"

// key names a series: what a point measured.
type key struct {
	point    string
	quantity units.Quantity
}

// point is what is known of a series.
type point struct {
	key
	steps  float64
	id     int   // in the file; 0: not yet there
	old    bool  // another stands for its series now: its step changed
	last   bool  // it is the series of its point used last
	newest int64 // wall time of its newest reading with a set clock, Unix milliseconds; noTime: none
	taken  *taken
	latest packed // newest one written
	at     uint64 // its position; 0: none
	row    uint64 // that holds it
}

const noTime = math.MinInt64

// dictionary holds points and causes by number and by name.
type dictionary struct {
	points   []*point // by id; nil where there is none
	byKey    map[key]*point
	byName   map[string]*point // the series of that point used last; changed by use alone
	causes   []string          // by number; 0 is not used
	byCause  map[string]int
	bySeries []*point // in the order in which they were met
}

func newDictionary() *dictionary {
	return &dictionary{points: make([]*point, 1), byKey: map[key]*point{}, byName: map[string]*point{}, causes: make([]string, 1), byCause: map[string]int{}}
}

// find gives the series of a reading, a new one if it is met for the first time. guess, which may be nil, is looked at first.
func (d *dictionary) find(r *reading.Reading, guess *point) *point {
	k := key{r.Point, r.Quantity}
	p := guess
	if p == nil || p.key != k {
		p = d.byKey[k]
	}
	if p == nil {
		p = &point{key: k, steps: r.Quantity.StepsPerUnit(), newest: noTime}
		d.byKey[k] = p
		d.bySeries = append(d.bySeries, p)
	}
	d.use(p)
	return p
}

// use makes p the series of its point used last.
func (d *dictionary) use(p *point) {
	if p.last { // nearly always: a map costs more than all else here
		return
	}
	if before := d.byName[p.point]; before != nil {
		before.last = false
	}
	d.byName[p.point], p.last = p, true
}

// current is the series that p stands for now: the same under the step of today.
func (d *dictionary) current(p *point) *point {
	if now := d.byKey[p.key]; now != nil {
		return now
	}
	return p
}

// learn makes p the one with its id.
func (d *dictionary) learn(p *point) {
	for len(d.points) <= p.id {
		d.points = append(d.points, nil)
	}
	d.points[p.id] = p
}

// of tells whether a number stands for the series p, under whichever step.
func (d *dictionary) of(id int, p *point) bool {
	return d.knows(id) && d.points[id].key == p.key
}

// knows tells whether a number stands for a series.
func (d *dictionary) knows(id int) bool { return id > 0 && id < len(d.points) && d.points[id] != nil }

// reading gives a packed reading its names.
func (d *dictionary) reading(p *packed, to *reading.Reading) error {
	if !d.knows(p.point) {
		return fmt.Errorf("point %d is not known", p.point)
	}
	series := d.points[p.point]
	*to = reading.Reading{Point: series.point, Quantity: series.quantity, Value: unpack(p.form, p.number, series.steps),
		Stamp: p.stamp.reading(), Quality: p.quality, Cause: d.cause(p)}
	return nil
}

// cause is the text of a packed reading's cause.
func (d *dictionary) cause(p *packed) string {
	switch {
	case p.cause == 0:
		return p.text
	case p.cause >= len(d.causes):
		return lostCause
	}
	return d.causes[p.cause]
}

// pack gives a reading with names as numbers. A cause without a number stays text.
func (d *dictionary) pack(r *reading.Reading, p *point) packed {
	k := packed{stamp: stampOf(r.Stamp), point: p.id, quality: r.Quality}
	k.form, k.number = pack(r.Value, p.steps)
	if r.Cause == "" {
		return k
	}
	if k.cause = d.byCause[r.Cause]; k.cause == 0 {
		k.text = r.Cause
	}
	return k
}

// readDictionary reads points and causes. What its checksum does not fit is left out: rows that use it are then reported as damaged.
func readDictionary(ctx context.Context, db *sql.DB) (d *dictionary, faults int, err error) {
	d = newDictionary()
	rows, err := db.QueryContext(ctx, "SELECT id, name, quantity, steps, crc FROM point ORDER BY id")
	if err != nil {
		return nil, 0, err
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	for rows.Next() {
		var name, quantity string
		var check int64
		p := &point{newest: noTime}
		if err := rows.Scan(&p.id, &name, &quantity, &p.steps, &check); err != nil {
			return nil, 0, err
		}
		if check != pointSum(p.id, name, quantity, p.steps) {
			faults++
			continue
		}
		q, _ := units.ByName(quantity)
		p.key = key{name, q}
		d.learn(p)
		if p.old = p.steps != q.StepsPerUnit(); !p.old {
			if before := d.byKey[p.key]; before != nil {
				before.old = true
			}
			d.byKey[p.key] = p
			d.use(p)
			d.bySeries = append(d.bySeries, p)
		}
	}
	if err := rows.Err(); err != nil {
		return nil, 0, err
	}
	more, err := d.readCauses(ctx, db)
	return d, faults + more, err
}

func (d *dictionary) readCauses(ctx context.Context, db *sql.DB) (faults int, err error) {
	rows, err := db.QueryContext(ctx, "SELECT id, text, crc FROM cause ORDER BY id")
	if err != nil {
		return 0, err
	}
	defer rows.Close() //nolint:errcheck // what went wrong is in rows.Err
	for rows.Next() {
		var id int
		var text string
		var check int64
		if err := rows.Scan(&id, &text, &check); err != nil {
			return 0, err
		}
		if check != textSum(id, text) || id <= 0 || id > 2*mostCauses {
			faults++
			continue
		}
		for len(d.causes) < id {
			d.causes = append(d.causes, lostCause)
		}
		d.causes = append(d.causes, text)
		d.byCause[text] = id
	}
	return faults, rows.Err()
}

// name gives the points and causes of readings their numbers, in the file first and then in memory.
func (h *History) name(ctx context.Context, rs []waiting) error {
	d := h.names
	var points []*point
	var causes []string
	seen := map[any]bool{}
	for i := range rs {
		if rs[i].point.id != 0 && rs[i].Cause == "" {
			continue
		}
		if p := rs[i].point; p.id == 0 && !seen[p] {
			seen[p] = true
			points = append(points, p)
		}
		c := rs[i].Cause
		if c != "" && len(c) <= longestText && d.byCause[c] == 0 && len(d.causes)+len(causes) <= mostCauses && !seen[c] {
			seen[c] = true
			causes = append(causes, c)
		}
	}
	if len(points)+len(causes) == 0 {
		return nil
	}
	tx, err := h.beginTx(ctx)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // after a commit there is nothing to roll back
	// Damaged entries keep their numbers: what used them must not come to mean something else.
	next := [2]int{}
	if err := tx.QueryRowContext(ctx, "SELECT (SELECT coalesce(max(id),0) FROM point), (SELECT coalesce(max(id),0) FROM cause)").Scan(&next[0], &next[1]); err != nil {
		return err
	}
	next[0], next[1] = max(next[0], len(d.points)-1), max(next[1], len(d.causes)-1)
	for i, p := range points {
		id := next[0] + 1 + i
		if _, err := tx.ExecContext(ctx, "INSERT INTO point (id, name, quantity, steps, crc) VALUES (?, ?, ?, ?, ?)",
			id, p.point, p.quantity.Name(), p.steps, pointSum(id, p.point, p.quantity.Name(), p.steps)); err != nil {
			return err
		}
	}
	for i, c := range causes {
		id := next[1] + 1 + i
		if _, err := tx.ExecContext(ctx, "INSERT INTO cause (id, text, crc) VALUES (?, ?, ?)", id, c, textSum(id, c)); err != nil {
			return err
		}
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	for i, p := range points {
		p.id = next[0] + 1 + i
		d.learn(p)
	}
	for i, c := range causes {
		for len(d.causes) < next[1]+1+i {
			d.causes = append(d.causes, lostCause)
		}
		d.causes = append(d.causes, c)
		d.byCause[c] = next[1] + 1 + i
	}
	return nil
}

func pointSum(id int, name, quantity string, steps float64) int64 {
	b := binary.AppendUvarint(nil, uint64(id))
	b = append(binary.AppendUvarint(b, uint64(len(name))), name...)
	b = append(binary.AppendUvarint(b, uint64(len(quantity))), quantity...)
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(steps))
	return int64(crc32.Checksum(b, castagnoli))
}

func textSum(id int, text string) int64 {
	return int64(crc32.Checksum(append(binary.AppendUvarint(nil, uint64(id)), text...), castagnoli))
}

// numbersSum is the checksum of a row of numbers and a text.
func numbersSum(text string, numbers ...int64) int64 {
	var b []byte
	for _, n := range numbers {
		b = binary.LittleEndian.AppendUint64(b, uint64(n))
	}
	return int64(crc32.Checksum(append(b, text...), castagnoli))
}
