package callout

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"millwarden/internal/clock"
	"millwarden/internal/reading"
)

// worker sends by one channel, one message at a time. A message that did not get through waits for its next try beside the queue, so that it holds
// back none behind it; and a slow channel holds back none of the others.
type worker struct {
	way     Way
	clock   clock.Clock
	desk    *desk
	results chan<- result
	jobs    chan job
	again   []job // wait for their next try; only the worker's goroutine touches them

	mu      sync.Mutex // guards what stands below
	works   bool
	because string
	gone    bool // the other side wants no more
	proven  reading.Stamp
	waiting map[string]time.Duration // since when each message waits, by its ID
}

type job struct {
	ctx     context.Context
	errand  errand
	message Message
	tries   int           // made so far
	due     time.Duration // monotonic time of the next try
	born    time.Duration
}

const (
	// jobQueue is in messages. Chosen: 40 people called for three alarms at once; beyond it the person's next channel is due.
	jobQueue = 128
	// sendPatience is how long one try may take. [Standard Webhooks: 15 to 30 s]
	sendPatience = 30 * time.Second
	// messagePatience is how long a message is tried by one channel. Chosen: an alarm that is two minutes late by mail goes another way.
	messagePatience = 2 * time.Minute
)

// pauses between tries; after the last the message is given up. Chosen: short, since the next channel waits.
var pauses = [...]time.Duration{5 * time.Second, 15 * time.Second, 60 * time.Second}

func newWorker(way Way, c clock.Clock, d *desk, results chan<- result) *worker {
	w := &worker{way: way, clock: c, desk: d, results: results, jobs: make(chan job, jobQueue), works: true, waiting: map[string]time.Duration{}}
	if n, ok := way.Channel.(NotHere); ok {
		w.works, w.because, w.gone = false, n.Error(), true
	}
	return w
}

// take queues a message; false if there is no room.
func (w *worker) take(j job) bool {
	j.born = w.clock.Now().Mono
	w.mu.Lock()
	w.waiting[j.message.ID] = j.born
	w.mu.Unlock()
	select {
	case w.jobs <- j:
		return true
	default:
		w.left(j.message.ID)
		return false
	}
}

func (w *worker) left(id string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.waiting, id)
}

func (w *worker) state(now reading.Stamp) ChannelState {
	w.mu.Lock()
	defer w.mu.Unlock()
	s := ChannelState{Name: w.way.Name, Works: w.works, Because: w.because, Waiting: len(w.waiting), Proven: w.proven, Signal: math.NaN()}
	if watched, ok := w.way.Channel.(Watched); ok {
		h := watched.Health()
		s.Works, s.Because, s.Signal, s.Modem = h.Works, h.Because, h.Signal, h.Modem
	}
	for _, since := range w.waiting {
		s.Oldest = max(s.Oldest, now.Mono-since)
	}
	return s
}

func (w *worker) run(ctx context.Context) {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case j := <-w.jobs:
			w.try(ctx, j)
		case <-timer.C:
		}
		timer.Reset(w.retry(ctx))
	}
}

// retry makes the tries that are due again, and gives the time until the next is.
func (w *worker) retry(ctx context.Context) time.Duration {
	wait := w.again
	w.again = nil
	next := time.Hour
	for _, j := range wait {
		left := j.due - w.clock.Now().Mono
		if left <= 0 || j.ctx.Err() != nil {
			w.try(ctx, j)
		} else {
			w.again = append(w.again, j)
		}
	}
	for _, j := range w.again {
		next = min(next, w.clock.Real(j.due-w.clock.Now().Mono))
	}
	return max(0, next)
}

// try makes one try, with its line before and another behind.
func (w *worker) try(ctx context.Context, j job) {
	if j.ctx.Err() != nil { // answered meanwhile, or the program ends
		w.finish(ctx, j, j.ctx.Err())
		return
	}
	if err := w.closed(); err != nil {
		w.note(j, GivenUp, fmt.Sprintf("not sent to %s by %s: %v", j.message.To.Title, w.way.Name, err))
		w.finish(ctx, j, err)
		return
	}
	j.tries++
	w.note(j, Try, fmt.Sprintf("to %s by %s, try %d: %s", j.message.To.Title, w.way.Name, j.tries, j.message.Text))
	sending, stop := context.WithTimeout(j.ctx, sendPatience)
	err := w.way.Channel.Send(sending, j.message)
	stop()
	now := w.clock.Now()
	if err == nil {
		w.heard(true, "", now)
		w.note(j, Accepted, fmt.Sprintf("%s took the message to %s", w.way.Name, j.message.To.Title))
		w.finish(ctx, j, nil)
		return
	}
	if j.ctx.Err() == nil { // a try that an answer cut short says nothing about the channel
		w.heard(false, err.Error(), now)
	}
	w.note(j, Failed, fmt.Sprintf("%s did not take the message to %s: %v", w.way.Name, j.message.To.Title, err))
	pause, more := w.pause(j, err)
	if !more {
		w.note(j, GivenUp, fmt.Sprintf("given up by %s after %d tries: message to %s", w.way.Name, j.tries, j.message.To.Title))
		w.finish(ctx, j, err)
		return
	}
	j.due = now.Mono + pause
	w.again = append(w.again, j)
}

// pause is how long to wait for the next try; false if there is none.
func (w *worker) pause(j job, err error) (time.Duration, bool) {
	var f *Failure
	if errors.As(err, &f) {
		if f.Gone {
			w.mu.Lock()
			w.gone = true
			w.mu.Unlock()
		}
		if f.Final || f.Gone {
			return 0, false
		}
	}
	if j.tries > len(pauses) {
		return 0, false
	}
	pause := pauses[j.tries-1]
	if f != nil {
		pause = max(pause, f.After)
	}
	return pause, w.clock.Now().Mono+pause-j.born <= messagePatience
}

func (w *worker) closed() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.gone {
		return errors.New(w.because)
	}
	return nil
}

func (w *worker) heard(works bool, because string, now reading.Stamp) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.works, w.because = works, because
	if works {
		w.proven = now
	}
}

func (w *worker) finish(ctx context.Context, j job, err error) {
	w.left(j.message.ID)
	select {
	case w.results <- result{errand: j.errand, err: err}:
	case <-ctx.Done():
	}
}

// note writes a line about each occurrence that the message tells of, in one write.
func (w *worker) note(j job, event, text string) {
	about := j.errand.parts
	if len(about) == 0 {
		about = []errand{j.errand}
	}
	now := w.clock.Now()
	lines := make([]Line, 0, len(about))
	for i := range about {
		e := &about[i]
		alarm := e.key.alarm
		if e.key.occurrence == 0 { // a digest or the daily message
			alarm = ""
		}
		lines = append(lines, Line{At: now, Event: event, Alarm: alarm, Occurrence: e.key.occurrence, Count: e.key.count, Place: e.place,
			Watch: e.watch, Step: e.step, Person: e.person, Channel: w.way.Name, Attempt: j.tries, Message: j.message.ID, Text: text})
	}
	w.desk.put(lines...)
}

// NotHere is a channel that the rules file may name and that this version cannot use. It is no fault of the file; the channel's point `works` is off
// from the start, and each message goes another way at once.
type NotHere struct{ Kind string }

var _ Channel = NotHere{}

// Send always fails for good.
func (n NotHere) Send(context.Context, Message) error { return &Failure{Final: true, Err: n} }

// Error says so.
func (n NotHere) Error() string {
	return "channel " + n.Kind + " is not available in this version"
}
