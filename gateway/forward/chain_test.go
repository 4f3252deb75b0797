package forward_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/gateway/forward"
	"millwarden/gateway/history"
	"millwarden/gateway/publish"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// sliceHistory is a history in memory.
type sliceHistory struct {
	mu      sync.Mutex // guards what follows
	entries []history.Entry
	mark    history.Mark
	wake    chan struct{}
}

func newSliceHistory() *sliceHistory { return &sliceHistory{wake: make(chan struct{}, 1)} }

func (h *sliceHistory) From(position uint64, limit int, into []history.Entry) ([]history.Entry, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	first := min(int(max(position, 1)-1), len(h.entries))
	return append(into, h.entries[first:min(first+limit, len(h.entries))]...), nil
}

func (h *sliceHistory) Last() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return uint64(len(h.entries))
}

func (h *sliceHistory) Watermark() history.Mark {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.mark
}

func (h *sliceHistory) SetWatermark(m history.Mark) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.mark = m
	return nil
}

// append adds n readings over the points of a small estate, one a millisecond from the time given.
func (h *sliceHistory) append(from time.Time, n int) {
	h.mu.Lock()
	for i := range n {
		position := len(h.entries) + 1
		r := reading.Reading{Point: "tank-" + strconv.Itoa(position%8+1) + "/ph", Quantity: units.PH, Value: float64(position%14000) / 1000,
			Stamp: reading.Stamp{Wall: from.Add(time.Duration(i) * time.Millisecond), Set: true}}
		switch position % 50 {
		case 0:
			r = reading.Missing("board/disk-free", units.Share, r.Stamp, "no answer")
		case 1:
			r.Quality, r.Cause = reading.Uncertain, "calibration overdue"
		}
		h.entries = append(h.entries, history.Entry{Position: uint64(position), Reading: r})
	}
	h.mu.Unlock()
	select {
	case h.wake <- struct{}{}:
	default:
	}
}

// key of a reading as the store tells readings apart.
type key struct {
	point  string
	millis int64
}

// memoryStore is a store whose answer comes before its disk, by ten seconds, as victoria-metrics was measured to do. It is an
// http.RoundTripper: no socket stands between, so that time may be synthetic.
type memoryStore struct {
	mu      sync.Mutex // guards what follows
	boot    int
	up      bool
	disk    map[key]string
	memory  map[key]string
	since   map[key]time.Time
	writes  int
	answer  answering // nil: takes everything
	noBoot  bool
	slow    time.Duration // before it answers a write
	cut     bool          // it writes, and the connection breaks before its answer
	half    bool          // it writes half of what came only
	repeats int           // records that came again
}

func newMemoryStore() *memoryStore {
	return &memoryStore{boot: 1, up: true, disk: map[key]string{}, memory: map[key]string{}, since: map[key]time.Time{}}
}

const flushWindow = 10 * time.Second // [measured: victoria-metrics 1.79.5 lost the last 10.0 s]

func (s *memoryStore) flush() {
	for k, v := range s.memory {
		if time.Since(s.since[k]) >= flushWindow {
			s.disk[k] = v
			delete(s.memory, k)
		}
	}
}

// kill loses what is not on disk, and comes back under another boot id.
func (s *memoryStore) kill() (lost int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.flush()
	lost = len(s.memory)
	s.memory = map[key]string{}
	s.boot++
	return lost
}

// answering is what a store says to the body of a write.
type answering func(body string) *http.Response

func answer(status int, text string, header ...string) *http.Response {
	r := &http.Response{StatusCode: status, Status: strconv.Itoa(status) + " " + http.StatusText(status), Header: http.Header{}, Body: io.NopCloser(strings.NewReader(text))}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	return r
}

func (s *memoryStore) RoundTrip(req *http.Request) (*http.Response, error) {
	var body []byte
	if req.Body != nil {
		var err error
		if body, err = io.ReadAll(req.Body); err != nil {
			return nil, err
		}
		req.Body.Close()
	}
	s.mu.Lock()
	wait := 2 * time.Millisecond
	if req.URL.Path != "/metrics" {
		wait += s.slow
	}
	s.mu.Unlock()
	select { // of synthetic time
	case <-time.After(wait):
	case <-req.Context().Done():
		return nil, req.Context().Err()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.up {
		return nil, &net.OpError{Op: "dial", Err: fmt.Errorf("connection refused")}
	}
	if req.URL.Path == "/metrics" {
		if s.noBoot {
			return answer(200, "go_goroutines 5\n"), nil
		}
		return answer(200, fmt.Sprintf("# HELP x\nprocess_start_time_seconds %d\n", s.boot)), nil
	}
	s.writes++
	if s.answer != nil {
		if r := s.answer(string(body)); r != nil {
			return r, nil
		}
	}
	s.flush()
	if s.half {
		body = body[:bytes.LastIndexByte(body[:len(body)/2], '\n')+1]
	}
	for lines := bufio.NewScanner(bytes.NewReader(body)); lines.Scan(); {
		if !strings.HasPrefix(lines.Text(), "#") {
			s.take(lines.Text())
		}
	}
	if s.cut {
		return nil, io.ErrUnexpectedEOF
	}
	return answer(204, ""), nil
}

func (s *memoryStore) take(line string) {
	series, rest, _ := strings.Cut(line, " ")
	fields, millis, _ := strings.Cut(rest, " ")
	at, err := strconv.ParseInt(millis, 10, 64)
	if err != nil {
		panic(line)
	}
	k := key{series, at}
	if _, known := s.disk[k]; known {
		s.repeats++
	} else if _, known := s.memory[k]; known {
		s.repeats++
	}
	s.memory[k] = fields
	s.since[k] = time.Now()
}

// holds compares with the history, one for one.
func (s *memoryStore) holds(h *sliceHistory) (missing, wrong, strange int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, e := range h.entries {
		k, want := lineOf(&e.Reading)
		got, ok := s.disk[k]
		if !ok {
			got, ok = s.memory[k]
		}
		if !ok {
			missing++
		} else if got != want {
			wrong++
		}
	}
	all := len(s.disk)
	for k := range s.memory {
		if _, both := s.disk[k]; !both {
			all++
		}
	}
	return missing, wrong, all - (len(h.entries) - missing)
}

// lineOf is what a reading should be in the store: written here by other means than the forwarder's.
func lineOf(r *reading.Reading) (key, string) {
	station, point, _ := strings.Cut(r.Point, "/")
	area := "wet-mill"
	if station == "board" {
		area = "hub"
	}
	fields := fmt.Sprintf("value=%v", r.Value)
	if math.IsNaN(r.Value) {
		fields = "missing=1"
	}
	return key{fmt.Sprintf("%s,area=%s,board=hub,point=%s,quality=%s,site=fern-hollow,station=%s", r.Quantity.Name(), area, point, r.Quality, station), r.Stamp.Wall.UnixMilli()}, fields
}

func areaOf(station string) string {
	if strings.HasPrefix(station, "tank-") {
		return "wet-mill"
	}
	return ""
}

// part runs something until it is stopped.
type part struct {
	cancel context.CancelFunc
	done   chan error
}

func runPart(run func(context.Context) error) *part {
	ctx, cancel := context.WithCancel(context.Background())
	p := &part{cancel, make(chan error, 1)}
	go func() { p.done <- run(ctx) }()
	return p
}

func (p *part) stop(t testing.TB) {
	t.Helper()
	p.cancel()
	if err := <-p.done; err != nil {
		t.Error(err)
	}
}

// chain is history, publisher, broker, forwarder and store, joined by pipes.
type chain struct {
	t       *testing.T
	history *sliceHistory
	store   *memoryStore
	lag     time.Duration

	mochi     *publish.Broker
	publisher *publish.Publisher
	forwarder *forward.Forwarder
	parts     map[string]*part
	mu        sync.Mutex        // guards cut and mochi
	cut       map[string]func() // cuts the line of a part, as a kill does
	refusals  []forward.Refusal
	reject    string
}

func newChain(t *testing.T, lag time.Duration) *chain {
	c := &chain{t: t, history: newSliceHistory(), store: newMemoryStore(), lag: lag, parts: map[string]*part{}, cut: map[string]func(){}}
	c.startBroker()
	c.startForwarder()
	c.startPublisher()
	return c
}

func (c *chain) startBroker() {
	b, err := publish.NewBroker(publish.BrokerOptions{})
	if err != nil {
		c.t.Fatal(err)
	}
	c.mu.Lock()
	c.mochi = b
	c.mu.Unlock()
	c.parts["broker"] = runPart(b.Run)
	synctest.Wait()
}

// dial dials the broker of the moment over a line that kill cuts without a word.
func (c *chain) dial(name string) func(context.Context) (net.Conn, error) {
	return func(ctx context.Context) (net.Conn, error) {
		c.mu.Lock()
		mochi := c.mochi
		c.mu.Unlock()
		conn, err := mochi.Dial(ctx)
		if err == nil {
			c.mu.Lock()
			c.cut[name] = func() { conn.Close() }
			c.mu.Unlock()
		}
		return conn, err
	}
}

func (c *chain) startPublisher() {
	c.publisher = publish.New(c.history, publish.Options{Root: "millwarden", Site: "fern-hollow", Board: "hub", Dial: c.dial("publisher"), Area: areaOf,
		Wake: c.history.wake})
	c.parts["publisher"] = runPart(c.publisher.Run)
}

func (c *chain) startForwarder() {
	f, err := forward.New(forward.Options{Root: "millwarden", Site: "fern-hollow", Dial: c.dial("forwarder"), RejectFile: c.reject,
		Refused: func(r forward.Refusal) { c.refusals = append(c.refusals, r) },
		Store: forward.Store{Address: "http://store.invalid", Org: "estate", Bucket: "mill", DurableAfter: c.lag, Client: &http.Client{Transport: c.store},
			Token: func() (string, error) { return "secret", nil }}})
	if err != nil {
		c.t.Fatal(err)
	}
	c.forwarder = f
	c.parts["forwarder"] = runPart(f.Run)
}

// kill ends a part without farewell: its line is cut first.
func (c *chain) kill(name string) {
	c.mu.Lock()
	cut := c.cut[name]
	c.mu.Unlock()
	if cut != nil {
		cut()
	}
	c.parts[name].stop(c.t)
	delete(c.parts, name)
}

func (c *chain) stop() {
	for _, name := range []string{"publisher", "forwarder", "broker"} {
		if p := c.parts[name]; p != nil {
			p.stop(c.t)
		}
	}
}

// live appends n readings a second for so long.
func (c *chain) live(d time.Duration, n int) {
	for end := time.Now().Add(d); time.Now().Before(end); {
		c.history.append(time.Now(), n)
		time.Sleep(time.Second)
	}
}

func (c *chain) expectAll() {
	c.t.Helper()
	if missing, wrong, strange := c.store.holds(c.history); missing+wrong+strange > 0 {
		c.t.Errorf("of %d readings the store misses %d, holds %d wrong and %d that are none", c.history.Last(), missing, wrong, strange)
	}
}

// Aim: the plain case, whole: what the history has, the store has, and the watermark follows when the store can be trusted.
func TestChain_bringsEveryReading(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		c := newChain(t, 20*time.Second)
		defer c.stop()
		c.live(30*time.Second, 64)
		c.expectAll()
		if mark := c.history.Watermark(); mark.Commit == 0 || mark.Commit > 11*64 {
			t.Errorf("after 30 s with 20 s until it is durable the watermark is %d of %d", mark.Commit, c.history.Last())
		}
		time.Sleep(25 * time.Second)
		if mark := c.history.Watermark(); mark.Commit != c.history.Last() {
			t.Errorf("watermark %d of %d", mark.Commit, c.history.Last())
		}
		if c.store.repeats > 0 {
			t.Errorf("%d records came twice without need", c.store.repeats)
		}
		if s := c.publisher.Status(); !s.Connected || s.Trouble != nil || s.Watermark != s.Last || s.StoreTrouble != "" {
			t.Errorf("publisher: %+v", s)
		}
		if s := c.forwarder.Status(); !s.Connected || s.StoreTrouble != "" || s.Written != c.history.Last() {
			t.Errorf("forwarder: %+v", s)
		}
	})
}

func readingsOf(entries []history.Entry) []reading.Reading {
	var list []reading.Reading
	for _, e := range entries {
		list = append(list, e.Reading)
	}
	return list
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }
