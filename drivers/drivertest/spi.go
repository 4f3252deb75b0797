package drivertest

import (
	"errors"
	"math/rand/v2"
	"sync"

	"periph.io/x/conn/v3/spi"

	"millwarden/drivers"
)

// SPIChip is a double behind a select line: it takes what is sent and fills what is read, both of one length.
type SPIChip interface {
	Exchange(mode spi.Mode, w, r []byte)
}

// SPI is a bus in memory that holds many chips by their select line. Where no chip is, the pulled-up line reads all ones, without error.
//
// Concurrency: safe for use by several goroutines.
type SPI struct {
	mu        sync.Mutex // guards all below
	chips     map[int]SPIChip
	exchanges int
	failing   int
	noise     *rand.Rand
	alter     func(r []byte)
}

var _ drivers.SPIBus = (*SPI)(nil)

// NewSPI is an empty bus.
func NewSPI() *SPI { return &SPI{chips: map[int]SPIChip{}} }

// Put connects a chip, in place of any that was there.
func (b *SPI) Put(line int, chip SPIChip) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.chips[line] = chip
}

// Remove disconnects what is on a select line.
func (b *SPI) Remove(line int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.chips, line)
}

// Exchanges counts the exchanges so far.
func (b *SPI) Exchanges() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.exchanges
}

// Fail makes the n-th exchange from now fail, counted from 1; 0 none.
func (b *SPI) Fail(n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.failing = 0
	if n > 0 {
		b.failing = b.exchanges + n
	}
}

// Noise fills everything that is read with random bytes; nil ends it.
func (b *SPI) Noise(r *rand.Rand) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.noise = r
}

// Alter passes everything that is read through f; nil ends it.
func (b *SPI) Alter(f func(r []byte)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.alter = f
}

// Exchange implements drivers.SPIBus.
func (b *SPI) Exchange(line int, mode spi.Mode, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.exchanges++
	if b.exchanges == b.failing {
		return errors.New("input/output error")
	}
	chip := b.chips[line]
	switch {
	case b.noise != nil:
		for i := range r {
			r[i] = byte(b.noise.Uint32())
		}
	case chip == nil:
		for i := range r {
			r[i] = 0xFF
		}
	default:
		chip.Exchange(mode, w, r)
		if b.alter != nil {
			b.alter(r)
		}
	}
	return nil
}
