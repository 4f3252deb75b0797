// Package siren is the channel that needs no network: a siren and a lamp on lines of the board or on a relay behind Modbus, a button on the wall that
// silences, and buttons that answer. It wakes who is near; it is no fire alarm, and its patterns are not those by which people are told to leave a building.
//
// The siren sounds from the hand-over of a message until somebody has answered, the alarm is gone, the button was pressed or the longest time is over.
// The lamp stays lit as long as somebody is owed a call, whatever the button did: silence is not an answer. Each further message about the same
// occurrence, the repeats of the roster among them, begins anew.
//
// A button that answers stands for one person, and says "I am on it" for all that the lamp is lit for: it is held for two seconds and let go, so that neither
// an elbow nor a wire that is shorted answers. Whoever stands there may press it: a site that wants to know who gives each person one behind a door of hers.
//
// Outputs are off before the first message, and are switched off when the program ends in order. A program that is killed leaves a line as it was
// until the service manager has started it again: the first thing done then is to switch it off. Each output is read back after it was set, and set
// again every few seconds; one that does not follow makes the channel count as not working.
//
// Concurrency: a Siren may be used by any goroutine; Still and Health do not wait for the outputs.
package siren

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/clock"
)

// Declares is what the rules file may say of the channel.
const Declares = `channel siren
    phrase output GPIO line NUMBER 0 .. 255 [on-when (high|low)]
    phrase relay tcp HOST unit NUMBER 1 .. 247 coil NUMBER 0 .. 65535
    phrase lamp GPIO line NUMBER 0 .. 255 [on-when (high|low)]
    phrase button GPIO line NUMBER 0 .. 255
    phrase answer* GPIO line NUMBER 0 .. 255 by PERSON
    phrase longest DURATION 5 s .. 1 h default 10 min
    one output|relay
`

// Output is a line or a relay that is on or off.
type Output interface {
	// Set switches and reads back; an error means that it is not known to be so.
	Set(on bool) error
	Close() error
}

// Button is the contact on the wall.
type Button interface {
	// Low tells whether it is pressed.
	Low() (bool, error)
	Close() error
}

// Options of a Siren. Sound, Clock and Log are needed.
type Options struct {
	Sound    func() (Output, error)
	Lamp     func() (Output, error) // nil: there is none
	Button   func() (Button, error) // nil: there is none
	Answers  []Answering            // buttons that answer
	Longest  time.Duration          // 0: DefaultLongest
	Silenced func()                 // the button was pressed while it sounded
	// Answered is told that a person's button said "I am on it" to an occurrence. It is called by a goroutine of Run, and ends with its context.
	Answered func(ctx context.Context, person, alarm string, occurrence int64)
	Clock    clock.Clock
	Log      *slog.Logger
}

// Answering is a button that answers for one person.
type Answering struct {
	Person string // name of the rules file
	Open   func() (Button, error)
}

// DefaultLongest is how long it sounds for one message unless the rules file says otherwise.
const DefaultLongest = 10 * time.Minute

const (
	// stepEvery is how fine a pattern is, and how soon the button is seen. Chosen: a thumb presses longer.
	stepEvery = 100 * time.Millisecond
	// shortestStep keeps a sped-up clock from stepping more often than anybody could hear; chosen.
	shortestStep = 20 * time.Millisecond
	// setAgain is how often an output that should not have changed is set and read back all the same; chosen.
	setAgain = 10 * time.Second
	// stuck is how long a pressed button is believed; chosen. A button that sticks must not silence the night.
	stuck = 30 * time.Second
	// answerHeld is how long a button that answers is held at least; chosen: longer than one leans on it, short for a thumb.
	answerHeld = 2 * time.Second
	// exerciseFor is how long a drill sounds; chosen.
	exerciseFor = time.Second
)

// Siren is the channel.
type Siren struct {
	o Options

	mu       sync.Mutex // guards what stands below
	calls    map[occurrence]*call
	exercise time.Duration // monotonic time until which a drill sounds
	because  string        // why it does not work; "": it does

	switching sync.Mutex // guards what stands below; taken before mu
	sound     output
	lamp      output
	button    contact
	answers   []contact // as Options.Answers
}

type occurrence struct {
	alarm  string
	number int64
}

type call struct {
	first    time.Duration // when it was told first, monotonic
	begun    time.Duration // when it was told last
	urgency  int
	silenced bool
}

var (
	_ callout.Channel = (*Siren)(nil)
	_ callout.Watched = (*Siren)(nil)
	_ callout.Lasting = (*Siren)(nil)
)

// New is a siren whose outputs are opened when Run begins.
func New(o Options) (*Siren, error) {
	if o.Sound == nil {
		return nil, errors.New("siren: there is no output")
	}
	if o.Longest <= 0 {
		o.Longest = DefaultLongest
	}
	s := &Siren{o: o, calls: map[occurrence]*call{}, because: "not switched yet", button: contact{name: "button", open: o.Button}}
	for _, a := range o.Answers {
		s.answers = append(s.answers, contact{name: "button of " + a.Person, open: a.Open})
	}
	return s, nil
}

// Send lets it sound. It returns once the output has been switched and read back.
func (s *Siren) Send(_ context.Context, m callout.Message) error {
	now := s.o.Clock.Now().Mono
	s.mu.Lock()
	if m.Exercise {
		s.exercise = now + exerciseFor
	} else {
		o, one := occurrence{m.Alarm, m.Occurrence}, &call{first: now, begun: now, urgency: m.Level()}
		if before := s.calls[o]; before != nil {
			one.first = before.first
		}
		s.calls[o] = one
	}
	s.mu.Unlock()
	return s.step(now)
}

// Still tells which occurrences somebody is still owed a call for; the others end.
func (s *Siren) Still(stands func(alarm string, occurrence int64) bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for o := range s.calls {
		if !stands(o.alarm, o.number) {
			delete(s.calls, o)
		}
	}
}

// Health tells whether the outputs follow.
func (s *Siren) Health() callout.Health {
	s.mu.Lock()
	defer s.mu.Unlock()
	return callout.Health{Works: s.because == "", Because: s.because, Signal: math.NaN()}
}

// Run switches outputs and looks at the buttons until ctx ends; then all is off.
func (s *Siren) Run(ctx context.Context) error {
	var answering sync.WaitGroup
	defer answering.Wait()
	tick := time.NewTicker(max(s.o.Clock.Real(stepEvery), shortestStep))
	defer tick.Stop()
	defer s.off()
	for {
		for person, all := range s.answered(s.o.Clock.Now().Mono) {
			answering.Go(func() { // who writes it down may wait for a disk; the siren does not
				for _, o := range all {
					s.o.Answered(ctx, person, o.alarm, o.number)
				}
			})
		}
		before := s.Health().Because
		if err := s.step(s.o.Clock.Now().Mono); err != nil && err.Error() != before {
			s.o.Log.Warn("siren does not work", "cause", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// step brings the outputs to where they belong now.
func (s *Siren) step(now time.Duration) error {
	s.switching.Lock()
	defer s.switching.Unlock()
	if down, _ := s.button.look(now); down {
		s.silence(now)
	}
	sounds, lit := s.due(now)
	err := s.sound.set("siren", s.o.Sound, sounds, now)
	if s.o.Lamp != nil {
		err = errors.Join(err, s.lamp.set("lamp", s.o.Lamp, lit, now))
	}
	err = errors.Join(err, s.button.fault)
	for i := range s.answers {
		err = errors.Join(err, s.answers[i].fault)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.because = ""
	if err != nil {
		s.because = err.Error()
	}
	return err
}

// due tells whether the siren sounds now, and whether the lamp is lit.
func (s *Siren) due(now time.Duration) (sounds, lit bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	var loudest *call
	for _, c := range s.calls {
		if c.silenced || now-c.begun >= s.o.Longest {
			continue
		}
		if loudest == nil || c.urgency > loudest.urgency || c.urgency == loudest.urgency && c.begun < loudest.begun {
			loudest = c
		}
	}
	sounds = now < s.exercise
	if loudest != nil {
		sounds = patterns[loudest.urgency].on(now - loudest.begun)
	}
	return sounds, len(s.calls) > 0 || now < s.exercise
}

// silence ends the sound of all that sounds now. Nothing is acknowledged: people are called as before.
func (s *Siren) silence(now time.Duration) {
	s.mu.Lock()
	some := now < s.exercise
	s.exercise = 0
	for _, c := range s.calls {
		some = some || !c.silenced && now-c.begun < s.o.Longest
		c.silenced = true
	}
	s.mu.Unlock()
	if some && s.o.Silenced != nil {
		s.o.Silenced()
	}
}

// answered looks at the buttons that answer, and gives by person what was answered: all that was told before the button went down.
func (s *Siren) answered(now time.Duration) map[string][]occurrence {
	s.switching.Lock()
	defer s.switching.Unlock()
	var all map[string][]occurrence
	for i := range s.answers {
		_, held := s.answers[i].look(now)
		if held < answerHeld || held > stuck {
			continue
		}
		if all == nil {
			all = map[string][]occurrence{}
		}
		all[s.o.Answers[i].Person] = s.toldBefore(now - held)
	}
	return all
}

func (s *Siren) toldBefore(then time.Duration) (list []occurrence) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for o, c := range s.calls {
		if c.first <= then {
			list = append(list, o)
		}
	}
	return list
}

func (s *Siren) off() {
	s.switching.Lock()
	defer s.switching.Unlock()
	for _, o := range []*output{&s.sound, &s.lamp} {
		if o.opened != nil {
			if err := errors.Join(o.opened.Set(false), o.opened.Close()); err != nil {
				s.o.Log.Warn("output of the siren not switched off", "cause", err)
			}
		}
		*o = output{}
	}
	s.button.close()
	for i := range s.answers {
		s.answers[i].close()
	}
}

// output is one output and what it was told.
type output struct {
	opened Output
	on     bool
	at     time.Duration // when it was told last, or opening failed
	err    error
}

// set switches if that is due; a fault stands until the next try has cleared it.
func (o *output) set(name string, open func() (Output, error), on bool, now time.Duration) error {
	if o.at > 0 && o.on == on && now-o.at < setAgain {
		return o.err
	}
	if o.err != nil && now-o.at < time.Second { // one that hangs must not hold up the other at every step; chosen
		return o.err
	}
	o.on, o.at, o.err = on, max(now, 1), nil
	if o.opened == nil {
		if o.opened, o.err = open(); o.err != nil {
			o.opened, o.err = nil, fmt.Errorf("%s: %w", name, o.err)
			return o.err
		}
	}
	if err := o.opened.Set(on); err != nil {
		o.err = fmt.Errorf("%s: %w", name, err)
	}
	return o.err
}
