package history

import (
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"math"
	"os"
	"path/filepath"

	"millwarden/internal/database"
)

// reserveName is a small file beside history.db that says up to which position numbers may have been given. It is written before the first of
// them is, and so outlives a history.db that is damaged, deleted or copied back from an old backup: no position is ever given twice.
const reserveName = "history.positions"

// reserveStep is how many positions are reserved at once. Chosen: at 64 readings a second one small write in four and a half hours; what it can
// cost is a jump of the numbers, and there are enough of them for 4 million years at that rate.
const reserveStep = 1 << 20

// readReserved reads the file; none: 0, and so if it is not as it was written.
func readReserved(dir string) (uint64, error) {
	name := filepath.Join(dir, reserveName)
	text, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	} else if err != nil {
		return 0, fmt.Errorf("reading %s: %w", name, database.Explain(err))
	}
	var reserved uint64
	var check uint32
	if n, err := fmt.Sscanf(string(text), "%d %08x\n", &reserved, &check); n != 2 || err != nil || check != reserveSum(reserved) || reserved > math.MaxInt64-reserveStep {
		return 0, nil // the numbers of history.db stand: two files damaged at once are beyond what this file is for
	}
	return reserved, nil
}

// reserve makes sure that positions up to last are reserved.
func (h *History) reserve(last uint64) error {
	if last <= h.reserved {
		return nil
	}
	next := (last/reserveStep + 1) * reserveStep
	if err := writeReserved(h.dir, next); err != nil {
		return err
	}
	h.reserved = next
	return nil
}

func writeReserved(dir string, reserved uint64) error {
	if err := writeSynced(dir, reserveName, fmt.Appendf(nil, "%d %08x\n", reserved, reserveSum(reserved))); err != nil {
		return fmt.Errorf("reserving positions: %w", database.Explain(err))
	}
	return nil
}

func reserveSum(n uint64) uint32 { return crc32.Checksum(fmt.Appendf(nil, "%d", n), castagnoli) }

// writeSynced replaces a file: after a power cut there is the old one or the new one, never a part.
func writeSynced(dir, name string, content []byte) error {
	f, err := os.CreateTemp(dir, name+".*")
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), filepath.Join(dir, name))
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return database.SyncFolder(dir)
}
