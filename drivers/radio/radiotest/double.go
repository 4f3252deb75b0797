// Package radiotest is the double of the broker's feed: topics in memory, with a second door for tests and for the simulated estate.
//
// Concurrency: safe for use by several goroutines.
package radiotest

import (
	"errors"
	"slices"
	"sync"
	"time"

	"millwarden/drivers"
)

// Feed holds the newest frame of each topic.
type Feed struct {
	mu       sync.Mutex // guards all below
	frames   map[string]*kept
	listened int
	failing  bool
}

type kept struct {
	frame   drivers.Frame
	arrived time.Time
}

// New is a feed on which nothing has come.
func New() *Feed { return &Feed{frames: map[string]*kept{}} }

// Publish delivers a message to whoever listens.
func (f *Feed) Publish(topic string, payload []byte) { f.deliver(topic, payload, false) }

// Retain delivers a message that a broker had kept.
func (f *Feed) Retain(topic string, payload []byte) { f.deliver(topic, payload, true) }

// Fail makes Listen fail, or work again.
func (f *Feed) Fail(failing bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.failing = failing
}

// Listened counts the topics that are listened to.
func (f *Feed) Listened() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.listened
}

func (f *Feed) deliver(topic string, payload []byte, retained bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	k := f.frames[topic]
	if k == nil {
		k = &kept{}
		f.frames[topic] = k
	}
	k.frame = drivers.Frame{Number: k.frame.Number + 1, Payload: slices.Clone(payload), Retained: retained}
	k.arrived = time.Now()
}

// Listen implements drivers.Feed.
func (f *Feed) Listen(topic string) (drivers.Topic, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.failing {
		return nil, errors.New("the broker is away")
	}
	f.listened++
	return &listener{f, topic}, nil
}

type listener struct {
	feed  *Feed
	topic string
}

func (l *listener) Newest() (drivers.Frame, bool) {
	l.feed.mu.Lock()
	defer l.feed.mu.Unlock()
	k := l.feed.frames[l.topic]
	if k == nil {
		return drivers.Frame{}, false
	}
	frame := k.frame
	frame.Ago = time.Since(k.arrived)
	return frame, true
}

func (l *listener) Close() error {
	l.feed.mu.Lock()
	defer l.feed.mu.Unlock()
	l.feed.listened--
	return nil
}
