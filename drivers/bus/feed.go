package bus

import (
	"sync"
	"time"

	"millwarden/drivers"
)

// Feed keeps the newest frame of each topic that is listened to. Whoever hears the broker calls Deliver.
//
// Concurrency: safe for use by several goroutines.
type Feed struct {
	mu     sync.Mutex // guards topics
	topics map[string]*heard
}

type heard struct {
	listeners int
	frame     drivers.Frame
	arrived   time.Time // monotonic
}

var _ drivers.Feed = (*Feed)(nil)

// NewFeed is a feed to which nobody listens.
func NewFeed() *Feed { return &Feed{topics: map[string]*heard{}} }

// Deliver hands in a message. Topics to which nobody listens are passed over. The payload is kept and must not be changed afterwards.
func (f *Feed) Deliver(topic string, payload []byte, retained bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	h := f.topics[topic]
	if h == nil {
		return
	}
	h.frame = drivers.Frame{Number: h.frame.Number + 1, Payload: payload, Retained: retained}
	h.arrived = time.Now()
}

// Listen implements drivers.Feed. Several may listen to one topic, as old and new probe do while rules are being changed.
func (f *Feed) Listen(topic string) (drivers.Topic, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	h := f.topics[topic]
	if h == nil {
		h = &heard{}
		f.topics[topic] = h
	}
	h.listeners++
	return &listener{feed: f, topic: topic, heard: h}, nil
}

type listener struct {
	feed  *Feed
	topic string
	heard *heard
	once  sync.Once
}

func (l *listener) Newest() (drivers.Frame, bool) {
	l.feed.mu.Lock()
	defer l.feed.mu.Unlock()
	frame := l.heard.frame
	if frame.Number == 0 {
		return frame, false
	}
	frame.Ago = time.Since(l.heard.arrived)
	return frame, true
}

func (l *listener) Close() error {
	l.once.Do(func() {
		l.feed.mu.Lock()
		defer l.feed.mu.Unlock()
		if l.heard.listeners--; l.heard.listeners == 0 {
			delete(l.feed.topics, l.topic)
		}
	})
	return nil
}
