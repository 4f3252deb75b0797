package logbook

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"millwarden/gateway/logbook/query"
)

// Token stands for the right of one person to answer one occurrence. Only the SHA-256 of what the link holds is kept, so that who reads the file
// cannot answer for anybody.
type Token struct {
	Hash       [sha256.Size]byte
	Alarm      string
	Occurrence int64
	Person     string
	Title      string // of the alarm with its place, as it was sent
	Expires    time.Time
	Used       time.Time // zero: not yet
}

// keepExpired is how long an expired token is still known, so that a late tap hears "expired" and not "unknown". Chosen: a message is answered, if
// at all, within days.
const keepExpired = 30 * 24 * time.Hour

// KeepToken keeps a token for an answer link, and forgets those long expired.
func (l *Logbook) KeepToken(t Token, now time.Time) error {
	return l.change("keeping a token", func(ctx context.Context, _ *sql.Tx, q *query.Queries) error {
		if _, err := q.ForgetTokens(ctx, now.Add(-keepExpired).UnixMilli()); err != nil {
			return err
		}
		return q.InsertToken(ctx, query.InsertTokenParams{Hash: t.Hash[:], Alarm: t.Alarm, Occurrence: t.Occurrence, Person: t.Person,
			Title: t.Title, Expires: t.Expires.UnixMilli()})
	})
}

// FindToken looks a token up without using it: ErrNoToken, or the token, with ErrUsed or ErrExpired where it cannot be used.
func (l *Logbook) FindToken(ctx context.Context, hash [sha256.Size]byte, now time.Time) (t Token, err error) {
	err = l.look(ctx, "looking up a link", func(ctx context.Context, q *query.Queries) error {
		t, err = findToken(ctx, q, hash, now)
		return err
	})
	return t, err
}

// UseToken marks a token as used: once. The errors are those of FindToken.
func (l *Logbook) UseToken(hash [sha256.Size]byte, now time.Time) (t Token, err error) {
	err = l.change("using a link", func(ctx context.Context, _ *sql.Tx, q *query.Queries) error {
		if t, err = findToken(ctx, q, hash, now); err != nil {
			return err
		}
		n, err := q.UseToken(ctx, query.UseTokenParams{Used: known(now.UnixMilli()), Hash: hash[:]})
		if err == nil && n != 1 {
			err = fmt.Errorf("%d tokens of one hash", n)
		}
		t.Used = now
		return err
	})
	return t, err
}

func findToken(ctx context.Context, q *query.Queries, hash [sha256.Size]byte, now time.Time) (Token, error) {
	row, err := q.Token(ctx, hash[:])
	if errors.Is(err, sql.ErrNoRows) {
		return Token{}, ErrNoToken
	} else if err != nil {
		return Token{}, err
	}
	t := Token{Hash: hash, Alarm: row.Alarm, Occurrence: row.Occurrence, Person: row.Person, Title: row.Title, Expires: time.UnixMilli(row.Expires).UTC()}
	if row.Used.Valid {
		t.Used = time.UnixMilli(row.Used.Int64).UTC()
		return t, ErrUsed
	}
	if !now.Before(t.Expires) {
		return t, ErrExpired
	}
	return t, nil
}

func known(n int64) sql.NullInt64 { return sql.NullInt64{Int64: n, Valid: true} }
