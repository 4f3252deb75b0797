package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"time"
)

const stateNormal = "normal"

// Bounds of the live stream.
const (
	tick       = time.Second
	fresh      = tick / 2         // a moment so young serves a request too
	queued     = 8                // events a client may lag behind: chosen, 8 s of a phone that changes its network
	maxClients = 64               // chosen: every phone, tablet and wall screen of an estate ten times over
	eventWait  = 10 * time.Second // to write one event
	lookAgain  = 5                // events until a stream is asked again whose it is
	reconnect  = 2 * time.Second  // told to the client
)

// moment is what stood at one tick. It never changes after it was made.
type moment struct {
	frame   frame // whole, in English
	outbox  Outbox
	at      time.Time
	said    []Translation // what the site says of its alarms in other languages
	english stands
	spanish stands
}

// stands is what stood at a moment in one language, made when somebody first asks for it and once.
type stands struct {
	frame  func() frame
	full   func() []byte // encoded
	packed func() []byte // the same, as gzip
}

func standsIn(t tongue, whole frame) stands {
	turned := sync.OnceValue(func() frame { return t.frame(whole) })
	full := sync.OnceValue(func() []byte { return encode(turned()) })
	return stands{turned, full, sync.OnceValue(func() []byte { return pack(full()) })}
}

func (m *moment) in(language string) *stands {
	if language == spanish {
		return &m.spanish
	}
	return &m.english
}

// live asks the Model, encodes, and feeds the clients.
//
// Concurrency: any goroutine.
type live struct {
	model   Model
	version string
	asked   atomic.Pointer[time.Time] // when the Model was asked and has not answered yet

	mu sync.Mutex // guards all below, and calls of the Model
	// snapshot is reused from tick to tick.
	snapshot Snapshot
	last     *moment
	sections map[string]json.RawMessage // encoded form of each section at the last tick, to find what changed
	recent   []told                     // the last events, for who was given what stood a moment ago
	kept     kept
	clients  map[*client]struct{}
}

// told is an event that changes what stood at the moment before it.
type told struct {
	seq     uint64
	english func() []byte // the event, made once
	spanish func() []byte
}

func (e *told) in(language string) []byte {
	if language == spanish {
		return e.spanish()
	}
	return e.english()
}

type client struct {
	language string
	events   chan []byte // closed when the client is dropped
}

func newLive(m Model, version string) *live {
	return &live{model: m, version: version, sections: map[string]json.RawMessage{}, clients: map[*client]struct{}{}}
}

// run ticks until ctx ends, then says what stands once more and drops all clients. While nobody looks the Model is not asked.
func (l *live) run(ctx context.Context) {
	t := time.NewTicker(tick)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			l.feed() // the last word: that the gateway stops
			l.dropAll()
			return
		case <-t.C:
			l.feed()
		}
	}
}

func (l *live) dropAll() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for c := range l.clients {
		l.drop(c)
	}
}

// feed gives one event with all changes to every client.
func (l *live) feed() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.clients) == 0 {
		return
	}
	e := l.step()
	for c := range l.clients {
		select {
		case c.events <- e.in(c.language):
		default: // it does not take them: it may come again and gets everything
			l.drop(c)
		}
	}
}

func (l *live) drop(c *client) {
	if _, known := l.clients[c]; known {
		delete(l.clients, c)
		close(c.events)
	}
}

// now is a moment not older than half a tick.
func (l *live) now() *moment {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.last == nil || len(l.clients) == 0 && time.Since(l.last.at) > fresh {
		l.step()
	}
	return l.last
}

// soon is now, or nil where the Model does not answer at once: the page opens without it, and says so.
func (l *live) soon() *moment {
	if l.asking() > fresh {
		return nil
	}
	got := make(chan *moment, 1)
	go func() { got <- l.now() }()
	select {
	case m := <-got:
		return m
	case <-time.After(fresh):
		return nil
	}
}

// join adds a client and gives it the event it begins with: everything, or only the number of the moment from which changes follow. That is
// since, the moment that the client has, where what was told after it is still known; then that follows at once.
func (l *live) join(language string, changesOnly bool, since uint64) (*client, []byte, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.clients) >= maxClients {
		return nil, nil, errTooMany
	}
	if l.last == nil || len(l.clients) == 0 {
		l.step()
	}
	c := &client{language: language, events: make(chan []byte, queued)}
	l.clients[c] = struct{}{}
	if changesOnly {
		return c, l.beginning(language, since), nil
	}
	return c, event("full", l.last.frame.Seq, l.last.in(language).full()), nil
}

// beginning is the event begin, and what was told since a moment. The caller holds mu.
func (l *live) beginning(language string, since uint64) []byte {
	i := slices.IndexFunc(l.recent, func(e told) bool { return e.seq == since+1 })
	if i < 0 {
		return event("begin", l.last.frame.Seq, []byte("{}"))
	}
	text := event("begin", since, []byte("{}"))
	for _, e := range l.recent[i:] {
		text = append(text, e.in(language)...)
	}
	return text
}

var errTooMany = errors.New("too many clients")

func (l *live) leave(c *client) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.drop(c)
}

// step asks the Model, keeps the new moment and returns the event with what changed since the last one. The caller holds mu.
func (l *live) step() told {
	begun := time.Now()
	l.asked.Store(&begun)
	l.model.Snapshot(&l.snapshot)
	l.asked.Store(nil)
	whole := l.snapshot.frame(l.kept.planOf(&l.snapshot, l.version))
	before := l.last
	if before != nil {
		whole.Seq = before.frame.Seq + 1
	} else {
		whole.Seq = uint64(rand.Uint32())<<20 | 1 //nolint:gosec // no secret: numbers of an earlier run must not fit; JSON holds 53 bits
	}
	inEnglish, inSpanish := tongue{english, l.kept.said}, tongue{spanish, l.kept.said}
	l.last = &moment{frame: whole, outbox: l.snapshot.Outbox, at: time.Now(), said: l.kept.said, english: standsIn(inEnglish, whole), spanish: standsIn(inSpanish, whole)}
	// What did not change in English did not in the other: each is made of the former alone.
	changes := l.changes(before, whole)
	in := func(t tongue) func() []byte {
		return sync.OnceValue(func() []byte { return event("changes", whole.Seq, encode(t.frame(changes))) })
	}
	e := told{whole.Seq, in(inEnglish), in(inSpanish)}
	if len(l.recent) == queued {
		l.recent = slices.Delete(l.recent, 0, 1)
	}
	l.recent = append(l.recent, e)
	return e
}

// changes leaves out of the frame what was sent before.
func (l *live) changes(before *moment, f frame) frame {
	samePlan := before != nil && before.frame.Plan == f.Plan
	if samePlan {
		f.Plan = nil
	}
	if l.unchanged("stations", f.Stations) {
		f.Stations = nil
	}
	if l.unchanged("alarms", f.Alarms) {
		f.Alarms = nil
	}
	if l.unchanged("prompts", f.Prompts) {
		f.Prompts = nil
	}
	if l.unchanged("roster", f.Roster) {
		f.Roster = nil
	}
	if l.unchanged("links", f.Links) {
		f.Links = nil
	}
	if samePlan {
		var changed map[string]value // nil, and left out, while nothing changed
		for name, v := range f.Values {
			if old, known := before.frame.Values[name]; !known || !v.same(old) {
				if changed == nil {
					changed = map[string]value{}
				}
				changed[name] = v
			}
		}
		f.Values = changed
	}
	return f
}

func (l *live) unchanged(section string, v any) bool {
	text := encode(v)
	if bytes.Equal(text, l.sections[section]) {
		return true
	}
	l.sections[section] = text
	return false
}

// event is one server-sent event. JSON has no raw line ends, so one data line is enough. [WHATWG HTML, server-sent events]
func event(name string, seq uint64, data []byte) []byte {
	b := make([]byte, 0, len(data)+48)
	b = append(b, "event: "...)
	b = append(b, name...)
	b = append(b, "\nid: "...)
	b = strconv.AppendUint(b, seq, 10)
	b = append(b, "\ndata: "...)
	b = append(b, data...)
	return append(b, "\n\n"...)
}

// serveLive streams events. A Last-Event-ID is read by nobody: who comes again gets everything, which is small and always right.
func (w *Web) serveLive(rw http.ResponseWriter, r *http.Request) {
	since, _ := strconv.ParseUint(r.URL.Query().Get("since"), 10, 64) // what is no number is a moment that is not known
	c, first, err := w.live.join(w.language(r), r.URL.Query().Get("begin") == "changes", since)
	if err != nil {
		rw.Header().Set("Retry-After", "30")
		refuse(rw, http.StatusServiceUnavailable, RefusedState, "Too many screens look at this gateway. Close one.")
		return
	}
	defer w.live.leave(c)
	h := rw.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no") // a proxy in front must not collect the events
	rw.WriteHeader(http.StatusOK)
	first = append(fmt.Appendf(nil, "retry: %d\n", reconnect.Milliseconds()), first...)
	out, told := http.NewResponseController(rw), 0
	for text := first; ; {
		_ = out.SetWriteDeadline(time.Now().Add(eventWait)) // recorders of tests have none
		if _, err := rw.Write(text); err != nil {
			return
		}
		if err := out.Flush(); err != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case next, open := <-c.events:
			if !open {
				return
			}
			if told++; told%lookAgain == 0 {
				if v, found := w.visitor(r); !found || !May(v.role, See) {
					return // logged out, taken away, or gone from the rules file [ASVS 5.0.0 7.4.1, 7.4.2]
				}
			}
			text = next
		}
	}
}

// asking is how long the Model has been owing an answer; 0 while it owes none.
func (l *live) asking() time.Duration {
	if since := l.asked.Load(); since != nil {
		return time.Since(*since)
	}
	return 0
}
