package engine

import (
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// Transition is one step in the life of an alarm, with its because. The logbook keeps it before anybody is called.
type Transition struct {
	Alarm         *Alarm // of the plan in force; after a reload the old plan's, for an alarm withdrawn
	Event         Event
	From, To      State
	Occurrence    int64 // the present one; 0: none yet, and always for prompts and events
	NewOccurrence bool  // it opened with this transition: people are called
	At            reading.Stamp
	Because       string // a whole sentence: values, limit, since when, the rule and its line
	By, Why       string // of an act
	Second        string // the second person where one is needed
	Until         reading.Stamp
	Values        []Shown
}

// Shown is a value and its limit, of the comparison that decided.
type Shown struct {
	Point    string  // full name of the point read, "" where several are
	Text     string  // what was compared as written: "rise(air-temperature, 2 min)"
	Value    float64 // base unit; NaN while unknown
	Quantity units.Quantity
	Limit    float64
	HasLimit bool
}

// Standing is how an alarm stands now.
type Standing struct {
	Alarm          *Alarm
	State          State
	Active         bool // the condition is present after its delays, whatever is shown
	Occurrence     int64
	Since          reading.Stamp // of the present state
	ActiveSince    reading.Stamp // when the condition came; zero while it is not present
	AcknowledgedBy string
	AcknowledgedAt reading.Stamp
	Held           bool   // active, and its inputs are unknown: kept, never cleared by loss of signal
	CannotSee      bool   // not active, and its inputs are unknown
	Unseen         string // which input, and why, while Held or CannotSee
	Because        string // of the last transition
	Values         []Shown
	ShelfEnds      reading.Stamp // zero: not shelved
	Count          int           // how often this occurrence was annunciated
	Due            time.Duration // prompts with a due: the time left
	HasDue         bool
}

// Act is what a person does. By is always needed; Why for shelve and remove; Second, another person, to remove an alarm that may not be shelved.
type Act struct {
	Event           Event // Acknowledge, Reset, Shelve, Unshelve, Remove or Return
	Alarm           string
	Occurrence      int64 // Acknowledge: which one is meant
	By, Why, Second string
	For             time.Duration // Shelve: how long
	OneShot         bool          // Shelve: ends already when the condition returns to normal
	At              reading.Stamp
}

// PointState is how a point stands now.
type PointState struct {
	Known    bool
	Value    float64 // NaN while unknown
	Quantity units.Quantity
	Quality  reading.Quality
	Cause    string
	At       reading.Stamp // of the newest reading
	Overdue  bool
	Frozen   bool
	Seen     bool // at least one reading came
}

// RefusalKind is why an act was refused.
type RefusalKind uint8

const (
	NoSuchAlarm RefusalKind = iota
	NotNow                  // the table has no such step from this state
	Superseded              // the acknowledgement names an older occurrence
	Already                 // acknowledged before: harmless
	NotAllowed              // shelving one that may not be, or for too long
	Incomplete              // a name or a reason is missing
)

// Refusal is an act that changed nothing. By and At tell of whom was first, for Already.
type Refusal struct {
	Kind  RefusalKind
	Alarm string
	Event Event
	Text  string
	By    string
	At    reading.Stamp
}

func (r *Refusal) Error() string { return r.Event.String() + " " + r.Alarm + ": " + r.Text }
