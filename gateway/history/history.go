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
// # Roll-up
//
// Readings come in as rows: all points of a second, one commit. RollUp moves those that are in the store, of hours that are over, into chunks of one
// point and hour, later day, which take a tenth of the room. A chunk knows no positions: From passes over what is rolled up, which is below the
// watermark, so that no publisher asks for it; Range, Pixels, Latest, Recent and Replay give it as before, with Position 0 (but for Latest), and
// with monotonic times within 20 ms.
//
// # Where it breaks
//
// Every row and chunk carries a CRC32C. A damaged one is reported as *Damage, never returned, and so is one that is not there though it should be: rows
// by their positions, chunks by a list of them. Counts().Damaged tells it without being asked for the readings. A damaged file is set aside and a new one begun. A full disk
// makes Append return *Unwritten (ErrFull) and keep the readings in memory, bounded, until there is room.
//
// Concurrency: a History may be used by many goroutines; appends go one after the other, and reads do not wait for them.
//
// The package is longer than most because the order of bytes on disk, the queries and the recovery cannot be understood apart.
package history

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"sync"
	"time"

	"millwarden/internal/database"
	"millwarden/internal/reading"
)

//go:embed migrations
var migrations embed.FS

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

// Damage says what cannot be read any more: positions, or where First is 0 the readings of a point in a stretch of time that were rolled up.
type Damage struct {
	First, Last uint64
	Point       string
	From, To    time.Time
	Err         error
}

func (d *Damage) Error() string {
	if d.First == 0 {
		return fmt.Sprintf("history: %s from %s to %s: %v", d.Point, d.From.Format(time.RFC3339), d.To.Format(time.RFC3339), d.Err)
	}
	return fmt.Sprintf("history: positions %d to %d: %v", d.First, d.Last, d.Err)
}

func (d *Damage) Unwrap() []error { return []error{ErrDamaged, d.Err} }

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

// Options of a history. The zero value is the gateway's.
type Options struct{}

const (
	fileName = "history.db"
	// pageSize: measured 7,971 bytes a commit on the device with 1024, 11,053 with 4096 [measured-store 3, What moves the wear number].
	pageSize = 1024
	// readers: the page, the publisher and one query of a person at once; a megabyte of memory each [measured-store 6].
	readers = 3
	// busyWait is how long an append waits for another process, for example a copy being taken. Chosen: shorter than the input that fits in memory.
	busyWait = 5 * time.Second
	// queryWait bounds every query: a long reader keeps the log from being used again, and the file grows.
	queryWait = 20 * time.Second
	// openWait bounds what Open reads. Chosen: a slow card with a damaged table of stretches is read whole.
	openWait = 5 * time.Minute
)

// History is the readings of one data folder.
type History struct {
	dir  string
	lock *database.Lock

	writing         sync.Mutex // held by the one goroutine that writes: Append, Settle, Retain, Close
	waiting         ring       // readings accepted and not yet written; guarded by writing
	pending         bool       // the mark is newer than the file; guarded by writing
	ended           bool       // Close was called; guarded by writing
	lostRow         bool       // Open found a row whose length is not known; guarded by writing
	scratch         scratch    // of the writer
	pen             pen        // guarded by writing
	moved, repeated uint64     // for Counts; guarded by writing

	reserved uint64 // no position above it was ever given; guarded by writing

	trusting bool // checksums are left out; only the test that shows what they are for sets it

	tending sync.Mutex // held by RollUp and Retain, the only ones that change chunks; taken before writing
	roller  roller     // guarded by tending

	mu   sync.RWMutex // guards what follows; written only by who holds writing
	file *database.File
	// rowsFrom selects rows of a stretch that begins at ?1 and ends at ?3, from the one that holds position ?2 on.
	rowsFrom *sql.Stmt
	names    *dictionary
	closed   []stretch // never changed in place but by append
	open     stretch
	last     uint64 // newest position given
	written  uint64 // end of the last row in the file; 0: none
	mark     Mark
	aside    *database.Aside
	counts   Counts
	damaged  map[uint64]uint64 // first to last of the damages that are counted
	spoiled  map[int64]bool    // keys of damaged chunks that are counted
}

// Open opens or begins the history in dir and takes the folder for this process. ErrInUse, ErrFolder, ErrNewer and ErrFull tell what a person must do.
// A damaged file is no error: it is set aside, and Aside tells so.
func Open(dir string, _ Options) (*History, error) { return open(dir, false) }

func open(dir string, trusting bool) (*History, error) {
	lock, err := database.Hold(dir)
	if err != nil {
		return nil, fmt.Errorf("history: opening: %w", err)
	}
	h := &History{dir: dir, lock: lock, damaged: map[uint64]uint64{}, spoiled: map[int64]bool{}, trusting: trusting}
	if h.reserved, err = readReserved(dir); err != nil {
		return nil, errors.Join(fmt.Errorf("history: opening: %w", err), lock.Release())
	}
	err = h.begin()
	if errors.Is(err, ErrDamaged) {
		err = h.renew(err)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("history: opening: %w", err), lock.Release())
	}
	h.keepSpare()
	return h, nil
}

// begin opens the file and reads what is kept in memory of it.
func (h *History) begin() error {
	ctx, cancel := context.WithTimeout(context.Background(), openWait)
	defer cancel()
	steps, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	file, err := database.Open(ctx, filepath.Join(h.dir, fileName), steps, database.Options{Page: pageSize, Readers: readers, Wait: busyWait})
	if err != nil {
		return err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.file, h.lostRow, h.roller = file, false, newRoller()
	h.rowsFrom, err = file.Read.PrepareContext(ctx, `SELECT first, data FROM row
			WHERE first BETWEEN coalesce((SELECT max(first) FROM row WHERE first BETWEEN ?1 AND ?2), ?2) AND ?3 ORDER BY first`)
	if err == nil {
		err = h.load(ctx)
	}
	if err != nil {
		h.file = nil
		return errors.Join(database.Explain(err), h.pen.drop(), file.Close())
	}
	// A new file beside an old reservation, a file copied back from long ago, or a last row of unknown length: go on above all that was ever given.
	fresh := h.last == 0
	if fresh || h.lostRow || h.last+reserveStep < h.reserved {
		h.last = max(h.last, h.reserved)
	}
	if fresh {
		h.mark = Mark{Commit: h.last, Stored: h.last} // what was below is not here to be sent
	}
	h.scratch.points = nil // they are of the file before
	h.waiting.meet(h.names)
	return nil
}

// renew sets the damaged file aside and begins a new one.
func (h *History) renew(cause error) error {
	h.mu.Lock()
	old := h.file
	h.file = nil
	h.mu.Unlock()
	if old != nil {
		_, _ = h.pen.drop(), old.Close() // it is damaged: what closing says does not matter any more
	}
	aside, err := database.SetAside(filepath.Join(h.dir, fileName), cause)
	if err != nil {
		return err
	}
	h.mu.Lock()
	h.aside = aside
	h.mu.Unlock()
	return h.begin()
}

// Close writes what waits, closes the file and lets go of the folder.
func (h *History) Close() error {
	h.writing.Lock()
	defer h.writing.Unlock()
	if h.ended {
		return nil
	}
	h.ended = true
	var failed error
	if h.file != nil {
		if err := h.write(true); err != nil {
			failed = fmt.Errorf("history: closing: %w", err)
		}
		h.mu.Lock()
		failed = errors.Join(failed, h.pen.drop(), h.file.Close())
		h.file = nil
		h.mu.Unlock()
	}
	return errors.Join(failed, h.lock.Release())
}

// errClosed is what every call gives after Close, and while no new file could be begun in place of a damaged one.
var errClosed = errors.New("history: no file is open")

// inTransaction does several writes in one commit.
func (h *History) inTransaction(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := h.beginTx(ctx)
	if err != nil {
		return err
	}
	if err := do(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// beginTx begins a transaction on the one connection that writes. The caller holds writing, or nobody else has the history yet.
func (h *History) beginTx(ctx context.Context) (tx *sql.Tx, err error) {
	err = h.pen.do(ctx, h.file.Write, func() error {
		tx, err = h.pen.conn.BeginTx(ctx, nil)
		return err
	})
	return tx, err
}

// Aside tells that the file found at Open, or since, was damaged and set aside; nil: it was not. The caller raises it as an alarm.
func (h *History) Aside() *database.Aside {
	h.mu.RLock()
	defer h.mu.RUnlock()
	return h.aside
}

// First is the position of the oldest entry still kept, 0 if there is none.
func (h *History) First() uint64 {
	h.mu.RLock()
	defer h.mu.RUnlock()
	if len(h.closed) > 0 {
		return h.closed[0].first
	}
	return h.open.first
}

// Last is the position of the newest entry; where a file was set aside it is the one below which no position is given any more. 0: none yet.
func (h *History) Last() uint64 {
	h.mu.RLock()
	defer h.mu.RUnlock()
	return h.last
}

// Watermark is the mark as last set.
func (h *History) Watermark() Mark {
	h.mu.RLock()
	defer h.mu.RUnlock()
	return h.mark
}

// SetWatermark keeps the mark: on disk with the next Append or Close, in the same commit as the readings, so that it costs the card nothing. A
// mark that a power cut loses is one second old; what is sent again on its account the store takes for the same.
func (h *History) SetWatermark(m Mark) error {
	h.writing.Lock()
	defer h.writing.Unlock()
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.file == nil {
		return errClosed
	}
	if m.Commit > h.last || m.Stored > h.last || m.Commit > math.MaxInt64 || m.Stored > math.MaxInt64 {
		return fmt.Errorf("history: watermark %d, %d: the newest reading is %d", m.Commit, m.Stored, h.last)
	}
	h.pending = h.pending || m != h.mark
	h.mark = m
	return nil
}

// readMark reads the mark into memory and gives the end of the last row as of the newest stretch. A damaged mark counts as none: more is sent again.
func (h *History) readMark(ctx context.Context) (last uint64, err error) {
	var m Mark
	var check int64
	err = h.file.Read.QueryRowContext(ctx, "SELECT last, safe, stored, boot, crc FROM mark").Scan(&last, &m.Commit, &m.Stored, &m.BootID, &check)
	if errors.Is(err, sql.ErrNoRows) {
		h.mark = Mark{}
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	if check != markSum(last, m) {
		h.counts.Damaged++
		return 0, nil
	}
	h.mark = m
	return last, nil
}

func writeMark(ctx context.Context, tx *sql.Tx, last uint64, m Mark) error {
	_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO mark (id, last, safe, stored, boot, crc) VALUES (1, ?, ?, ?, ?, ?)",
		int64(last), int64(m.Commit), int64(m.Stored), m.BootID, markSum(last, m))
	return err
}

func markSum(last uint64, m Mark) int64 {
	return numbersSum(m.BootID, int64(last), int64(m.Commit), int64(m.Stored))
}

// errGone is the cause of damage where rows that were written are not there.
var errGone = errors.New("rows are missing")

// mostDamages bounds what is remembered to count each damage once. Chosen: a file with more is set aside by a person anyway.
const mostDamages = 1000

// damage counts and reports positions that cannot be read; nil if retention has removed them meanwhile.
func (h *History) damage(first, last uint64, cause error) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	now := view{h.closed, h.open}
	if i := now.at(first); i == now.count() || now.get(i).first > first {
		return nil
	}
	d := &Damage{First: first, Last: max(first, last), Err: cause}
	h.noteDamage(d)
	return d
}

// noteDamage counts a damage when it is met first. The caller holds mu.
func (h *History) noteDamage(d *Damage) {
	if _, known := h.damaged[d.First]; known || len(h.damaged) >= mostDamages {
		return
	}
	h.damaged[d.First] = d.Last
	h.counts.Damaged += d.Last - d.First + 1
}

// Counts tells what has happened since Open.
func (h *History) Counts() Counts {
	h.mu.RLock()
	defer h.mu.RUnlock()
	c := h.counts
	for _, end := range []string{"", "-wal"} {
		if info, err := os.Stat(filepath.Join(h.dir, fileName+end)); err == nil {
			c.Bytes += info.Size()
		}
	}
	return c
}
