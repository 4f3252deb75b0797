package people

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/base32"
	"fmt"
	"strings"
	"time"

	"millwarden/internal/database"
)

// Login is what is known of one person's login.
type Login struct {
	Name     string
	Password bool      // there is one
	Changed  time.Time // when it was last set
	Code     time.Time // until when a one-time code is in force; zero: none
	Sessions int
	Passkeys int
}

// Any tells whether anybody can log in.
func (b *Book) Any() (bool, error) {
	var n int
	_, err := b.look("counting logins", "SELECT COUNT(*) FROM login", nil, &n)
	return n > 0, err
}

// List gives all logins, and the codes of those who have none yet, by name.
func (b *Book) List() ([]Login, error) {
	ctx, cancel := context.WithTimeout(context.Background(), workWait)
	defer cancel()
	rows, err := b.file.Read.QueryContext(ctx, `SELECT n.name, COALESCE(l.changed, 0), COALESCE(c.expires, 0), (SELECT COUNT(*) FROM session s WHERE s.name = n.name AND s.ends > ?),
		(SELECT COUNT(*) FROM passkey p WHERE p.name = n.name)
		FROM (SELECT name FROM login UNION SELECT name FROM code) n LEFT JOIN login l ON l.name = n.name LEFT JOIN code c ON c.name = n.name ORDER BY n.name`, b.now().UnixMilli())
	if err != nil {
		return nil, fmt.Errorf("people: listing: %w", database.Explain(err))
	}
	defer rows.Close() //nolint:errcheck // its error is that of Err
	var list []Login
	for rows.Next() {
		var l Login
		var changed, expires int64
		if err := rows.Scan(&l.Name, &changed, &expires, &l.Sessions, &l.Passkeys); err != nil {
			return nil, fmt.Errorf("people: listing: %w", database.Explain(err))
		}
		if changed > 0 {
			l.Password, l.Changed = true, time.UnixMilli(changed)
		}
		if expires > b.now().UnixMilli() {
			l.Code = time.UnixMilli(expires)
		}
		list = append(list, l)
	}
	return list, database.Explain(rows.Err())
}

const (
	// codeLife is short, since a code is handed over by voice or on paper. [ASVS 5.0.0 6.4.1] Chosen: until the person is back on the estate tomorrow.
	codeLife  = 24 * time.Hour
	codeBytes = 10 // 80 bits: 16 letters in four groups
)

// newCode is a random code in base32 [RFC 4648 section 6], as people read it out: K7QD-3MVP-XZ2A-LTE5.
func newCode() string {
	var raw [codeBytes]byte
	_, _ = rand.Read(raw[:]) // never fails [crypto/rand]
	text := base32.StdEncoding.EncodeToString(raw[:])
	return text[0:4] + "-" + text[4:8] + "-" + text[8:12] + "-" + text[12:16]
}

// hashOfCode takes a code as people type it: small letters, spaces, and digits that the alphabet does not have for the letters they look like.
func hashOfCode(code string) [sha256.Size]byte {
	code = strings.NewReplacer("-", "", " ", "", "0", "O", "1", "I", "8", "B").Replace(strings.ToUpper(strings.TrimSpace(code)))
	return sha256.Sum256([]byte(code))
}

// FirstCode makes the code of the first start, which lets the first owner in. It is kept in memory alone: another start has another one.
func (b *Book) FirstCode() string {
	code := newCode()
	h := hashOfCode(code)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.first = string(h[:])
	return code
}

// GiveCode makes a code by which name sets a password once, in place of any older code. A password that stands goes on until then.
func (b *Book) GiveCode(name string) (code string, until time.Time, err error) {
	code, until = newCode(), b.now().Add(codeLife)
	h := hashOfCode(code)
	err = b.change("keeping a code", func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "INSERT INTO code (name, hash, expires) VALUES (?, ?, ?) ON CONFLICT (name) DO UPDATE SET hash = excluded.hash, expires = excluded.expires",
			name, h[:], until.UnixMilli())
		return err
	})
	return code, until, err
}

// Redeem sets the password of name by a code: the person's own, or the one of the first start while nobody can log in. The code is used up, and
// sessions and passkeys that name had end: who needs a code may have lost the telephone. A wrong code is ErrCode, and counts as a wrong try.
func (b *Book) Redeem(ctx context.Context, name, code, password, address string) error {
	if err := b.throttle.take(name, address, b.now()); err != nil {
		return err
	}
	given := hashOfCode(code)
	first, err := b.isFirst(given)
	if err != nil {
		return err
	}
	if !first {
		if err := b.ownCode(name, given); err != nil {
			return err
		}
	}
	b.throttle.give(name, address, b.now())
	if err := b.set(ctx, name, password, first, "code", "session", "passkey"); err != nil {
		return err
	}
	b.mu.Lock()
	b.first = ""
	b.mu.Unlock()
	return nil
}

// IsFirstCode tells whether it is the code of the first start, and still in force.
func (b *Book) IsFirstCode(code string) bool {
	first, err := b.isFirst(hashOfCode(code))
	return first && err == nil
}

func (b *Book) isFirst(given [sha256.Size]byte) (bool, error) {
	b.mu.Lock()
	first := b.first
	b.mu.Unlock()
	if first == "" || first != string(given[:]) { // of hashes: the time this takes tells nothing of the code
		return false, nil
	}
	any, err := b.Any()
	return !any, err
}

func (b *Book) ownCode(name string, given [sha256.Size]byte) error {
	var n int
	if _, err := b.look("looking up a code", "SELECT COUNT(*) FROM code WHERE name = ? AND hash = ? AND expires > ?", []any{name, given[:], b.now().UnixMilli()}, &n); err != nil {
		return err
	}
	if n == 0 {
		return ErrCode
	}
	return nil
}

// Set sets a password without a code: for the command line, whose user may write the file. Sessions and passkeys end as with Redeem.
func (b *Book) Set(ctx context.Context, name, password string) error {
	return b.set(ctx, name, password, false, "code", "session", "passkey")
}

// set writes the hash and forgets what stands of name in the tables. onlyFirst: only while nobody else has a password.
func (b *Book) set(ctx context.Context, name, password string, onlyFirst bool, tables ...string) error {
	var kept string
	if err := b.queue.do(ctx, func() { kept = hash(password, b.cost) }); err != nil {
		return err
	}
	err := b.change("setting a password", func(ctx context.Context, tx *sql.Tx) error {
		if onlyFirst {
			var n int
			if err := tx.QueryRowContext(ctx, "SELECT COUNT(*) FROM login").Scan(&n); err != nil {
				return err
			}
			if n > 0 {
				return ErrCode
			}
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO login (name, password, changed) VALUES (?, ?, ?) ON CONFLICT (name) DO UPDATE SET password = excluded.password, changed = excluded.changed",
			name, kept, b.now().UnixMilli()); err != nil {
			return err
		}
		return forget(ctx, tx, name, tables...)
	})
	if err == nil {
		b.endLoose(func(s Session) bool { return s.Name == name })
	}
	return err
}

func forget(ctx context.Context, tx *sql.Tx, name string, tables ...string) error {
	for _, table := range tables { // names of our own
		if _, err := tx.ExecContext(ctx, "DELETE FROM "+table+" WHERE name = ?", name); err != nil {
			return err
		}
	}
	return nil
}

// Check tells whether the password is that of name: ErrWrong, a *Wait after too many wrong ones, or ErrBusy. An unknown name takes as long as a
// known one, so that the answer's time does not tell who is known.
func (b *Book) Check(ctx context.Context, name, password, address string) error {
	if err := b.throttle.take(name, address, b.now()); err != nil {
		return err
	}
	var kept string
	found, err := b.look("looking up a login", "SELECT password FROM login WHERE name = ?", []any{name}, &kept)
	if err != nil {
		return err
	}
	right := false
	if err := b.queue.do(ctx, func() {
		if !found {
			_ = hash(password, b.cost) // for its time
			return
		}
		right, err = matches(password, kept)
	}); err != nil {
		return err
	}
	switch {
	case err != nil:
		return fmt.Errorf("people: the login of %s: %w", name, err)
	case !right:
		return ErrWrong
	}
	b.throttle.give(name, address, b.now())
	return nil
}

// Change sets another password for who knows the old one. All sessions end, and the caller begins a new one; passkeys stay. [ASVS 5.0.0 6.2.3, 7.4.3]
func (b *Book) Change(ctx context.Context, name, old, password, address string) error {
	if err := b.Check(ctx, name, old, address); err != nil {
		return err
	}
	return b.set(ctx, name, password, false, "code", "session")
}

// Remove takes login, code, sessions and passkeys of name away; false: there was nothing.
func (b *Book) Remove(name string) (bool, error) {
	found := false
	err := b.change("removing a login", func(ctx context.Context, tx *sql.Tx) error {
		for _, table := range []string{"login", "code", "session", "passkey"} {
			done, err := tx.ExecContext(ctx, "DELETE FROM "+table+" WHERE name = ?", name)
			if err != nil {
				return err
			}
			if n, err := done.RowsAffected(); err == nil && n > 0 {
				found = true
			}
		}
		return nil
	})
	if err == nil {
		b.endLoose(func(s Session) bool { return s.Name == name })
	}
	return found, err
}
