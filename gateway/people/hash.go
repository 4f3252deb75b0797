package people

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Cost of an Argon2id hash.
type Cost struct {
	Passes  uint32 // t
	Memory  uint32 // m, KiB
	Threads uint8  // p
}

// DefaultCost is the second choice that RFC 9106 section 4 recommends, for where 2 GiB cannot be had.
var DefaultCost = Cost{Passes: 3, Memory: 64 << 10, Threads: 4}

const (
	saltBytes = 16 // [RFC 9106 section 4]
	tagBytes  = 32 // [RFC 9106 section 4]
	// Bounds of what is taken from the file, so that a changed file cannot take all memory.
	mostMemory = 1 << 20 // KiB
	mostPasses = 64
)

// queue lets one hash be reckoned at a time, since each takes 64 MiB, and a few wait for it.
type queue struct {
	waiting chan struct{}
	working chan struct{}
}

// mostWaiting. Chosen: a whole crew at the change of watch; at half a second each nobody waits longer than a page is waited for.
const mostWaiting = 8

func newQueue() *queue {
	return &queue{waiting: make(chan struct{}, mostWaiting), working: make(chan struct{}, 1)}
}

// do runs work when it is its turn: ErrBusy where too many wait already.
func (q *queue) do(ctx context.Context, work func()) error {
	select {
	case q.waiting <- struct{}{}:
	default:
		return ErrBusy
	}
	defer func() { <-q.waiting }()
	select {
	case q.working <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-q.working }()
	work()
	return nil
}

// hash gives the string form of the Password Hashing Competition: $argon2id$v=19$m=65536,t=3,p=4$salt$tag, base64 without padding.
func hash(password string, c Cost) string {
	var salt [saltBytes]byte
	_, _ = rand.Read(salt[:]) // never fails [crypto/rand]
	tag := argon2.IDKey([]byte(password), salt[:], c.Passes, c.Memory, c.Threads, tagBytes)
	b := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.Memory, c.Passes, c.Threads, b.EncodeToString(salt[:]), b.EncodeToString(tag))
}

var errHash = errors.New("what is kept of the password cannot be read")

// matches tells whether password gives the kept hash. It takes the same time whether it does or not.
func matches(password, kept string) (bool, error) {
	fields := strings.Split(kept, "$")
	if len(fields) != 6 || fields[0] != "" || fields[1] != "argon2id" || fields[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return false, errHash
	}
	var c Cost
	if n, err := fmt.Sscanf(fields[3], "m=%d,t=%d,p=%d", &c.Memory, &c.Passes, &c.Threads); n != 3 || err != nil {
		return false, errHash
	}
	salt, err := base64.RawStdEncoding.DecodeString(fields[4])
	tag, err2 := base64.RawStdEncoding.DecodeString(fields[5])
	if err != nil || err2 != nil || len(tag) < 16 || c.Passes < 1 || c.Passes > mostPasses || c.Memory > mostMemory || c.Threads < 1 {
		return false, errHash
	}
	got := argon2.IDKey([]byte(password), salt, c.Passes, c.Memory, c.Threads, uint32(len(tag))) //nolint:gosec // at most the length of a row
	return subtle.ConstantTimeCompare(got, tag) == 1, nil
}
