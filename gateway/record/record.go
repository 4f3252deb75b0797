// Package record makes the record of a lot: one document that a buyer, a certifier or the owner reads next year without this program. It gathers from the
// record, the history and the rules file where the lot stood, what was measured there against which limits, where nothing was measured and why, which alarms
// came and what was done by whom, how the instruments were checked, and the weights from the cherry to the roasted coffee.
//
// The fields follow the monitoring, corrective-action and verification records of Codex CXC 1-1969 (2022), chapter two, as project reference 7 lists them from
// memory. What the program cannot know (what became of affected coffee, who reviewed) is a line to fill in by hand, never a guess.
//
// Concurrency: Gather and the writers are single calls; a Record is a value.
package record

import (
	"context"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/internal/units"
	"millwarden/rules/check"
)

// History gives curves. *history.History is one.
type History interface {
	Pixels(ctx context.Context, point string, from, to time.Time, n int) ([]history.Column, error)
}

// Logbook gives entries, calibrations and the head of the chain. *logbook.Logbook is one.
type Logbook interface {
	Entries(ctx context.Context, f logbook.Filter) ([]logbook.Entry, error)
	Calibrations(ctx context.Context, probe string) ([]logbook.Calibration, error)
	Head(ctx context.Context) (logbook.Head, error)
}

// Sources are what a record is made from.
type Sources struct {
	Plan    *check.Plan
	Show    func(lot string) (lots.Shown, bool)
	History History
	Logbook Logbook
	Version string
	Now     time.Time
	Demo    string // what is said on every page of an invented estate; "" on a real one
}

// Record is everything that stands in the document. Times are UTC, values in base units.
type Record struct {
	Lot         lots.Shown
	Family      []lots.Shown // the lots it was made of, farthest first
	Site        check.Site
	Demo        string
	Language    string // of the document: "es", else English
	Version     string
	RulesHash   string
	Made        time.Time
	From, To    time.Time
	Head        logbook.Head
	Stays       []Stay
	Deviations  []Deviation
	Instruments []Instrument
	Changes     []Line // of the rules, the clock and the gateway while the lot was on its way
	Notes       []Line
	people      map[string]string
	names       names
	rulings     []ruling // which rules were in force, oldest first
}

// Stay is one stay with what was measured during it.
type Stay struct {
	Lot, Station, Title, Kind string
	Number                    int // in the order of the way
	From, To                  time.Time
	Lasts                     bool // it has not ended; To is when the record was made
	Loaded, Unloaded          lots.Kilograms
	Who, EmptiedBy, Note      string
	Curves                    []Curve
	Marks                     []Mark
}

// Curve is one point during a stay.
type Curve struct {
	Point, Title string
	Quantity     units.Quantity
	Computed     bool
	ByHand       bool // people read it and enter it
	Columns      []history.Column
	Gaps         []Gap
	Doubts       []Gap // uncertain stretches
	Limits       []Limit
	Probe        string // name of who gives it; "" computed
	Checked      time.Time
	Low, High    float64
	Mean         float64
	Last         float64
	Readings     int // that are not bad
	Known        time.Duration
	Missing      time.Duration
	Doubtful     time.Duration
	Outside      time.Duration // beyond an action limit
}

// Gap is a stretch without a good reading.
type Gap struct {
	From, To time.Time
	Cause    string
}

// Limit is a line of a curve.
type Limit struct {
	Value    float64
	Above    bool // abnormal is above it
	Critical bool // of the Codex plan; else the alarm's own, which comes first
	Title    string
	Source   string
	From, To time.Time // while it held, within the stay
}

// Mark is an event on a curve.
type Mark struct {
	At     time.Time
	Letter string // H, M, L of an alarm, else a number of the list of steps
	Text   string
}

// Deviation is one occurrence of an alarm at a station while the lot stood there.
type Deviation struct {
	Number                   int
	Alarm, Title, Place      string
	Priority, Class          string
	Occurrence               int64
	From, To                 time.Time
	Stands                   bool // it has not ended
	Because                  string
	Extreme                  string
	point                    string // the title with which Extreme begins
	AcknowledgedBy           string
	Acknowledged             time.Time
	Cause, Consequence, Told string // the rules' own words: probable cause, what it leads to, what is to be done
	Done                     []Line // what people did and wrote at the station meanwhile
	Called                   []string
	Lot                      string
	Kg                       lots.Kilograms
}

// Instrument is a probe that measured the lot, with the check that was in force.
type Instrument struct {
	Probe, Title, Part, Gives string
	Checked                   time.Time // zero: never, as far as the record goes
	Kind                      string
	Found                     []logbook.Pair
	Left                      string
	Who, Note                 string
	Due                       time.Time // zero: no interval is set
	Quantity                  units.Quantity
}

// Line is one line of the record.
type Line struct {
	ID   int64
	At   time.Time
	Who  string
	Text string
	Why  string
}
