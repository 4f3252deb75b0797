package forward

import (
	"cmp"
	"slices"
	"sync"
	"time"

	"millwarden/internal/wire"
)

// boardsKept bounds the memory; chosen: far beyond one site. Beyond it the board heard longest ago is forgotten; it introduces itself again.
const boardsKept = 256

// slot is how finely the past of next is kept.
const slot = 100 * time.Millisecond

// books are the forwarder's half of the commit mark: for each board how far the store has answered, and how far that is certain. They know
// neither broker nor store; time is a parameter.
//
// Concurrency: by any goroutine.
type books struct {
	store   string
	lag     time.Duration
	changed chan struct{} // one slot: a mark is due

	mu         sync.Mutex // guards what follows
	boot       string     // of the store's process; "" until it is known, and always where lag is 0
	generation int        // of boot: what was written under another does not count
	trouble    string     // why the store does not answer
	doubt      string     // why commit does not move although it does
	boards     map[string]*book
}

// book is one board.
type book struct {
	stream  string
	taken   uint64 // taken for writing up to here
	next    uint64 // answered up to here
	commit  uint64 // certain up to here
	past    []point
	refused uint64
	heard   time.Time
	marked  time.Time // when its mark was sent last
	changed bool      // since then
}

// point of the past of next.
type point struct {
	at   time.Time
	next uint64
}

// change notes that the mark of a board is due.
func (b *books) change(k *book) {
	k.changed = true
	select {
	case b.changed <- struct{}{}:
	default:
	}
}

// receipt says what a written pack was, for the books.
type receipt struct {
	board, stream string
	to            uint64
	generation    int
}

func newBooks(store string, lag time.Duration) *books {
	return &books{store: store, lag: lag, changed: make(chan struct{}, 1), boards: map[string]*book{}}
}

// take tells whether a pack joins the run of its board, and so must be written now, and gives the receipt to hand back once it is.
func (b *books) take(now time.Time, p *wire.Pack) (receipt, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	k := b.boards[p.Board]
	if k == nil || k.stream != p.Stream {
		k = b.open(p, k)
	}
	k.heard = now
	if p.Watermark > k.next { // the board knows more than we do
		k.next, k.taken = p.Watermark, max(k.taken, p.Watermark)
		b.change(k)
	}
	if p.Watermark > k.commit {
		k.commit = p.Watermark
		b.change(k)
	}
	if p.From > k.taken+1 || p.To <= k.taken {
		return receipt{}, false // a gap, or known: what is missing comes again
	}
	k.taken = p.To
	return receipt{p.Board, p.Stream, p.To, b.generation}, true
}

// open begins the book of a board from what its pack says.
func (b *books) open(p *wire.Pack, old *book) *book {
	next := p.Watermark
	if p.Boot == b.boot {
		next = p.Stored
	}
	k := &book{stream: p.Stream, taken: next, next: next, commit: p.Watermark}
	b.change(k)
	if old != nil {
		k.refused = old.refused
	} else if len(b.boards) >= boardsKept {
		b.forgetOldest()
	}
	b.boards[p.Board] = k
	return k
}

func (b *books) forgetOldest() {
	var oldest string
	for name, k := range b.boards {
		if oldest == "" || k.heard.Before(b.boards[oldest].heard) {
			oldest = name
		}
	}
	delete(b.boards, oldest)
}

// answered credits what the store answered. Receipts come in the order they were given.
func (b *books) answered(now time.Time, receipts []receipt) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range receipts {
		k := b.boards[r.board]
		if k == nil || k.stream != r.stream || r.generation != b.generation || r.to <= k.next {
			continue
		}
		k.next = r.to
		b.change(k)
		if b.lag == 0 {
			k.commit = r.to
			continue
		}
		// Within a slot the newer time stands for all: later than true, never earlier.
		if n := len(k.past); n > 1 && now.Sub(k.past[n-2].at) < slot {
			k.past = k.past[:n-1]
		}
		k.past = append(k.past, point{now, r.to})
	}
}

// confirmed says that the store's process was the one called boot at a time after asked. Only this moves commit where lag is not 0: what was
// answered lag before is on its disk, if the process is still the same.
func (b *books) confirmed(asked time.Time, boot string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if boot != b.boot {
		b.boot = boot
		b.generation++
		for _, k := range b.boards {
			k.next, k.taken, k.past = k.commit, k.commit, nil
			b.change(k)
		}
		return
	}
	certain := asked.Add(-b.lag)
	for _, k := range b.boards {
		n := 0
		for n < len(k.past) && !k.past[n].at.After(certain) {
			n++
		}
		if n > 0 && k.past[n-1].next > k.commit {
			k.commit = k.past[n-1].next
			b.change(k)
		}
		k.past = slices.Delete(k.past, 0, n)
	}
}

// refuse counts a reading of a board that the store would not take.
func (b *books) refuse(board string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if k := b.boards[board]; k != nil {
		k.refused++
		b.change(k)
	}
}

// say keeps why the store does not answer; "" where it does. It tells whether that is news.
func (b *books) say(trouble string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if trouble == b.trouble {
		return false
	}
	b.trouble = trouble
	for _, k := range b.boards {
		b.change(k)
	}
	return true
}

func (b *books) troubled() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return cmp.Or(b.trouble, b.doubt)
}

// unsure keeps why commit cannot move although the store answers; "" where it can.
func (b *books) unsure(why string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.doubt = why
}

// addressed is a mark and its board.
type addressed struct {
	board string
	mark  wire.Mark
}

// due appends the marks to send now: of boards where something changed, and of all others again each repeat.
func (b *books) due(now time.Time, repeat time.Duration, into []addressed) []addressed {
	b.mu.Lock()
	defer b.mu.Unlock()
	for name, k := range b.boards {
		if !k.changed && now.Sub(k.marked) < repeat {
			continue
		}
		k.changed, k.marked = false, now
		into = append(into, addressed{name, wire.Mark{Stream: k.stream, Store: b.store, Commit: k.commit, Next: k.next, Boot: b.boot,
			Refused: k.refused, Trouble: cmp.Or(b.trouble, b.doubt)}})
	}
	return into
}
