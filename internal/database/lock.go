package database

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Lock holds a data folder for one process.
type Lock struct{ file *os.File }

// Hold makes the folder if it is not there and takes it for this process. The kernel lets go of it when the process ends, however it ends; the
// number in the lock file only tells people who holds it.
func Hold(dir string) (*Lock, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		if err = Explain(err); !errors.Is(err, ErrFull) && !errors.Is(err, ErrFolder) {
			err = fmt.Errorf("%w: %w", ErrFolder, err)
		}
		return nil, fmt.Errorf("database: data folder %s: %w", dir, err)
	}
	name := filepath.Join(dir, "lock")
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, fmt.Errorf("database: data folder %s: %w", dir, Explain(err))
	}
	if err := take(f); err != nil {
		holder := make([]byte, 20) // the longest number of a process and its line end
		n, _ := f.Read(holder)
		return nil, errors.Join(fmt.Errorf("database: data folder %s: %w (process %s)", dir, ErrInUse, strings.TrimSpace(string(holder[:n]))), f.Close())
	}
	if err := f.Truncate(0); err == nil {
		_, _ = fmt.Fprintln(f, os.Getpid()) // only for the message above; a full disk must not stop the gateway here
	}
	return &Lock{file: f}, nil
}

// Release lets the folder go. The lock file stays: to remove it would let two processes hold two files of one name.
func (l *Lock) Release() error { return l.file.Close() }
