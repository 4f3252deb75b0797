// Package text calls people by text messages through a cellular modem on a serial line, and takes their answers.
//
// A message is one message: written in the alphabet of seven bits with plain letters, at most 160 septets, the way to answer whole at its end. A letter
// that has no plain form makes it one of 70 letters. What the network says of a message's delivery is reported and never counts as an answer; an answer
// acknowledges one occurrence and can do nothing else, since a sender's number can be forged.
//
// The PIN is entered at most once for each start of the program, and not at all while the card has fewer than its three tries: a wrong one must not lock
// the card. All that comes in is read and then deleted, so that the memory has room for answers; the modem is for the mill alone.
//
// It is longer than other channels, since commands, messages and alphabets are three standards with nothing between them and the wire; a library for each
// would be longer still.
//
// Sources: 3GPP TS 27.005 (commands for messages), TS 27.007 (commands in general), TS 23.040 (messages), TS 23.038 (alphabets).
//
// Concurrency: Send is called by one goroutine at a time, the worker of the channel; Health by any. Run owns the modem, with one goroutine more that
// listens to it; Send waits for Run, but no longer than its context.
package text

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"math"
	"sync"
	"time"

	"millwarden/gateway/callout"
)

// Declares is what the rules file may say of the channel.
const Declares = `channel text
    phrase modem PATH
    phrase speed NUMBER 300 .. 921600 default 115200
    phrase credential CREDENTIAL
    needs modem
`

// Options of a Text. Open is needed.
type Options struct {
	Open func() (io.ReadWriteCloser, error) // the line to the modem; asked anew after it failed. See Port
	PIN  string                             // of the SIM card, from the credential; "": the card asks for none
	// Answer takes an answer of a person. It is called by Run's goroutine and should be done within seconds; nil once the answer was dealt with, refused
	// or not. After an error the answer is brought again.
	Answer func(context.Context, Answer) error
	// Report takes what the network says of the delivery of a message; nil: nobody asks.
	Report func(Report)
	Log    *slog.Logger // nil: none
}

// Answer is a text message of the form "1 0412".
type Answer struct {
	From       string    // the sender's number as the network gave it: "+" before an international one. It may be forged
	Occurrence int64     // the one that it acknowledges
	At         time.Time // by the service centre; zero if it gave none
}

// Report is what the network says of one message. A message delivered is not a message read.
type Report struct {
	Message   callout.Message
	Delivered bool   // it reached the phone
	Final     bool   // nothing more will be tried
	Says      string // in words
}

// Text is the channel.
type Text struct {
	o       Options
	flights chan *flight
	recent  recent // of messages

	pinRefused error // the card's answer to the PIN; never entered again. Belongs to Run's goroutine, as all up to mu
	untaken    map[string]int
	lost       time.Time // since when there has been no modem; zero: there is one

	mu     sync.Mutex // guards health and failed
	health callout.Health
	failed error // the last message was refused for good
}

var (
	_ callout.Channel = (*Text)(nil)
	_ callout.Watched = (*Text)(nil)
)

// errUndeliverable is a message that no modem could send.
var errUndeliverable = errors.New("the message cannot be written")

// New builds the channel. Run must run for anything to be sent.
func New(o Options) (*Text, error) {
	if o.Open == nil {
		return nil, errors.New("text: there is no modem")
	}
	if o.PIN != "" && !isPIN(o.PIN) {
		return nil, errors.New("text: the credential is no PIN of 4 to 8 digits")
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return &Text{o: o, flights: make(chan *flight), untaken: map[string]int{}, health: callout.Health{Because: "the modem was not asked yet", Signal: math.NaN()}}, nil
}

// isPIN [TS 31.101: 4 to 8 digits].
func isPIN(text string) bool {
	for _, sign := range text {
		if sign < '0' || sign > '9' {
			return false
		}
	}
	return len(text) >= 4 && len(text) <= 8
}

// Health tells how the modem does, and that the last message got through.
func (t *Text) Health() callout.Health {
	t.mu.Lock()
	defer t.mu.Unlock()
	h := t.health
	if h.Works && t.failed != nil {
		h.Works, h.Because = false, t.failed.Error()
	}
	return h
}

// healthy notes how the modem does; a change is logged.
func (t *Text) healthy(h callout.Health) {
	t.mu.Lock()
	changed := h.Works != t.health.Works || h.Because != t.health.Because
	t.health = h
	t.mu.Unlock()
	if changed {
		t.o.Log.Info("modem", "works", h.Works, "because", h.Because)
	}
}

// sent notes how a message fared. What passes by itself says nothing about the channel.
func (t *Text) sent(err error) {
	var f *callout.Failure
	t.mu.Lock()
	defer t.mu.Unlock()
	if err == nil {
		t.failed = nil
	} else if errors.As(err, &f) && f.Final && !errors.Is(err, errUndeliverable) {
		t.failed = f.Err
	}
}

// Send hands one message to the modem and returns nil once the network took it. If ctx ends before the network answers, the try goes on; Send of the
// same message then waits for that try, and makes no other, so that nobody is called twice.
func (t *Text) Send(ctx context.Context, m callout.Message) error {
	f, begun := t.recent.flight(m)
	if !begun {
		var err error
		if f.pdu, f.octets, err = submit(m.To.Phone, fit(m.Text, m.Answer, m.Spare...)); err != nil {
			f.land(judge(errors.Join(errUndeliverable, err), 1))
			return f.err
		}
		select {
		case t.flights <- f:
		case <-ctx.Done():
			f.land(judge(errUntaken, f.tries))
			return f.err
		}
	}
	select {
	case <-f.landed:
		return f.err
	case <-ctx.Done():
		return judge(errUnderWay, f.tries)
	}
}

var (
	errUntaken  = errors.New("the modem is busy")
	errUnderWay = errors.New("the network has not answered yet")
)

// flight is one try of a message.
type flight struct {
	message   callout.Message
	pdu       string
	octets    int
	tries     int  // this one counted
	reference byte // set before landed is closed, as err is
	err       error
	landed    chan struct{}
}

func (f *flight) land(err error) {
	f.err = err
	close(f.landed)
}

// isOver tells whether the try has ended, and well.
func (f *flight) isOver() (over, well bool) {
	select {
	case <-f.landed:
		return true, f.err == nil
	default:
		return false, false
	}
}

// recent holds the newest messages, so that a try that was left is found again, and a report its message.
type recent struct {
	mu      sync.Mutex // guards flights
	flights []*flight  // oldest first, one a message
}

// recentMost is in messages. Chosen: a night's worth; a reference has 256 values.
const recentMost = 128

// flight begins a try of a message; begun if there is one that is under way or went well.
func (r *recent) flight(m callout.Message) (f *flight, begun bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	f = &flight{message: m, tries: 1, landed: make(chan struct{})}
	for i, earlier := range r.flights {
		if earlier.message.ID != m.ID || m.ID == "" {
			continue
		}
		if over, well := earlier.isOver(); !over || well {
			return earlier, true
		}
		f.tries = earlier.tries + 1
		r.flights = append(r.flights[:i], r.flights[i+1:]...)
		break
	}
	if len(r.flights) == recentMost {
		r.flights = r.flights[1:]
	}
	r.flights = append(r.flights, f)
	return f, false
}

// referred finds the newest message of a reference that went to a number.
func (r *recent) referred(reference byte, to string) (callout.Message, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i := len(r.flights) - 1; i >= 0; i-- {
		f := r.flights[i]
		if _, well := f.isOver(); well && f.reference == reference && SameNumber(f.message.To.Phone, to) {
			return f.message, true
		}
	}
	return callout.Message{}, false
}
