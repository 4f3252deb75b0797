// Package logbook is the record of the mill: every alarm, every act of a person, every message tried, every change, in the order in which it was
// written, in one SQLite file of its own so that a damaged history never takes it along. Beside the record it keeps what must outlive the process:
// the engine's saved state, calibrations, tokens of answer links, the number of the boot.
//
// What is done to lots stands in the record alone; the book of lots (package lots) is folded from it.
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
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"time"

	"millwarden/gateway/logbook/query"
	"millwarden/internal/database"
	"millwarden/internal/reading"
)

//go:generate go run github.com/sqlc-dev/sqlc/cmd/sqlc@v1.31.1 generate -f query/sqlc.yaml

//go:embed migrations
var migrations embed.FS

// Kinds of error, those of the file itself and those of tokens. What people enter wrongly about lots is a *lots.Refusal.
var (
	ErrFull    = database.ErrFull
	ErrDamaged = database.ErrDamaged
	ErrFolder  = database.ErrFolder
	ErrNewer   = database.ErrNewer

	ErrNoToken = errors.New("no such link")
	ErrUsed    = errors.New("the link was used")
	ErrExpired = errors.New("the link has expired")
)

const (
	fileName = "logbook.db"
	// readers: the page and a query of a person.
	readers = 2
	// busyWait is how long a write waits for another process, for example a copy being taken. Chosen: well below the time in which a message must
	// go out, since messages wait for their line.
	busyWait = 2 * time.Second
	// writeWait bounds a write whole, so that a card that hangs cannot hold back an alarm for longer.
	writeWait = 5 * time.Second
	// queryWait bounds every query: a long reader keeps the log from being used again, and the file grows.
	queryWait = 20 * time.Second
)

// Logbook is the open record.
type Logbook struct {
	file  *database.File
	aside *database.Aside
}

// Open opens or begins the logbook in dir. The data folder is held by the history; several processes may open the logbook. A damaged file is no
// error: it is set aside, and Aside tells so.
func Open(dir string) (*Logbook, error) {
	ctx, cancel := context.WithTimeout(context.Background(), queryWait)
	defer cancel()
	path := filepath.Join(dir, fileName)
	l := &Logbook{}
	var err error
	if l.file, err = open(ctx, path); errors.Is(err, ErrDamaged) {
		if l.aside, err = database.SetAside(path, err); err == nil {
			l.file, err = open(ctx, path)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("logbook: opening %s: %w", path, database.Explain(err))
	}
	return l, nil
}

func open(ctx context.Context, path string) (*database.File, error) {
	steps, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	file, err := database.Open(ctx, path, steps, database.Options{Readers: readers, Wait: busyWait})
	if err != nil {
		return nil, err
	}
	// The structure of the whole file: it is small, and what is found now is not found by the first alarm.
	var found string
	err = file.Write.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&found)
	if err == nil && found != "ok" {
		err = fmt.Errorf("%w: %s", ErrDamaged, found)
	}
	if err != nil {
		return nil, errors.Join(database.Explain(err), file.Close())
	}
	return file, nil
}

// Close closes the file.
func (l *Logbook) Close() error { return l.file.Close() }

// Aside tells that the file found at Open was damaged and set aside; nil: it was not. The caller raises it as an alarm.
func (l *Logbook) Aside() *database.Aside { return l.aside }

// change does writes in one synced commit. What fails leaves nothing behind.
func (l *Logbook) change(doing string, do func(context.Context, *sql.Tx, *query.Queries) error) error {
	ctx, cancel := context.WithTimeout(context.Background(), writeWait)
	defer cancel()
	tx, err := l.file.Write.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("logbook: %s: %w", doing, database.Explain(err))
	}
	if err = do(ctx, tx, query.New(tx)); err != nil {
		_ = tx.Rollback() // the cause is the error that counts
	} else {
		err = tx.Commit()
	}
	if err != nil {
		return fmt.Errorf("logbook: %s: %w", doing, database.Explain(err))
	}
	return nil
}

// look does reads with a deadline.
func (l *Logbook) look(ctx context.Context, doing string, do func(context.Context, *query.Queries) error) error {
	ctx, cancel := context.WithTimeout(ctx, queryWait)
	defer cancel()
	if err := do(ctx, query.New(l.file.Read)); err != nil {
		return fmt.Errorf("logbook: %s: %w", doing, database.Explain(err))
	}
	return nil
}

// columns of a stamp, in milliseconds.
func columns(s reading.Stamp) (wall, mono, boot, clock int64) {
	if s.Set {
		clock = 1
	}
	return s.Wall.UnixMilli(), s.Mono.Milliseconds(), int64(s.Boot), clock
}

func stampOf(wall, mono, boot, clock int64) reading.Stamp {
	return reading.Stamp{Wall: time.UnixMilli(wall).UTC(), Mono: time.Duration(mono) * time.Millisecond, Boot: uint32(boot), Set: clock != 0}
}
