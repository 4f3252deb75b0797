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
)

// Copy writes the file at path, as it stands at one moment, to target, which must not exist. Another process may go on writing: only its log grows
// meanwhile. The source is opened for reading alone, without the folder's lock. Every page is read, so that a broken structure is ErrDamaged; what
// was begun is then removed. When Copy returns nil, the copy is on the disk.
func Copy(ctx context.Context, path, target string) (err error) {
	if _, err := os.Stat(path); err != nil {
		return fmt.Errorf("database: copying: %w", Explain(err))
	}
	// SQLite writes into an empty file that is there: so that it is nobody else's from the beginning.
	made, err := os.OpenFile(target, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return fmt.Errorf("database: copying to %s: %w", target, Explain(err))
	}
	defer func() {
		if err = errors.Join(err, made.Close()); err != nil {
			err = errors.Join(fmt.Errorf("database: copying %s to %s: %w", path, target, Explain(err)), os.Remove(target))
		}
	}()
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?mode=ro&_pragma=busy_timeout(5000)")
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", target) // [SQLite, VACUUM, section 3]: one consistent moment; it does not sync
	if err = errors.Join(err, db.Close()); err != nil {
		return err
	}
	if err := made.Sync(); err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(target))
}

// PutAside renames a file with its log to path.WORD-1, or the next number that is free, and gives the new name; "" where there is no such file. The
// names carry no time: the clock may be wrong, and the file has its own.
func PutAside(path, word string) (string, error) {
	if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	for n := 1; ; n++ {
		target := fmt.Sprintf("%s.%s-%d", path, word, n)
		if _, err := os.Lstat(target); err == nil {
			continue
		}
		// The log first: a file without its log is only older, a log beside a new file would be mistaken for its own.
		for _, end := range []string{"-wal", "-shm", ""} {
			if err := os.Rename(path+end, target+end); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return "", fmt.Errorf("database: setting %s aside: %w", path+end, Explain(err))
			}
		}
		return target, SyncFolder(filepath.Dir(path))
	}
}

// Replace puts the file staged in place of the one at path, which is kept under the name it gives; "" where there was none. Nobody may have either
// open, and both are on one disk.
func Replace(path, staged string) (old string, err error) {
	if _, err := os.Lstat(staged); err != nil {
		return "", fmt.Errorf("database: restoring: %w", err)
	}
	if old, err = PutAside(path, "replaced"); err != nil {
		return old, err
	}
	if err := os.Rename(staged, path); err != nil {
		return old, fmt.Errorf("database: restoring: %w", Explain(err))
	}
	return old, SyncFolder(filepath.Dir(path))
}

// Exists tells whether there is a file of that name.
func Exists(path string) bool {
	_, err := os.Lstat(path)
	return !errors.Is(err, fs.ErrNotExist)
}

// Private tells whether a file is its owner's alone. Some file systems of sticks keep no such rights.
func Private(path string) (bool, error) {
	info, err := os.Stat(path)
	if err != nil {
		return false, err
	}
	return info.Mode().Perm()&0o077 == 0, nil
}
