package web

import (
	"context"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

// Model is what the page shows. gateway/floor implements it.
type Model interface {
	// Snapshot fills what stands now. It is called about once a second by one goroutine at a time, may block no longer than a few
	// milliseconds, and may reuse the slices it finds in s. What it hands over is the page's until the next call.
	Snapshot(s *Snapshot)
}

// Acts takes what people do on the page. gateway/floor implements it.
type Acts interface {
	// Act does one act, with its line in the logbook written, or refuses it with a *Refusal. It may be called by many goroutines.
	Act(ctx context.Context, a Act) error
}

// Answers finds the occurrence that the link of a message stands for. gateway/callout knows them.
type Answers interface {
	// Answer looks up a token of a link `/a/<token>`. It never acknowledges by itself: messages are opened by machines too.
	Answer(token string) (Answer, bool)
}

// History gives the curve of a point. gateway/history has it; floor adapts.
type History interface {
	// Curve gives at most n columns between from and to, oldest first. A column without readings is left out: a gap stays a gap.
	Curve(ctx context.Context, point string, from, to time.Time, n int) ([]Column, error)
}

// Health tells how the workers do.
type Health interface {
	// Workers is called by any goroutine and must answer at once, also while a worker stands still.
	Workers() []Worker
}

// Snapshot is all that the page shows at one moment. Values are in base units; the page prints them in the site's choice.
type Snapshot struct {
	Now      reading.Stamp
	Demo     string  // what is said on every page of an invented estate; "" on a real one
	Speed    float64 // how fast Now runs against the real clock; 0 is 1
	Stopping bool    // the gateway was told to stop: after this nobody watches
	Site     Site
	Areas    []Place
	Stations []Station // of one kind in the order of the rules file; the page sorts the kinds in the coffee's order
	Points   []Point
	Alarms   []Alarm  // all that are not normal, and the normal ones that cannot see
	Prompts  []Prompt // due now or later, any order
	People   []Person
	Said     []Translation // what the site says of its own alarms and prompts in other languages
	Roster   Roster
	Links    []Link
	Outbox   Outbox
	Drill    Drill
}

// Site is the estate.
type Site struct {
	Name, Title string
	Zone        string // IANA name, for example "America/Lima"
	Board       string // this gateway's name
	Show        units.Choice
	Language    string // "en" or "es", until a person chooses
	RulesHash   string // of the rules that run
	Warnings    int    // of the rules file, not settled
}

// Place is an area.
type Place struct{ Name, Title string }

// Station is one tank, deck, dryer, bin, huller, roaster, store, room or yard.
type Station struct {
	Name, Title, Kind, Area string
	Loaded                  bool
	Lot                     string        // "" where no lot stands
	Since                   reading.Stamp // when that lot was loaded
	Kilograms               float64       // as loaded; 0: not weighed
}

// Translation is what the site says of one of its alarms or prompts in another language. What is "" stays in that of the rules file.
type Translation struct {
	Language    string `json:"language"`
	Alarm       string `json:"alarm"` // the name, without its place
	Title       string `json:"title,omitempty"`
	Cause       string `json:"cause,omitempty"`
	Consequence string `json:"consequence,omitempty"`
	Action      string `json:"action,omitempty"`
	Caution     string `json:"caution,omitempty"`
	Say         string `json:"say,omitempty"`
}

// Band is a stretch of values; without width it is not drawn.
type Band struct{ Low, High float64 }

// Limit is one limit of a point.
type Limit struct {
	Value    float64
	Above    bool // abnormal is above it
	Alarm    string
	Title    string
	Priority engine.Priority
	Critical bool // a second line: the Codex critical limit
}

// Point is one point with the reading that stands.
type Point struct {
	Name     string // "tank-1/ph"
	Station  string // "" for points of the board, a bus, a channel
	Title    string
	Quantity units.Quantity
	Computed bool // by a model or a derivation, not measured
	ByHand   bool // people read it and enter it
	Leading  bool // stands on its station's line of the overview; one a station
	// Corrected is what the rules file adds to the probe's own value; without a slope there is none.
	Corrected Correction
	Range     Band // ends of the bar
	Normal    Band
	Limits    []Limit
	Reading   reading.Reading // the newest; bad with its cause where the point is silent, overdue or frozen
	Known     reading.Stamp   // when it was last known; zero: never
}

// Correction makes a reading of what a probe gave: Slope times it plus Offset, in base units.
type Correction struct{ Offset, Slope float64 }

// Alarm is one alarm as it stands.
type Alarm struct {
	ID, Title, Place, PlaceTitle string
	Station                      string // "" where it stands for a bus, a channel or the board
	Area                         string
	Priority                     engine.Priority
	Class                        engine.Class
	State                        string // the words of DESIGN section 3, as engine.State prints them
	Active                       bool
	Held                         bool // active, and its input is unknown
	CannotSee                    bool // normal, and its input is unknown
	Occurrence                   int64
	Since                        reading.Stamp // of this occurrence
	Cause, Consequence           string
	Action, Caution              string
	RespondWithin                time.Duration
	Latching                     bool
	Shelvable                    time.Duration // longest shelf; 0: never
	Because                      string
	Values                       []Shown
	Count                        int // how often annunciated
	AcknowledgedBy               string
	AcknowledgedAt               reading.Stamp
	HiddenBy, HiddenWhy          string // who shelved or removed it, and why; by design: the condition or the alarm it depends on
	ShelfEnds                    reading.Stamp
	Calls                        []Call // of this occurrence, oldest first
	Next                         []Call // who is called next if nobody acknowledges
}

// Shown is a value that decided, with its limit, in base units.
type Shown struct {
	Point    string
	Title    string // of the point
	Value    float64
	Quantity units.Quantity
	Limit    float64
	HasLimit bool
}

// Call is one person called, or to be called, by one channel.
type Call struct {
	Person  string // as people read it
	Channel string
	At      reading.Stamp
	Fault   string // why it could not be sent; "" sent or not yet due
}

// Prompt is something to do that is no alarm.
type Prompt struct {
	ID, Title, Place, PlaceTitle, Station, Say string
	Due                                        bool          // In holds
	In, Early, Late                            time.Duration // time left, and its interval; Early == Late: none known
	Detail                                     string        // what it rests on
	Since                                      reading.Stamp
}

// Person may act on the page.
type Person struct {
	Name, Title string
	Rights      string // owner, technician, crew, reader, auditor
}

// Roster is who is on watch now.
type Roster struct {
	Watches []string // titles of those on duty
	OnWatch []string // people called first, as people read them
	Until   reading.Stamp
}

// Link is the state of one thing outside: broker, store, bus, channel, watcher.
type Link struct {
	Kind, Name, Title string
	Set               bool // false: there is none, for example no outside watcher
	Works             bool
	Cause             string // why it does not work
	Since             reading.Stamp
	Waiting           int64         // readings or messages that wait for it
	Step              time.Duration // of the clock alone: by how much somebody set it forward, below zero back
}

// Outbox is what the history holds for the store.
type Outbox struct {
	Readings int64
	Oldest   time.Duration // age of the oldest one
}

// Drill is the last test message that was answered.
type Drill struct {
	At reading.Stamp // zero: none yet
	By string
}

// Worker is one part of the gateway that runs.
type Worker struct {
	Name    string
	Stands  bool          // it stands still
	Beat    time.Duration // since it last showed life
	Because string
}

// Act is what a person does.
type Act struct {
	Do         string // one of the Do constants
	Alarm      string // acts on alarms
	Occurrence int64  // acknowledge: exactly this one
	Station    string // load, empty
	Lot        string
	Kilograms  float64 // 0: not weighed
	By         string  // name of a person of the rules file
	Why        string
	What       string        // mark; close-out: what it was
	Point      string        // enter: of a probe with part by-hand
	Value      string        // enter: what was read, with its unit
	Person     string        // drill: who is sent the exercise
	Second     string        // the second person, where an alarm of class safety is removed
	For        time.Duration // shelve
	Via        string        // "page", "command" or "link"
}

// What people may do.
const (
	DoAcknowledge = "acknowledge"
	DoReset       = "reset"
	DoShelve      = "shelve"
	DoUnshelve    = "unshelve"
	DoRemove      = "remove"
	DoReturn      = "return"
	DoLoad        = "load"
	DoEmpty       = "empty"
	DoDrill       = "drill"
	DoCloseOut    = "close-out" // afterwards: What it was, and Why is what was done
	DoNote        = "note"      // Why is what is to be written down of a station
	DoEnter       = "enter"     // Value was read at Point from an instrument that has no wire
	DoMark        = "mark"      // What was done to a station, as its kind declares it: stirred, chaff-emptied
)

// Refusal says why an act was not done, in words for the person who asked.
type Refusal struct {
	Kind string // one of the Refused constants
	Says string // a sentence, for example "Ana acknowledged it at 02:11."
}

// Kinds of refusal.
const (
	RefusedUnknown    = "unknown"    // no such alarm, station, person
	RefusedSuperseded = "superseded" // the occurrence is an older one
	RefusedState      = "state"      // not possible in this state
	RefusedRights     = "rights"     // this person may not
	RefusedLogin      = "login"      // nobody is logged in
	RefusedInput      = "input"      // something is missing or out of bounds
)

func (r *Refusal) Error() string { return r.Kind + ": " + r.Says }

// Answer is the one occurrence a link stands for, and the person it was sent to.
type Answer struct {
	Alarm      string
	Occurrence int64
	Person     string // name of the rules file
	Title      string // of the alarm with its place, as it was sent
	Drill      bool   // an exercise, and no alarm
	Expired    bool
}

// Column is what a point did in one stretch of time, in base units.
type Column struct {
	From, To  time.Time
	Low, High float64
	Last      float64
	Readings  int
	Uncertain bool   // at least one of them was uncertain
	Bad       bool   // all of them were bad: Low, High and Last say nothing
	Cause     string // of the worst one
}
