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
)

// part is one running part of the gateway.
type part struct {
	name  string
	run   func(context.Context) error
	vital bool          // its end ends the program, and the service manager starts it anew
	quiet time.Duration // longest time without a beat, in real time, before it counts as standing still; 0: it does not beat

	beat  atomic.Int64 // real time of the last beat, in nanoseconds
	fault atomic.Pointer[string]
}

func (p *part) alive() { p.beat.Store(time.Now().UnixNano()) }

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
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	for i := len(stops) - 1; i >= 0; i-- {
		stops[i]()
	}
	return err
}

// runPart runs one part until ctx ends. One that ends early runs again after growing pauses, unless it is vital.
func (f *Floor) runPart(ctx context.Context, p *part) error {
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
		w := web.Worker{Name: p.name, Beat: time.Since(time.Unix(0, p.beat.Load()))}
		if p.quiet > 0 && w.Beat > p.quiet {
			w.Stands = true
			w.Because = "no sign of life"
		}
		if cause := p.fault.Load(); cause != nil {
			w.Because = *cause
		}
		list = append(list, w)
	}
	return list
}
