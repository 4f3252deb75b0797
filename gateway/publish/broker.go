package publish

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

const (
	inside  = "inside" // connections of this process, over a pipe
	outside = "outside"
	// maxPacket bounds a message; chosen: sixteen times the largest pack.
	maxPacket = 256 << 10
	// maxClients bounds who may connect; chosen: every probe of a large estate with its own radio.
	maxClients = 1024
)

// BrokerOptions are those of the broker inside.
type BrokerOptions struct {
	Listen     string                                    // host:port where radio probes and other boards reach it; "": nowhere
	TLS        *tls.Config                               // nil: plain
	Credential func() (user, password string, err error) // of who may everything, another board or a tool of the site; nil: nobody may
	// Password of a radio probe's user, "" if it has none. Topics are those to which the user may publish, and below; none if it is no radio probe's. They are
	// asked for each connection and each message, since rules and credentials change. nil: there are no such users.
	Password func(user string) (string, error)
	Topics   func(user string) []string
	// Oversized is told of each connection that was closed because its packet was longer than maxPacket; nil: nobody.
	Oversized func()
	Log       *slog.Logger // nil: none
}

// certified tells whether clients from outside show a certificate.
func (o *BrokerOptions) certified() bool { return o.TLS != nil && o.TLS.ClientCAs != nil }

// open tells whether whoever comes may everything: so it is on this machine alone, without any credential.
func (o *BrokerOptions) open() bool { return o.Credential == nil && !o.certified() }

// Broker is the broker inside: MQTT 3.1.1 and 5, all in memory. Nothing that must last rests on it, see internal/wire.
//
// Concurrency: Run once; Dial from any goroutine.
type Broker struct {
	o     BrokerOptions
	ready chan struct{}
	wait  time.Duration // see connectWait; tests wait less
	room  int           // see maxWaiting

	inside sync.WaitGroup // connections of this process

	mu     sync.Mutex // guards server, conns and address
	server *mochi.Server
	conns  map[net.Conn]bool
	addr   net.Addr
}

var errNotRunning = errors.New("broker inside: not running")

// NewBroker builds a Broker.
func NewBroker(o BrokerOptions) (*Broker, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.NewTextHandler(io.Discard, nil))
	}
	if o.Listen != "" && o.open() {
		host, _, err := net.SplitHostPort(o.Listen)
		if ip := net.ParseIP(host); err != nil || host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			return nil, fmt.Errorf("broker inside: listening on %s: beyond this machine it needs a credential, or a ca for certificates of clients", o.Listen)
		}
	}
	return &Broker{o: o, ready: make(chan struct{}), wait: connectWait, room: maxWaiting, conns: map[net.Conn]bool{}}, nil
}

// Run serves until ctx ends.
func (b *Broker) Run(ctx context.Context) error {
	capabilities := mochi.NewDefaultServerCapabilities()
	capabilities.MaximumPacketSize = maxPacket
	capabilities.MaximumClients = maxClients
	capabilities.TopicAliasMaximum = 0 // a topic is judged as it is written
	// The broker's own log is below ours: what matters is seen at both ends.
	server := mochi.New(&mochi.Options{Capabilities: capabilities, Logger: b.o.Log, SysTopicResendInterval: 60})
	if err := server.AddHook(&gate{o: &b.o, clients: server.Clients}, nil); err != nil {
		return fmt.Errorf("broker inside: %w", err)
	}
	if err := b.listen(server); err != nil {
		return err
	}
	if err := server.Serve(); err != nil {
		return fmt.Errorf("broker inside: %w", err)
	}
	b.mu.Lock()
	b.server = server
	b.mu.Unlock()
	close(b.ready)
	<-ctx.Done()
	return b.stop()
}

func (b *Broker) listen(server *mochi.Server) error {
	if b.o.Listen == "" {
		return nil
	}
	listener, err := net.Listen("tcp", b.o.Listen)
	if err != nil {
		return fmt.Errorf("broker inside: listening: %w", err)
	}
	listener = newHall(listener, b.wait, b.room)
	if b.o.TLS != nil {
		listener = tls.NewListener(listener, b.o.TLS)
	}
	b.mu.Lock()
	b.addr = listener.Addr()
	b.mu.Unlock()
	return server.AddListener(&weighed{listeners.NewNet(outside, listener), &b.o})
}

// weighed is a listener that tells of packets that are too long: the library closes such a connection, and calls no hook where nobody has logged in yet.
type weighed struct {
	*listeners.Net
	o *BrokerOptions
}

func (w *weighed) Serve(establish listeners.EstablishFn) {
	w.Net.Serve(func(id string, c net.Conn) error {
		err := establish(id, c)
		if !errors.Is(err, packets.ErrPacketTooLarge) {
			return err
		}
		w.o.Log.Warn("client of the broker sent away: a packet was too long", "remote", c.RemoteAddr(), "bytes_at_most", maxPacket)
		if w.o.Oversized != nil {
			w.o.Oversized()
		}
		return nil
	})
}

func (b *Broker) stop() error {
	b.mu.Lock()
	server := b.server
	b.server, b.addr = nil, nil
	for c := range b.conns {
		c.Close() //nolint:errcheck // a pipe
	}
	b.mu.Unlock()
	b.inside.Wait() // the server must not close while a connection is still being taken in
	return server.Close()
}

// Ready is closed when it can be dialled.
func (b *Broker) Ready() <-chan struct{} { return b.ready }

// Addr is where it listens, nil if nowhere.
func (b *Broker) Addr() net.Addr {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.addr
}

// Dial connects from within the process, over a pipe.
func (b *Broker) Dial(context.Context) (net.Conn, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.server == nil {
		return nil, errNotRunning
	}
	server := b.server
	near, far := newPipe()
	b.conns[far] = true
	b.inside.Go(func() {
		// The end of a connection is seen, and told, by its other end.
		_ = server.EstablishConnection(inside, far)
		far.Close() //nolint:errcheck // a pipe
		b.mu.Lock()
		delete(b.conns, far)
		b.mu.Unlock()
	})
	return near, nil
}
