package history

import (
	"context"
	"time"

	"millwarden/internal/reading"
)

// takenAround is how far around a late reading the times of its point are read at once. Chosen: a probe that sends ten minutes of old readings then
// costs one query, and a point's times of that span 30 kB.
const takenAround = 5 * time.Minute

// taken is the times of one point between low and high, and what stands there.
type taken struct {
	low, high int64 // Unix milliseconds, both included
	at        map[int64]kept
}

// kept is what must be equal in two readings that are one delivered twice.
type kept struct {
	form    form
	number  int64
	quality reading.Quality
}

func keptOf(r *reading.Reading, steps float64) kept {
	f, number := pack(r.Value, steps)
	return kept{f, number, r.Quality}
}

// place settles the time of a reading whose clock was set, by the rule at the top of this package; false: it is there already.
func (h *History) place(p *point, r *reading.Reading) bool {
	at := r.Stamp.Wall.UnixMilli()
	if at > p.newest {
		p.newest = at
		p.note(at, r)
		return true
	}
	return h.placeLate(p, r, at, true)
}

// placeLate moves a reading to the first free millisecond from at on. With once, a reading equal to the one that stands there is not wanted.
func (h *History) placeLate(p *point, r *reading.Reading, at int64, once bool) bool {
	for moved := at; ; moved++ {
		if moved > p.newest {
			p.newest = moved
		} else if there, ok := h.there(p, moved); ok {
			if once && there == keptOf(r, p.steps) {
				return false
			}
			continue
		}
		if moved != at {
			h.moved++
		}
		r.Stamp.Wall = time.UnixMilli(moved).UTC()
		p.note(moved, r)
		return true
	}
}

// note adds a time to those known, where they reach it.
func (p *point) note(at int64, r *reading.Reading) {
	if p.taken != nil && p.taken.low <= at && at <= p.taken.high {
		p.taken.at[at] = keptOf(r, p.steps)
	}
}

// there tells what stands at a time of a point.
func (h *History) there(p *point, at int64) (kept, bool) {
	if p.taken == nil || at < p.taken.low || at > p.taken.high {
		p.taken = h.readTaken(p, at)
	}
	k, ok := p.taken.at[at]
	return k, ok
}

// readTaken reads the times of a point around one of them. Where the file cannot be read there they count as free: the store then keeps one of two
// readings of the same millisecond, which is less than a reading refused here.
func (h *History) readTaken(p *point, at int64) *taken {
	t := &taken{low: at - takenAround.Milliseconds(), high: at + takenAround.Milliseconds(), at: map[int64]kept{}}
	ctx, cancel := context.WithTimeout(context.Background(), queryWait)
	defer cancel()
	sn, err := h.look(ctx)
	if err == nil {
		_ = h.scanSeries(ctx, sn, p.key, t.low, t.high+1, func(_ uint64, k *packed, _ *dictionary) error {
			if k.set {
				t.at[k.wall] = kept{k.form, k.number, k.quality}
			}
			return nil
		})
		_ = sn.close()
	}
	for i := range h.waiting.all {
		if w := &h.waiting.all[i]; w.point == p && w.Stamp.Set {
			p2 := w.Stamp.Wall.UnixMilli()
			if t.low <= p2 && p2 <= t.high {
				t.at[p2] = keptOf(&w.Reading, p.steps)
			}
		}
	}
	return t
}
