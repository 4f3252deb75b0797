// Package history keeps every reading on the board, in one SQLite file: appended durably about once a second, read back by position for the
// publisher, by time for charts, by monotonic time to fill the engine's windows after a start. It knows readings and nothing that decides.
//
// # What is kept
//
// A value is kept as a whole number of steps of its quantity (units.Quantity.StepsPerUnit), times in milliseconds. Round gives a reading as it
// will be read back; floor rounds before the engine sees a reading, so that engine, page, store and history never differ by a digit.
//
// # Positions
//
// Every reading kept has a position: 1, 2, 3 and so on, in the order of Append, for ever the same and never given twice, also after retention or
// after a damaged file was set aside (then the numbers jump forward).
//
// # Times of a point
//
// The time-series store takes two readings of a point at one millisecond for the same reading. So within a point no two readings have the same
// time, by this rule: a reading newer than the point's newest is kept as it is. A reading of an earlier time (a radio probe that was out of
// reach, a wall clock stepped back) is kept as it is too, if that millisecond is free. If it is taken by the same value and quality it is the
// same reading delivered again: it is counted, not kept. If it is taken by another, the new one moves to the next free millisecond. Readings of
// an unset clock are kept untouched and come under the rule when Settle gives them their time.
//
// # Where it breaks
//
// Every row carries a CRC32C. A damaged row is reported as *Damage, never returned. A damaged file is set aside and a new one begun. A full disk
// makes Append return *Unwritten (ErrFull) and keep the readings in memory, bounded, until there is room.
//
// Concurrency: a History may be used by many goroutines; appends go one after the other, and reads do not wait for them.
//
// The package is longer than most because the order of bytes on disk, the queries and the recovery cannot be understood apart.
package history

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/internal/database"
	"millwarden/internal/reading"
)

// Kinds of error, those of the file itself.
var (
	ErrFull    = database.ErrFull
	ErrDamaged = database.ErrDamaged
	ErrInUse   = database.ErrInUse
	ErrFolder  = database.ErrFolder
	ErrNewer   = database.ErrNewer
)

// Entry is a reading and its position.
type Entry struct {
	Position uint64
	reading.Reading
}

// Mark is how far the time-series store is known to have the readings; DESIGN decision 1.
type Mark struct {
	Commit uint64 // safe in the store up to here
	Stored uint64 // answered by the store up to here, under BootID
	BootID string // of the store
}

// Unwritten is the error of an Append whose readings are in memory only. They are written by a later Append; nothing need be done again.
type Unwritten struct {
	Waiting int    // readings in memory
	Lost    uint64 // readings that found no room there, since Open
	Err     error  // ErrFull where the disk is full
}

func (u *Unwritten) Error() string {
	return fmt.Sprintf("history: appending: %d readings wait in memory, %d lost: %v", u.Waiting, u.Lost, u.Err)
}

func (u *Unwritten) Unwrap() error { return u.Err }

// Damage says which positions cannot be read any more.
type Damage struct {
	First, Last uint64
	Err         error
}

func (d *Damage) Error() string {
	return fmt.Sprintf("history: positions %d to %d: %v", d.First, d.Last, d.Err)
}

func (d *Damage) Unwrap() []error { return []error{ErrDamaged, d.Err} }

// Options of a history.
type Options struct{}

// Counts is what has happened since Open, for metrics and the board's own points.
type Counts struct {
	Appended uint64 // readings written
	Repeated uint64 // readings delivered again and not kept
	Moved    uint64 // readings moved to a free millisecond
	Waiting  int    // readings in memory because the file could not be written
	Lost     uint64 // readings that found no room in memory meanwhile
	Damaged  uint64 // readings found unreadable
	Bytes    int64  // of history.db and its log
}

// History is the readings of one data folder.
type History struct{}

// Open opens or begins the history in dir and takes the folder for this process. ErrInUse, ErrFolder, ErrNewer and ErrFull tell what a person must do.
// A damaged file is no error: it is set aside, and Aside tells so.
func Open(dir string, o Options) (*History, error) { return nil, errors.ErrUnsupported }

// Close writes what waits, closes the file and lets go of the folder.
func (h *History) Close() error { return errors.ErrUnsupported }

// Aside tells that the file found at Open, or since, was damaged and set aside; nil: it was not. The caller raises it as an alarm.
func (h *History) Aside() *database.Aside { return nil }

// Append keeps readings by one durable commit and gives the position of the last. It keeps no reference to rs. See Unwritten for a disk that is full.
func (h *History) Append(rs []reading.Reading) (last uint64, err error) {
	return 0, errors.ErrUnsupported
}

// First is the position of the oldest entry still kept, Last that of the newest; 0 if there is none.
func (h *History) First() uint64 { return 0 }

// Last is the position of the newest entry, 0 if there is none.
func (h *History) Last() uint64 { return 0 }

// From appends at most limit entries in order, beginning with the first whose position is at least position. Positions removed by retention, or
// jumped over when a file was set aside, are passed over. Before a damaged stretch it stops; asked from within one, it returns *Damage: the
// caller counts it and goes on after its Last. An entry whose Stamp.Set is false has no known wall time yet: see Settle.
func (h *History) From(position uint64, limit int, into []Entry) ([]Entry, error) {
	return into, errors.ErrUnsupported
}

// Watermark is the mark as last set.
func (h *History) Watermark() Mark { return Mark{} }

// SetWatermark keeps the mark: on disk with the next Append or Close, in the same commit as the readings, so that it costs the card nothing. A
// mark that a power cut loses is one second old; what is sent again on its account the store takes for the same.
func (h *History) SetWatermark(m Mark) error { return errors.ErrUnsupported }

// Range gives the readings of a point with from <= time < to, oldest first, at most limit (0: all). Where some cannot be read it gives the others
// and *Damage.
func (h *History) Range(ctx context.Context, point string, from, to time.Time, limit int) ([]Entry, error) {
	return nil, errors.ErrUnsupported
}

// Column is what a point did in one stretch of time. Low to Mean say nothing where Readings equals Bad.
type Column struct {
	From, To                     time.Time
	Low, High, First, Last, Mean float64
	Readings, Bad                int             // bad readings are among Readings
	Worst                        reading.Quality // of all
	Cause                        string          // of the first of the worst
}

// Pixels gives at most n columns of equal width between from and to, oldest first. A column without readings is left out: a gap stays a gap.
func (h *History) Pixels(ctx context.Context, point string, from, to time.Time, n int) ([]Column, error) {
	return nil, errors.ErrUnsupported
}

// Recent visits the readings of a boot whose monotonic time is since or later, in the order of positions: to fill the engine's windows after a
// start. The reading is the visitor's for the call only. An error of visit ends it.
func (h *History) Recent(ctx context.Context, boot uint32, since time.Duration, visit func(*reading.Reading) error) error {
	return errors.ErrUnsupported
}

// Latest gives the newest entry of every point, by name.
func (h *History) Latest() []Entry { return nil }

// Settle gives the readings that were taken while the clock was not set their wall time, now that it is: those of this boot by the monotonic
// clock, those of earlier boots by estimate (uncertain, "time estimated"). Call it when the clock becomes set, and once after each start with a
// set clock; it is cheap where there is nothing to do.
func (h *History) Settle(ctx context.Context, now reading.Stamp) (settled int, err error) {
	return 0, errors.ErrUnsupported
}

// Removed is what Retain did.
type Removed struct {
	Readings uint64 // removed
	Unsent   uint64 // of them, not yet in the store
	Kept     uint64 // old enough, but kept because not yet in the store
}

// Retain removes whole stretches of readings that are all older than before. Those above the watermark stay unless evenUnsent.
func (h *History) Retain(ctx context.Context, before time.Time, evenUnsent bool) (Removed, error) {
	return Removed{}, errors.ErrUnsupported
}

// Counts tells what has happened since Open.
func (h *History) Counts() Counts { return Counts{} }

// Round gives a reading as it will be read back: value to the step of its quantity, times to the millisecond, wall time in UTC.
func Round(r reading.Reading) reading.Reading { return r }
