package bus

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"millwarden/drivers"
)

const (
	// answerOfBroker bounds every wait for the broker. Chosen: beyond it a radio link is as good as dead.
	answerOfBroker = 15 * time.Second
	// pauseAtMost spreads the boards of an estate that lost one broker together.
	pauseAtMost = 10 * time.Second
)

// Subscriber hears a feed's topics from a broker.
//
// Concurrency: Run is called once.
type Subscriber struct {
	Feed *Feed
	// Options gives fresh options with the broker's address, client id, credential and TLS; all else is set here.
	Options func() *mqtt.ClientOptions
	// Tell, if set, is told of every end of a connection and of every connection that was made (nil). It must not block.
	Tell func(err error)
}

// Run connects, subscribes, and does so again whenever the connection ends, until ctx ends; then it gives the cause of that end.
func (s *Subscriber) Run(ctx context.Context) error {
	for {
		err := s.session(ctx)
		if over := context.Cause(ctx); over != nil {
			return over
		}
		s.tell(err)
		if err := drivers.Wait(ctx, rand.N(pauseAtMost)); err != nil {
			return err
		}
	}
}

func (s *Subscriber) tell(err error) {
	if s.Tell != nil {
		s.Tell(err)
	}
}

// session lives as long as one connection. The library's own reconnection is off: it completes waiting tokens without error. Subscribing
// follows each connecting here, since each session is a clean one.
func (s *Subscriber) session(ctx context.Context) error {
	lost := make(chan error, 1)
	o := s.Options()
	o.SetAutoReconnect(false).SetConnectRetry(false).SetCleanSession(true).SetOrderMatters(true)
	o.SetConnectTimeout(answerOfBroker).SetWriteTimeout(answerOfBroker)
	o.SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) { s.Feed.Deliver(m.Topic(), m.Payload(), m.Retained()) })
	o.SetConnectionLostHandler(func(_ mqtt.Client, err error) {
		select {
		case lost <- err:
		default:
		}
	})
	client := mqtt.NewClient(o)
	defer client.Disconnect(0)
	if err := wait(ctx, client.Connect(), lost); err != nil {
		return fmt.Errorf("bus: connect to the broker: %w", err)
	}
	s.tell(nil)
	var subscribed []string
	for {
		topics := s.Feed.Topics()
		if err := follow(ctx, client, lost, subscribed, topics); err != nil {
			return err
		}
		subscribed = topics
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case err := <-lost:
			return fmt.Errorf("bus: connection to the broker: %w", err)
		case <-s.Feed.Changed():
		}
	}
}

// follow subscribes what is new and unsubscribes what is gone.
func follow(ctx context.Context, client mqtt.Client, lost <-chan error, before, after []string) error {
	for _, topic := range after {
		if slices.Contains(before, topic) {
			continue
		}
		token := client.Subscribe(topic, 1, nil)
		if err := wait(ctx, token, lost); err != nil {
			return fmt.Errorf("bus: subscribe to %s: %w", topic, err)
		}
		if granted, ok := token.(*mqtt.SubscribeToken); ok && granted.Result()[topic] == 0x80 { // [MQTT 3.1.1, 3.9.3]
			return fmt.Errorf("bus: subscribe to %s: the broker refuses", topic)
		}
	}
	for _, topic := range before {
		if slices.Contains(after, topic) {
			continue
		}
		if err := wait(ctx, client.Unsubscribe(topic), lost); err != nil {
			return fmt.Errorf("bus: unsubscribe from %s: %w", topic, err)
		}
	}
	return nil
}

var errLate = errors.New("the broker does not answer")

// wait waits for a token, and never only for it: a token of a lost connection may never be done.
func wait(ctx context.Context, token mqtt.Token, lost <-chan error) error {
	timer := time.NewTimer(answerOfBroker)
	defer timer.Stop()
	select {
	case <-token.Done():
		return token.Error()
	case err := <-lost:
		return err
	case <-timer.C:
		return errLate
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
