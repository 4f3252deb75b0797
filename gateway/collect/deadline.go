package collect

import (
	"context"
	"time"
)

// deadline is the context of one exchange after another. One whose time did not run out is used again, so that a reading costs no new context and no new timer: a driver keeps none
// beyond its call, by its contract.
//
// Concurrency: one goroutine.
type deadline struct {
	parent context.Context
	ctx    *limited
	cancel context.CancelCauseFunc
	timer  *time.Timer
}

// limited is a context whose error is the cause of its end: DeadlineExceeded where the time ran out. It does not tell beforehand when that will be: to ask the clock for every
// exchange would cost as much as to decode one.
type limited struct{ context.Context }

// Err is nil, or why the exchange ended.
func (l *limited) Err() error { return context.Cause(l.Context) }

func newDeadline(parent context.Context) *deadline {
	d := &deadline{parent: parent}
	d.renew()
	return d
}

func (d *deadline) renew() {
	ctx, cancel := context.WithCancelCause(d.parent)
	d.ctx, d.cancel = &limited{ctx}, cancel
	d.timer = time.AfterFunc(longestDeadline, func() { cancel(context.DeadlineExceeded) })
	d.timer.Stop()
}

// in gives the context of an exchange that begins now. done must be called before the next.
func (d *deadline) in(within time.Duration) context.Context {
	d.timer.Reset(within)
	return d.ctx
}

// done ends the exchange.
func (d *deadline) done() {
	if !d.timer.Stop() { // its time ran out, or is just running out
		d.cancel(context.DeadlineExceeded)
		d.renew()
	}
}

// end leaves nothing behind.
func (d *deadline) end() {
	d.timer.Stop()
	d.cancel(context.Canceled)
}
