package publish

import (
	"time"

	"millwarden/internal/wire"
)

const (
	// window is how many packs may wait for their PUBACK. Measured: 16 fill a loopback line; it steers flow and nothing else.
	window = 16
	// stall is how long the store's answer may stand still, with readings out, until they are sent again; and how long after the last mark
	// nobody listens. Measured: 3 s with marks several times a second lost nothing and repeated little.
	stall = 3 * time.Second
	// explained is the same while the forwarder says that the store does not answer: going back would help little. Chosen.
	explained = time.Minute
)

// flow decides what is sent next: the board's half of the commit mark. It is pure: time is a parameter.
type flow struct {
	stream, store string
	ahead         uint64        // readings beyond next at most
	apart         time.Duration // least time per reading when catching up; 0: none

	commit, next uint64 // as the forwarder says; next is never below commit
	boot         string
	sent         uint64 // sent up to here
	trouble      bool   // the store does not answer, says the forwarder
	heard        time.Time
	moved        time.Time // when next moved last, or nothing was out
	mayAt        time.Time // the rate allows the next pack from then on
}

// connected begins anew from what the store is known to have.
func (f *flow) connected(now time.Time) {
	f.sent = f.next
	f.heard = time.Time{}
	f.moved = now
}

// mark takes what the forwarder says; last is the newest position of the history. It tells whether the watermark moved.
func (f *flow) mark(now time.Time, m *wire.Mark, last uint64) (moved bool) {
	if m.Stream != f.stream || m.Store != f.store || m.Next > last {
		return false
	}
	next := max(m.Next, f.commit) // a forwarder that began from an old pack may know less than is certain; the next pack tells it
	switch {
	case next < f.next || f.boot != "" && m.Boot != f.boot: // the store began anew, or another forwarder knows less
		f.sent, f.moved = next, now
	case next > f.next:
		f.sent, f.moved = max(f.sent, next), now
	case f.trouble && m.Trouble == "": // its silence was explained until now
		f.moved = now
	}
	f.heard, f.boot, f.next, f.trouble = now, m.Boot, next, m.Trouble != ""
	if m.Commit <= f.commit {
		return false
	}
	f.commit = m.Commit
	return true
}

// listening tells whether a forwarder was heard lately.
func (f *flow) listening(now time.Time) bool {
	return !f.heard.IsZero() && now.Sub(f.heard) < stall
}

// look goes back to next where the answer stands still, and tells how many readings may be sent now; 0 and a time to look again otherwise.
func (f *flow) look(now time.Time) (room uint64, again time.Time) {
	if f.sent <= f.next {
		f.sent, f.moved = f.next, now
	}
	listening := f.listening(now)
	patience := stall
	if listening && f.trouble {
		patience = explained
	}
	if f.sent > f.next && now.Sub(f.moved) >= patience {
		f.sent, f.moved = f.next, now
	}
	if now.Before(f.mayAt) {
		return 0, f.mayAt
	}
	limit := f.ahead
	if !listening {
		limit = wire.Most // one pack, until somebody answers
		if f.sent > f.next {
			return 0, f.moved.Add(stall)
		}
	}
	if out := f.sent - f.next; out < limit {
		return limit - out, now.Add(stall)
	}
	return 0, now.Add(stall)
}

// took says that a pack up to position to, with so many readings, is on its way.
func (f *flow) took(now time.Time, to uint64, readings int) {
	if f.sent <= f.next {
		f.moved = now
	}
	f.sent = to
	if f.apart > 0 {
		if f.mayAt.Before(now) {
			f.mayAt = now
		}
		f.mayAt = f.mayAt.Add(time.Duration(readings) * f.apart)
	}
}
