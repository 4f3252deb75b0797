package people

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"time"
)

// Session is one login of one browser.
type Session struct {
	Name  string
	Begun time.Time
	seen  time.Time
	idle  time.Duration
	ends  time.Time
}

// Life is how long a session lasts. [ASVS 5.0.0 7.1.1, 7.3.1, 7.3.2]
type Life struct{ Idle, Most time.Duration }

// Lives of sessions. Chosen: a crew's phone is taken out of the pocket at least once in two weeks of the harvest, and somebody who has to type a
// password at three in the morning does not look; what it can do is bounded by the person's rights, and the owner can end it. A screen on the wall may
// do nothing but show, and nobody stands there to log in again.
var (
	PersonLife = Life{Idle: 14 * 24 * time.Hour, Most: 90 * 24 * time.Hour}
	ScreenLife = Life{Idle: 90 * 24 * time.Hour, Most: 730 * 24 * time.Hour}
)

const (
	tokenBytes = 32 // twice the 128 bits of ASVS 5.0.0 7.2.3
	// seenEach is how exactly it is known when a session was last seen: a card wears out by writes.
	seenEach = time.Hour
)

// Begin begins a session of name, and gives what the browser keeps. One that cannot be written down lasts until the gateway ends: a full card must not
// keep people from the page that tells them of it.
func (b *Book) Begin(name string, l Life) (token string, written error) {
	var raw [tokenBytes]byte
	_, _ = rand.Read(raw[:]) // never fails [crypto/rand]
	token = base64.RawURLEncoding.EncodeToString(raw[:])
	hash, now := sha256.Sum256([]byte(token)), b.now()
	s := Session{Name: name, Begun: now, seen: now, idle: l.Idle, ends: now.Add(l.Most)}
	written = b.change("beginning a session", func(ctx context.Context, tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM session WHERE ends < ? OR seen + idle < ?", now.UnixMilli(), now.UnixMilli()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO session (hash, name, begun, seen, idle, ends) VALUES (?, ?, ?, ?, ?, ?)",
			hash[:], name, now.UnixMilli(), now.UnixMilli(), l.Idle.Milliseconds(), s.ends.UnixMilli())
		return err
	})
	if written != nil {
		b.mu.Lock()
		b.loose[hash] = s
		b.mu.Unlock()
	}
	return token, written
}

// Session finds the session of a token; false: there is none, or it has ended, or the file cannot be read. [ASVS 5.0.0 16.5.3: fails closed]
func (b *Book) Session(token string) (Session, bool) {
	if token == "" {
		return Session{}, false
	}
	hash, now := sha256.Sum256([]byte(token)), b.now()
	b.mu.Lock()
	s, loose := b.loose[hash]
	b.mu.Unlock()
	if !loose {
		var begun, seen, idle, ends int64
		found, err := b.look("looking up a session", "SELECT name, begun, seen, idle, ends FROM session WHERE hash = ?", []any{hash[:]}, &s.Name, &begun, &seen, &idle, &ends)
		if err != nil || !found {
			return Session{}, false
		}
		s.Begun, s.seen, s.idle, s.ends = time.UnixMilli(begun), time.UnixMilli(seen), time.Duration(idle)*time.Millisecond, time.UnixMilli(ends)
	}
	if now.After(s.ends) || now.Sub(s.seen) > s.idle {
		return Session{}, false
	}
	if !loose && now.Sub(s.seen) > seenEach {
		_ = b.change("noting a session", func(ctx context.Context, tx *sql.Tx) error { // not noted: it ends a little earlier
			_, err := tx.ExecContext(ctx, "UPDATE session SET seen = ? WHERE hash = ?", now.UnixMilli(), hash[:])
			return err
		})
	}
	return s, true
}

// End ends a session.
func (b *Book) End(token string) error {
	hash := sha256.Sum256([]byte(token))
	b.mu.Lock()
	delete(b.loose, hash)
	b.mu.Unlock()
	return b.change("ending a session", func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "DELETE FROM session WHERE hash = ?", hash[:])
		return err
	})
}

// EndAll ends all sessions of name.
func (b *Book) EndAll(name string) error {
	b.endLoose(func(s Session) bool { return s.Name == name })
	return b.change("ending sessions", func(ctx context.Context, tx *sql.Tx) error { return forget(ctx, tx, name, "session") })
}

func (b *Book) endLoose(of func(Session) bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for hash, s := range b.loose {
		if of(s) {
			delete(b.loose, hash)
		}
	}
}
