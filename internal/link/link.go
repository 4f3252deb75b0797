// Package link keeps one connection to an MQTT broker, in the one way that was found to lose nothing silently: no automatic reconnect and a
// clean session (with paho's own reconnect the tokens of messages in flight complete without error before any PUBACK), an own loop with
// growing, jittered pauses, a default handler set before connecting, subscriptions made anew on each connection, and every wait ended by the
// token, by the loss of the connection or by a timeout.
//
// A subscription can be gone while the connection stands and nobody says so: an access list that drops what is published answers with success
// in MQTT 3.1.1, and a broker may mix up two connections of one client that follow each other closely (seen with mochi-mqtt 2.7.9, once in some
// hundred restarts). So each connection says "online" at a topic of its own, listens for it, and is given up when it does not come back.
//
// It knows no other topic and no payload: gateway/publish, gateway/forward and the probes that come by broker bring their own.
//
// Concurrency: Keep runs in the caller's goroutine. Receive is called by the client's one reader and must not block: put what came into a
// queue and return. A Conn may be used by many goroutines.
package link

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/url"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

const (
	handshake  = 10 * time.Second       // chosen: dial and CONNACK; a slow mobile line takes some seconds
	writeLimit = 5 * time.Second        // chosen: a stuck socket is given up; 0 would let a publish block for 30 s
	keepAlive  = 15 * time.Second       // chosen: a dead line is seen within 25 s
	firstPause = 250 * time.Millisecond // chosen: a broker that restarts is found at once
	longest    = 10 * time.Second       // jitter reaches up to this; paho's own default of 10 min would sleep through a night's return
	steady     = 30 * time.Second       // chosen: a connection that stood so long begins again with the first pause
	quiesce    = 250                    // milliseconds for the DISCONNECT packet
	echoLimit  = 10 * time.Second       // chosen: as the handshake
	echoEvery  = time.Minute            // chosen: how long a connection may be deaf, at most
	farewell   = time.Second            // chosen: for the last "offline"
	readBuffer = 16 << 10               // chosen: a few packs
)

// What stands, retained, at the topic of presence.
const (
	Online  = "online"
	Offline = "offline"
)

// Errors that a person must repair; told by errors.Is.
var (
	ErrRefused = errors.New("the broker refuses this user or password: check the credential of the broker block")
	ErrTopic   = errors.New("the broker refuses the subscription: check its access list")
	ErrLost    = errors.New("connection lost")
	ErrDeaf    = errors.New("what is published does not come back: check the access list of the broker")
)

// Message is one message to publish.
type Message struct {
	Topic   string
	Payload []byte
	QoS     byte
	Retain  bool
}

// Options of a connection.
type Options struct {
	// Dial opens the line to the broker; see Dialer. It is called for each connection.
	Dial func(ctx context.Context) (net.Conn, error)
	// ClientID must be unique at the broker: a second connection with the same one throws out the first [MQTT 3.1.1, 3.1.4-2].
	ClientID string
	// Credential gives user and password, asked anew for each connection; nil: none.
	Credential func() (user, password string, err error)
	Presence   string   // topic that says "online", and by last will "offline"
	Subscribe  []string // filters
	QoS        byte     // of the subscriptions, at most
	// Receive gets every message. The payload is the callee's to keep.
	Receive func(topic string, payload []byte, retained bool)
	// Report hears nil when a connection stands and why it does not; nil: nobody asks.
	Report func(error)
}

// Token is what a publish gives back: Done is closed when the broker answered (QoS 1) or the message is on the line (QoS 0).
type Token interface {
	Done() <-chan struct{}
	Error() error
}

// Conn is one connection while it stands.
type Conn struct {
	client   mqtt.Client
	ctx      context.Context // ends with the connection
	presence string
	echo     chan string // one slot: what stands at presence
}

// Keep connects, calls serve for each connection that stands, and connects again, until ctx ends; then it returns nil. The context given to
// serve ends with the connection; serve returns when it does. When serve returns by itself the connection is closed and another one opened.
func Keep(ctx context.Context, o Options, serve func(context.Context, *Conn) error) error {
	report := o.Report
	if report == nil {
		report = func(error) {}
	}
	pause := firstPause
	for ctx.Err() == nil {
		began := time.Now()
		err := once(ctx, o, report, serve)
		if ctx.Err() != nil {
			break
		}
		report(err)
		if time.Since(began) > steady {
			pause = firstPause
		}
		select {
		case <-ctx.Done():
		case <-time.After(jitter(pause)):
		}
		pause = min(2*pause, longest)
	}
	return nil
}

// jitter spreads the boards of a site whose broker came back.
func jitter(d time.Duration) time.Duration { return d/2 + rand.N(d/2+1) }

func once(ctx context.Context, o Options, report func(error), serve func(context.Context, *Conn) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	c := &Conn{ctx: ctx, presence: o.Presence, echo: make(chan string, 1)}
	po, err := o.paho(c, cancel)
	if err != nil {
		return err
	}
	c.client = mqtt.NewClient(po)
	if err := c.connect(); err != nil {
		return err
	}
	defer c.client.Disconnect(quiesce)
	if err := c.subscribe(append([]string{o.Presence}, o.Subscribe...), o.QoS); err != nil {
		return err
	}
	if err := c.Publish(c.state(Online)); err != nil {
		return fmt.Errorf("broker: saying online: %w", err)
	}
	defer c.farewell()
	deaf := make(chan struct{})
	go func() {
		defer close(deaf)
		if err := c.listen(report); err != nil {
			cancel(err)
		}
	}()
	defer func() { <-deaf }()
	defer cancel(nil)
	if err := serve(ctx, c); err != nil && ctx.Err() == nil {
		return err
	}
	return context.Cause(ctx)
}

func (c *Conn) state(text string) Message {
	return Message{Topic: c.presence, Payload: []byte(text), QoS: 1, Retain: true}
}

// listen reports that the connection stands when "online" came back first, and returns an error when it does not.
func (c *Conn) listen(report func(error)) error {
	timer := time.NewTimer(echoLimit)
	defer timer.Stop()
	for heard, proven := false, false; ; {
		select {
		case <-c.ctx.Done():
			return nil
		case text := <-c.echo:
			if heard = text == Online; heard {
				if !proven {
					proven = true
					report(nil)
				}
				timer.Reset(echoEvery)
				continue
			}
			// The will of a connection before this one came late.
		case <-timer.C:
			if !heard {
				return fmt.Errorf("broker: %w", ErrDeaf)
			}
			heard = false
		}
		c.Send(c.state(Online))
		timer.Reset(echoLimit)
	}
}

// farewell says "offline" where the connection still stands: the last will is only for those that were cut off.
func (c *Conn) farewell() {
	token := c.Send(c.state(Offline))
	select {
	case <-token.Done():
	case <-time.After(farewell):
	}
}

func (o Options) paho(c *Conn, lost context.CancelCauseFunc) (*mqtt.ClientOptions, error) {
	po := mqtt.NewClientOptions()
	po.Servers = []*url.URL{{Scheme: "tcp", Host: "broker"}} // never dialled: Dial is
	po.SetClientID(o.ClientID).SetProtocolVersion(4)         // 4 is MQTT 3.1.1; set, so that a refusal is not tried again as 3.1
	po.SetAutoReconnect(false).SetConnectRetry(false).SetCleanSession(true)
	po.SetKeepAlive(keepAlive).SetPingTimeout(keepAlive / 2).SetConnectTimeout(handshake).SetWriteTimeout(writeLimit)
	po.SetCustomOpenConnectionFn(func(*url.URL, mqtt.ClientOptions) (net.Conn, error) {
		ctx, cancel := context.WithTimeout(c.ctx, handshake)
		defer cancel()
		conn, err := o.Dial(ctx)
		if err != nil {
			return nil, err
		}
		return buffered{conn, bufio.NewReaderSize(conn, readBuffer)}, nil
	})
	po.SetConnectionLostHandler(func(_ mqtt.Client, err error) { lost(fmt.Errorf("broker: %w: %w", ErrLost, err)) })
	po.SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) {
		if m.Topic() == o.Presence {
			if m.Retained() {
				return // it stood there before: no echo of ours
			}
			select { // the newest stands
			case <-c.echo:
			default:
			}
			c.echo <- string(m.Payload())
		} else if o.Receive != nil {
			o.Receive(m.Topic(), m.Payload(), m.Retained())
		}
	})
	if o.Credential != nil {
		user, password, err := o.Credential()
		if err != nil {
			return nil, fmt.Errorf("broker: reading the credential: %w", err)
		}
		po.SetUsername(user).SetPassword(password)
	}
	will := c.state(Offline)
	po.SetBinaryWill(will.Topic, will.Payload, will.QoS, will.Retain)
	return po, nil
}

// buffered spares the client, which reads a packet's head byte by byte, most of its system calls.
type buffered struct {
	net.Conn
	reader *bufio.Reader
}

func (b buffered) Read(p []byte) (int, error) { return b.reader.Read(p) }

func (c *Conn) connect() error {
	token := c.client.Connect()
	select {
	case <-token.Done():
	case <-c.ctx.Done(): // the dial ends with the same context
		<-token.Done()
		c.client.Disconnect(0)
		return context.Cause(c.ctx)
	}
	err := token.Error()
	if errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword) || errors.Is(err, packets.ErrorRefusedNotAuthorised) {
		return fmt.Errorf("broker: %w", ErrRefused)
	}
	if err != nil {
		return fmt.Errorf("broker: connecting: %w", err)
	}
	return nil
}

func (c *Conn) subscribe(filters []string, qos byte) error {
	const refused = 0x80 // [MQTT 3.1.1, 3.9.3]
	for _, filter := range filters {
		token := c.client.Subscribe(filter, qos, nil) // nil: the default handler
		if err := c.Wait(token, handshake); err != nil {
			return fmt.Errorf("broker: subscribing to %s: %w", filter, err)
		}
		if t, ok := token.(*mqtt.SubscribeToken); ok && t.Result()[filter] == refused {
			return fmt.Errorf("broker: subscribing to %s: %w", filter, ErrTopic)
		}
	}
	return nil
}

// Send hands a message to the line and returns at once, or after writeLimit if the line is stuck. The payload must not be changed until the
// token is done or the connection lost.
func (c *Conn) Send(m Message) Token { return c.client.Publish(m.Topic, m.QoS, m.Retain, m.Payload) }

// Publish sends and waits for the broker's answer.
func (c *Conn) Publish(m Message) error { return c.Wait(c.Send(m), handshake) }

// Wait waits for the token, the loss of the connection or the timeout, whichever comes first.
func (c *Conn) Wait(t Token, timeout time.Duration) error {
	timer := time.NewTimer(timeout)
	defer timer.Stop()
	select {
	case <-t.Done():
		return t.Error()
	case <-c.ctx.Done():
		return context.Cause(c.ctx)
	case <-timer.C:
		return fmt.Errorf("broker: no answer within %v", timeout)
	}
}
