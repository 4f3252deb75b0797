// Package clocktest runs tests on fake time.
package clocktest

import (
	"runtime"
	"sync"
	"testing"
	"testing/synctest"
)

// Bubble runs a test in a bubble of fake time, like synctest.Test, and so that the race detector bears it.
//
// With go1.26.10 all goroutines of a bubble that receive from a timer which is due lend the detector one and the same context, without a lock: two
// processors at once crash the runtime inside the detector, in runtime.(*timer).maybeRunChan. On one processor they take turns. The detector goes by what
// is ordered before what, not by what ran at once, and finds the same races.
func Bubble(t *testing.T, run func(*testing.T)) {
	t.Helper()
	if underRace {
		one.take()
		defer one.give()
	}
	synctest.Test(t, run)
}

// one keeps the program to one processor for as long as any bubble needs it: tests may run side by side.
var one processor

type processor struct {
	mu     sync.Mutex
	takers int
	before int
}

func (p *processor) take() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.takers++; p.takers == 1 {
		p.before = runtime.GOMAXPROCS(1)
	}
}

func (p *processor) give() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.takers--; p.takers == 0 {
		runtime.GOMAXPROCS(p.before)
	}
}
