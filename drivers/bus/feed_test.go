package bus

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/url"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

func TestFeed_newestOfWhatIsListenedTo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		feed := NewFeed()
		feed.Deliver("a", []byte("before anybody listened"), false)
		a, err := feed.Listen("a")
		if err != nil {
			t.Fatal(err)
		}
		if frame, ok := a.Newest(); ok {
			t.Errorf("Newest() = %+v before any frame", frame)
		}
		feed.Deliver("a", []byte("1"), true)
		feed.Deliver("a", []byte("2"), false)
		feed.Deliver("b", []byte("3"), false)
		time.Sleep(time.Minute)
		frame, ok := a.Newest()
		if !ok || frame.Number != 2 || string(frame.Payload) != "2" || frame.Retained || frame.Ago != time.Minute {
			t.Errorf("Newest() = %+v, want the second, a minute old", frame)
		}
		second, _ := feed.Listen("a")
		if again, ok := second.Newest(); !ok || again.Number != 2 {
			t.Errorf("a second listener sees %+v, want the same frame", again)
		}
		a.Close()
		a.Close() // twice is one
		if !slices.Equal(feed.Topics(), []string{"a"}) {
			t.Errorf("Topics() = %v, want a: somebody still listens", feed.Topics())
		}
		second.Close()
		if len(feed.Topics()) != 0 {
			t.Errorf("Topics() = %v, want none", feed.Topics())
		}
	})
}

// everybody lets everybody in.
type everybody struct{ broker.HookBase }

func (*everybody) ID() string { return "everybody" }
func (*everybody) Provides(b byte) bool {
	return b == broker.OnConnectAuthenticate || b == broker.OnACLCheck
}
func (*everybody) OnConnectAuthenticate(*broker.Client, packets.Packet) bool {
	return true
}
func (*everybody) OnACLCheck(*broker.Client, string, bool) bool { return true }

// mill is a broker in memory, its links, and a subscriber with its feed.
type mill struct {
	broker *broker.Server
	feed   *Feed
	links  chan net.Conn
	told   chan error
}

func newMill(t *testing.T) *mill {
	t.Helper()
	m := &mill{feed: NewFeed(), links: make(chan net.Conn, 8), told: make(chan error, 64)}
	m.broker = broker.New(&broker.Options{InlineClient: true, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err := m.broker.AddHook(new(everybody), nil); err != nil {
		t.Fatal(err)
	}
	if err := m.broker.Serve(); err != nil {
		t.Fatal(err)
	}
	return m
}

func (m *mill) options() *mqtt.ClientOptions {
	o := mqtt.NewClientOptions().AddBroker("tcp://broker.invalid:1883").SetClientID("board")
	return o.SetCustomOpenConnectionFn(func(*url.URL, mqtt.ClientOptions) (net.Conn, error) {
		near, far := net.Pipe()
		go func() { _ = m.broker.EstablishConnection("pipe", far) }()
		m.links <- near
		return near, nil
	})
}

// run starts the subscriber and gives what ends it.
func (m *mill) run(t *testing.T) (end func()) {
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	s := Subscriber{Feed: m.feed, Options: m.options, Tell: func(err error) { m.told <- err }}
	go func() { done <- s.Run(ctx) }()
	return func() {
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("Run() = %v, want %v", err, context.Canceled)
		}
		if err := m.broker.Close(); err != nil {
			t.Error(err)
		}
	}
}

// Aim: what the broker gets on a topic comes out of the feed; topics added later too; and after a lost connection all of it again.
func TestSubscriber_hearsTheBroker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMill(t)
		early, _ := m.feed.Listen("store/bin-4")
		defer m.run(t)()
		publish := func(topic, payload string, retain bool) {
			synctest.Wait()
			if err := m.broker.Publish(topic, []byte(payload), retain, 0); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Second)
		}
		publish("store/bin-4", "20", false)
		if frame, ok := early.Newest(); !ok || string(frame.Payload) != "20" {
			t.Errorf("Newest() = %+v, %t, want 20", frame, ok)
		}
		publish("yard/wind", "3", true)
		late, _ := m.feed.Listen("yard/wind")
		time.Sleep(time.Second)
		if frame, ok := late.Newest(); !ok || string(frame.Payload) != "3" || !frame.Retained {
			t.Errorf("added later: Newest() = %+v, %t, want the kept 3", frame, ok)
		}
		(<-m.links).Close()
		time.Sleep(pauseAtMost + time.Second)
		publish("store/bin-4", "21", false)
		if frame, ok := early.Newest(); !ok || string(frame.Payload) != "21" {
			t.Errorf("after a lost connection: Newest() = %+v, %t, want 21", frame, ok)
		}
		late.Close()
		time.Sleep(time.Second)
		publish("yard/wind", "4", false)
		if frame, _ := late.Newest(); string(frame.Payload) == "4" {
			t.Error("a closed topic still gets frames")
		}
		if first := <-m.told; first != nil {
			t.Errorf("Tell(%v) first, want a connection", first)
		}
		if second := <-m.told; second == nil {
			t.Error("the lost connection was not told")
		}
	})
}
