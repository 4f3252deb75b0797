package callout

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"sync"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// Token stands for the right of one person to acknowledge one occurrence by a link, without logging in: at three in the morning a password is one step
// too many. It grants nothing else.
//
// It is 128 bits from the system's random source [ASVS 7.2.3], and only its SHA-256 is kept, so that who reads the logbook or a backup of it holds no
// link. A signed token would need no keeping, but a key that every backup has, and it could not be taken back; the logbook must be written anyhow.
type Token struct {
	Hash       [sha256.Size]byte
	Alarm      string
	Occurrence int64
	Person     string
	Title      string    // of the alarm with its place, as it was sent
	Expires    time.Time // zero: with the occurrence only, since the clock was not set
}

// Tokens keeps them over restarts. The logbook is behind it.
type Tokens interface {
	KeepToken(Token) error
	// FindToken looks one up. With an error and no alarm in it there is none; with an error and an alarm it is no longer in force.
	FindToken(hash [sha256.Size]byte) (Token, error)
}

const (
	tokenBytes = 16
	// tokenLife bounds how long a forgotten message can still acknowledge. Chosen: a night and the day after it.
	tokenLife = 24 * time.Hour
	// linksKept is how many tokens are known without the logbook, so that links work while it does not. Chosen: some hundred kilobytes.
	linksKept = 1024
)

// links issues tokens and finds them again.
type links struct {
	tokens Tokens

	mu    sync.Mutex // guards what stands below
	known map[[sha256.Size]byte]Token
	order [][sha256.Size]byte // oldest first
}

func newLinks(t Tokens) *links { return &links{tokens: t, known: map[[sha256.Size]byte]Token{}} }

// issue makes a token. It is in force at once; keeping it is up to the desk, which may be late.
func (l *links) issue(d *desk, s *engine.Standing, person, title string, now reading.Stamp) string {
	var raw [tokenBytes]byte
	_, _ = rand.Read(raw[:]) // never fails [crypto/rand]
	text := base64.RawURLEncoding.EncodeToString(raw[:])
	t := Token{Hash: sha256.Sum256([]byte(text)), Alarm: s.Alarm.ID, Occurrence: s.Occurrence, Person: person, Title: title}
	if now.Set {
		t.Expires = now.Wall.Add(tokenLife)
	}
	l.mu.Lock()
	l.known[t.Hash] = t
	l.order = append(l.order, t.Hash)
	if len(l.order) > linksKept {
		delete(l.known, l.order[0])
		l.order = l.order[1:]
	}
	l.mu.Unlock()
	d.ask(func() error { return l.tokens.KeepToken(t) })
	return text
}

// Answer finds what a link of a message stands for; expired tells that its time is over. It acknowledges nothing: messages are opened by machines too.
func (c *Callout) Answer(token string) (t Token, expired, ok bool) {
	hash := sha256.Sum256([]byte(token))
	c.links.mu.Lock()
	t, ok = c.links.known[hash]
	c.links.mu.Unlock()
	if !ok {
		var err error
		if t, err = c.links.tokens.FindToken(hash); err != nil && t.Alarm == "" {
			return Token{}, false, false
		}
	}
	now := c.clock.Now()
	return t, now.Set && !t.Expires.IsZero() && now.Wall.After(t.Expires), true
}

// newID is a name for a message that no other has.
func newID() string {
	var raw [12]byte
	_, _ = rand.Read(raw[:]) // never fails [crypto/rand]
	return base64.RawURLEncoding.EncodeToString(raw[:])
}
