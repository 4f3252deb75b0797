package people

import (
	"sync"
	"time"
)

// throttle slows wrong tries down, by name and by the address they come from. It never locks anybody out for good: who guesses at Ana's name must not
// be able to keep Ana from her alarms. Who is logged in already, and the links of messages, are not touched by it.
//
// Concurrency: any goroutine.
type throttle struct {
	mu      sync.Mutex // guards buckets
	buckets map[string]*bucket
}

// bucket holds the tries that are left; they come back with time.
type bucket struct {
	left float64
	at   time.Time
}

// allowance of a kind of key. Chosen: a person mistypes a few times; at one try in 30 s, 3,000 common passwords would take a day for a person who
// might not take one of them anyhow, and random ones of 8 letters longer than the estate stands. An address may be a whole estate behind one router.
type allowance struct {
	burst float64
	each  time.Duration
}

var (
	perName    = allowance{burst: 5, each: 30 * time.Second}
	perAddress = allowance{burst: 20, each: 10 * time.Second}
)

// mostBuckets bounds memory. Chosen: more names and addresses than an estate has; past it, full ones go first, and then new keys share one.
const mostBuckets = 4096

func newThrottle() *throttle { return &throttle{buckets: map[string]*bucket{}} }

// take uses up one try of name and of address: nil, or how long to wait. What is refused uses up nothing.
func (t *throttle) take(name, address string, now time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	n, a := t.of("name "+name, perName, now), t.of("from "+address, perAddress, now)
	wait := max(n.wait(perName), a.wait(perAddress))
	if wait > 0 {
		return &Wait{For: wait.Round(time.Second) + time.Second}
	}
	n.left--
	a.left--
	return nil
}

// give gives the try back: it was right.
func (t *throttle) give(name, address string, now time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.of("name "+name, perName, now).left = perName.burst
	a := t.of("from "+address, perAddress, now)
	a.left = min(a.left+1, perAddress.burst)
}

func (b *bucket) wait(al allowance) time.Duration {
	if b.left >= 1 {
		return 0
	}
	return time.Duration((1 - b.left) * float64(al.each))
}

// of finds the bucket of a key, filled up by what came back since. The caller holds mu.
func (t *throttle) of(key string, al allowance, now time.Time) *bucket {
	b := t.buckets[key]
	if b == nil {
		if len(t.buckets) >= mostBuckets {
			t.forget(now)
		}
		if len(t.buckets) >= mostBuckets {
			key = "all others"
			b = t.buckets[key]
		}
		if b == nil {
			b = &bucket{left: al.burst, at: now}
			t.buckets[key] = b
		}
	}
	if since := now.Sub(b.at); since > 0 { // a clock that was set back gives nothing
		b.left = min(b.left+float64(since)/float64(al.each), al.burst)
	}
	b.at = now
	return b
}

// forget drops the buckets that are full again by now.
func (t *throttle) forget(now time.Time) {
	for key, b := range t.buckets {
		if now.Sub(b.at) > time.Duration(perAddress.burst)*perAddress.each {
			delete(t.buckets, key)
		}
	}
}
