// Package publish sends the history of the board to an MQTT broker, and keeps the newest reading of each point and the state of each alarm
// there for people's own tools. It holds the board's half of the commit mark: see internal/wire for the protocol and its forms. It also
// holds the broker inside, which is there unless the site names its own.
//
// It reads the history and never stands in the way of a reading: a broker or a store that is away costs nothing but time.
//
// Concurrency: Run is one goroutine and those of the MQTT client; Alarm, ForgetAlarm and Status may be called by any.
package publish

import (
	"context"
	"log/slog"
	"net"
	"time"

	"millwarden/internal/reading"
)

// Entry is a reading and its position in the history.
type Entry struct {
	Position uint64
	reading.Reading
}

// Source is what publish needs of the history.
type Source interface {
	// From appends at most limit entries, in order, beginning with the first whose position is at least position.
	From(position uint64, limit int, into []Entry) ([]Entry, error)
	// Last is the position of the newest entry, 0 if there is none.
	Last() uint64
	// Watermark is the position up to which everything is safe in the store; it outlives the process.
	Watermark() uint64
	SetWatermark(position uint64) error
}

// Options of a Publisher. Root, Site, Board, Dial and Now are needed.
type Options struct {
	Root, Site, Board string
	Dial              func(context.Context) (net.Conn, error)       // Broker.Dial, or link.Dialer
	Credential        func() (user, password string, err error)     // of the site's own broker; nil: none
	Area              func(station string) string                   // area of a station; "" for what is none: filed under the board's name
	Now               func() reading.Stamp                          // the board's clock
	Restamp           func(reading.Stamp) (wall time.Time, ok bool) // wall time of a stamp taken while the clock was not set; nil: by Now, within this boot
	Wake              <-chan struct{}                               // a token after each append; nil: looks every second
	Store             string                                        // whose marks count; "": "store"
	Rate              int                                           // readings per second when catching up; 0: 5,000; below 0: no limit
	Ahead             uint64                                        // readings on the way at most; 0: 16,384
	LatestEvery       time.Duration                                 // how often a point's newest reading is published; 0: 5 s
	Log               *slog.Logger                                  // nil: none
}

// Alarm is the state of an alarm as people's own tools see it.
type Alarm struct {
	Place, Name    string // "tank-1", "over-fermented"
	State          string // one of the nine, in words
	Active         bool
	Occurrence     int64
	Priority       string
	Class          string
	Since          time.Time
	Because        string
	AcknowledgedBy string
}

// Status is how the publisher stands.
type Status struct {
	Connected    bool      // to the broker
	Trouble      error     // why not, or what else is wrong there; nil: nothing
	Last         uint64    // newest reading of the history
	Sent         uint64    // sent up to here
	Stored       uint64    // answered by the store up to here
	Watermark    uint64    // safe in the store up to here: Last - Watermark readings are unsent
	Passed       uint64    // readings without a knowable time, passed over
	Heard        time.Time // when the forwarder was heard last; zero: never
	Refused      uint64    // readings that the store refused, as the forwarder says
	StoreTrouble string    // why the store does not answer, as the forwarder says
}

// Publisher sends one board's history.
type Publisher struct{ o Options }

// New builds a Publisher.
func New(source Source, o Options) *Publisher { return &Publisher{o: o} }

// Run publishes until ctx ends.
func (p *Publisher) Run(ctx context.Context) error { <-ctx.Done(); return nil }

// Alarm publishes the state of an alarm, retained, now and after each reconnect.
func (p *Publisher) Alarm(a Alarm) {}

// ForgetAlarm takes the retained record of an alarm away.
func (p *Publisher) ForgetAlarm(place, name string) {}

// Status tells how it stands.
func (p *Publisher) Status() Status { return Status{} }
