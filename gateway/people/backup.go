package people

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"millwarden/internal/database"
)

// CopyTo writes the logins of the data folder dir, as they stand at one moment, into the folder target, where there must be none: hashes of passwords
// and the public halves of passkeys, for the owner alone (mode 0600). Sessions and codes stay behind: what was ended after a backup must not come to
// life again by it. A gateway may go on; nothing in dir changes.
func CopyTo(ctx context.Context, dir, target string) error {
	path := filepath.Join(target, fileName)
	if err := database.Copy(ctx, filepath.Join(dir, fileName), path); err != nil {
		return fmt.Errorf("people: %w", err)
	}
	file, err := openFile(ctx, path)
	if err != nil {
		return err
	}
	_, err = file.Write.ExecContext(ctx, "DELETE FROM session; DELETE FROM code; VACUUM") // VACUUM: deleted rows stand in the file until then
	if err = errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("people: copying without sessions: %w", database.Explain(err))
	}
	return nil
}

// Verify reads all of a folder's file that a copy left, and tells how many can log in by it.
func Verify(ctx context.Context, dir string) (logins int, err error) {
	file, err := openFile(ctx, filepath.Join(dir, fileName))
	if err != nil {
		return 0, err
	}
	var whole string
	if err = file.Read.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&whole); err == nil && whole != "ok" {
		err = fmt.Errorf("%w: %s", database.ErrDamaged, whole)
	}
	if err == nil {
		err = file.Read.QueryRowContext(ctx, "SELECT COUNT(*) FROM login").Scan(&logins)
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return 0, fmt.Errorf("people: reading the copy: %w", database.Explain(err))
	}
	return logins, nil
}

// Replace puts the logins of the folder staged in place of those in dir, which are kept under the name it gives; "" where there were none. Staged
// must be closed and on the same disk, and dir held by the caller.
func Replace(dir, staged string) (old string, err error) {
	return database.Replace(filepath.Join(dir, fileName), filepath.Join(staged, fileName))
}

// Exists tells whether a folder holds logins.
func Exists(dir string) bool { return database.Exists(filepath.Join(dir, fileName)) }

func openFile(ctx context.Context, path string) (*database.File, error) {
	steps, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	file, err := database.Open(ctx, path, steps, database.Options{Readers: 2, Wait: busyWait})
	if err != nil {
		return nil, fmt.Errorf("people: opening %s: %w", path, database.Explain(err))
	}
	return file, nil
}
