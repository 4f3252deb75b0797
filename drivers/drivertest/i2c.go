package drivertest

import (
	"errors"
	"math/rand/v2"
	"sync"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// Chip is a double behind an I2C address: it takes what is written and fills what is read.
type Chip interface {
	Tx(w, r []byte) error
}

// I2C is a bus in memory that holds many chips by their address.
//
// Concurrency: safe for use by several goroutines.
type I2C struct {
	name string

	mu        sync.Mutex // guards all below
	chips     map[uint16]Chip
	exchanges int
	failing   int
	noise     *rand.Rand
	alter     func(r []byte)
}

var _ i2c.Bus = (*I2C)(nil)

// NewI2C is an empty bus.
func NewI2C(name string) *I2C { return &I2C{name: name, chips: map[uint16]Chip{}} }

// Put connects a chip, in place of any that was there.
func (b *I2C) Put(address uint16, chip Chip) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.chips[address] = chip
}

// Remove disconnects what is at an address.
func (b *I2C) Remove(address uint16) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.chips, address)
}

// Exchanges counts the transactions so far.
func (b *I2C) Exchanges() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.exchanges
}

// Fail makes the n-th transaction from now fail, counted from 1; 0 none.
func (b *I2C) Fail(n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.failing = 0
	if n > 0 {
		b.failing = b.exchanges + n
	}
}

// Noise fills everything that is read with random bytes; nil ends it.
func (b *I2C) Noise(r *rand.Rand) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.noise = r
}

// Alter passes everything that is read through f; nil ends it.
func (b *I2C) Alter(f func(r []byte)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.alter = f
}

// Tx implements i2c.Bus.
func (b *I2C) Tx(address uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.exchanges++
	chip := b.chips[address]
	if b.exchanges == b.failing {
		return errors.New("remote i/o error")
	}
	if b.noise != nil {
		for i := range r {
			r[i] = byte(b.noise.Uint32())
		}
		return nil
	}
	if chip == nil {
		return errors.New("no such device or address")
	}
	if err := chip.Tx(w, r); err != nil {
		return err
	}
	if b.alter != nil && len(r) > 0 {
		b.alter(r)
	}
	return nil
}

// SetSpeed implements i2c.Bus.
func (b *I2C) SetSpeed(physic.Frequency) error { return nil }

func (b *I2C) String() string { return b.name }
