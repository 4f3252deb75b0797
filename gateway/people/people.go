// Package people keeps who may log in to the page: hashes of passwords, one-time codes, sessions, passkeys. Who somebody is and what he may do stands in the
// rules file (person, rights); here is only what proves that it is he. No login exists until somebody makes one: there is no default.
//
// Everything is in people.db of the data folder, a file for its owner alone (mode 0600), apart from the logbook, because that is copied and shown.
// Of passwords an Argon2id hash is kept [RFC 9106], of codes and sessions, which are random and long, their SHA-256, of passkeys the
// public half: who reads the file cannot log in with it.
//
// Concurrency: a Book may be used by many goroutines, and several processes may open the same folder: what a command changes holds at once.
package people

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"millwarden/internal/database"
)

//go:embed migrations
var migrations embed.FS

// Kinds of refusal.
var (
	// ErrWrong does not tell a wrong name from a wrong password. [ASVS 5.0.0 6.3.8]
	ErrWrong = errors.New("name or password is wrong")
	ErrCode  = errors.New("the code is not in force")
	ErrBusy  = errors.New("too many people log in at once")
)

// Wait says that there were too many failures, and when to try again.
type Wait struct{ For time.Duration }

func (w *Wait) Error() string { return "too many wrong tries, wait " + w.For.String() }

const (
	fileName = "people.db"
	// busyWait is how long a statement waits for another process: a command writes one row.
	busyWait = 2 * time.Second
	// workWait bounds one piece of work on the file.
	workWait = 5 * time.Second
)

// Options of a Book. The zero value is right for a gateway.
type Options struct {
	Cost Cost             // of hashing a password; zero: DefaultCost. Tests take less.
	Now  func() time.Time // wall clock; nil: time.Now
}

// Book is the open file.
type Book struct {
	file     *database.File
	cost     Cost
	now      func() time.Time
	queue    *queue
	throttle *throttle

	mu    sync.Mutex // guards first and loose
	first string     // SHA-256 of the code of the first start; "": none
	loose map[[32]byte]Session
}

// Open opens or begins the file in dir. A damaged one is an error: to begin a new one would let in whoever comes first.
func Open(dir string, o Options) (*Book, error) {
	if o.Cost == (Cost{}) {
		o.Cost = DefaultCost
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	path := filepath.Join(dir, fileName)
	if err := private(path); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(context.Background(), workWait)
	defer cancel()
	file, err := openFile(ctx, path)
	if err != nil {
		return nil, err
	}
	return &Book{file: file, cost: o.Cost, now: o.Now, queue: newQueue(), throttle: newThrottle(), loose: map[[32]byte]Session{}}, nil
}

// private makes the file for its owner alone before anything is written into it; what SQLite puts beside it takes over its mode. A file that others
// may read already is refused: what stood in it is no secret any more.
func private(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDONLY, 0o600) //nolint:gosec // a name of our own in the folder that the owner named
	if err != nil {
		return fmt.Errorf("people: %w", database.Explain(err))
	}
	defer f.Close() //nolint:errcheck // nothing was written
	info, err := f.Stat()
	if err != nil {
		return fmt.Errorf("people: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return fmt.Errorf("people: others may read %s (mode %04o); run: chmod 600 %s, then give everybody a new password", path, info.Mode().Perm(), path)
	}
	return nil
}

// Close closes the file.
func (b *Book) Close() error { return b.file.Close() }

// change does writes in one synced commit.
func (b *Book) change(doing string, do func(context.Context, *sql.Tx) error) error {
	ctx, cancel := context.WithTimeout(context.Background(), workWait)
	defer cancel()
	tx, err := b.file.Write.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("people: %s: %w", doing, database.Explain(err))
	}
	if err = do(ctx, tx); err != nil {
		_ = tx.Rollback() // the cause is the error that counts
	} else {
		err = tx.Commit()
	}
	if err != nil {
		return fmt.Errorf("people: %s: %w", doing, database.Explain(err))
	}
	return nil
}

// look asks for one row; found is false if there is none.
func (b *Book) look(doing, query string, args []any, into ...any) (found bool, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), workWait)
	defer cancel()
	err = b.file.Read.QueryRowContext(ctx, query, args...).Scan(into...)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return false, nil
	case err != nil:
		return false, fmt.Errorf("people: %s: %w", doing, database.Explain(err))
	}
	return true, nil
}
