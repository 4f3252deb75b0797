package engine

import (
	"time"

	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// Priority of an alarm.
type Priority uint8

const (
	Low Priority = iota
	Medium
	High
)

func (p Priority) String() string { return [...]string{"low", "medium", "high"}[p] }

// Class of an alarm: what is at stake.
type Class uint8

const (
	Safety Class = iota
	Food
	Quality
	Equipment
)

func (c Class) String() string { return [...]string{"safety", "food", "quality", "equipment"}[c] }

// Kind tells an alarm (needs a response) from a prompt (shown only) and an event (logged only).
type Kind uint8

const (
	KindAlarm Kind = iota
	KindPrompt
	KindEvent
)

// Plan is all that the engine decides on, checked and in base units. rules.Load writes it.
type Plan struct {
	Points []Point
	Alarms []Alarm
	Zone   *time.Location
	Night  Span
	// Present are the hours in which somebody is at the mill and awake, for `watched`.
	Present []Span
}

// Span is hours by the site's clock, over midnight where To <= From; Days (indexed by time.Weekday)
// are those on which it begins; none set means every day.
type Span struct {
	From, To int // minutes after midnight; the whole day is 0, 1440
	Days     [7]bool
}

// Point is one point that the engine may see or reckon.
type Point struct {
	Name         string // full: "tank-1/ph"
	Quantity     units.Quantity
	OverdueAfter time.Duration // 0: never (computed points)
	Formula      *formula.Node // derived points only
	Every        time.Duration // derived points: at most so often
	Update       time.Duration // measured points: how often it is read; 0: a third of OverdueAfter
	Formerly     string        // full old name: takes over the standing value and the windows of a renamed point
}

// Alarm is one alarm, prompt or event at one place.
type Alarm struct {
	ID              string // "over-fermented@tank-1": the name and where; identity over reloads
	Name            string
	Kind            Kind
	Title           string
	Place           string // station, bus, channel, probe or point it stands for
	PlaceTitle      string
	Area            string
	When            *formula.Node
	While           *formula.Node // nil: always
	SuppressedWhile *formula.Node // nil: never
	OnDelay         time.Duration
	OffDelay        time.Duration
	Priority        Priority
	Class           Class
	Cause           string
	Consequence     string
	Action          string
	Caution         string
	RespondWithin   time.Duration
	VerifyWith      []Evidence
	CriticalLimit   *units.Amount
	Call            []string // watches or persons; empty: those on duty
	DependsOn       []string // IDs
	Latching        bool
	ReAnnunciate    time.Duration // 0: no
	Shelvable       time.Duration // longest shelf; 0: never
	Source          string
	Formerly        string
	Say             string
	Due             *formula.Node
	File            string // where it is written, for "because"
	Line            int
	Printed         string // printed form of when, delays, deadband and limits: a change of it starts delays anew
}

// Evidence is one thing shown beside an alarm: an expression or a text.
type Evidence struct {
	Formula *formula.Node
	Text    string
}
