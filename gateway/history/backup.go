package history

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"millwarden/internal/database"
)

// unknownPositions is how far the numbers jump after a backup came into a folder that does not know which were given since. Chosen: two years at 64
// readings a second; there are enough of them.
const unknownPositions = 1 << 32

// CopyTo writes the history of the data folder dir, as it stands at one moment, into the folder target, where there must be none. A gateway may go
// on writing; nothing in dir changes. ErrDamaged: the file cannot be read whole.
func CopyTo(ctx context.Context, dir, target string) error {
	if err := database.Copy(ctx, filepath.Join(dir, fileName), filepath.Join(target, fileName)); err != nil {
		return fmt.Errorf("history: %w", err)
	}
	reserved, err := readReserved(dir)
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	return writeReserved(target, reserved)
}

// Verified is what Verify found.
type Verified struct {
	Readings uint64    // that are as they were written
	Damaged  uint64    // that are not; where that is not known, how many places
	Newest   time.Time // wall time of the newest whose clock was set
}

// Verify reads every reading with its checksum, in rows and rolled up.
func (h *History) Verify(ctx context.Context) (Verified, error) {
	var v Verified
	err := h.Replay(ctx, func(e *Entry) error {
		v.Readings++
		if s := &e.Stamp; s.Set && s.Wall.After(v.Newest) {
			v.Newest = s.Wall
		}
		return nil
	})
	var damage error
	if err := passDamage(err, &damage); err != nil {
		return v, fmt.Errorf("history: verifying: %w", err)
	}
	v.Damaged = h.Counts().Damaged
	if damage != nil {
		v.Damaged = max(v.Damaged, 1) // of what is damaged it is not always known how much it was
	}
	return v, nil
}

// Replace puts the history of the folder staged in place of the one in dir, which is kept under the name it gives; "" where there was none. Staged
// must be closed, on the same disk, and dir held by the caller. No position that may have been given since staged was copied is given again.
func Replace(dir, staged string) (old string, err error) {
	known, err := readReserved(dir)
	if err != nil {
		return "", fmt.Errorf("history: restoring: %w", err)
	}
	if known == 0 {
		copied, err := readReserved(staged)
		if err == nil {
			err = writeReserved(dir, copied+unknownPositions)
		}
		if err != nil {
			return "", fmt.Errorf("history: restoring: %w", err)
		}
	}
	return database.Replace(filepath.Join(dir, fileName), filepath.Join(staged, fileName))
}

// Exists tells whether a folder holds a history.
func Exists(dir string) bool { return database.Exists(filepath.Join(dir, fileName)) }
