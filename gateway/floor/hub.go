package floor

import (
	"context"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"millwarden/gateway/web"
	"millwarden/internal/link"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/internal/wire"
	"millwarden/rules/check"
)

const (
	// hubQueue is how many readings of other boards may wait for the flow; chosen: all points of some hundred boards once. What finds no room comes
	// again in seconds.
	hubQueue = 4096
	// hubBatch is how many of them the flow takes at once; chosen: some milliseconds of it.
	hubBatch = 256
	// hubEvery is how often a hub's boards tell their newest readings; chosen: fine enough for the rate of rise in a roaster.
	hubEvery = time.Second
)

// hub hears the other boards of the estate, whose rules files the plan knows. Their newest readings stand at the broker; so it needs neither store
// nor forwarder, and after an outage begins with what is true now. What was measured longer ago than a board may be silent is no news and is passed over.
//
// Concurrency: receive runs on the client's reader, run on its own goroutine; boards are guarded by mu.
type hub struct {
	f      *Floor
	topics wire.Topics
	points map[string]heardPoint // by topic
	queue  chan reading.Reading
	lost   atomic.Uint64

	mu     sync.Mutex
	boards map[string]*otherBoard // by station
	latest map[string]time.Time   // of each point, by its own board's clock
}

// heardPoint is what comes by a topic: a reading of a point, or of a board (point "").
type heardPoint struct {
	point    string
	quantity units.Quantity
	board    string // the board itself speaks
	silent   time.Duration
}

type otherBoard struct {
	check.Board
	title string
	heard time.Duration // monotonic; 0: not yet
	gone  bool          // the broker says so
	rules string        // as it says; "": it has not yet
}

// hubOf makes the hub of a plan that knows other boards; nil for any other.
func (f *Floor) hubOf(plan *planned) *hub {
	if len(plan.Boards) == 0 {
		return nil
	}
	h := &hub{f: f, topics: wire.Topics{Root: rootOf(plan.Plan), Site: plan.Site.Name}, points: map[string]heardPoint{}, queue: make(chan reading.Reading, hubQueue),
		boards: map[string]*otherBoard{}, latest: map[string]time.Time{}}
	silent := time.Duration(0) // of the most patient board: which board a station hangs on, nobody needs to know
	for _, b := range plan.Boards {
		silent = max(silent, b.SilentAfter)
		i := slices.IndexFunc(plan.Stations, func(s check.Station) bool { return s.Name == b.Name })
		h.boards[b.Name] = &otherBoard{Board: b, title: plan.Stations[i].Title}
		h.points[h.topics.State(b.Name)] = heardPoint{board: b.Name}
		h.points[h.topics.Rules(b.Name)] = heardPoint{board: b.Name}
	}
	for i := range plan.Points {
		p := &plan.Points[i]
		switch b := h.boards[p.Station]; {
		case b != nil && p.Short != "heard" && p.Short != "same-rules": // a board calls its own points board/NAME
			h.points[h.topics.Latest(b.Name, "board/"+p.Short)] = heardPoint{p.Name, p.Quantity, b.Name, b.SilentAfter}
		case p.How == check.Remote:
			h.points[h.topics.Latest(p.Area, p.Name)] = heardPoint{p.Name, p.Quantity, "", silent}
		}
	}
	return h
}

// filters are the topics to subscribe to: a station at a time.
func (h *hub) filters() []string {
	known := map[string]bool{}
	for topic := range h.points {
		known[topic[:strings.LastIndexByte(topic, '/')]+"/+"] = true
	}
	list := make([]string, 0, len(known))
	for filter := range known {
		list = append(list, filter)
	}
	slices.Sort(list)
	return list
}

// run listens, and tells the engine what came and which boards are silent.
func (h *hub) run(ctx context.Context) error {
	h.f.hub.Store(h)
	defer h.f.hub.CompareAndSwap(h, nil)
	name := h.f.plan().Site.Board + "-hub" // as of radio
	o := link.Options{Dial: h.f.links.dial, ClientID: "millwarden-" + h.topics.Site + "-" + name, Credential: h.f.links.user, Subscribe: h.filters(), QoS: 1,
		Receive: h.receive, Presence: h.topics.State(name), Report: func(err error) {
			if err != nil {
				h.f.log.Warn("broker does not answer", "part", "hub", "cause", err)
			}
		}}
	var listening sync.WaitGroup
	listening.Go(func() {
		_ = link.Keep(ctx, o, func(ctx context.Context, _ *link.Conn) error { // it ends with ctx, and in order
			<-ctx.Done()
			return nil
		})
	})
	h.tell(ctx)
	listening.Wait()
	return nil
}

// tell hands on what came.
func (h *hub) tell(ctx context.Context) {
	began := h.f.clock.Now().Mono
	tick := time.NewTicker(max(h.f.clock.Real(boardEvery), shortestTick))
	defer tick.Stop()
	var rs []reading.Reading
	for {
		select {
		case <-ctx.Done():
			return
		case r := <-h.queue:
			rs = append(make([]reading.Reading, 0, hubBatch), r) // the flow keeps it
		collect:
			for len(rs) < hubBatch {
				select {
				case r := <-h.queue:
					rs = append(rs, r)
				default:
					break collect
				}
			}
		case <-tick.C:
			rs = h.judge(h.f.clock.Now(), began)
		}
		select {
		case h.f.incoming <- rs:
		case <-ctx.Done():
			return
		}
	}
}

// judge tells of each board whether it was heard and has the rules that the hub has. Until it may be called silent, nothing is said of one that was not.
func (h *hub) judge(now reading.Stamp, began time.Duration) []reading.Reading {
	h.mu.Lock()
	defer h.mu.Unlock()
	var rs []reading.Reading
	add := func(b *otherBoard, name string, yes bool) {
		if point := b.Name + "/" + name; h.f.plan().pointKnown[point] {
			r := reading.Reading{Point: point, Quantity: units.YesNo, Stamp: now}
			if yes {
				r.Value = 1
			}
			rs = append(rs, r)
		}
	}
	for _, b := range h.boards {
		if b.heard > 0 || b.gone || now.Mono-began > b.SilentAfter {
			add(b, "heard", b.answers(now.Mono))
		}
		if b.rules != "" {
			add(b, "same-rules", b.rules == b.Rules)
		}
	}
	return rs
}

func (b *otherBoard) answers(now time.Duration) bool {
	return !b.gone && b.heard > 0 && now-b.heard <= b.SilentAfter
}

// receive takes one message of another board. It must not block.
func (h *hub) receive(topic string, payload []byte, retained bool) {
	p, known := h.points[topic]
	if !known {
		return
	}
	now := h.f.clock.Now()
	if p.board != "" {
		h.hear(p, topic, payload, now, retained)
	}
	if p.point == "" {
		return
	}
	r, err := wire.DecodeLatest(payload, p.quantity)
	if err != nil || r.Point != strings.TrimPrefix(topic, h.topics.Root+"/") || r.Quantity != p.quantity {
		h.f.log.Warn("reading of another board refused", "topic", topic, "cause", err)
		return
	}
	if !h.news(&r, p, now, retained) {
		return
	}
	r.Point = p.point
	select {
	case h.queue <- r:
	default:
		h.lost.Add(1)
	}
}

// hear notes a sign of life. What the broker kept is none, but for the rules and for the word that the board is gone.
func (h *hub) hear(p heardPoint, topic string, payload []byte, now reading.Stamp, retained bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	b := h.boards[p.board]
	switch topic {
	case h.topics.State(p.board):
		b.gone = string(payload) == link.Offline
	case h.topics.Rules(p.board):
		b.rules = string(payload)
	}
	if !retained && !b.gone {
		b.heard = now.Mono
	}
}

// news tells whether a reading is later than any before, and recent; then its stamp is by this board's clock.
func (h *hub) news(r *reading.Reading, p heardPoint, now reading.Stamp, retained bool) bool {
	at := r.Stamp.Wall
	age := time.Duration(0)
	if now.Set {
		age = max(now.Wall.Sub(at), 0)
	}
	if retained && !now.Set || age > p.silent {
		return false
	}
	h.mu.Lock()
	later := at.After(h.latest[p.point])
	if later {
		h.latest[p.point] = at
	}
	h.mu.Unlock()
	r.Stamp = reading.Stamp{Wall: now.Wall.Add(-age), Mono: now.Mono - age, Boot: now.Boot, Set: now.Set}
	return later
}

// links lists the other boards for the page.
func (h *hub) links(now reading.Stamp, list []web.Link) []web.Link {
	h.mu.Lock()
	defer h.mu.Unlock()
	at := len(list)
	for _, b := range h.boards {
		l := web.Link{Kind: "board", Name: b.Name, Title: b.title, Set: true, Works: b.answers(now.Mono)}
		switch {
		case !l.Works:
			l.Cause = "not heard"
		case b.rules != "" && b.rules != b.Rules:
			l.Works, l.Cause = false, "other rules than the copy here"
		}
		list = append(list, l)
	}
	slices.SortFunc(list[at:], func(a, b web.Link) int { return strings.Compare(a.Name, b.Name) })
	return list
}
