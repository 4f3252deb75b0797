package engine

import (
	"time"

	"millwarden/internal/reading"
)

// Saved is the state of an engine as plain data: it can be written as JSON, read back and compared. All durations of it are on the monotonic
// clock of Saved.At.
type Saved struct {
	Version     int // savedVersion
	At          reading.Stamp
	Began       time.Duration // when the first engine of this line began to watch
	Occurrences int64         // the last occurrence number given
	Alarms      []SavedAlarm
	Points      []SavedPoint
	Moments     []SavedMoment
}

// SavedAlarm is the state of one alarm. Times that do not run are absent.
type SavedAlarm struct {
	ID                              string
	Base                            State
	Shelved, Suppressed, Removed    bool
	Present, Remembered             bool
	GateClosed, Blind               bool
	Priority                        Priority
	Occurrence                      int64
	Count                           int
	Since, ActiveSince              reading.Stamp
	AcknowledgedBy                  string
	AcknowledgedAt                  reading.Stamp
	Because                         string
	Values                          []Shown
	Printed                         string
	OnFor                           time.Duration  // how long the condition has been true toward the on-delay
	OnSince, OffSince               *time.Duration // running since
	ShelfBegan, ShelfEnds, AgainDue *time.Duration
	OneShot                         bool
	TailUntil                       *time.Duration // a dependence that has cleared suppresses until then
}

// SavedPoint is the standing value of one point.
type SavedPoint struct {
	Name      string
	Value     float64 // 0 while there is none
	Quality   reading.Quality
	Cause     string
	At        reading.Stamp
	Seen      bool
	Overdue   bool
	Resting   bool
	LastKnown *time.Duration
	Worked    *time.Duration // derived points: when last, and when next
	WorkDue   *time.Duration
}

// SavedMoment is when a moment came, the oldest first.
type SavedMoment struct {
	Name  string
	Times []time.Duration
}
