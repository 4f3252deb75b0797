package link

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"millwarden/internal/clock/clocktest"
)

// broker is an MQTT broker in memory whose lines are pipes, and which can be told to misbehave.
type broker struct {
	*mochi.Server
	hook *rules
	near atomic.Pointer[net.Conn] // the newest line, to be cut
	dead atomic.Bool
}

// rules are what the broker lets through.
type rules struct {
	mochi.HookBase
	refuse, deaf, noSubscribe atomic.Bool
}

func (*rules) ID() string { return "rules" }

func (*rules) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck || b == mochi.OnPublish
}

func (r *rules) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return !r.refuse.Load() }

func (r *rules) OnACLCheck(_ *mochi.Client, _ string, write bool) bool {
	return write || !r.noSubscribe.Load()
}

// OnPublish drops and acknowledges all the same, as mosquitto does what its access list denies [measured, 2.0.11].
func (r *rules) OnPublish(_ *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if r.deaf.Load() {
		return pk, packets.CodeSuccessIgnore
	}
	return pk, nil
}

func startBroker(t *testing.T) *broker {
	t.Helper()
	b := &broker{Server: mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler)}), hook: new(rules)}
	if err := b.AddHook(b.hook, nil); err != nil {
		t.Fatal(err)
	}
	if err := b.Serve(); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *broker) dial(context.Context) (net.Conn, error) {
	if b.dead.Load() {
		return nil, errors.New("connection refused")
	}
	near, far := net.Pipe()
	b.near.Store(&near)
	go func() {
		b.EstablishConnection("pipe", far)
		far.Close()
	}()
	return near, nil
}

// kept is a connection being kept, and what was reported of it.
type kept struct {
	served atomic.Int64
	last   atomic.Pointer[error]
	cancel context.CancelFunc
	done   chan error
}

func keep(b *broker) *kept {
	ctx, cancel := context.WithCancel(context.Background())
	k := &kept{cancel: cancel, done: make(chan error, 1)}
	go func() {
		k.done <- Keep(ctx, Options{Dial: b.dial, ClientID: "c", Presence: "c/state", Subscribe: []string{"c/in"},
			Report: func(err error) { k.last.Store(&err) }}, func(ctx context.Context, _ *Conn) error {
			k.served.Add(1)
			<-ctx.Done()
			return nil
		})
	}()
	return k
}

func (k *kept) reported() error {
	if p := k.last.Load(); p != nil {
		return *p
	}
	return errors.New("nothing yet")
}

func (k *kept) stop(t *testing.T, b *broker) {
	t.Helper()
	k.cancel()
	if err := <-k.done; err != nil {
		t.Errorf("Keep() = %v at the end of its context", err)
	}
	b.Close()
}

// Aim: a line that is cut is replaced within seconds, however long the broker was away: the longest pause is bounded.
func TestKeep_comesBack(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		b := startBroker(t)
		k := keep(b)
		time.Sleep(time.Second)
		if k.served.Load() != 1 || k.reported() != nil {
			t.Fatalf("served %d, %v", k.served.Load(), k.reported())
		}
		(*b.near.Load()).Close()
		time.Sleep(time.Second)
		if k.served.Load() != 2 {
			t.Errorf("a second after the cut: served %d, %v", k.served.Load(), k.reported())
		}
		b.dead.Store(true)
		(*b.near.Load()).Close()
		time.Sleep(time.Hour)
		if k.reported() == nil {
			t.Error("away for an hour, and nothing is told")
		}
		b.dead.Store(false)
		time.Sleep(longest + time.Second)
		if k.served.Load() != 3 || k.reported() != nil {
			t.Errorf("after the hour: served %d, %v", k.served.Load(), k.reported())
		}
		k.stop(t, b)
	})
}

// Aim: each way in which a broker turns one away is told by its kind, and is over when it is over.
func TestKeep_saysWhy(t *testing.T) {
	for name, c := range map[string]struct {
		break_ func(*rules, bool)
		want   error
	}{
		"credential":   {func(r *rules, on bool) { r.refuse.Store(on) }, ErrRefused},
		"subscription": {func(r *rules, on bool) { r.noSubscribe.Store(on) }, ErrTopic},
		"access list":  {func(r *rules, on bool) { r.deaf.Store(on) }, ErrDeaf}, // the PUBACK says success all the same
	} {
		t.Run(name, func(t *testing.T) {
			clocktest.Bubble(t, func(t *testing.T) {
				b := startBroker(t)
				c.break_(b.hook, true)
				k := keep(b)
				time.Sleep(echoLimit + time.Second)
				if err := k.reported(); !errors.Is(err, c.want) {
					t.Errorf("told %v, want %v", err, c.want)
				}
				c.break_(b.hook, false)
				time.Sleep(time.Minute)
				if err := k.reported(); err != nil {
					t.Errorf("afterwards %v", err)
				}
				k.stop(t, b)
			})
		})
	}
}

// Aim: a connection that goes deaf while it stands, which no packet tells, is given up.
func TestKeep_noticesThatItWentDeaf(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		b := startBroker(t)
		k := keep(b)
		time.Sleep(5 * time.Minute)
		if k.served.Load() != 1 {
			t.Fatalf("a sound connection was given up: served %d, %v", k.served.Load(), k.reported())
		}
		b.hook.deaf.Store(true)
		time.Sleep(echoEvery + echoLimit + time.Second)
		if err := k.reported(); !errors.Is(err, ErrDeaf) {
			t.Errorf("told %v", err)
		}
		k.stop(t, b)
	})
}

func TestTLS_refusesWhatIsNoCertificate(t *testing.T) {
	empty := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(empty, []byte("nothing"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, files := range [][2]string{{empty, ""}, {empty + ".missing", ""}, {"", empty}} {
		if _, err := TLS(files[0], files[1]); err == nil {
			t.Errorf("TLS(%q) is taken", files)
		}
	}
	if c, err := TLS("", ""); err != nil || c.RootCAs != nil {
		t.Errorf("the system's list: %v", err)
	}
}
