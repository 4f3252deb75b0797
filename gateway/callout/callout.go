// Package callout turns occurrences into calls: it looks at what stands, compares that with what was done, and does what is owed. It works on
// levels, not on edges: every Look brings the present states of all alarms, so a lost notice, a restart or a changed roster costs nothing, and what
// is acknowledged, returned, shelved or suppressed is simply no longer called for.
//
// Who is called, when and by what stands in the Roster. Each try gets its line in the journal before it is made and another for what came of it; a
// journal that fails or hangs never holds a message back. A message that does not get through is tried again after growing pauses, then by the
// person's next channel, then the next step is called at once; whom no channel reached is owed the call until one does.
//
// The package knows no channel: those are folders below, and gateway/floor hands them in. It knows neither logbook nor page: Journal and Tokens are
// what it needs of the one, and Answer is what it offers to the other.
//
// Concurrency: Look, SetRoster, SetSwaps, Drill, AllWell, Answer and Channels may be called by any goroutine and do not block. Run owns one goroutine that decides, one a
// channel that sends, and one that writes the journal; it ends them all before it returns.
package callout

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"millwarden/internal/clock"
	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// Channel is one way to reach people.
type Channel interface {
	// Send hands one message to the other side and returns nil once that side has taken it. It is called by one goroutine at a time, may block until ctx
	// ends, and makes one try: repeating is for the caller. An error that is a *Failure says what to do next; any other is worth another try. Its text goes
	// into the logbook, so it must not hold telephone numbers, addresses or secrets.
	Send(ctx context.Context, m Message) error
}

// Watched is a channel that knows how it does before anything is sent: a modem without a network.
type Watched interface {
	// Health may be called by any goroutine and answers at once.
	Health() Health
}

// Lasting is a channel that goes on by itself: a siren.
type Lasting interface {
	// Still tells it for which occurrences somebody is still owed a call; for the others it ends. It must not block.
	Still(stands func(alarm string, occurrence int64) bool)
}

// Health is how such a channel does.
type Health struct {
	Works   bool
	Because string  // why it does not
	Signal  float64 // of a radio, 0 to 1; NaN: there is none, or it is not known
	Modem   *Modem  // nil: there is none, or it does not answer
}

// Modem is what a cellular modem says of itself.
type Modem struct {
	Registered bool // a network has taken it, at home or roaming
	Card       bool // its SIM card is there, unlocked, and not refused by the network
}

// Failure is an error of Send that says what to do.
type Failure struct {
	Final bool          // sending it again will not help: the next channel is due
	Gone  bool          // the other side wants no more messages at all: the channel is not used again
	After time.Duration // the other side asks for so long a pause; 0: it did not
	Err   error
}

func (f *Failure) Error() string { return f.Err.Error() }

func (f *Failure) Unwrap() error { return f.Err }

// Way is a channel as the roster knows it.
type Way struct {
	Name    string // as in the rules file: "text", "mail"
	Channel Channel
	Reaches func(*Person) bool // whether it fits the person; nil: everybody
	Shared  bool               // a siren: it sounds once for all who are called, not once for each
}

// Journal is the record that callout writes to, and asks after a restart.
type Journal interface {
	// Write keeps lines, all or none; it returns when they are safe. Several lines tell of one message about several occurrences.
	Write(...Line) error
	// Tries gives the lines of an occurrence, oldest first. Asked once for each occurrence that stands when it is first seen.
	Tries(alarm string, occurrence int64) ([]Line, error)
}

// What a line tells.
const (
	Try      = "try"      // written before the message is handed over
	Accepted = "accepted" // the other side took it; whether anybody read it is not known
	Failed   = "failed"   // this try did not get through
	GivenUp  = "given up" // nor did the others: the next channel or person is due
)

// Line is one line of the journal about one message.
type Line struct {
	At         reading.Stamp
	Event      string
	Alarm      string // ID; "" for a drill
	Occurrence int64
	Count      int // which annunciation of the occurrence
	Place      string
	Watch      string // "person ana" if the alarm named her, "" if everybody was called
	Step       int
	Person     string
	Channel    string
	Attempt    int    // counts from 1
	Message    string // its ID
	Text       string // the line as people read it
}

// Options of a Callout. Clock, Journal and Tokens are needed.
type Options struct {
	Roster   Roster
	Clock    clock.Clock
	Journal  Journal
	Tokens   Tokens
	LinkBase string // address of the page without a slash at its end, "https://mill.estate.example"; "": messages have no link
}

// Callout calls people.
type Callout struct {
	clock    clock.Clock
	linkBase string
	desk     *desk // journal
	links    *links
	wake     chan struct{} // one slot: look again
	results  chan result
	notices  chan notice
	workers  map[string]*worker // by way; set in New, not changed

	mu        sync.Mutex // guards what stands below
	roster    *Roster
	standings []engine.Standing
	looked    reading.Stamp
	coming    map[key][]Coming // replaced whole
}

// Sizes and times.
const (
	// resultQueue: one for each message that all channels can have under way, so that a worker never waits for the one who decides. Chosen.
	resultQueue = 16
	noticeQueue = 32 // chosen: an all-well message to everybody of a mill at once
	// lookAtLeast is how often is looked without being asked: hours of watches change. Chosen.
	lookAtLeast = 10 * time.Second
	// fullPause is when a message that found no room in its channel's queue is brought again. Chosen.
	fullPause = time.Second
)

// New builds a Callout; nothing is sent before Run.
func New(o Options) (*Callout, error) {
	if err := o.Roster.check(); err != nil {
		return nil, fmt.Errorf("callout: roster: %w", err)
	}
	c := &Callout{clock: o.Clock, linkBase: o.LinkBase, desk: newDesk(o.Journal), links: newLinks(o.Tokens), wake: make(chan struct{}, 1),
		results: make(chan result, resultQueue), notices: make(chan notice, noticeQueue), workers: map[string]*worker{}}
	roster := o.Roster.prepared()
	c.roster = roster
	for _, way := range roster.Ways {
		c.workers[way.Name] = newWorker(way, c.clock, c.desk, c.results)
	}
	return c, nil
}

// Look brings the present states of all alarms. It copies what it keeps.
func (c *Callout) Look(standings []engine.Standing, now reading.Stamp) {
	c.mu.Lock()
	c.standings = c.standings[:0]
	for i := range standings {
		if calls(&standings[i]) {
			s := standings[i]
			s.Values = slices.Clone(s.Values)
			c.standings = append(c.standings, s)
		}
	}
	c.looked = now
	c.mu.Unlock()
	c.again()
}

// calls tells whether people are owed a call: state B of an alarm, and nothing else.
func calls(s *engine.Standing) bool {
	return s.Alarm.Kind == engine.KindAlarm && s.State == engine.Unacknowledged
}

func (c *Callout) again() {
	select {
	case c.wake <- struct{}{}:
	default: // somebody has said so already
	}
}

// SetRoster puts another roster in force, with the channels that New was given and the swaps that hold: calls under way go on by it.
func (c *Callout) SetRoster(r Roster) error {
	c.mu.Lock()
	r.Ways = c.roster.Ways
	c.mu.Unlock()
	if err := r.check(); err != nil {
		return fmt.Errorf("callout: roster: %w", err)
	}
	c.mu.Lock()
	r.Swaps = c.roster.Swaps
	c.roster = r.prepared()
	c.mu.Unlock()
	c.again()
	return nil
}

// Run calls people until ctx ends.
func (c *Callout) Run(ctx context.Context) error {
	ending, stop := context.WithCancel(ctx)
	closing, closeDesk := context.WithCancel(context.WithoutCancel(ctx)) // the journal closes last: the others still write to it
	var senders, writer sync.WaitGroup
	writer.Go(func() { c.desk.run(closing) })
	for _, w := range c.workers {
		senders.Go(func() { w.run(ending) })
	}
	b := newBook()
	defer func() {
		b.close()
		stop()
		senders.Wait()
		closeDesk()
		writer.Wait()
	}()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-c.wake:
		case <-timer.C:
		case r := <-c.results:
			b.result(r, c.inForce())
		case n := <-c.notices:
			c.notify(ending, n)
		}
		timer.Reset(max(0, c.clock.Real(c.decide(ending, b))))
	}
}

func (c *Callout) inForce() *Roster {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.roster
}

// decide does what is owed now, and gives the time until something will be.
func (c *Callout) decide(ctx context.Context, b *book) time.Duration {
	c.mu.Lock()
	roster, looked := c.roster, c.looked
	standings := slices.Clone(c.standings)
	c.mu.Unlock()
	now := c.clock.Now()
	if looked == (reading.Stamp{}) {
		return lookAtLeast // nothing was brought yet
	}
	roster = roster.swapped(now)
	tellLasting(roster, standings)
	b.past = func(alarm string, occurrence int64) []Line { return c.desk.tries(ctx, alarm, occurrence) }
	errands, next := b.look(roster, standings, now)
	for i := range errands {
		c.send(ctx, b, roster, &errands[i], now)
	}
	coming := b.coming(roster, standings, now)
	c.mu.Lock()
	c.coming = coming
	c.mu.Unlock()
	if b.full {
		next = fullPause
	}
	return min(next, lookAtLeast)
}

// tellLasting tells channels that go on by themselves what still stands.
func tellLasting(r *Roster, standings []engine.Standing) {
	for i := range r.Ways {
		if lasting, ok := r.Ways[i].Channel.(Lasting); ok {
			lasting.Still(func(alarm string, occurrence int64) bool {
				return slices.ContainsFunc(standings, func(s engine.Standing) bool { return s.Alarm.ID == alarm && s.Occurrence == occurrence })
			})
		}
	}
}

// send composes the message of an errand and hands it to its channel.
func (c *Callout) send(ctx context.Context, b *book, r *Roster, e *errand, now reading.Stamp) {
	person := r.people[e.person]
	standings := r.inWords(e.standings, person)
	link := ""
	if c.linkBase != "" && len(standings) == 1 {
		link = c.linkBase + "/a/" + c.token(b.call(keyOf(&standings[0])), &standings[0], person, wordsOf(person, r), now)
	}
	m := c.write(r, e, standings, person, link, now)
	m.ID = newID()
	if !c.workers[e.way].take(job{ctx: b.context(ctx, e), errand: *e, message: m}) {
		b.later(e)
	}
}

func (c *Callout) write(r *Roster, e *errand, standings []engine.Standing, to *Person, link string, now reading.Stamp) Message {
	if len(e.parts) > 0 {
		return r.composeFlood(standings, to, c.linkBase, now)
	}
	return r.compose(standings, to, link, e.waited, now)
}

// token is that of the person for the call: all messages to her about one annunciation hold the same link.
func (c *Callout) token(call *call, s *engine.Standing, person *Person, say *words, now reading.Stamp) string {
	token, ok := call.tokens[person.Name]
	if !ok {
		token = c.links.issue(c.desk, s, person.Name, say.place(s.Alarm)+": "+say.title(s.Alarm), now)
		call.tokens[person.Name] = token
	}
	return token
}

// ChannelState is how one channel does.
type ChannelState struct {
	Name    string
	Works   bool // the last message was taken, or none was tried yet
	Because string
	Waiting int           // messages that wait to be sent
	Oldest  time.Duration // how long the oldest of them has waited
	Proven  reading.Stamp // when a message was last taken; zero: never
	Signal  float64       // of a radio, 0 to 1; NaN: there is none, or it is not known
	Modem   *Modem        // nil: there is none, or it does not answer
}

// Channels gives the state of each channel, in the order of the roster.
func (c *Callout) Channels(now reading.Stamp) []ChannelState {
	c.mu.Lock()
	ways := c.roster.Ways
	c.mu.Unlock()
	states := make([]ChannelState, 0, len(ways))
	for _, way := range ways {
		states = append(states, c.workers[way.Name].state(now))
	}
	return states
}

// JournalFailures counts lines that the journal did not take, or not in time.
func (c *Callout) JournalFailures() uint64 { return c.desk.failures.Load() }
