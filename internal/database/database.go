// Package database opens one SQLite file of the data folder (modernc.org/sqlite, no cgo): the pragmas, one connection that writes and a few that
// read, numbered migrations, the lock against a second process, and what an error of the file means. It knows nothing of the mill.
//
// Concurrency: a File may be used by many goroutines; SQLite itself lets one of them write at a time.
package database

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// What may be wrong with a file, told apart by what the caller can do about it.
var (
	ErrFull    = errors.New("no room left on the disk")                                      // passes by itself when room returns
	ErrDamaged = errors.New("the file is damaged")                                           // Aside, then begin a new one
	ErrNewer   = errors.New("the file was written by a newer millwarden")                    // run that one
	ErrInUse   = errors.New("another millwarden uses this folder")                           // stop it first
	ErrFolder  = errors.New("the data folder cannot be written; check its owner and rights") // a person must act
)

// readCache is how much of the file each connection that reads keeps in memory, kB; SQLite's own would be 2000. Chosen: a query reads on through the file, and what it has read is
// of no use after the next commit; with several connections that long queries had filled it was 20 MB of a board, measured by the soak.
const readCache = 256

// Options of a file.
type Options struct {
	Page    int // bytes of a page of a new file; 0: SQLite's own
	Readers int // connections that read at once; 0: one
	// Wait is how long a statement waits for another process that holds the file, for example a backup.
	Wait time.Duration
}

// File is an open database file.
type File struct {
	Path  string
	Write *sql.DB // one connection: SQLite has one writer, and so it is known which statement waits for which
	Read  *sql.DB // its connections refuse to write
}

// Open opens or begins the file at path, in write-ahead mode with every commit synced, and brings its schema up to date.
// The error is ErrDamaged, ErrNewer, ErrFull or ErrFolder where one of these is the cause.
func Open(ctx context.Context, path string, migrations fs.FS, o Options) (*File, error) {
	f := &File{Path: path}
	// Each commit is synced without the file's times, which cost a card the journal's blocks and tell nobody anything. Only Linux and its kin can; elsewhere they are written too.
	if _, err := sqlite.Fdatasync(true); err != nil && !errors.Is(err, sqlite.ErrFdatasyncUnavailable) {
		return nil, fmt.Errorf("database: %w", err)
	}
	var err error
	if f.Write, err = connect(path, o, "_txlock=immediate"); err != nil {
		return nil, err
	}
	f.Write.SetMaxOpenConns(1)
	if err := Migrate(ctx, f.Write, migrations); err != nil {
		return nil, errors.Join(err, f.Write.Close())
	}
	if f.Read, err = connect(path, o, "_query_only=1&_pragma=cache_size(-"+strconv.Itoa(readCache)+")"); err != nil {
		return nil, errors.Join(err, f.Write.Close())
	}
	f.Read.SetMaxOpenConns(max(o.Readers, 1))
	return f, nil
}

// connect prepares a pool; nothing is opened until its first statement.
func connect(path string, o Options, extra string) (*sql.DB, error) {
	// The size of a page must be set before anything is written. FULL syncs the log at each commit; automatic checkpoints are passive, so the
	// log is used again in place: a file that grows costs four times the writes on a card, hence no truncation and no size limit either.
	text := "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + extra + "&_pragma=busy_timeout(" + strconv.FormatInt(o.Wait.Milliseconds(), 10) + ")"
	page := o.Page
	if page > 0 {
		text += "&_pragma=page_size(" + strconv.Itoa(page) + ")"
	} else {
		page = 4096 // [SQLite, Pragma statements, page_size]
	}
	// A log of a megabyte whatever the page: what it may grow to is what a full disk must have spare.
	text += "&_pragma=wal_autocheckpoint(" + strconv.Itoa(1<<20/page) + ")"
	text += "&_foreign_keys=1&_journal_mode=WAL&_synchronous=FULL" // the driver runs these after the list above, which it sorts by letter
	db, err := sql.Open("sqlite", text)
	if err != nil {
		return nil, fmt.Errorf("database: opening %s: %w", path, err)
	}
	db.SetConnMaxIdleTime(0)
	return db, nil
}

// Close closes both pools. The last of them writes the log back into the file.
func (f *File) Close() error {
	return errors.Join(f.Read.Close(), f.Write.Close())
}

// Migrate runs the migrations that the file has not seen. They are named 0001-what.sql, 0002-what.sql and so on; each runs in one transaction
// with the number it leaves in user_version, so that a power cut leaves the old schema or the new one.
func Migrate(ctx context.Context, db *sql.DB, migrations fs.FS) error {
	names, err := fs.Glob(migrations, "*.sql")
	if err != nil || len(names) == 0 {
		return fmt.Errorf("database: migrations: none found: %w", errors.Join(err, fs.ErrNotExist))
	}
	var version int
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return fmt.Errorf("database: reading the schema's version: %w", Explain(err))
	}
	if version > len(names) {
		return fmt.Errorf("database: schema %d, known are %d: %w", version, len(names), ErrNewer)
	}
	for number := version + 1; number <= len(names); number++ {
		name := names[number-1]
		if !strings.HasPrefix(name, fmt.Sprintf("%04d-", number)) {
			return fmt.Errorf("database: migration %s: its number should be %04d", name, number)
		}
		if err := migrate(ctx, db, migrations, name, number); err != nil {
			return fmt.Errorf("database: migration %s: %w", name, Explain(err))
		}
	}
	return nil
}

func migrate(ctx context.Context, db *sql.DB, migrations fs.FS, name string, number int) error {
	text, err := fs.ReadFile(migrations, name)
	if err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if _, err = tx.ExecContext(ctx, string(text)); err == nil {
		_, err = tx.ExecContext(ctx, "PRAGMA user_version = "+strconv.Itoa(number))
	}
	if err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// Explain joins to an error of SQLite or of the file system which of the errors above it is; others pass as they are.
func Explain(err error) error {
	if err == nil {
		return nil
	}
	if kind := kindOf(err); kind != nil && !errors.Is(err, kind) {
		return fmt.Errorf("%w: %w", kind, err)
	}
	return err
}

func kindOf(err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return ErrFull
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return ErrFolder
	}
	var s *sqlite.Error
	if !errors.As(err, &s) {
		return nil
	}
	switch s.Code() & 0xff { // the low byte is the primary result code [SQLite, Result and Error Codes, section 2]
	case sqlite3.SQLITE_FULL:
		return ErrFull
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT:
		return ErrDamaged
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
		return ErrFolder
	}
	return nil
}

// Aside is what was done with a damaged file: it is kept under another name for a person to look at.
type Aside struct {
	Path  string // where it is now
	Cause error
}

func (a *Aside) Error() string {
	return fmt.Sprintf("%s was damaged and is kept as %s: %v", strings.SplitN(filepath.Base(a.Path), ".damaged", 2)[0], a.Path, a.Cause)
}

func (a *Aside) Unwrap() error { return a.Cause }

// SetAside puts a damaged file aside as path.damaged-1, or the next number that is free; see PutAside.
func SetAside(path string, cause error) (*Aside, error) {
	target, err := PutAside(path, "damaged")
	if err != nil {
		return nil, err
	}
	return &Aside{Path: target, Cause: cause}, nil
}

// SyncFolder makes new names in a folder durable.
func SyncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("database: syncing folder %s: %w", dir, err)
	}
	return errors.Join(d.Sync(), d.Close())
}
