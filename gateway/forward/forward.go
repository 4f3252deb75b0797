// Package forward takes the packs of all boards of a site from an MQTT broker and writes them to a time-series store that speaks the
// InfluxDB v2 write API. It holds the other half of the commit mark; internal/wire has the protocol and its forms. It runs inside the
// gateway or as a process of its own, and needs no disk but for the records that the store refuses.
//
// Several may share the load by boards. Two with the same boards and the same store do no harm and twice the work.
//
// Concurrency: Run owns its goroutines: the broker's session with the marks, one that reads packs, one that starts writes, each on a
// goroutine of its own, one that takes their answers, one that asks for the store's boot id. They meet in the books. Status may be called by any.
package forward

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"millwarden/internal/link"
	"millwarden/internal/wire"
)

const (
	defaultStore = "store"
	// queued packs wait to be read. Chosen: eight boards with all they may have on the way. What finds no room comes again.
	queued = 2048
	// batchLines is where a batch ends; the maker of the write API recommends 5,000. Chosen: 0.8 MB, for web servers on the way begin to refuse at 1 MB.
	batchLines = 8192
	// markApart is the least time between two marks, markRepeat how often a mark is sent again though nothing changed: one may be lost. Chosen:
	// while a board catches up, what it may have on the way must not wait for marks; in between two a second cost nothing.
	markApart  = 20 * time.Millisecond
	markRepeat = 500 * time.Millisecond
)

// Options of a Forwarder. Root, Site, Dial and Store are needed.
type Options struct {
	Root, Site string
	Boards     []string                                  // only these; none: all of the site
	Name       string                                    // unique in the site, no board's name; its state stands under it. "": "forwarder"
	Dial       func(context.Context) (net.Conn, error)   // publish.Broker.Dial, or link.Dialer
	Credential func() (user, password string, err error) // of the broker; nil: none
	Store      Store
	RejectFile string        // where refused records go; "": they are only told
	Refused    func(Refusal) // hears of each refused record; nil: nobody; must not block
	Log        *slog.Logger  // nil: none
}

// Status is how the forwarder stands.
type Status struct {
	Connected    bool   // to the broker
	Trouble      error  // why not; nil: it is
	StoreTrouble string // why the store does not answer, or cannot be trusted; "": it does
	Written      uint64 // readings written since the start, repeated ones too
	Refused      uint64 // of them, refused by the store
	Dropped      uint64 // packs that came faster than the store took them; they come again
	Malformed    uint64 // messages that were no packs
}

// Forwarder writes the packs of a site to a store.
type Forwarder struct {
	o       Options
	topics  wire.Topics
	books   *books
	writers [2]*writer // while the store answers one it works at the other's write; measured: a seventh more readings a second
	client  *http.Client
	queue   chan message
	full    chan *batch   // to the writers, without room: a batch grows until it can be taken
	way     chan onWay    // to answer, without room: one is waited for, and one waits to be
	free    chan *batch   // one of three grows, two are written
	asked   chan struct{} // closed when the boot id was asked for once
	once    sync.Once

	written, refused, dropped, malformed atomic.Uint64

	mu        sync.Mutex // guards what follows
	connected bool
	trouble   error
}

type message struct {
	board   string
	payload []byte
}

// onWay is a batch of which the store has not answered yet.
type onWay struct {
	batch *batch
	done  chan error
}

// New builds a Forwarder.
func New(o Options) (*Forwarder, error) {
	if err := o.Store.check(); err != nil {
		return nil, err
	}
	if o.Store.Name == "" {
		o.Store.Name = defaultStore
	}
	if o.Store.Metrics == "" {
		o.Store.Metrics = strings.TrimSuffix(o.Store.Address, "/") + "/metrics"
	}
	if o.Name == "" {
		o.Name = "forwarder"
	}
	if len(o.Boards) == 0 {
		o.Boards = []string{"+"}
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	f := &Forwarder{o: o, topics: wire.Topics{Root: o.Root, Site: o.Site}, books: newBooks(o.Store.Name, o.Store.DurableAfter), client: o.Store.client(),
		queue: make(chan message, queued), asked: make(chan struct{})}
	turn := make(chan struct{}, 1)
	turn <- struct{}{}
	for i := range f.writers {
		f.writers[i] = newWriter(o.Store, f.client, turn)
		f.writers[i].refused, f.writers[i].trouble = f.refuse, f.storeTrouble
	}
	return f, nil
}

// Run forwards until ctx ends.
func (f *Forwarder) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	f.full, f.way, f.free = make(chan *batch), make(chan onWay), make(chan *batch, 3)
	f.free <- new(batch)
	f.free <- new(batch)
	var parts sync.WaitGroup
	if f.o.Store.DurableAfter > 0 {
		parts.Go(func() { f.watchBoot(ctx) })
	} else {
		f.once.Do(func() { close(f.asked) })
	}
	parts.Go(func() { f.read(ctx) })
	parts.Go(func() { f.write(ctx) })
	parts.Go(func() { f.answer(ctx) })
	o := link.Options{Dial: f.o.Dial, ClientID: "millwarden-" + f.o.Site + "-" + f.o.Name, Presence: f.topics.State(f.o.Name), Credential: f.o.Credential, Receive: f.receive, Report: f.report}
	for _, board := range f.o.Boards {
		o.Subscribe = append(o.Subscribe, f.topics.Pack(board))
	}
	err := link.Keep(ctx, o, f.mark)
	cancel()
	parts.Wait()
	return err
}

// receive is called by the client's reader and must not block.
func (f *Forwarder) receive(topic string, payload []byte, retained bool) {
	board, ok := f.topics.Board(topic)
	if !ok || retained || topic != f.topics.Pack(board) {
		return
	}
	select {
	case f.queue <- message{board, payload}:
	default:
		f.dropped.Add(1)
	}
}

// mark sends the marks while a connection stands.
func (f *Forwarder) mark(ctx context.Context, c *link.Conn) error {
	timer := time.NewTimer(0)
	defer timer.Stop()
	var marks []addressed
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		case <-f.books.changed:
			if err := sleep(ctx, markApart); err != nil {
				return nil
			}
		}
		timer.Reset(markRepeat)
		marks = f.books.due(time.Now(), markRepeat, marks[:0])
		for _, m := range marks {
			c.Send(link.Message{Topic: f.topics.Mark(m.board), Payload: m.mark.Append(nil)})
		}
	}
}

// read turns packs into batches.
func (f *Forwarder) read(ctx context.Context) {
	select {
	case <-ctx.Done():
		return
	case <-f.asked: // else the first packs would be counted under no boot id
	}
	r := packReader{lines: newLines(), batch: 1}
	b := new(batch)
	for ctx.Err() == nil {
		in, out := f.queue, f.full
		switch {
		case len(b.receipts) == 0:
			out = nil
		case len(b.rows) >= batchLines:
			in = nil
		case len(f.queue) > 0:
			out = nil // first what is there already: fewer, larger writes
		}
		select {
		case <-ctx.Done():
		case m := <-in:
			if err := r.read(f.books, m, b); err != nil {
				f.malformed.Add(1)
				f.o.Log.Warn("pack refused", "board", m.board, "cause", err)
			}
		case out <- b:
			select {
			case <-ctx.Done():
			case b = <-f.free:
				r.batch++
			}
		}
	}
}

// packReader is the memory of reading packs.
type packReader struct {
	decoder wire.Decoder
	pack    wire.Pack
	lines   *lines
	batch   int // number of the batch that grows
}

func (r *packReader) read(books *books, m message, b *batch) error {
	if err := r.decoder.Decode(m.payload, &r.pack); err != nil {
		return err
	}
	if r.pack.Board != m.board {
		return fmt.Errorf("it says that it is of %s", r.pack.Board)
	}
	receipt, wanted := books.take(time.Now(), &r.pack)
	if !wanted {
		return nil
	}
	for i := range r.pack.Readings {
		b.add(r.lines.row(m.board, &r.pack.Readings[i]), r.batch)
	}
	b.receipts = append(b.receipts, receipt)
	return nil
}

// write lets the writers, by turns, write batches. The writer whose turn it is has ended: answer takes the batches in their order.
func (f *Forwarder) write(ctx context.Context) {
	for turn := 0; ; turn = (turn + 1) % len(f.writers) {
		select {
		case <-ctx.Done():
			return
		case b := <-f.full:
			w, done := f.writers[turn], make(chan error, 1)
			go func() { done <- w.put(ctx, b.encode()) }()
			select {
			case <-ctx.Done():
				<-done //nolint:errcheck // it says that ctx has ended
				return
			case f.way <- onWay{b, done}:
			}
		}
	}
}

// answer hands back the receipts of what the store answered, in the order in which the packs came.
func (f *Forwarder) answer(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case way := <-f.way:
			if err := <-way.done; err != nil {
				return // ctx has ended
			}
			b := way.batch
			f.written.Add(uint64(len(b.rows)))
			f.books.answered(time.Now(), b.receipts)
			b.empty()
			f.free <- b
		}
	}
}

// refuse files a record that the store would not take.
func (f *Forwarder) refuse(line []byte, cause string) {
	one := Refusal{At: time.Now().UTC(), Board: boardOf(line), Line: string(line), Cause: cause}
	f.refused.Add(1)
	f.books.refuse(one.Board)
	f.o.Log.Warn("record refused by the store", "board", one.Board, "line", one.Line, "cause", cause)
	if f.o.RejectFile != "" {
		if err := (rejectFile{f.o.RejectFile}).append(one); err != nil {
			f.o.Log.Error("refused record not filed", "cause", err)
		}
	}
	if f.o.Refused != nil {
		f.o.Refused(one)
	}
}

// boardOf finds the board in a line of ours; it stands second among the tags, and names need no escape.
func boardOf(line []byte) string {
	_, rest, _ := bytes.Cut(line, []byte(",board="))
	board, _, _ := bytes.Cut(rest, []byte(","))
	return string(board)
}

func (f *Forwarder) storeTrouble(say string) {
	if !f.books.say(say) {
		return
	}
	if say != "" {
		f.o.Log.Warn("store away", "cause", say)
	} else {
		f.o.Log.Info("store answers")
	}
}

func (f *Forwarder) report(err error) {
	f.mu.Lock()
	changed := fmt.Sprint(err) != fmt.Sprint(f.trouble) || f.connected != (err == nil)
	f.connected, f.trouble = err == nil, err
	f.mu.Unlock()
	if changed && err != nil {
		f.o.Log.Warn("broker away", "cause", err)
	} else if changed {
		f.o.Log.Info("broker answers")
	}
}

// Status tells how it stands.
func (f *Forwarder) Status() Status {
	f.mu.Lock()
	s := Status{Connected: f.connected, Trouble: f.trouble}
	f.mu.Unlock()
	s.StoreTrouble = f.books.troubled()
	s.Written, s.Refused, s.Dropped, s.Malformed = f.written.Load(), f.refused.Load(), f.dropped.Load(), f.malformed.Load()
	return s
}
