// Package logbook is the record of the mill: every alarm, every act of a person, every message tried, every change, in the order in which it was
// written, in one SQLite file of its own so that a damaged history never takes it along. Beside the record it keeps what must outlive the process:
// the engine's saved state, calibrations, lots on stations, tokens of answer links, the number of the boot.
//
// The record is append-only. Each entry is sealed with a SHA-256 over its content and the seal before it, so that a silent change shows (Verify);
// a correction is a new entry. It holds names of people as the rules file writes them, never their telephone numbers or addresses: those may have to
// be erased, and nothing in it can be.
//
// It may never hold back an alarm: every error is typed, and whoever gets one goes on without it.
//
// Concurrency: a Logbook may be used by many goroutines; writes go one after the other, each synced before it returns.
package logbook

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"millwarden/internal/database"
	"millwarden/internal/reading"
)

// Kinds of error, those of the file itself and those of tokens.
var (
	ErrFull    = database.ErrFull
	ErrDamaged = database.ErrDamaged
	ErrFolder  = database.ErrFolder
	ErrNewer   = database.ErrNewer

	ErrNoToken = errors.New("no such link")
	ErrUsed    = errors.New("the link was used")
	ErrExpired = errors.New("the link has expired")
)

// Kind of an entry.
type Kind string

// The kinds of entries.
const (
	Transition Kind = "transition"  // of an alarm
	Act        Kind = "act"         // of a person
	Message    Kind = "message"     // a try to send one
	Receipt    Kind = "receipt"     // what came back
	Lot        Kind = "lot"         // loaded, emptied
	Calibrated Kind = "calibration" // as found, as left
	Rules      Kind = "rules"       // the rules file changed
	ClockStep  Kind = "clock"       // the wall clock was set or stepped
	Start      Kind = "start"       // the gateway began or ended
	Fault      Kind = "fault"       // of the gateway itself
	Note       Kind = "note"        // what somebody wants to have written
)

// Entry is one line of the record.
type Entry struct {
	ID         int64 // set by Write; rises, and is the order of the record
	At         reading.Stamp
	Kind       Kind
	Alarm      string // "over-fermented@tank-1"
	Occurrence int64
	Place      string // station, bus, channel, probe or point
	Lot        string
	Who        string
	Why        string
	Text       string          // the line as people read it
	Data       json.RawMessage // the rest, for programs; nil: nothing
}

// Filter chooses entries; what is zero chooses all.
type Filter struct {
	Kinds      []Kind
	Alarm      string
	Occurrence int64
	Place      string
	Lot        string
	From, To   time.Time // wall time; To is not included
	After      int64     // only entries with a greater ID
	Limit      int       // 0: 1,000
	Newest     bool      // newest first
}

// Head is the last entry and its seal: printed on a record, it fixes all that stood before.
type Head struct {
	ID   int64
	Seal [32]byte
}

// Broken says where the record was changed after it was written.
type Broken struct {
	ID      int64
	Because string
}

func (b *Broken) Error() string {
	return "logbook: entry was changed after it was written: " + b.Because
}

// Pair is one point of a calibration, in the base units of the probe's quantity.
type Pair struct {
	Reference float64 `json:"reference"` // what is true: the buffer, the ice bath
	Read      float64 `json:"read"`      // what the probe gave
}

// Calibration is one check of a probe against references.
type Calibration struct {
	ID      int64
	At      reading.Stamp
	Probe   string
	Channel string // of the probe, as in `gives`; "" where it has one
	Kind    string // "two-point", "offset" and so on
	Points  []Pair
	AsFound json.RawMessage // error before, by the caller's form
	AsLeft  json.RawMessage // coefficients and error after
	Who     string
	Note    string
}

// Stay is one lot's time on one station.
type Stay struct {
	ID        int64
	Station   string
	Lot       string
	From      reading.Stamp
	To        reading.Stamp // zero while it lasts
	Loaded    float64       // kg; 0: not weighed
	Unloaded  float64       // kg; 0: not weighed
	Who       string        // who loaded
	EmptiedBy string
	Note      string
}

// Token stands for the right of one person to answer one occurrence; only the hash of what the link holds is kept.
type Token struct {
	Hash       [32]byte
	Alarm      string
	Occurrence int64
	Person     string
	Title      string // of the alarm with its place, as it was sent
	Expires    time.Time
	Used       time.Time // zero: not yet
}

// Logbook is the open record.
type Logbook struct{}

// Open opens or begins the logbook in dir. The data folder is held by the history; several processes may open the logbook. A damaged file is no
// error: it is set aside, and Aside tells so.
func Open(dir string) (*Logbook, error) { return nil, errors.ErrUnsupported }

// Close closes the file.
func (l *Logbook) Close() error { return errors.ErrUnsupported }

// Aside tells that the file found at Open was damaged and set aside; nil: it was not. The caller raises it as an alarm.
func (l *Logbook) Aside() *database.Aside { return nil }

// Write appends entries in one synced commit and gives the ID of the last.
func (l *Logbook) Write(entries ...Entry) (int64, error) { return 0, errors.ErrUnsupported }

// Entries gives the entries that the filter chooses.
func (l *Logbook) Entries(ctx context.Context, f Filter) ([]Entry, error) {
	return nil, errors.ErrUnsupported
}

// Head gives the last entry's ID and seal.
func (l *Logbook) Head(ctx context.Context) (Head, error) { return Head{}, errors.ErrUnsupported }

// Verify reckons all seals again. The error is *Broken at the first entry that does not fit.
func (l *Logbook) Verify(ctx context.Context) (Head, error) { return Head{}, errors.ErrUnsupported }

// SaveEngine keeps the engine's state in place of the last one.
func (l *Logbook) SaveEngine(state []byte) error { return errors.ErrUnsupported }

// LoadEngine gives the state last saved, nil if there is none.
func (l *Logbook) LoadEngine() ([]byte, error) { return nil, errors.ErrUnsupported }

// NextBoot gives the number of this boot of the board: one more than the last, or the same where the kernel's boot id is the same because only the
// process was started anew. An empty id always counts.
func (l *Logbook) NextBoot(kernelID string, at time.Time) (uint32, error) {
	return 0, errors.ErrUnsupported
}

// Calibrate keeps a calibration, with its entry in the record, in one commit.
func (l *Logbook) Calibrate(c Calibration) (int64, error) { return 0, errors.ErrUnsupported }

// Calibrations gives those of a probe ("": of all), newest first.
func (l *Logbook) Calibrations(ctx context.Context, probe string) ([]Calibration, error) {
	return nil, errors.ErrUnsupported
}

// Load begins a stay, with its entry in the record, in one commit. A stay that still lasts on that station is ErrOccupied.
func (l *Logbook) Load(s Stay) (int64, error) { return 0, errors.ErrUnsupported }

// Empty ends the stay on a station, with its entry in the record, in one commit, and gives it. ErrNotLoaded: none lasts there.
func (l *Logbook) Empty(station string, at reading.Stamp, kg float64, who, note string) (Stay, error) {
	return Stay{}, errors.ErrUnsupported
}

// Stays of a lot or a station.
var (
	ErrOccupied  = errors.New("a lot stands there")
	ErrNotLoaded = errors.New("no lot stands there")
)

// Stays gives the stays of a station and a lot ("": of all), oldest first.
func (l *Logbook) Stays(ctx context.Context, station, lot string) ([]Stay, error) {
	return nil, errors.ErrUnsupported
}

// Standing gives the stays that last now.
func (l *Logbook) Standing(ctx context.Context) ([]Stay, error) { return nil, errors.ErrUnsupported }

// KeepToken keeps a token for an answer link.
func (l *Logbook) KeepToken(t Token) error { return errors.ErrUnsupported }

// FindToken looks a token up without using it. ErrNoToken, or the token with ErrUsed or ErrExpired.
func (l *Logbook) FindToken(ctx context.Context, hash [32]byte, now time.Time) (Token, error) {
	return Token{}, errors.ErrUnsupported
}

// UseToken marks a token as used: once. The errors are those of FindToken.
func (l *Logbook) UseToken(hash [32]byte, now time.Time) (Token, error) {
	return Token{}, errors.ErrUnsupported
}
