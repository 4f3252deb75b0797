package history

import (
	"context"
	"database/sql"
	"errors"
)

// viewCommits is how many commits are made on one view of the file. While a view is open SQLite's log cannot be begun anew, so this is by how much the log may
// outgrow its megabyte: some two pages a commit. Chosen: what it saves is saved by then, and the log grows by an eighth.
const viewCommits = 64

// pen is the one connection that writes, held from one commit to the next, with a query of one row left open on it. As long as that is open SQLite keeps its
// view of the file, which else it takes before each commit and gives back after it, by four of its six locks and a look at the log's index: a fifth of what a commit costs
// beside its sync. What is written, and when it is synced, is the same; others read as before. Used by who holds writing.
type pen struct {
	conn   *sql.Conn // nil: it is taken by the next commit
	insert *sql.Stmt // of a row
	look   *sql.Stmt // the query
	view   *sql.Rows // nil: the next commit takes a view of its own
	left   int       // commits until it is given up; at 0 one is made without it, which lets SQLite bring the log into the file
}

// ready prepares for one commit.
func (p *pen) ready(ctx context.Context, db *sql.DB) (err error) {
	if p.conn == nil {
		if err := p.take(ctx, db); err != nil {
			return errors.Join(err, p.drop())
		}
	}
	if p.left--; p.left < 0 {
		p.left = viewCommits
		return p.close()
	}
	if p.view == nil {
		p.view, err = p.look.QueryContext(ctx) //nolint:rowserrcheck // it is left open: that is what it is for
	}
	return err
}

func (p *pen) take(ctx context.Context, db *sql.DB) (err error) {
	if p.conn, err = db.Conn(ctx); err != nil {
		return err
	}
	if p.insert, err = p.conn.PrepareContext(ctx, "INSERT OR REPLACE INTO row (first, data) VALUES (?, ?)"); err != nil {
		return err
	}
	p.look, err = p.conn.PrepareContext(ctx, "SELECT type FROM sqlite_schema") // it has a row for each table, and is never written
	return err
}

// close gives the view up.
func (p *pen) close() error {
	if p.view == nil {
		return nil
	}
	view := p.view
	p.view = nil
	return view.Close()
}

// drop gives all of it up; the next commit takes it anew.
func (p *pen) drop() error {
	err := p.close()
	for _, s := range []*sql.Stmt{p.insert, p.look} {
		if s != nil {
			err = errors.Join(err, s.Close())
		}
	}
	if p.conn != nil {
		err = errors.Join(err, p.conn.Close())
	}
	*p = pen{}
	return err
}

// do does what begins or is a commit. What fails is tried once more on a new view where it had an old one: another process may have written since [SQLite, Isolation; SQLITE_BUSY_SNAPSHOT].
func (p *pen) do(ctx context.Context, db *sql.DB, try func() error) error {
	for {
		if err := p.ready(ctx, db); err != nil {
			return errors.Join(err, p.drop())
		}
		err := try()
		if err == nil {
			return nil
		}
		old := p.view != nil
		if err = errors.Join(err, p.drop()); !old {
			return err
		}
	}
}
