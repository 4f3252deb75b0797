package history

import (
	"context"
	"database/sql"
	"errors"

	"millwarden/internal/database"
)

// snapshot is the history at one moment: what a query sees, though readings move from rows to chunks or are removed meanwhile.
type snapshot struct {
	view
	tx    *sql.Tx
	conn  *sql.Conn
	rows  *sql.Stmt // see History.rowsFrom
	names dictionary
}

// look takes a snapshot; the caller closes it. Stretches change in the file and in memory under one lock, so that both are of one moment here.
func (h *History) look(ctx context.Context) (*snapshot, error) {
	h.mu.RLock()
	file := h.file
	h.mu.RUnlock()
	if file == nil {
		return nil, errClosed
	}
	conn, err := file.Read.Conn(ctx) // outside the lock: it waits for other queries
	if err != nil {
		return nil, err
	}
	h.mu.RLock()
	defer h.mu.RUnlock()
	if h.file != file {
		return nil, errors.Join(errClosed, conn.Close())
	}
	sn := &snapshot{view: view{h.closed, h.open}, conn: conn, rows: h.rowsFrom, names: *h.names} // points and causes only grow
	if sn.tx, err = conn.BeginTx(ctx, nil); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	var any int
	if err := sn.tx.QueryRowContext(ctx, "SELECT count(*) FROM mark").Scan(&any); err != nil { // the first read fixes the moment
		return nil, errors.Join(database.Explain(err), sn.close())
	}
	return sn, nil
}

func (s *snapshot) close() error {
	err := s.tx.Rollback()
	if errors.Is(err, sql.ErrTxDone) { // its context ended
		err = nil
	}
	return errors.Join(err, s.conn.Close())
}

// rearrange changes stretches or chunks in the file, and then in memory, such that no snapshot sees the one without the other. The caller holds
// writing.
func (h *History) rearrange(ctx context.Context, do func(*sql.Tx) error, apply func()) error {
	tx, err := h.beginTx(ctx)
	if err != nil {
		return err
	}
	if err := do(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if err := tx.Commit(); err != nil {
		return err
	}
	apply()
	return nil
}
