package drivertest

import (
	"errors"
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
	Turns
	Spoiler
	name string

	mu    sync.Mutex // guards all below
	chips map[uint16]Chip
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

// Tx implements i2c.Bus.
func (b *I2C) Tx(address uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.Take() {
		return errors.New("remote i/o error")
	}
	if b.fill(r) {
		return nil
	}
	chip := b.chips[address]
	if chip == nil {
		return errors.New("no such device or address")
	}
	if err := chip.Tx(w, r); err != nil {
		return err
	}
	b.spoil(r)
	return nil
}

// SetSpeed implements i2c.Bus.
func (b *I2C) SetSpeed(physic.Frequency) error { return nil }

func (b *I2C) String() string { return b.name }
