package clocktest_test

import (
	"runtime"
	"sync"
	"testing"
	"time"

	"millwarden/internal/clock/clocktest"
)

// Aim: the detector outlives what killed it. Many goroutines ask a timer that is due at the same instant; with synctest.Test alone this crashes on two
// processors within a second, in each of three tries.
func TestBubble_timersDueAtOnce(t *testing.T) {
	before := runtime.GOMAXPROCS(0)
	clocktest.Bubble(t, func(*testing.T) {
		var asking sync.WaitGroup
		for range 50 {
			asking.Go(func() {
				for range 200 {
					due := time.NewTimer(time.Millisecond)
					time.Sleep(time.Millisecond)
					select {
					case <-due.C:
					default:
					}
				}
			})
		}
		asking.Wait()
	})
	if now := runtime.GOMAXPROCS(0); now != before {
		t.Errorf("%d processors after the bubble, %d before", now, before)
	}
}
