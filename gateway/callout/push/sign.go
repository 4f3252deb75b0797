package push

import (
	"crypto/ecdsa"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/url"
	"sync"
	"time"

	"millwarden/internal/clock"
)

const (
	// tokenLife is below the day that a service takes at most. [RFC 8292 section 2]
	tokenLife = 12 * time.Hour
	// tokenAnew is when it is made anew. Chosen: a clock that is an hour off, and the message still has its hour.
	tokenAnew = 10 * time.Hour
	half      = 32 // bytes of each half of an ES256 signature [RFC 7518 section 3.4]
)

var base64url = base64.RawURLEncoding

// signer tells push services who sends. [RFC 8292]
type signer struct {
	key     *ecdsa.PrivateKey
	contact string
	clock   clock.Clock

	mu     sync.Mutex // guards tokens
	tokens map[string]token
}

type token struct {
	text string
	made time.Time
}

func newSigner(key *ecdsa.PrivateKey, contact string, c clock.Clock) *signer {
	return &signer{key: key, contact: contact, clock: c, tokens: map[string]token{}}
}

// token gives the token for the service of an address; one serves all subscriptions there.
func (s *signer) token(endpoint string) (string, error) {
	u, err := url.Parse(endpoint)
	if err != nil || u.Host == "" {
		return "", fmt.Errorf("push: the address of the subscription is none")
	}
	origin, now := u.Scheme+"://"+u.Host, s.clock.Now().Wall
	s.mu.Lock()
	defer s.mu.Unlock()
	if t, kept := s.tokens[origin]; kept && !now.Before(t.made) && now.Sub(t.made) < tokenAnew {
		return t.text, nil
	}
	text, err := s.sign(origin, now.Add(tokenLife))
	if err != nil {
		return "", err
	}
	s.tokens[origin] = token{text, now}
	return text, nil
}

// sign makes a token. [RFC 7515 section 3.1, RFC 7518 section 3.4]
func (s *signer) sign(origin string, until time.Time) (string, error) {
	claims, err := json.Marshal(map[string]any{"aud": origin, "exp": until.Unix(), "sub": "mailto:" + s.contact})
	if err != nil {
		return "", fmt.Errorf("push: writing the token: %w", err)
	}
	text := base64url.EncodeToString([]byte(`{"typ":"JWT","alg":"ES256"}`)) + "." + base64url.EncodeToString(claims)
	hash := sha256.Sum256([]byte(text))
	x, y, err := ecdsa.Sign(rand.Reader, s.key, hash[:])
	if err != nil {
		return "", fmt.Errorf("push: signing the token: %w", err)
	}
	var signature [2 * half]byte
	x.FillBytes(signature[:half])
	y.FillBytes(signature[half:])
	return text + "." + base64url.EncodeToString(signature[:]), nil
}
