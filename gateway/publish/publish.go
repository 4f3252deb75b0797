// Package publish sends the history of the board to an MQTT broker, and keeps the newest reading of each point and the state of each alarm
// there for people's own tools. It holds the board's half of the commit mark; internal/wire has the protocol and its forms. It also holds the
// broker inside, which is there unless the site names its own.
//
// It reads the history and never stands in the way of a reading: a broker or a store that is away costs nothing but time. A reading whose
// time is not known yet (the clock was not set) holds what comes after it until the history has settled its time.
//
// Concurrency: Run is one goroutine beside those of the MQTT client; Alarm, ForgetAlarm and Status may be called by any.
package publish

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/link"
	"millwarden/internal/wire"
)

// Source is what publish needs of the history.
type Source interface {
	From(position uint64, limit int, into []history.Entry) ([]history.Entry, error)
	Last() uint64
	Watermark() history.Mark
	SetWatermark(history.Mark) error
}

var _ Source = (*history.History)(nil)

const (
	defaultStore = "store"
	// defaultRate in readings per second: chosen so that a night without internet (12 h of 64 a second) is caught up within 10 minutes, while
	// a small board, some 20 times slower than the machine where a reading cost 1 µs from history to broker, stays below a fifth of a core.
	defaultRate = 5000
	// defaultAhead bounds what the forwarder must hold while its store is away; chosen: three seconds of the rate, some megabytes.
	defaultAhead = 16384
	// gather is how long fewer readings than are enough for a pack wait for more.
	gather = time.Second
	// retry is the pause after the history could not be read.
	retry = time.Second
	// pubackLimit is how long a PUBACK may take; chosen: well above a slow mobile line's round trip.
	pubackLimit = 30 * time.Second
)

// Options of a Publisher. Root, Site, Board and Dial are needed.
type Options struct {
	Root, Site, Board string
	Dial              func(context.Context) (net.Conn, error)   // Broker.Dial, or link.Dialer
	Credential        func() (user, password string, err error) // of the site's own broker; nil: none
	Area              func(station string) string               // area of a station; "" for what is none: it is filed under the board's name
	Own               func(point string) bool                   // whether the board publishes a point: those of others, which a hub keeps too, come from them; nil: all
	Wake              <-chan struct{}                           // a token after each append; nil: it looks each second
	Store             string                                    // whose marks count; "": "store"
	Rate              int                                       // readings a second when catching up; 0: 5,000; below 0: no limit
	Ahead             uint64                                    // readings on the way at most; 0: 16,384
	LatestEvery       time.Duration                             // how often the newest reading of a point is published; 0: 5 s
	Log               *slog.Logger                              // nil: none
}

// Status is how the publisher stands. Last - Watermark readings are not yet safe in the store.
type Status struct {
	Connected    bool      // to the broker
	Trouble      error     // why not, or what else is wrong there; nil: nothing
	Held         bool      // a reading waits for its time: the clock is not set
	Last         uint64    // newest position of the history
	Sent         uint64    // sent up to here
	Stored       uint64    // answered by the store up to here
	Watermark    uint64    // safe in the store up to here
	Heard        time.Time // when the forwarder was heard last; zero: never
	Refused      uint64    // readings that the store would not take, as the forwarder says
	StoreTrouble string    // why the store does not answer, as the forwarder says; "": it does
	LeftOut      uint64    // readings that could not be told: damaged on disk, or their time or name is none
}

// Publisher sends the history of one board.
type Publisher struct {
	o      Options
	source Source
	topics wire.Topics
	marks  chan wire.Mark // one slot, the newest: marks are whole states
	alarms chan struct{}  // one slot: look at shown

	// The session's own.
	flow    flow
	encoder *wire.Encoder
	reader  reader
	latest  latest

	mu     sync.Mutex // guards status and shown
	status Status
	shown  map[string]*shown // by topic
}

// New builds a Publisher of a history.
func New(source Source, o Options) *Publisher {
	if o.Store == "" {
		o.Store = defaultStore
	}
	if o.Rate == 0 {
		o.Rate = defaultRate
	}
	if o.Ahead == 0 {
		o.Ahead = defaultAhead
	}
	if o.LatestEvery == 0 {
		o.LatestEvery = defaultLatest
	}
	if o.Own == nil {
		o.Own = func(string) bool { return true }
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	p := &Publisher{o: o, source: source, topics: wire.Topics{Root: o.Root, Site: o.Site}, marks: make(chan wire.Mark, 1),
		alarms: make(chan struct{}, 1), encoder: wire.NewEncoder(o.Site, o.Board, o.Area), reader: reader{source: source}, shown: map[string]*shown{}}
	saved := source.Watermark()
	p.flow = flow{stream: newStream(), store: o.Store, ahead: max(o.Ahead, wire.Most), commit: saved.Commit, next: saved.Commit}
	if o.Rate > 0 {
		p.flow.apart = time.Second / time.Duration(o.Rate)
	}
	// Where another start of this program left off under the same start of the store; the first mark says whether it is the same.
	if saved.Stored > saved.Commit && saved.BootID != "" {
		p.flow.next, p.flow.boot = saved.Stored, saved.BootID
	}
	p.latest = newLatest(o.LatestEvery)
	return p
}

// newStream names this start: the positions of a restored backup must not be taken for those sent before it.
func newStream() string {
	var b [8]byte
	rand.Read(b[:]) // it never fails
	return hex.EncodeToString(b[:])
}

// Run publishes until ctx ends.
func (p *Publisher) Run(ctx context.Context) error {
	return link.Keep(ctx, link.Options{
		Dial:       p.o.Dial,
		ClientID:   "millwarden-" + p.o.Site + "-" + p.o.Board,
		Credential: p.o.Credential,
		Presence:   p.topics.State(p.o.Board),
		Subscribe:  []string{p.topics.Mark(p.o.Board)},
		Receive:    p.receive,
		Report:     p.report,
	}, p.session)
}

// receive is called by the client's reader and must not block: the slot keeps the newest mark.
func (p *Publisher) receive(topic string, payload []byte, retained bool) {
	if topic != p.topics.Mark(p.o.Board) || retained {
		return
	}
	m, err := wire.ParseMark(payload)
	if err != nil {
		p.o.Log.Warn("mark refused", "cause", err)
		return
	}
	select {
	case <-p.marks:
	default:
	}
	p.marks <- m
}

func (p *Publisher) report(err error) {
	p.mu.Lock()
	changed := fmt.Sprint(err) != fmt.Sprint(p.status.Trouble) || p.status.Connected != (err == nil)
	p.status.Connected, p.status.Trouble = err == nil, err
	p.mu.Unlock()
	if changed && err != nil {
		p.o.Log.Warn("broker away", "cause", err)
	} else if changed {
		p.o.Log.Info("broker answers")
	}
}

// Status tells how it stands.
func (p *Publisher) Status() Status {
	p.mu.Lock()
	s := p.status
	p.mu.Unlock()
	s.Last = p.source.Last()
	return s
}
