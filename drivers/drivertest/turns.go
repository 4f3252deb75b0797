package drivertest

import (
	"math/rand/v2"
	"sync"
)

// Turns counts the exchanges with a double and makes one of them fail: what the suite asks of each. A double embeds it.
//
// Concurrency: safe for use by several goroutines.
type Turns struct {
	mu        sync.Mutex // guards all below
	exchanges int
	failing   int
}

// Exchanges counts the exchanges so far.
func (t *Turns) Exchanges() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.exchanges
}

// Fail makes the n-th exchange from now fail, counted from 1; 0 none.
func (t *Turns) Fail(n int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.failing = 0
	if n > 0 {
		t.failing = t.exchanges + n
	}
}

// Take counts an exchange, and reports whether it shall fail.
func (t *Turns) Take() (fails bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.exchanges++
	return t.exchanges == t.failing
}

// Spoiler garbles what is read on a bus of bytes.
//
// Concurrency: safe for use by several goroutines.
type Spoiler struct {
	mu    sync.Mutex // guards all below
	noise *rand.Rand
	alter func(r []byte)
}

// Noise fills everything that is read with random bytes; nil ends it.
func (s *Spoiler) Noise(r *rand.Rand) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.noise = r
}

// Alter passes everything that is read through f; nil ends it.
func (s *Spoiler) Alter(f func(r []byte)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.alter = f
}

// fill fills r with noise, if there is any.
func (s *Spoiler) fill(r []byte) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.noise == nil {
		return false
	}
	for i := range r {
		r[i] = byte(s.noise.Uint32())
	}
	return true
}

func (s *Spoiler) spoil(r []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.alter != nil && len(r) > 0 {
		s.alter(r)
	}
}
