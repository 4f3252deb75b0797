package logbook

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"

	"millwarden/gateway/logbook/query"
	"millwarden/internal/database"
)

// Head is the last entry and its seal: printed on a record, it fixes all that stood before. The zero Head is that of an empty record.
type Head struct {
	ID   int64
	Seal [sha256.Size]byte
}

// Broken says where the record was changed after it was written.
type Broken struct {
	ID      int64
	Because string
}

func (b *Broken) Error() string {
	return fmt.Sprintf("logbook: entry %d was changed after it was written: %s", b.ID, b.Because)
}

// seal is the SHA-256 [FIPS 180-4] over the seal before and every column, each with its length before it, so that no two entries give the same bytes.
func seal(before [sha256.Size]byte, r *query.Entry) [sha256.Size]byte {
	b := append([]byte(nil), before[:]...)
	for _, n := range []int64{r.ID, r.Wall, r.Mono, r.Boot, r.Clock, r.Occurrence} {
		b = binary.BigEndian.AppendUint64(b, uint64(n))
	}
	for _, text := range []string{r.Kind, r.Alarm, r.Place, r.Lot, r.Who, r.Why, r.Text, r.Data} {
		b = binary.BigEndian.AppendUint64(b, uint64(len(text)))
		b = append(b, text...)
	}
	return sha256.Sum256(b)
}

// readHead reads the last entry; none: the zero Head. An entry that was there and is not any more leaves its number unused.
func readHead(ctx context.Context, db query.DBTX, q *query.Queries) (Head, error) {
	var h Head
	row, err := q.LastEntry(ctx)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return h, err
	}
	h.ID = row.ID
	copy(h.Seal[:], row.Seal)
	last, err := lastNumber(ctx, db)
	h.ID = max(h.ID, last)
	return h, err
}

// lastNumber is the highest number an entry ever had: SQLite keeps it for tables with AUTOINCREMENT, in a table that sqlc does not know.
func lastNumber(ctx context.Context, db query.DBTX) (int64, error) {
	var last int64
	err := db.QueryRowContext(ctx, "SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'entry'").Scan(&last)
	return last, err
}

// Head gives the last entry's number and seal.
func (l *Logbook) Head(ctx context.Context) (Head, error) {
	var h Head
	err := l.look(ctx, "reading the head", func(ctx context.Context, q *query.Queries) error {
		var err error
		h, err = readHead(ctx, l.file.Read, q)
		return err
	})
	return h, err
}

// verifyAtOnce is how many entries are checked between two looks at the file. Chosen: a reader that is done soon does not let the log grow.
const verifyAtOnce = 500

// Verify reckons all seals again and gives the head they lead to; compare it with one that was printed. The error is *Broken at the first entry that
// does not fit: changed, put in, or taken out.
func (l *Logbook) Verify(ctx context.Context) (Head, error) {
	var h Head
	for {
		rows, err := query.New(l.file.Read).EntriesAfter(ctx, query.EntriesAfterParams{ID: h.ID, Limit: verifyAtOnce})
		if err != nil {
			return h, fmt.Errorf("logbook: verifying: %w", database.Explain(err))
		}
		for i := range rows {
			r := &rows[i]
			if r.ID != h.ID+1 {
				return h, &Broken{ID: h.ID + 1, Because: "it is not there any more"}
			}
			next := seal(h.Seal, r)
			if !bytes.Equal(next[:], r.Seal) {
				return h, &Broken{ID: r.ID, Because: "its seal does not fit"}
			}
			h = Head{ID: r.ID, Seal: next}
		}
		if len(rows) == verifyAtOnce {
			continue
		}
		last, err := lastNumber(ctx, l.file.Read)
		if err != nil {
			return h, fmt.Errorf("logbook: verifying: %w", database.Explain(err))
		}
		if last > h.ID {
			// It may have been written since the last look.
			if more, err := query.New(l.file.Read).EntriesAfter(ctx, query.EntriesAfterParams{ID: h.ID, Limit: 1}); err != nil || len(more) > 0 {
				continue
			}
			return h, &Broken{ID: h.ID + 1, Because: "it is not there any more"}
		}
		return h, nil
	}
}

// Sealed tells whether an entry carries a seal that begins so: that of a head that was printed.
func (l *Logbook) Sealed(ctx context.Context, id int64, seal []byte) (bool, error) {
	var fits bool
	err := l.look(ctx, "looking for a seal", func(ctx context.Context, q *query.Queries) error {
		rows, err := q.EntriesAfter(ctx, query.EntriesAfterParams{ID: id - 1, Limit: 1})
		fits = len(rows) == 1 && rows[0].ID == id && len(seal) > 0 && bytes.HasPrefix(rows[0].Seal, seal)
		return err
	})
	return fits, err
}
