package people

import (
	"bytes"
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/go-webauthn/webauthn/webauthn"

	"millwarden/internal/database"
)

// ErrFull says that a person has as many passkeys as one may have.
var ErrFull = errors.New("no more passkeys for this person")

// mostPasskeys of one person. Chosen: telephone, laptop, a key on the ring, and what they were replaced by.
const mostPasskeys = 10

// Passkey is what is shown of one.
type Passkey struct {
	ID   string    // base64url
	Made time.Time // when it was added
	Used time.Time // when it last logged somebody in; zero: never
}

// ListPasskeys gives those of name, oldest first.
func (b *Book) ListPasskeys(name string) ([]Passkey, error) {
	var list []Passkey
	err := b.eachPasskey(name, func(id, _, _ []byte, made, used int64) error {
		p := Passkey{ID: base64.RawURLEncoding.EncodeToString(id), Made: time.UnixMilli(made)}
		if used > 0 {
			p.Used = time.UnixMilli(used)
		}
		list = append(list, p)
		return nil
	})
	return list, err
}

// RemovePasskey takes one of name away; false: there is none of that id.
func (b *Book) RemovePasskey(name, id string) (found bool, err error) {
	raw, err := base64.RawURLEncoding.DecodeString(id)
	if err != nil {
		return false, nil //nolint:nilerr // what is no id is nobody's
	}
	err = b.change("removing a passkey", func(ctx context.Context, tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, "DELETE FROM passkey WHERE name = ? AND id = ?", name, raw)
		if err != nil {
			return err
		}
		n, err := done.RowsAffected()
		found = n > 0
		return err
	})
	return found, err
}

func (b *Book) eachPasskey(name string, do func(id, handle, record []byte, made, used int64) error) error {
	ctx, cancel := context.WithTimeout(context.Background(), workWait)
	defer cancel()
	rows, err := b.file.Read.QueryContext(ctx, "SELECT id, handle, record, made, used FROM passkey WHERE name = ? ORDER BY made, id", name)
	if err != nil {
		return fmt.Errorf("people: listing passkeys: %w", database.Explain(err))
	}
	defer rows.Close() //nolint:errcheck // its error is that of Err
	for rows.Next() {
		var id, handle, record []byte
		var made, used int64
		if err := rows.Scan(&id, &handle, &record, &made, &used); err != nil {
			return fmt.Errorf("people: listing passkeys: %w", database.Explain(err))
		}
		if err := do(id, handle, record, made, used); err != nil {
			return err
		}
	}
	return database.Explain(rows.Err())
}

// holder is a person as the library asks for one.
type holder struct {
	name, title string
	handle      []byte
	keys        []webauthn.Credential
}

func (h *holder) WebAuthnID() []byte                         { return h.handle }
func (h *holder) WebAuthnName() string                       { return h.name }
func (h *holder) WebAuthnDisplayName() string                { return h.title }
func (h *holder) WebAuthnCredentials() []webauthn.Credential { return h.keys }

// handleBytes is the length of a handle, all of it random, so that it tells nothing of the person. [WebAuthn 14.6.1]
const handleBytes = 32

// holder gives name with the passkeys that are kept, and the handle that goes with them: a new one where there are none.
func (b *Book) holder(name, title string) (*holder, error) {
	h := &holder{name: name, title: title}
	err := b.eachPasskey(name, func(_, handle, record []byte, _, _ int64) error {
		var c webauthn.Credential
		if err := json.Unmarshal(record, &c); err != nil {
			return fmt.Errorf("people: a passkey of %s: %w", name, err)
		}
		h.handle = handle
		h.keys = append(h.keys, c)
		return nil
	})
	if h.handle == nil {
		h.handle = make([]byte, handleBytes)
		_, _ = rand.Read(h.handle) // never fails [crypto/rand]
	}
	return h, err
}

// holderOf finds whose passkey it is, as long as that person can log in at all. A wrong handle is nobody's.
func (b *Book) holderOf(id, handle []byte) (*holder, []byte, error) {
	var name string
	var kept, record []byte
	found, err := b.look("looking up a passkey", "SELECT p.name, p.handle, p.record FROM passkey p JOIN login l ON l.name = p.name WHERE p.id = ?", []any{id}, &name, &kept, &record)
	if err != nil {
		return nil, nil, err
	}
	if !found || !bytes.Equal(kept, handle) {
		return nil, nil, ErrWrong
	}
	h := &holder{name: name, title: name, handle: kept, keys: make([]webauthn.Credential, 1)}
	if err := json.Unmarshal(record, &h.keys[0]); err != nil {
		return nil, nil, fmt.Errorf("people: a passkey of %s: %w", name, err)
	}
	return h, record, nil
}

// keepPasskey writes a new one down. Who made it must still have a login.
func (b *Book) keepPasskey(h *holder, c *webauthn.Credential) error {
	c.Attestation = webauthn.CredentialAttestation{} // nobody asked for the maker's word, and nobody looks at it
	record, err := json.Marshal(c)
	if err != nil {
		return fmt.Errorf("people: a passkey of %s: %w", h.name, err)
	}
	return b.change("keeping a passkey", func(ctx context.Context, tx *sql.Tx) error {
		var n int
		if err := tx.QueryRowContext(ctx, "SELECT COUNT(*) FROM passkey WHERE name = ?", h.name).Scan(&n); err != nil {
			return err
		}
		if n >= mostPasskeys {
			return ErrFull
		}
		done, err := tx.ExecContext(ctx, "INSERT INTO passkey (id, name, handle, record, made, used) SELECT ?, name, ?, ?, ?, 0 FROM login WHERE name = ?",
			c.ID, h.handle, string(record), b.now().UnixMilli(), h.name)
		return oneRow(done, err)
	})
}

// usePasskey writes the counter down, if nobody else has in between: of two copies of a key that are used at once one is refused.
func (b *Book) usePasskey(c *webauthn.Credential, before []byte) error {
	record, err := json.Marshal(c)
	if err != nil {
		return fmt.Errorf("people: using a passkey: %w", err)
	}
	return b.change("using a passkey", func(ctx context.Context, tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, "UPDATE passkey SET record = ?, used = ? WHERE id = ? AND record = ?", string(record), b.now().UnixMilli(), c.ID, string(before))
		return oneRow(done, err)
	})
}

// oneRow is ErrWrong where nothing was there to be changed.
func oneRow(done sql.Result, err error) error {
	if err != nil {
		return err
	}
	n, err := done.RowsAffected()
	if err == nil && n != 1 {
		err = ErrWrong
	}
	return err
}
