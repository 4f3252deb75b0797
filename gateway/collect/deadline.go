package collect

import (
	"context"
	"sync"
	"sync/atomic"
	"time"
)

// look is how often an exchange is looked at, and so how late its end may be noticed; chosen: a tenth of the shortest deadline.
const look = shortestDeadline / 10

// deadline is the context of one exchange after another. It is used again until the time of one runs out, and one timer looks now and then, while a
// round lasts, whether an exchange has stood still: a reading costs no new context and no timer. A driver keeps no context beyond its call, by its contract.
//
// Concurrency: one goroutine, and the timer's.
type deadline struct {
	parent context.Context
	ctx    *limited
	number uint64        // of the exchange
	state  atomic.Uint64 // number of the exchange under way, none or ended
	within atomic.Int64  // its time, in nanoseconds

	mu       sync.Mutex // guards what follows
	cancel   context.CancelCauseFunc
	timer    *time.Timer
	watching bool
	seen     uint64        // state at the last look
	waited   time.Duration // since it was seen first
}

// States in which no exchange is under way; numbers begin above.
const (
	none  = iota
	ended // its time ran out
)

// limited is a context whose error is the cause of its end: DeadlineExceeded where the time ran out. It does not tell beforehand when that will be: to ask the clock for every
// exchange would cost as much as to decode one.
type limited struct{ context.Context }

// Err is nil, or why the exchange ended.
func (l *limited) Err() error {
	if l.Context.Err() == nil {
		return nil
	}
	return context.Cause(l.Context)
}

func newDeadline(parent context.Context) *deadline {
	d := &deadline{parent: parent, number: ended}
	d.timer = time.AfterFunc(look, d.look)
	d.timer.Stop()
	d.renew()
	return d
}

func (d *deadline) renew() {
	d.mu.Lock()
	defer d.mu.Unlock()
	ctx, cancel := context.WithCancelCause(d.parent)
	d.ctx, d.cancel = &limited{ctx}, cancel
}

// in gives the context of an exchange that begins now, while watched; the one before it has ended.
func (d *deadline) in(within time.Duration) context.Context {
	if d.within.Load() != int64(within) {
		d.within.Store(int64(within))
	}
	d.number++
	d.enter(d.number)
	return d.ctx
}

// enter ends the exchange before; one that ran out of time took its context with it.
func (d *deadline) enter(state uint64) {
	if d.state.Swap(state) == ended {
		d.renew()
	}
}

// watch looks from now on until rest is called, which ends the last exchange.
func (d *deadline) watch() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.watching, d.seen = true, none
	d.timer.Reset(look)
}

func (d *deadline) rest() {
	d.enter(none)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.watching = false
	d.timer.Stop()
}

func (d *deadline) look() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.watching {
		return
	}
	state := d.state.Load()
	if state != d.seen || state <= ended {
		d.seen, d.waited = state, 0
	} else if d.waited += look; int64(d.waited) >= d.within.Load() && d.state.CompareAndSwap(state, ended) {
		d.cancel(context.DeadlineExceeded)
	}
	d.timer.Reset(look)
}

// end leaves nothing behind.
func (d *deadline) end() {
	d.rest()
	d.cancel(context.Canceled)
}
