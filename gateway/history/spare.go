package history

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// On a disk that is full to the last byte nothing can be kept where something was removed, and nothing removed: what changes goes to the log first, and the
// log is used again only when what it holds found room in the file. So a file without content keeps that much room, and is given up when there is no
// other; MakeRoom sees to it that no more is needed.
const (
	spareName = "history.spare"
	// spareBytes is the logs of history and logbook, and as much again for what they hold.
	spareBytes = 4 << 20
	// sparePart is how many times the spare a disk must have: of a smaller one it would be no small part. Chosen.
	sparePart = 100
)

// keepSpare sets the spare room aside, where there is plenty and the file system can do so. What fails here costs nothing now.
func (h *History) keepSpare() {
	name := filepath.Join(h.dir, spareName)
	if _, err := os.Lstat(name); !errors.Is(err, fs.ErrNotExist) {
		return
	}
	var disk unix.Statfs_t
	if err := unix.Statfs(h.dir, &disk); err != nil {
		return
	}
	size := uint64(disk.Bsize) //nolint:gosec // bytes of a block
	if disk.Blocks*size < spareBytes*sparePart || disk.Bavail*size < 4*spareBytes {
		return
	}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return
	}
	err = unix.Fallocate(int(f.Fd()), 0, 0, spareBytes)
	if err = errors.Join(err, f.Close()); err != nil {
		_ = os.Remove(name) // a file system without reservations
	}
}

// giveSpare gives the spare room up; false: there was none.
func (h *History) giveSpare() bool { return os.Remove(filepath.Join(h.dir, spareName)) == nil }
