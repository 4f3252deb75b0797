package push

import (
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"millwarden/gateway/callout"
)

// Subscription is one telephone of a person.
type Subscription struct {
	Person   string `json:"person"`
	Endpoint string `json:"endpoint"` // address at the push service; whoever has it and the keys can send to the telephone
	P256DH   []byte `json:"p256dh"`   // the telephone's public key
	Auth     []byte `json:"auth"`     // a secret of 16 bytes
}

// ErrSubscription is a subscription that cannot be one.
var ErrSubscription = errors.New("push: that is no subscription to push messages")

const (
	keyFile           = "push-key.pem"
	subscriptionsFile = "push-subscriptions.json"
	ownerOnly         = 0o600
	// Bounds of what is kept; chosen: a telephone, a tablet and a desk a person, some of them twice.
	perPerson   = 6
	endpointMax = 2000
)

// Store keeps the board's key and the subscriptions, in two files of a folder.
type Store struct {
	folder string
	key    *ecdsa.PrivateKey

	mu   sync.Mutex // guards what stands below
	all  []Subscription
	lost map[string]bool // people whose subscription ended and who have none since
}

// OpenStore opens or begins the store. Files that others may read are refused.
func OpenStore(folder string) (*Store, error) {
	s := &Store{folder: folder, lost: map[string]bool{}}
	if err := s.openKey(); err != nil {
		return nil, err
	}
	text, err := readSecret(filepath.Join(folder, subscriptionsFile))
	if err == nil {
		err = json.Unmarshal(text, &s.all)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("push: reading subscriptions: %w", err)
	}
	return s, nil
}

func (s *Store) openKey() error {
	path := filepath.Join(s.folder, keyFile)
	text, err := readSecret(path)
	if errors.Is(err, fs.ErrNotExist) {
		if s.key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
			return fmt.Errorf("push: making a key: %w", err)
		}
		raw, err := x509.MarshalPKCS8PrivateKey(s.key)
		if err != nil {
			return fmt.Errorf("push: writing the key: %w", err)
		}
		return writeSecret(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: raw}))
	}
	if err != nil {
		return fmt.Errorf("push: reading the key: %w", err)
	}
	s.key, err = parseKey(text)
	return err
}

func parseKey(text []byte) (*ecdsa.PrivateKey, error) {
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, fmt.Errorf("push: %s holds no key", keyFile)
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	key, ok := parsed.(*ecdsa.PrivateKey)
	if err != nil || !ok || key.Curve != elliptic.P256() {
		return nil, fmt.Errorf("push: %s holds no key of P-256", keyFile)
	}
	return key, nil
}

// readSecret reads a file that is its owner's alone.
func readSecret(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("%s may be read by others: chmod 600 it", filepath.Base(path))
	}
	return os.ReadFile(path)
}

// writeSecret puts a file in place whole: after a power cut there is the old or the new.
func writeSecret(path string, text []byte) error {
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, ownerOnly)
	if err != nil {
		return fmt.Errorf("push: %w", err)
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(path+".new", path)
	}
	if err != nil {
		return fmt.Errorf("push: writing %s: %w", filepath.Base(path), err)
	}
	return nil
}

// Key is the board's public key, as a browser wants it.
func (s *Store) Key() string {
	public, err := s.key.PublicKey.ECDH()
	if err != nil {
		return "" // a key of P-256 always is one
	}
	return base64url.EncodeToString(public.Bytes())
}

// Of gives the subscriptions of a person.
func (s *Store) Of(person string) []Subscription {
	s.mu.Lock()
	defer s.mu.Unlock()
	var own []Subscription
	for _, one := range s.all {
		if one.Person == person {
			own = append(own, one)
		}
	}
	return own
}

// Add keeps a subscription. One telephone is one person's: who subscribes it anew takes it over. Past perPerson the person's oldest is forgotten.
func (s *Store) Add(n Subscription) error {
	_, err := ecdh.P256().NewPublicKey(n.P256DH)
	if err != nil || len(n.Auth) != authSize || n.Person == "" || len(n.Endpoint) > endpointMax || !strings.HasPrefix(n.Endpoint, "https://") {
		return ErrSubscription
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	all := slices.DeleteFunc(slices.Clone(s.all), func(o Subscription) bool { return o.Endpoint == n.Endpoint })
	all = append(all, n)
	var own int
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].Person == n.Person {
			if own++; own > perPerson {
				all = slices.Delete(all, i, i+1)
			}
		}
	}
	delete(s.lost, n.Person)
	return s.keep(all)
}

// Forget drops a subscription of a person; one that is not there is no error.
func (s *Store) Forget(person, endpoint string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.keep(slices.DeleteFunc(slices.Clone(s.all), func(o Subscription) bool { return o.Endpoint == endpoint && o.Person == person }))
}

// keep writes what is to be kept; the caller holds mu.
func (s *Store) keep(all []Subscription) error {
	s.all = all // even if the disk refuses: what ended is not asked again
	text, err := json.Marshal(all)
	if err != nil {
		return fmt.Errorf("push: writing subscriptions: %w", err)
	}
	return writeSecret(filepath.Join(s.folder, subscriptionsFile), text)
}

// gone forgets a subscription that the service no longer knows.
func (s *Store) gone(o *Subscription) error {
	err := s.Forget(o.Person, o.Endpoint)
	left := len(s.Of(o.Person))
	s.mu.Lock()
	defer s.mu.Unlock()
	if left == 0 {
		s.lost[o.Person] = true
	}
	return err
}

func (s *Store) taken(o *Subscription) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.lost, o.Person)
}

func (s *Store) health() callout.Health {
	s.mu.Lock()
	defer s.mu.Unlock()
	h := callout.Health{Works: true, Signal: math.NaN()}
	for person := range s.lost {
		h.Works, h.Because = false, "the subscription of "+person+" has ended; subscribe again on the page"
	}
	return h
}
