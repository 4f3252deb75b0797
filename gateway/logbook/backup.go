package logbook

import (
	"context"
	"fmt"
	"path/filepath"

	"millwarden/internal/database"
)

// CopyTo writes the logbook of the data folder dir, as it stands at one moment, into the folder target, where there must be none. A gateway may go
// on writing; nothing in dir changes. ErrDamaged: the file cannot be read whole.
func CopyTo(ctx context.Context, dir, target string) error {
	if err := database.Copy(ctx, filepath.Join(dir, fileName), filepath.Join(target, fileName)); err != nil {
		return fmt.Errorf("logbook: %w", err)
	}
	return nil
}

// Replace puts the logbook of the folder staged in place of the one in dir, which is kept under the name it gives; "" where there was none. Staged
// must be closed and on the same disk, and dir held by the caller.
func Replace(dir, staged string) (old string, err error) {
	return database.Replace(filepath.Join(dir, fileName), filepath.Join(staged, fileName))
}

// Exists tells whether a folder holds a logbook.
func Exists(dir string) bool { return database.Exists(filepath.Join(dir, fileName)) }
