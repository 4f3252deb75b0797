package publish

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/link"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/internal/wire"
)

// fakeHistory is a history in memory that can be damaged.
type fakeHistory struct {
	mu      sync.Mutex // guards what follows
	entries []history.Entry
	mark    history.Mark
	damage  *history.Damage
	err     error
}

func (h *fakeHistory) From(position uint64, limit int, into []history.Entry) ([]history.Entry, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.err != nil {
		return into, h.err
	}
	if d := h.damage; d != nil && position >= d.First && position <= d.Last {
		return into, fmt.Errorf("reading: %w", d)
	}
	for _, e := range h.entries {
		if e.Position < position {
			continue
		}
		if d := h.damage; limit == 0 || d != nil && e.Position >= d.First && e.Position <= d.Last {
			break
		}
		into = append(into, e)
		limit--
	}
	return into, nil
}

func (h *fakeHistory) Last() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.entries) == 0 {
		return 0
	}
	return h.entries[len(h.entries)-1].Position
}

func (h *fakeHistory) Watermark() history.Mark { return h.mark }

func (h *fakeHistory) SetWatermark(m history.Mark) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.mark = m
	return nil
}

func (h *fakeHistory) add(r reading.Reading) {
	h.mu.Lock()
	defer h.mu.Unlock()
	position := uint64(1)
	if n := len(h.entries); n > 0 {
		position = h.entries[n-1].Position + 1
	}
	h.entries = append(h.entries, history.Entry{Position: position, Reading: r})
}

func at(point string, v float64, t time.Time) reading.Reading {
	return reading.Reading{Point: point, Quantity: units.PH, Value: v, Stamp: reading.Stamp{Wall: t, Set: true}}
}

// listener is a client of the broker that keeps what it hears, and may answer packs with marks as a forwarder with a sure store does.
type listener struct {
	mu       sync.Mutex // guards what follows
	latest   map[string]string
	count    map[string]int
	packs    []wire.Pack
	answers  bool
	retained int
}

func (l *listener) run(dial func(context.Context) (net.Conn, error)) func(context.Context) error {
	l.latest, l.count = map[string]string{}, map[string]int{}
	packs := make(chan wire.Pack, 1000)
	return func(ctx context.Context) error {
		return link.Keep(ctx, link.Options{Dial: dial, ClientID: "listener", Presence: "listener", Subscribe: []string{"m/#"},
			Receive: func(topic string, payload []byte, retained bool) {
				l.mu.Lock()
				defer l.mu.Unlock()
				l.latest[topic] = string(payload)
				l.count[topic]++
				if retained {
					l.retained++
				}
				if strings.HasSuffix(topic, "/pack") {
					var p wire.Pack
					if err := new(wire.Decoder).Decode(payload, &p); err != nil {
						panic(err)
					}
					l.packs = append(l.packs, p)
					packs <- p
				}
			}}, func(ctx context.Context, c *link.Conn) error {
			for {
				select {
				case <-ctx.Done():
					return nil
				case p := <-packs:
					if l.answers {
						c.Send(link.Message{Topic: "m/s/hub/mark", Payload: wire.Mark{Stream: p.Stream, Store: "store", Commit: p.To, Next: p.To}.Append(nil)})
					}
				}
			}
		})
	}
}

func (l *listener) at(topic string) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.latest[topic]
}

type running struct {
	cancel context.CancelFunc
	done   chan error
}

func start(run func(context.Context) error) *running {
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{cancel, make(chan error, 1)}
	go func() { r.done <- run(ctx) }()
	synctest.Wait()
	return r
}

func (r *running) stop(t *testing.T) {
	t.Helper()
	r.cancel()
	if err := <-r.done; err != nil {
		t.Error(err)
	}
}

// bubble runs a publisher and a listener at the broker inside.
func bubble(t *testing.T, h *fakeHistory, answers bool, body func(p *Publisher, l *listener)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		b, err := NewBroker(BrokerOptions{})
		if err != nil {
			t.Fatal(err)
		}
		l := &listener{answers: answers}
		p := New(h, Options{Root: "m", Site: "s", Board: "hub", Dial: b.Dial, Area: func(station string) string {
			return map[string]string{"tank-1": "mill"}[station]
		}})
		broker := start(b.Run)
		listening := start(l.run(b.Dial))
		publishing := start(p.Run)
		body(p, l)
		publishing.stop(t)
		time.Sleep(time.Second)
		if got := l.at("m/s/hub/state"); got != link.Offline {
			t.Errorf("at the end it says %q", got)
		}
		listening.stop(t)
		broker.stop(t)
	})
}

func TestPublisher_packsOfASecondOrAsManyAsWait(t *testing.T) {
	h := new(fakeHistory)
	bubble(t, h, true, func(p *Publisher, l *listener) {
		if got := l.at("m/s/hub/state"); got != link.Online {
			t.Errorf("it says %q", got)
		}
		const last = wire.Most + 44 + 3
		for i := range wire.Most + 44 {
			h.add(at("tank-1/ph", float64(i), time.Now().Add(time.Duration(i)*time.Millisecond)))
		}
		time.Sleep(1500 * time.Millisecond)
		for range 3 {
			h.add(at("tank-1/ph", 4, time.Now()))
			time.Sleep(100 * time.Millisecond)
		}
		time.Sleep(5 * time.Second)
		l.mu.Lock()
		defer l.mu.Unlock()
		var sizes []int
		next := uint64(1)
		for _, pack := range l.packs {
			sizes = append(sizes, len(pack.Readings))
			if pack.From != next {
				t.Errorf("pack from %d, want %d", pack.From, next)
			}
			next = pack.To + 1
		}
		if fmt.Sprint(sizes) != fmt.Sprint([]int{wire.Most, 44, 3}) {
			t.Errorf("packs of %v", sizes)
		}
		if s := p.Status(); s.Watermark != last || h.mark.Commit != last || s.Last != last || s.Heard.IsZero() {
			t.Errorf("%+v, saved %+v", s, h.mark)
		}
	})
}

// Aim: people's own tools find the newest of each point, filed where the rules say; a change of quality at once, a value not more often than told;
// and all of it again after the broker lost its memory.
func TestPublisher_newestReadings(t *testing.T) {
	h := new(fakeHistory)
	bubble(t, h, true, func(_ *Publisher, l *listener) {
		for i := range 20 {
			h.add(at("tank-1/ph", float64(i), time.Now()))
			if i == 10 {
				h.add(reading.Missing("tank-1/ph", units.PH, reading.Stamp{Wall: time.Now().Add(time.Millisecond), Set: true}, "no answer"))
			}
			time.Sleep(1100 * time.Millisecond)
			if got := l.at("m/s/mill/tank-1/ph"); i == 10 && !strings.Contains(got, "bad:no answer") {
				t.Errorf("a second after it went bad: %s", got)
			}
		}
		h.add(at("board/disk-free", 71, time.Now()))
		h.add(at("tank-1/ph", 1, time.Now().Add(-time.Hour))) // late: not the newest
		time.Sleep(6 * time.Second)
		var pack []map[string]any
		if err := json.Unmarshal([]byte(l.at("m/s/mill/tank-1/ph")), &pack); err != nil || len(pack) != 1 || pack[0]["v"] != 19.0 || pack[0]["bn"].(string)+pack[0]["n"].(string) != "s/mill/tank-1/ph" {
			t.Errorf("newest: %v %v", pack, err)
		}
		if !strings.Contains(l.at("m/s/hub/board/disk-free"), `"v":71`) {
			t.Errorf("board's own: %q", l.at("m/s/hub/board/disk-free"))
		}
		l.mu.Lock()
		if n := l.count["m/s/mill/tank-1/ph"]; n < 5 || n > 9 { // 28 s: every 5 s, and two changes of quality
			t.Errorf("published %d times", n)
		}
		l.mu.Unlock()
	})
}

func TestPublisher_alarms(t *testing.T) {
	bubble(t, new(fakeHistory), false, func(p *Publisher, l *listener) {
		a := Alarm{Place: "tank-1/ph", Name: "frozen", State: "unacknowledged", Active: true, Occurrence: 12, Priority: "low", Class: "equipment",
			Since: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), Because: `"ph" is frozen`}
		p.Alarm(a)
		a.State, a.AcknowledgedBy = "acknowledged", "ana"
		p.Alarm(a)
		time.Sleep(time.Second)
		var got Alarm
		if err := json.Unmarshal([]byte(l.at("m/s/alarm/tank-1/ph/frozen")), &got); err != nil || got != a {
			t.Errorf("%+v, %v", got, err)
		}
		p.ForgetAlarm("tank-1/ph", "frozen")
		time.Sleep(time.Second)
		if got := l.at("m/s/alarm/tank-1/ph/frozen"); got != "" {
			t.Errorf("forgotten: %s", got)
		}
	})
}

// Aim: a reading whose time is not known holds what follows, and goes on when the history has settled it.
func TestPublisher_waitsForTheClock(t *testing.T) {
	h := new(fakeHistory)
	bubble(t, h, true, func(p *Publisher, l *listener) {
		h.add(at("tank-1/ph", 1, time.Now()))
		unset := at("tank-1/ph", 2, time.Time{})
		unset.Stamp.Set = false
		h.add(unset)
		h.add(at("tank-1/ph", 3, time.Now().Add(time.Second)))
		time.Sleep(10 * time.Second)
		if s := p.Status(); s.Watermark != 1 || !s.Held {
			t.Errorf("before: %+v", s)
		}
		h.mu.Lock()
		h.entries[1].Stamp = reading.Stamp{Wall: time.Now(), Set: true}
		h.mu.Unlock()
		time.Sleep(5 * time.Second)
		if s := p.Status(); s.Watermark != 3 || s.Held || s.LeftOut != 0 {
			t.Errorf("after: %+v", s)
		}
		if got := l.at("m/s/mill/tank-1/ph"); !strings.Contains(got, `"v":3`) {
			t.Errorf("newest: %s", got)
		}
	})
}

// Aim: what cannot be read or told any more is counted and passed; a history that cannot be read at all is waited for.
func TestPublisher_passesWhatIsLost(t *testing.T) {
	h := new(fakeHistory)
	for i := range 300 {
		h.add(at("tank-1/ph", float64(i), time.Unix(1.7e9+int64(i), 0)))
	}
	h.entries = append(h.entries[:200], h.entries[250:]...) // removed by retention
	h.entries[10].Stamp.Wall = time.Unix(5, 0)              // no time that SenML can tell
	h.damage = &history.Damage{First: 65, Last: 100, Err: errors.New("checksum")}
	bubble(t, h, true, func(p *Publisher, l *listener) {
		time.Sleep(10 * time.Second)
		h.mu.Lock()
		h.err = errors.New("input/output error")
		h.mu.Unlock()
		h.add(at("tank-1/ph", 1, time.Now()))
		time.Sleep(10 * time.Second)
		if s := p.Status(); s.Watermark != 300 || s.LeftOut != 36+1 {
			t.Errorf("%+v", s)
		}
		h.mu.Lock()
		h.err = nil
		h.mu.Unlock()
		time.Sleep(5 * time.Second)
		if s := p.Status(); s.Watermark != 301 {
			t.Errorf("after: %+v", s)
		}
		l.mu.Lock()
		defer l.mu.Unlock()
		next, n := uint64(1), 0
		for _, pack := range l.packs {
			if pack.From != next {
				t.Errorf("pack from %d, want %d: gaps must count as done", pack.From, next)
			}
			next, n = pack.To+1, n+len(pack.Readings)
		}
		if n != 301-50-36-1 {
			t.Errorf("%d readings came", n)
		}
	})
}

// Aim: a start takes up where the one before left off under the same start of the store, as the saved mark says.
func TestPublisher_takesUpTheSavedMark(t *testing.T) {
	h := &fakeHistory{mark: history.Mark{Commit: 100, Stored: 228, BootID: "17e8"}}
	for i := range 300 {
		h.add(at("tank-1/ph", float64(i), time.Unix(1.7e9+int64(i), 0)))
	}
	bubble(t, h, false, func(_ *Publisher, l *listener) {
		time.Sleep(2 * time.Second)
		l.mu.Lock()
		defer l.mu.Unlock()
		if len(l.packs) == 0 || l.packs[0].From != 229 || l.packs[0].Watermark != 100 || l.packs[0].Stored != 228 || l.packs[0].Boot != "17e8" {
			t.Errorf("packs: %+v", l.packs)
		}
	})
}

func TestBroker_wantsACredentialBeyondThisMachine(t *testing.T) {
	credential := func() (string, string, error) { return "mill", "secret", nil }
	for listen, ok := range map[string]bool{"": true, "127.0.0.1:0": true, "[::1]:0": true, "localhost:1883": true, "192.168.10.2:8883": false, ":1883": false, "0.0.0.0:1883": false} {
		if _, err := NewBroker(BrokerOptions{Listen: listen}); (err == nil) != ok {
			t.Errorf("listen %q without a credential: %v", listen, err)
		}
		if _, err := NewBroker(BrokerOptions{Listen: listen, Credential: credential}); err != nil {
			t.Errorf("listen %q with one: %v", listen, err)
		}
	}
}

func TestBroker_letsInWhoShowsIt(t *testing.T) {
	b, err := NewBroker(BrokerOptions{Listen: "127.0.0.1:0", Credential: func() (string, string, error) { return "mill", "secret", nil }})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Dial(t.Context()); err == nil {
		t.Error("it can be dialled before it runs")
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	<-b.Ready()
	for password, want := range map[string]error{"secret": nil, "wrong": link.ErrRefused, "": link.ErrRefused} {
		if got := connects(t, link.Dialer(b.Addr().String(), nil), password); !errors.Is(got, want) {
			t.Errorf("password %q: %v, want %v", password, got, want)
		}
	}
	if got := connects(t, b.Dial, ""); got != nil {
		t.Errorf("from inside: %v", got)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if got := connects(t, b.Dial, ""); !errors.Is(got, errNotRunning) {
		t.Errorf("after the end: %v", got)
	}
}

// connects tries once and gives what came of it.
func connects(t *testing.T, dial func(context.Context) (net.Conn, error), password string) error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	result := errors.New("nothing came of it")
	link.Keep(ctx, link.Options{Dial: dial, ClientID: "probe-" + password, Presence: "probe/" + password, Credential: func() (string, string, error) { return "mill", password, nil },
		Report: func(err error) {
			if ctx.Err() == nil {
				result = err
			}
			cancel()
		}}, func(ctx context.Context, _ *link.Conn) error { <-ctx.Done(); return nil })
	return result
}
