package publish

import (
	"testing"
	"time"

	"millwarden/internal/wire"
)

var begin = time.Unix(1.7e9, 0)

func after(seconds float64) time.Time {
	return begin.Add(time.Duration(seconds * float64(time.Second)))
}

func newFlow() *flow { return &flow{stream: "a", store: "store", ahead: 1024} }

func say(commit, next uint64, boot string) *wire.Mark {
	return &wire.Mark{Stream: "a", Store: "store", Commit: commit, Next: next, Boot: boot}
}

// room looks at a time and gives the room there is.
func (f *flow) room(seconds float64) uint64 {
	n, _ := f.look(after(seconds))
	return n
}

func (f *flow) expect(t *testing.T, sent, next, commit uint64) {
	t.Helper()
	if f.sent != sent || f.next != next || f.commit != commit {
		t.Errorf("sent %d, next %d, commit %d; want %d, %d, %d", f.sent, f.next, f.commit, sent, next, commit)
	}
}

func TestFlow_onePackUntilSomebodyAnswers(t *testing.T) {
	f := newFlow()
	f.connected(after(0))
	if n := f.room(0); n != wire.Most {
		t.Errorf("room %d at first", n)
	}
	f.took(after(0), 64, 64)
	if n := f.room(1); n != 0 {
		t.Errorf("room %d with one pack out and nobody there", n)
	}
	if n := f.room(3); n != wire.Most {
		t.Errorf("room %d after 3 s", n)
	}
	f.expect(t, 0, 0, 0)
	f.took(after(3), 64, 64)
	f.mark(after(3.1), say(0, 0, "1"), 9999)
	f.expect(t, 64, 0, 0) // the first mark is no reason to go back
	if n := f.room(3.1); n != 1024-64 {
		t.Errorf("room %d when heard", n)
	}
}

func TestFlow_goesBack(t *testing.T) {
	standing := func() *flow {
		f := newFlow()
		f.connected(after(0))
		f.mark(after(0), say(0, 0, "1"), 9999)
		f.took(after(0), 640, 640)
		f.mark(after(1), say(64, 320, "1"), 9999)
		return f
	}
	f := standing()
	f.expect(t, 640, 320, 64)
	f.mark(after(2), say(64, 64, "2"), 9999) // another start of the store
	f.expect(t, 64, 64, 64)

	f = standing()
	f.mark(after(2), say(64, 320, "2"), 9999) // another start that lost nothing known
	f.expect(t, 320, 320, 64)

	f = standing()
	f.mark(after(2), say(0, 0, "1"), 9999) // a forwarder that began from an old pack: never below what is certain
	f.expect(t, 64, 64, 64)

	f = standing() // it stands still, with marks
	for s := 1.5; s < 3.9; s += 0.5 {
		f.mark(after(s), say(64, 320, "1"), 9999)
		f.room(s)
	}
	f.expect(t, 640, 320, 64)
	f.mark(after(3.9), say(64, 320, "1"), 9999)
	f.room(4.0)
	f.expect(t, 320, 320, 64)

	f = standing() // the same, but explained
	for s := 1.5; s < 61; s += 0.5 {
		m := say(64, 320, "1")
		m.Trouble = "503"
		f.mark(after(s), m, 9999)
		f.room(s)
	}
	f.expect(t, 640, 320, 64)
	f.mark(after(61), say(64, 320, "1"), 9999) // and over: the patience begins anew
	f.room(63.9)
	f.expect(t, 640, 320, 64)
	f.mark(after(63.9), say(64, 320, "1"), 9999)
	f.room(64.1)
	f.expect(t, 320, 320, 64)
}

func TestFlow_ignoresWhatIsNotForIt(t *testing.T) {
	f := newFlow()
	f.connected(after(0))
	f.took(after(0), 64, 64)
	other, another := say(64, 64, "1"), say(64, 64, "1")
	other.Stream, another.Store = "b", "elsewhere"
	for _, m := range []*wire.Mark{other, another, say(64, 65, "1")} { // the last knows more than there is
		if f.mark(after(1), m, 64) || f.listening(after(1)) {
			t.Errorf("%+v was taken", m)
		}
	}
	f.expect(t, 64, 0, 0)
}

func TestFlow_isBounded(t *testing.T) {
	f := newFlow()
	f.apart = 10 * time.Millisecond
	f.connected(after(0))
	f.mark(after(0), say(0, 0, ""), 9999)
	f.took(after(0), 64, 64)
	if n, again := f.look(after(0.1)); n != 0 || !again.Equal(after(0.64)) {
		t.Errorf("room %d, again at %v: the rate is 100 a second", n, again)
	}
	if n := f.room(0.64); n != 960 {
		t.Errorf("room %d", n)
	}
	f.apart = 0
	f.took(after(0.64), 1024, 960)
	f.mark(after(0.7), say(0, 0, ""), 9999)
	if n := f.room(0.7); n != 0 {
		t.Errorf("room %d with 1,024 on the way", n)
	}
	f.mark(after(0.8), say(0, 100, ""), 9999)
	if n := f.room(0.8); n != 100 {
		t.Errorf("room %d", n)
	}
}

func TestFlow_afterAReconnect(t *testing.T) {
	f := newFlow()
	f.connected(after(0))
	f.mark(after(0), say(64, 320, "1"), 9999)
	f.took(after(0), 640, 320)
	f.connected(after(10))
	f.expect(t, 320, 320, 64) // from what was stored
	if f.listening(after(10)) {
		t.Error("it counts on a forwarder not heard on this connection")
	}
	f.mark(after(10.1), say(64, 64, "2"), 9999)
	f.expect(t, 64, 64, 64) // another boot: from the watermark
}
