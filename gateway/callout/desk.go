package callout

import (
	"context"
	"sync/atomic"
	"time"
)

// desk does all that touches the logbook on a goroutine of its own, so that a disk that hangs holds back nobody: a message waits for its line, but not
// longer than deskPatience, and not at all while what was asked before has not come through.
type desk struct {
	journal  Journal
	tasks    chan task
	behind   atomic.Bool // the journal has not answered for longer than deskPatience
	failures atomic.Uint64
}

type task struct {
	do   func() error
	done chan struct{} // closed when it was done, well or not
}

const (
	// deskQueue is in lines. Chosen: everybody of a large roster called by three channels; beyond it lines are counted as lost.
	deskQueue = 256
	// deskPatience. Chosen: longer than the slowest synced write seen on a busy card, and short beside the time to respond.
	deskPatience = 2 * time.Second
)

func newDesk(j Journal) *desk { return &desk{journal: j, tasks: make(chan task, deskQueue)} }

// run serves until ctx ends; then what is queued is still written, as far as the journal goes along.
func (d *desk) run(ctx context.Context) {
	ended := make(chan struct{})
	go func() { // a write that hangs must not hang the end of the program
		defer close(ended)
		for {
			select {
			case t := <-d.tasks:
				d.serve(t)
			case <-ctx.Done():
				d.drain()
				return
			}
		}
	}()
	<-ctx.Done()
	patience := time.NewTimer(deskPatience)
	defer patience.Stop()
	select {
	case <-ended:
	case <-patience.C:
	}
}

func (d *desk) drain() {
	for {
		select {
		case t := <-d.tasks:
			d.serve(t)
		default:
			return
		}
	}
}

func (d *desk) serve(t task) {
	if err := t.do(); err != nil {
		d.failures.Add(1) // the logbook raises its own alarm; who is called does not hang on it
	}
	d.behind.Store(false)
	close(t.done)
}

// ask queues a task and does not wait; nil if there is no room.
func (d *desk) ask(do func() error) (done <-chan struct{}) {
	t := task{do: do, done: make(chan struct{})}
	select {
	case d.tasks <- t:
		return t.done
	default:
		d.failures.Add(1)
		return nil
	}
}

// wait waits for a task as long as patience goes, and not at all while the journal is behind.
func (d *desk) wait(ctx context.Context, done <-chan struct{}) bool {
	if done == nil || d.behind.Load() {
		return false
	}
	patience := time.NewTimer(deskPatience)
	defer patience.Stop()
	select {
	case <-done:
		return true
	case <-patience.C:
		d.behind.Store(true)
		d.failures.Add(1)
	case <-ctx.Done():
	}
	return false
}

// put writes lines.
func (d *desk) put(lines ...Line) {
	d.wait(context.Background(), d.ask(func() error { return d.journal.Write(lines...) }))
}

// tries asks what was tried for an occurrence; nothing if the journal fails or takes too long.
func (d *desk) tries(ctx context.Context, alarm string, occurrence int64) []Line {
	answer := make(chan []Line, 1)
	if !d.wait(ctx, d.ask(func() error {
		lines, err := d.journal.Tries(alarm, occurrence)
		answer <- lines
		return err
	})) {
		return nil
	}
	return <-answer
}
