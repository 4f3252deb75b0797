package floor

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"millwarden/gateway/web"
	"millwarden/internal/notify"
)

// part is one running part of the gateway.
type part struct {
	name  string
	run   func(context.Context) error
	vital bool          // its end ends the program, and the service manager starts it anew
	quiet time.Duration // longest time without a beat, in real time, before it counts as standing still; 0: it does not beat

	beat  atomic.Int64 // time of the last beat since origin
	ended atomic.Bool  // in order, by the end of its context: no beat is owed any more
	fault atomic.Pointer[string]
}

// origin is what beats are counted from. Only its monotonic part is used: a step of the wall clock must not look like a worker that hangs.
var origin = time.Now()

func (p *part) alive() { p.beat.Store(int64(time.Since(origin))) }

// still tells how long ago the last beat was, and whether that is too long.
func (p *part) still() (beat time.Duration, stands bool) {
	beat = time.Since(origin) - time.Duration(p.beat.Load())
	return beat, p.quiet > 0 && beat > p.quiet && !p.ended.Load()
}

// Pauses before a part that ended early runs again.
const (
	firstPause   = time.Second
	longestPause = time.Minute
)

// runParts starts the parts in order and stops them in reverse.
func (f *Floor) runParts(ctx context.Context) error {
	failed := make(chan error, len(f.parts))
	var stops []func()
	for _, p := range f.parts {
		own, stop := context.WithCancel(context.WithoutCancel(ctx))
		var wait sync.WaitGroup
		wait.Go(func() {
			if err := f.runPart(own, p); err != nil {
				failed <- err
			}
		})
		stops = append(stops, func() { stop(); wait.Wait() })
	}
	f.tell(notify.Ready, notify.Status(f.watching()))
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	f.beginStop(err)
	for i := len(stops) - 1; i >= 0; i-- {
		stops[i]()
	}
	return err
}

// runPart runs one part until ctx ends. One that ends early runs again after growing pauses, unless it is vital.
func (f *Floor) runPart(ctx context.Context, p *part) error {
	defer p.ended.Store(true)
	p.ended.Store(false)
	for pause := firstPause; ; pause = min(2*pause, longestPause) {
		p.alive()
		begun := time.Now()
		err := p.run(ctx)
		if ctx.Err() != nil {
			return nil
		}
		if err == nil {
			err = errors.New("ended early")
		}
		text := err.Error()
		p.fault.Store(&text)
		if p.vital {
			return fmt.Errorf("%s: %w", p.name, err)
		}
		if time.Since(begun) > longestPause {
			pause = firstPause
		}
		f.log.Error("part ended, runs again after a pause", "part", p.name, "pause", pause, "cause", err)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(pause):
		}
	}
}

// Workers tells how the parts do, for the health page.
func (f *Floor) Workers() []web.Worker {
	list := []web.Worker{}
	for _, p := range slices.Concat(f.parts, *f.workers.Load()) {
		w := web.Worker{Name: p.name}
		if w.Beat, w.Stands = p.still(); w.Stands {
			w.Because = "no sign of life"
		}
		if cause := p.fault.Load(); cause != nil {
			w.Because = *cause
		}
		list = append(list, w)
	}
	return list
}
