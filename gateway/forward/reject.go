package forward

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"time"
)

// Refusal is one record that the store would not take. The mark passes it; the reading stays in the history of its board.
type Refusal struct {
	At    time.Time `json:"at"`
	Board string    `json:"board"`
	Line  string    `json:"line"`  // in line protocol
	Cause string    `json:"cause"` // what the store said
}

// rejectLimit bounds the file; beyond it becomes FILE.old, in place of the one before. Chosen: some 50,000 refusals.
const rejectLimit = 16 << 20

// rejectFile appends refusals, one JSON object a line, on disk before the mark may pass them.
type rejectFile struct{ path string }

func (r rejectFile) append(one Refusal) (err error) {
	text, err := json.Marshal(one)
	if err != nil {
		return fmt.Errorf("reject file: %w", err)
	}
	if info, err := os.Stat(r.path); err == nil && info.Size() > rejectLimit {
		if err := os.Rename(r.path, r.path+".old"); err != nil {
			return fmt.Errorf("reject file: %w", err)
		}
	}
	file, err := os.OpenFile(r.path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("reject file: %w", err)
	}
	_, err = file.Write(append(text, '\n'))
	if err := errors.Join(err, file.Sync(), file.Close()); err != nil {
		return fmt.Errorf("reject file: %w", err)
	}
	return nil
}
