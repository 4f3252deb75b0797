package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/crc32"
	"time"

	"millwarden/gateway/logbook/query"
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// SaveEngine keeps the engine's state in place of the last one, synced.
func (l *Logbook) SaveEngine(state []byte) error {
	return l.change("saving the engine's state", func(ctx context.Context, _ *sql.Tx, q *query.Queries) error {
		return q.SaveEngine(ctx, query.SaveEngineParams{State: state, Crc: int64(crc32.Checksum(state, castagnoli))})
	})
}

// LoadEngine gives the state last saved, nil if there is none. ErrDamaged: there was one, and it is not as it was written; the engine then begins
// without, and every alarm that holds annunciates anew.
func (l *Logbook) LoadEngine() ([]byte, error) {
	var state []byte
	err := l.look(context.Background(), "loading the engine's state", func(ctx context.Context, q *query.Queries) error {
		row, err := q.LoadEngine(ctx)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err == nil && row.Crc != int64(crc32.Checksum(row.State, castagnoli)) {
			return fmt.Errorf("%w: its checksum does not fit", ErrDamaged)
		}
		state = row.State
		return err
	})
	return state, err
}

// NextBoot gives the number of this boot of the board: one more than the last, or the same where the kernel's boot id is the same because only the
// process was started anew. An empty id always counts.
func (l *Logbook) NextBoot(kernel string, at time.Time) (number uint32, err error) {
	err = l.change("counting the boot", func(ctx context.Context, _ *sql.Tx, q *query.Queries) error {
		last, err := q.LastBoot(ctx)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if kernel != "" && last.Kernel == kernel {
			number = uint32(last.Number)
			return nil
		}
		next, err := q.InsertBoot(ctx, query.InsertBootParams{Kernel: kernel, Wall: at.UnixMilli()})
		number = uint32(next)
		return err
	})
	return number, err
}
