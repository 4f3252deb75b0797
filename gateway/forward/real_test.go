package forward_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"millwarden/gateway/forward"
	"millwarden/gateway/history"
	"millwarden/gateway/publish"
	"millwarden/internal/link"
	"millwarden/internal/peers"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// settings of a part in a process of its own: the test binary itself, started again.
type settings struct {
	Role                                            role // "": the forwarder
	Folder                                          string
	Begun                                           time.Time
	Broker, Address, Org, Bucket, Token, RejectFile string
	DurableAfter                                    time.Duration
}

const settingsVariable = "MILLWARDEN_TEST_FORWARDER"

func TestMain(m *testing.M) {
	if text := os.Getenv(settingsVariable); text != "" {
		var s settings
		if err := json.Unmarshal([]byte(text), &s); err != nil {
			panic(err)
		}
		panic(s.play(context.Background())) // until it is killed
	}
	os.Exit(m.Run())
}

func (s settings) play(ctx context.Context) error {
	if play := roles[s.Role]; play != nil {
		return play(ctx, s)
	}
	f, err := forward.New(s.options())
	if err != nil {
		return err
	}
	return f.Run(ctx)
}

func (s settings) options() forward.Options {
	return forward.Options{Root: "millwarden", Site: "fern-hollow", Dial: link.Dialer(s.Broker, nil), RejectFile: s.RejectFile,
		Store: forward.Store{Address: s.Address, Org: s.Org, Bucket: s.Bucket, DurableAfter: s.DurableAfter, Token: func() (string, error) { return s.Token, nil }}}
}

// process is that process.
type process struct {
	t       *testing.T
	s       settings
	command *exec.Cmd
	out     io.Writer // what it prints; nil: nowhere
}

func (p *process) start() {
	p.t.Helper()
	text, err := json.Marshal(p.s)
	if err != nil {
		p.t.Fatal(err)
	}
	p.command = exec.Command(os.Args[0])
	p.command.Env = append(os.Environ(), settingsVariable+"="+string(text))
	p.command.Stdout, p.command.Stderr = p.out, os.Stderr
	if err := p.command.Start(); err != nil {
		p.t.Fatal(err)
	}
}

func (p *process) kill() {
	if p.command != nil {
		p.command.Process.Kill()
		p.command.Wait()
		p.command = nil
	}
}

// estate are readings of every kind, as the history would give them.
func estate(r *rand.Rand, position int, at time.Time) reading.Reading {
	kinds := []struct {
		point    string
		quantity units.Quantity
		high     float64
	}{{"tank-1/ph", units.PH, 14}, {"tank-1/temperature", units.Temperature, 60}, {"bin-1/moisture", units.Moisture, 60}, {"bin-1/water-activity", units.WaterActivity, 1},
		{"dryer-1/plenum-pressure", units.Pressure, 2}, {"room-1/co", units.Concentration, 400}, {"roaster/drum", units.State, 1}, {"roaster/rate-of-rise", units.Temperature.Rate(), 0.5},
		{"board/disk-free", units.Share, 100}, {"tank-1/ph/disagrees", units.YesNo, 1}, {"roaster/fan", units.Rotation, 3000}}
	k := kinds[position%len(kinds)]
	steps := k.quantity.StepsPerUnit()
	out := reading.Reading{Point: k.point, Quantity: k.quantity, Value: math.Round(r.Float64()*k.high*steps) / steps, Stamp: reading.Stamp{Wall: at, Set: true}}
	switch r.IntN(12) {
	case 0:
		out = reading.Missing(k.point, k.quantity, out.Stamp, "no answer")
	case 1:
		out.Quality, out.Cause = reading.Uncertain, "calibration overdue"
	}
	return out
}

// feed appends readings of an estate in real time until its context ends, a hundred a second.
func (h *sliceHistory) feed(ctx context.Context, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 1))
	ticker := time.NewTicker(100 * time.Millisecond)
	defer ticker.Stop()
	last := time.Now().Truncate(time.Millisecond)
	for ctx.Err() == nil {
		h.mu.Lock()
		for range 10 {
			position := len(h.entries) + 1
			last = last.Add(time.Millisecond)
			h.entries = append(h.entries, history.Entry{Position: uint64(position), Reading: estate(r, position, last)})
		}
		h.mu.Unlock()
		select {
		case h.wake <- struct{}{}:
		default:
		}
		select {
		case <-ctx.Done():
		case now := <-ticker.C:
			if now.After(last) {
				last = now.Truncate(time.Millisecond)
			}
		}
	}
}

// rows are what the store should hold of the board "hub".
func (h *sliceHistory) rows() []peers.Row { return h.rowsOf("hub") }

// rowsOf are what the store should hold of a board.
func (h *sliceHistory) rowsOf(board string) []peers.Row {
	h.mu.Lock()
	defer h.mu.Unlock()
	var rows []peers.Row
	for _, e := range h.entries {
		station, point, _ := strings.Cut(e.Point, "/")
		area := map[bool]string{true: board, false: "mill"}[station == "board"]
		rows = append(rows, peers.Row{Measurement: e.Quantity.Name(), Site: "fern-hollow", Area: area, Station: station, Point: point, Board: board,
			Millis: e.Stamp.Wall.UnixMilli(), Value: e.Value, Quality: e.Quality.String()})
	}
	return peers.Sort(rows)
}

func sameRows(a, b peers.Row) bool {
	if math.IsNaN(a.Value) && math.IsNaN(b.Value) {
		a.Value, b.Value = 0, 0
	}
	return a == b
}

// compare says how the store differs from the history; "" where it does not.
func compare(got, want []peers.Row) string {
	if slices.EqualFunc(got, want, sameRows) {
		return ""
	}
	for i := range min(len(got), len(want)) {
		if !sameRows(got[i], want[i]) {
			return fmt.Sprintf("%d rows of %d; row %d is %+v, want %+v", len(got), len(want), i, got[i], want[i])
		}
	}
	return fmt.Sprintf("%d rows of %d", len(got), len(want))
}

// faults stands before a store and does to some requests what no store does on demand.
type faults struct {
	proxy *httputil.ReverseProxy
	on    atomic.Bool
	turn  atomic.Uint64 // kinds come in turn, so that each comes soon; which request has one is chance
	did   [9]atomic.Int64
}

func startFaults(t *testing.T, store string) (*faults, string) {
	target, err := url.Parse(store)
	if err != nil {
		t.Fatal(err)
	}
	f := &faults{proxy: httputil.NewSingleHostReverseProxy(target)}
	f.proxy.ErrorHandler = func(w http.ResponseWriter, _ *http.Request, _ error) { w.WriteHeader(http.StatusBadGateway) }
	server := httptest.NewServer(f)
	t.Cleanup(server.Close)
	return f, server.URL
}

func (f *faults) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	if !f.on.Load() || req.Method != http.MethodPost || rand.N(2) == 0 {
		f.proxy.ServeHTTP(w, req)
		return
	}
	kind := (f.turn.Add(1) - 1) % uint64(len(f.did))
	f.did[kind].Add(1)
	switch kind {
	case 0:
		w.Header().Set("Retry-After", "1")
		w.WriteHeader(http.StatusTooManyRequests)
	case 1:
		w.WriteHeader(http.StatusServiceUnavailable)
	case 2:
		w.WriteHeader(http.StatusRequestEntityTooLarge)
	case 3: // slow
		time.Sleep(500 * time.Millisecond)
		f.proxy.ServeHTTP(w, req)
	case 4: // half of it arrives, and the line breaks
		io.CopyN(io.Discard, req.Body, req.ContentLength/2)
		panic(http.ErrAbortHandler)
	case 5: // it is written, and the line breaks before the answer
		f.proxy.ServeHTTP(httptest.NewRecorder(), req)
		panic(http.ErrAbortHandler)
	case 6: // half of its lines are written, and the line breaks before the answer
		f.half(req)
		panic(http.ErrAbortHandler)
	case 7: // it is written, and half the answer comes
		f.proxy.ServeHTTP(httptest.NewRecorder(), req)
		f.breakOff(w, "HTTP/1.1 20")
	case 8: // it is written, and of an answer that says no only half comes
		f.proxy.ServeHTTP(httptest.NewRecorder(), req)
		f.breakOff(w, "HTTP/1.1 500 Internal Server Error\r\nContent-Length: 100\r\n\r\n{\"code\":")
	}
}

// half passes the first half of the lines on.
func (f *faults) half(req *http.Request) {
	body, err := io.ReadAll(req.Body)
	if err != nil {
		return
	}
	lines := bytes.SplitAfter(body, []byte("\n"))
	part := bytes.Join(lines[:len(lines)/2], nil)
	req.Body, req.ContentLength = io.NopCloser(bytes.NewReader(part)), int64(len(part))
	f.proxy.ServeHTTP(httptest.NewRecorder(), req)
}

// breakOff says something by hand and cuts the line.
func (f *faults) breakOff(w http.ResponseWriter, text string) {
	conn, _, err := w.(http.Hijacker).Hijack()
	if err != nil {
		return
	}
	_, _ = io.WriteString(conn, text)
	_ = conn.Close()
}

// real is the chain on servers we did not write.
type real struct {
	t         *testing.T
	history   *sliceHistory
	broker    *peers.Mosquitto
	forwarder *process
	publisher *publish.Publisher
}

func startReal(t *testing.T, store peers.Store, address string, lag time.Duration) (r *real, settle func()) {
	_, org, bucket, token := store.Write()
	r = &real{t: t, history: newSliceHistory(), broker: peers.StartMosquitto(t)}
	r.forwarder = &process{t: t, s: settings{Broker: r.broker.Address, Address: address, Org: org, Bucket: bucket, Token: token, DurableAfter: lag}}
	r.forwarder.start()
	t.Cleanup(r.forwarder.kill)
	r.publisher = publish.New(r.history, publish.Options{Root: "millwarden", Site: "fern-hollow", Board: "hub", Dial: link.Dialer(r.broker.Address, nil),
		Area: func(station string) string { return map[bool]string{true: "", false: "mill"}[station == "board"] }, Wake: r.history.wake})
	running := runPart(r.publisher.Run)
	ctx, stopFeeding := context.WithCancel(t.Context())
	fed := make(chan struct{})
	go func() {
		defer close(fed)
		r.history.feed(ctx, 1)
	}()
	return r, func() {
		t.Helper()
		stopFeeding()
		<-fed
		r.until(90*time.Second, "the watermark reaches the end", func() bool { return r.history.Watermark().Commit == r.history.Last() })
		running.stop(t)
	}
}

func (r *real) until(limit time.Duration, what string, done func() bool) {
	r.t.Helper()
	for deadline := time.Now().Add(limit); !done(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			r.t.Fatalf("not within %v: %s: %+v, saved %+v", limit, what, r.publisher.Status(), r.history.Watermark())
		}
	}
}

// more waits until the store has answered n more readings.
func (r *real) more(n uint64) {
	r.t.Helper()
	from := r.publisher.Status().Stored
	r.until(90*time.Second, fmt.Sprintf("%d more stored", n), func() bool { return r.publisher.Status().Stored >= from+n })
}

// Aim: on mosquitto and influxd, through a proxy that does everything a store and a line can do, and one kill -9 each of broker, forwarder and
// store, what is read back is the history, one for one.
func TestReal_influxd(t *testing.T) {
	t.Parallel()
	store := peers.StartInflux(t)
	address, _, _, _ := store.Write()
	f, proxy := startFaults(t, address)
	r, settle := startReal(t, store, proxy, 0)
	r.more(100)
	f.on.Store(true)
	r.more(200)
	r.broker.Kill()
	r.broker.Start()
	r.more(200)
	r.forwarder.kill()
	r.forwarder.start()
	r.more(200)
	store.Kill()
	store.Start()
	r.more(200)
	for deadline := time.Now().Add(time.Minute); f.fewest() == 0 && time.Now().Before(deadline); {
		r.more(50)
	}
	f.on.Store(false)
	settle()
	if difference := compare(store.Rows(t), r.history.rows()); difference != "" {
		t.Error(difference)
	}
	if f.fewest() == 0 {
		t.Error("not every fault came: the test proves less than it says")
	}
}

func (f *faults) fewest() int64 {
	least := f.did[0].Load()
	for i := range f.did {
		least = min(least, f.did[i].Load())
	}
	return least
}

// loses kills forwarder and store, starts them again, and tells whether the store lost what it had answered.
func (r *real) loses(store peers.Store) bool {
	r.t.Helper()
	r.more(100)
	r.forwarder.kill()
	answered := r.publisher.Status().Stored
	store.Kill()
	store.Start()
	kept := uint64(len(store.Rows(r.t)))
	r.forwarder.start()
	return kept < answered
}

// Aim: the same on victoria-metrics, whose answer comes before its disk: it is killed when it holds answered readings in memory only, and the
// test shows that it lost them.
func TestReal_victoriaMetrics(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	t.Parallel()
	store := peers.StartVictoriaMetrics(t)
	address, _, _, _ := store.Write()
	r, settle := startReal(t, store, address, 15*time.Second) // chosen: half as long again as the 10 s it was measured to lose
	r.more(300)
	r.broker.Kill()
	r.broker.Start()
	for try := 1; !r.loses(store); try++ { // its disk may have had them just then
		if try == 5 {
			t.Fatal("five times it kept all that it had answered: the kills prove nothing")
		}
	}
	r.more(300)
	settle()
	if difference := compare(store.Rows(t), r.history.rows()); difference != "" {
		t.Error(difference)
	}
}

// Aim: records that influxd itself refuses (their time lies before the retention of the bucket) are filed one by one and passed; the good ones
// beside them are stored. A wrong token keeps everything, and the board is told what to do.
func TestReal_influxdRefuses(t *testing.T) {
	t.Parallel()
	store := peers.StartInflux(t)
	store.Query(t, `ALTER RETENTION POLICY autogen ON mill DURATION 24h SHARD DURATION 1h`)
	broker := peers.StartMosquitto(t)
	h := newSliceHistory()
	now := time.Now().Truncate(time.Millisecond)
	for i := range 200 {
		at := now.Add(time.Duration(i) * time.Millisecond)
		if i%40 == 7 {
			at = at.AddDate(0, -1, 0)
		}
		h.entries = append(h.entries, history.Entry{Position: uint64(i + 1), Reading: reading.Reading{Point: "tank-1/ph", Quantity: units.PH, Value: float64(i) / 100,
			Stamp: reading.Stamp{Wall: at, Set: true}}})
	}
	token := atomic.Pointer[string]{}
	wrong, right := "gateway:wrong", store.Token
	token.Store(&wrong)
	o := settings{Broker: broker.Address, Address: store.URL, Org: "estate", Bucket: store.Bucket, RejectFile: t.TempDir() + "/rejected.jsonl"}.options()
	o.Store.Token = func() (string, error) { return *token.Load(), nil }
	f, err := forward.New(o)
	if err != nil {
		t.Fatal(err)
	}
	p := publish.New(h, publish.Options{Root: "millwarden", Site: "fern-hollow", Board: "hub", Dial: link.Dialer(broker.Address, nil)})
	publishing, forwarding := runPart(p.Run), runPart(f.Run)
	defer publishing.stop(t)
	r := &real{t: t, history: h, publisher: p}
	r.until(90*time.Second, "the wrong token is told", func() bool { return strings.Contains(p.Status().StoreTrouble, "credential of the store block") })
	if mark := h.Watermark(); mark.Commit != 0 || f.Status().Refused != 0 {
		t.Errorf("with a wrong token: watermark %d, %+v", mark.Commit, f.Status())
	}
	token.Store(&right)
	forwarding.stop(t) // the next try would be in a minute: start anew instead
	if f, err = forward.New(o); err != nil {
		t.Fatal(err)
	}
	forwarding = runPart(f.Run)
	defer func() { forwarding.stop(t) }()
	r.until(60*time.Second, "the watermark passes the refused ones", func() bool { return h.Watermark().Commit == h.Last() })
	if rows := store.Rows(t); len(rows) != 195 || p.Status().Refused != 5 {
		t.Errorf("%d rows of 195; %d refused of 5", len(rows), p.Status().Refused)
	}
	text, err := os.ReadFile(o.RejectFile)
	if err != nil || strings.Count(string(text), "\n") != 5 || strings.Count(string(text), "beyond retention policy") != 5 {
		t.Errorf("filed: %v\n%s", err, text)
	}
}
