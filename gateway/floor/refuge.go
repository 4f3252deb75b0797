package floor

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"millwarden/gateway/logbook"
)

// A card that the kernel has made read-only is no reason not to watch: the gateway then starts in a folder of the system's own for what passes, which lies in
// memory or on another disk, with a copy of what it must know (record, logins, states; not the history). That nothing lasts is told as a logbook that
// cannot be written is. It goes back at the next start on a folder that can be written.

// refugeMost is how large a file is copied at most; chosen: a logbook of many seasons, and what a small board can spare of its memory.
const refugeMost = 64 << 20

// seekRefuge changes the data folder where it cannot be written.
func (f *Floor) seekRefuge() error {
	cause := readOnly(f.o.Data)
	if cause == nil {
		return nil
	}
	dir, err := makeRefuge(os.TempDir(), "/run", "/dev/shm")
	if err != nil {
		return errors.Join(cause, err)
	}
	f.log.Error("the data folder cannot be written: what comes is kept for as long as the board has power, no longer", "folder", f.o.Data, "instead", dir, "cause", cause)
	if err := copyInto(dir, f.o.Data); err != nil {
		f.log.Error("not all that was known could be taken along", "cause", err)
	}
	f.homeless = fmt.Errorf("the data folder cannot be written, what comes is kept in %s and lost with the power: %w", dir, cause)
	f.o.Data = dir
	return nil
}

// readOnly tells why nothing can be written in a folder because its disk takes nothing; nil where it does, or where something else is wrong: that is told by
// whoever needs it.
func readOnly(dir string) error {
	err := os.MkdirAll(dir, 0o750)
	if err == nil {
		err = tryFiles(dir)
	}
	if errors.Is(err, syscall.EROFS) || errors.Is(err, syscall.EIO) {
		return err
	}
	return nil
}

// tryFiles makes a file and opens the databases that are there.
func tryFiles(dir string) error {
	probe, err := os.CreateTemp(dir, ".can-be-written-*")
	if err != nil {
		return err
	}
	err = errors.Join(probe.Close(), os.Remove(probe.Name()))
	known, _ := filepath.Glob(filepath.Join(dir, "*.db")) // the pattern is good
	for _, path := range known {
		file, opening := os.OpenFile(path, os.O_RDWR, 0)
		if opening == nil {
			opening = file.Close()
		}
		err = errors.Join(err, opening)
	}
	return err
}

func makeRefuge(among ...string) (dir string, err error) {
	for _, base := range among {
		made, failed := os.MkdirTemp(base, "millwarden-")
		if failed == nil {
			return made, nil
		}
		err = errors.Join(err, failed)
	}
	return "", err
}

// copyInto takes along what the gateway must know. A database and its log are copied as they lie: nobody writes them.
func copyInto(dir, from string) error {
	list, err := os.ReadDir(from)
	for _, entry := range list {
		if !taken(entry) {
			continue
		}
		text, failed := os.ReadFile(filepath.Join(from, entry.Name()))
		if failed == nil {
			failed = os.WriteFile(filepath.Join(dir, entry.Name()), text, 0o600)
		}
		err = errors.Join(err, failed)
	}
	return err
}

func taken(entry fs.DirEntry) bool {
	info, err := entry.Info()
	name := entry.Name()
	return err == nil && info.Mode().IsRegular() && info.Size() <= refugeMost && !strings.HasPrefix(name, "history.") && !strings.HasSuffix(name, "-shm")
}

// tellRefuge writes where what comes is kept.
func (f *Floor) tellRefuge() {
	if f.homeless != nil {
		f.write(logbook.Entry{Kind: logbook.Fault, Place: "board", Text: f.homeless.Error()})
	}
}
