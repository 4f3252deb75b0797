package forward_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/publish"
	"millwarden/internal/link"
	"millwarden/internal/peers"
	"millwarden/internal/reading"
	"millwarden/internal/wire"
)

// Random kill -9 of real processes: a board (history on disk and publisher), a broker, a forwarder, a store. What the board has acknowledged is told on its
// standard output, and only that counts.
var kills = flag.Int("kills", 3, "how many random kills on each pair of broker and store")

type role string

const (
	board        role = "board"
	brokerInside role = "broker inside"
	boardPuback  role = "board that trusts the PUBACK"
	boardOnce    role = "board that sends once"
	writerOfAll  role = "writer of what comes"
)

var roles = map[role]func(context.Context, settings) error{board: playBoard, boardPuback: playBoard, boardOnce: playBoard, brokerInside: playBroker, writerOfAll: playWriter}

// every is the time between two readings; a hundred a second, appended ten at a time, each with a synced commit.
const (
	every = 10 * time.Millisecond
	batch = 10
)

const fed = "fed" // what a board says that appends no more

// truth is the reading of a position, whatever was killed when.
func truth(begun time.Time, position uint64) reading.Reading {
	r := rand.New(rand.NewPCG(position, 9))
	return history.Round(estate(r, int(position), begun.Add(time.Duration(position)*every))) //nolint:gosec // a small number
}

func areaOfBoard(station string) string {
	if station == "board" {
		return ""
	}
	return "mill"
}

// playBoard appends until it is killed, and says so after each append; readings are never taken before their time.
func playBoard(ctx context.Context, s settings) error {
	h, err := history.Open(s.Folder, history.Options{})
	if err != nil {
		return err
	}
	wake := make(chan struct{}, 1)
	go func() { panic(sendFrom(ctx, s, h, wake)) }()
	rs := make([]reading.Reading, 0, batch)
	for next := h.Last() + 1; ; {
		rs = rs[:0]
		for range batch {
			rs = append(rs, truth(s.Begun, next))
			next++
		}
		time.Sleep(time.Until(rs[batch-1].Stamp.Wall))
		if _, err := os.Stat(s.Folder + "/stop"); err == nil {
			fmt.Fprintln(os.Stdout, fed)
			select {} // the feeding is over, the sending is not
		}
		last, err := h.Append(rs)
		if err != nil {
			return err
		}
		fmt.Fprintf(os.Stdout, "ack %d %d\n", last, h.Watermark().Commit)
		select {
		case wake <- struct{}{}:
		default:
		}
	}
}

func sendFrom(ctx context.Context, s settings, h *history.History, wake chan struct{}) error {
	dial := link.Dialer(s.Broker, nil)
	if s.Role == boardPuback || s.Role == boardOnce {
		return link.Keep(ctx, link.Options{Dial: dial, ClientID: "control-sender", Presence: "control/sender"}, func(ctx context.Context, conn *link.Conn) error {
			return sendTrusting(ctx, conn, h, s.Role == boardPuback)
		})
	}
	p := publish.New(h, publish.Options{Root: "millwarden", Site: "fern-hollow", Board: "hub", Dial: dial, Area: areaOfBoard, Wake: wake})
	return p.Run(ctx)
}

// sendTrusting is the control: what the broker has acknowledged counts as stored; without asking for that, what was sent.
func sendTrusting(ctx context.Context, conn *link.Conn, h publish.Source, acknowledged bool) error {
	var qos byte
	if acknowledged {
		qos = 1
	}
	encoder := wire.NewEncoder("fern-hollow", "hub", areaOfBoard)
	for ctx.Err() == nil {
		from := h.Watermark().Commit
		entries, err := h.From(from+1, wire.Most, nil)
		if err != nil {
			return err
		}
		if len(entries) == 0 {
			time.Sleep(100 * time.Millisecond)
			continue
		}
		to := entries[len(entries)-1].Position
		pack, _, err := encoder.Append(nil, wire.Header{Stream: "control", From: from + 1, To: to, Watermark: from, Stored: from}, readingsOf(entries))
		if err != nil {
			return err
		}
		if err := conn.Publish(link.Message{Topic: controlTopic, Payload: pack, QoS: qos}); err != nil {
			return err
		}
		if err := h.SetWatermark(history.Mark{Commit: to}); err != nil {
			return err
		}
	}
	return ctx.Err()
}

func playBroker(ctx context.Context, s settings) error {
	b, err := publish.NewBroker(publish.BrokerOptions{Listen: s.Broker})
	if err != nil {
		return err
	}
	return b.Run(ctx)
}

// playWriter is the control's other half: it writes each pack as it comes, until the store takes it, and remembers nothing. Its session at the broker is kept.
func playWriter(ctx context.Context, s settings) error {
	packs := make(chan []byte, 1<<16)
	go func() {
		for payload := range packs {
			writeUntilTaken(s, payload)
		}
	}()
	return link.Keep(ctx, link.Options{Dial: link.Dialer(s.Broker, nil), ClientID: "control-writer", Presence: "control/writer", Subscribe: []string{controlTopic},
		Receive: func(_ string, payload []byte, _ bool) { packs <- bytes.Clone(payload) }}, func(ctx context.Context, _ *link.Conn) error { <-ctx.Done(); return nil })
}

func writeUntilTaken(s settings, payload []byte) {
	var d wire.Decoder
	var p wire.Pack
	if d.Decode(payload, &p) != nil {
		return
	}
	body := linesOf(p.Readings)
	address := s.Address + "/api/v2/write?precision=ms&org=" + url.QueryEscape(s.Org) + "&bucket=" + url.QueryEscape(s.Bucket)
	for {
		req, err := http.NewRequest(http.MethodPost, address, strings.NewReader(body))
		if err != nil {
			panic(err)
		}
		req.Header.Set("Authorization", "Token "+s.Token)
		if resp, err := http.DefaultClient.Do(req); err == nil {
			resp.Body.Close()
			if resp.StatusCode == http.StatusNoContent {
				return
			}
		}
		time.Sleep(100 * time.Millisecond)
	}
}

func linesOf(rs []reading.Reading) string {
	var body strings.Builder
	for i := range rs {
		r := rs[i]
		site, area, point, _ := wire.Split(r.Point)
		station, short, _ := strings.Cut(point, "/")
		fmt.Fprintf(&body, "%s,area=%s,board=hub,point=%s,quality=%s,site=%s,station=%s ", r.Quantity.Name(), area, short, r.Quality, site, station)
		if math.IsNaN(r.Value) {
			fmt.Fprintf(&body, "missing=1 %d\n", r.Stamp.Wall.UnixMilli())
		} else {
			fmt.Fprintf(&body, "value=%v %d\n", r.Value, r.Stamp.Wall.UnixMilli())
		}
	}
	return body.String()
}

// acknowledged is what the board has said so far.
type acknowledged struct {
	mu           sync.Mutex // guards what stands below
	rest         []byte
	last, commit uint64
	fed          bool // it appends no more
}

func (a *acknowledged) Write(p []byte) (int, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.rest = append(a.rest, p...)
	for {
		line, rest, whole := bytes.Cut(a.rest, []byte("\n"))
		if !whole {
			return len(p), nil
		}
		a.rest = rest
		var last, commit uint64
		if _, err := fmt.Sscanf(string(line), "ack %d %d", &last, &commit); err == nil {
			a.last, a.commit = max(a.last, last), max(a.commit, commit)
		}
		a.fed = a.fed || string(line) == fed
	}
}

func (a *acknowledged) so() (last, commit uint64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.last, a.commit
}

func (a *acknowledged) over() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.fed
}

// mill is the four processes.
type mill struct {
	t       *testing.T
	acks    *acknowledged
	folder  string
	begun   time.Time
	store   peers.Store
	victims map[string]killed
	board   *process
	done    map[string]int
}

type killed struct{ kill, start func() }

// brokerOf starts a broker that keeps its sessions on disk, or one that keeps all in memory.
func brokerOf(t *testing.T, name string) (address string, k killed) {
	if name == "mosquitto" {
		m := peers.StartMosquitto(t, "persistence true", "persistence_location "+t.TempDir()+"/", "autosave_on_changes true", "autosave_interval 1")
		return m.Address, killed{m.Kill, m.Start}
	}
	address = peers.FreeAddress(t)
	p := &process{t: t, s: settings{Role: brokerInside, Broker: address}}
	p.start()
	t.Cleanup(p.kill)
	return address, killed{p.kill, p.start}
}

func openMill(t *testing.T, broker string, store peers.Store, lag time.Duration, sender, writer role) *mill {
	address, brokerVictim := brokerOf(t, broker)
	url, org, bucket, token := store.Write()
	m := &mill{t: t, acks: &acknowledged{}, folder: t.TempDir(), begun: time.Now().Truncate(time.Millisecond), store: store, done: map[string]int{}}
	m.board = &process{t: t, s: settings{Role: sender, Folder: m.folder, Begun: m.begun, Broker: address}, out: m.acks}
	forwarder := &process{t: t, s: settings{Role: writer, Broker: address, Address: url, Org: org, Bucket: bucket, Token: token, DurableAfter: lag}}
	for _, p := range []*process{m.board, forwarder} {
		p.start()
		t.Cleanup(p.kill)
	}
	m.victims = map[string]killed{"board": {m.board.kill, m.board.start}, "broker": brokerVictim, "forwarder": {forwarder.kill, forwarder.start}, "store": {store.Kill, store.Start}}
	return m
}

// abuse kills one, or two at once, at random moments, and starts them again in random order.
func (m *mill) abuse(r *rand.Rand, n int) {
	names := slices.Sorted(maps.Keys(m.victims))
	for n > 0 {
		time.Sleep(time.Duration(r.IntN(2500)) * time.Millisecond) // real processes need real time
		r.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
		chosen := slices.Clone(names[:min(n, 1+r.IntN(4)/3)])
		for _, name := range chosen {
			m.victims[name].kill()
			m.done[name]++
			n--
		}
		r.Shuffle(len(chosen), func(i, j int) { chosen[i], chosen[j] = chosen[j], chosen[i] })
		for _, name := range chosen {
			time.Sleep(time.Duration(r.IntN(800)) * time.Millisecond)
			m.victims[name].start()
		}
	}
}

// settle ends the feeding, waits until the board knows everything to be stored, and gives how many readings were acknowledged and what the history holds.
func (m *mill) settle() (acked, last uint64) {
	m.t.Helper()
	before, _ := m.acks.so()
	deadline := time.Now().Add(3 * time.Minute)
	for acked = before; acked <= before; acked, _ = m.acks.so() { // the last board that was started lives
		if time.Now().After(deadline) {
			m.t.Fatalf("after the last kill nothing more was acknowledged than %d", before)
		}
		time.Sleep(50 * time.Millisecond)
	}
	if err := os.WriteFile(m.folder+"/stop", nil, 0o600); err != nil {
		m.t.Fatal(err)
	}
	for stored := 0; ; {
		over, rows := m.acks.over(), len(m.store.Rows(m.t))
		acked, _ = m.acks.so()
		if over && uint64(rows) >= acked && rows == stored { //nolint:gosec // a count
			break
		}
		if stored = rows; time.Now().After(deadline) {
			break // the comparison says what is missing
		}
		time.Sleep(time.Second)
	}
	m.board.kill()
	h, err := history.Open(m.folder, history.Options{})
	if err != nil {
		m.t.Fatal(err)
	}
	defer h.Close()
	return acked, h.Last()
}

// lost counts the rows of the truth up to a position that are not in the store.
func (m *mill) lost(last uint64) (lost int) {
	m.t.Helper()
	there := map[string]bool{}
	for _, row := range m.store.Rows(m.t) {
		there[row.Station+row.Point+strconv.FormatInt(row.Millis, 10)] = true
	}
	for _, row := range m.want(last) {
		if !there[row.Station+row.Point+strconv.FormatInt(row.Millis, 10)] {
			lost++
		}
	}
	return lost
}

// want are the rows of the truth up to a position.
func (m *mill) want(last uint64) (rows []peers.Row) {
	h := newSliceHistory()
	for position := uint64(1); position <= last; position++ {
		h.entries = append(h.entries, history.Entry{Position: position, Reading: truth(m.begun, position)})
	}
	return h.rows()
}

// storeOf starts a store, and gives how long after its answer it may lose what it took.
func storeOf(t *testing.T, name string) (peers.Store, time.Duration) {
	if name == "influxd" {
		return peers.StartInflux(t), 0
	}
	return peers.StartVictoriaMetrics(t), 15 * time.Second // as in TestReal_victoriaMetrics
}

// Aim: whichever of the four is killed when, what the board has acknowledged is in the store, once each and as it was, and the history holds it all. -kills
// says how many on each of the four pairs. The truth is a function of the position and knows nothing of what was killed.
func TestKills_realProcessesLoseNothing(t *testing.T) {
	total := map[string]int{}
	for _, broker := range []string{"mosquitto", "broker inside"} {
		for _, kind := range []string{"influxd", "victoria-metrics"} {
			t.Run(broker+", "+kind, func(t *testing.T) {
				if *kills < 20 && (broker != "broker inside" || kind != "influxd") {
					t.Skip("one pair is enough for a few kills: -kills 20 or more tries all four")
				}
				store, lag := storeOf(t, kind)
				m := openMill(t, broker, store, lag, board, "")
				m.abuse(rand.New(rand.NewPCG(uint64(*kills), uint64(len(total)))), *kills) //nolint:gosec // a small number
				acked, last := m.settle()
				if last < acked {
					t.Errorf("%d readings were acknowledged, the history holds %d", acked, last)
				}
				if difference := compare(store.Rows(t), m.want(last)); difference != "" {
					t.Error(difference)
				}
				t.Logf("%d kills %v: %d readings acknowledged, %d in the history", *kills, m.done, acked, last)
				for name, n := range m.done {
					total[name] += n
				}
			})
		}
	}
	if *kills < 20 {
		return // too few for each to be killed
	}
	for _, name := range []string{"board", "broker", "forwarder", "store"} {
		if total[name] == 0 {
			t.Errorf("no %s was killed: the test proves less than it says", name)
		}
	}
}

// The control: the same kills, but the board trusts the PUBACK and the writer writes what comes. It must lose, or the test above proves nothing.
func TestKills_pubackLoses(t *testing.T) {
	if *kills < 20 {
		t.Skip("it needs -kills 20 or more: with few it may lose nothing")
	}
	for _, broker := range []string{"mosquitto", "broker inside"} {
		t.Run(broker, func(t *testing.T) {
			store, _ := storeOf(t, "victoria-metrics")
			m := openMill(t, broker, store, 0, boardPuback, writerOfAll)
			m.abuse(rand.New(rand.NewPCG(uint64(*kills), 5)), *kills) //nolint:gosec // a small number
			_, last := m.acks.so()
			time.Sleep(15 * time.Second) // all that will ever come has come
			lost := m.lost(last)
			t.Logf("%d kills %v: of %d readings that counted as stored %d are lost", *kills, m.done, last, lost)
			if lost == 0 {
				t.Error("the control lost nothing: the test of the real thing proves nothing")
			}
		})
	}
}
