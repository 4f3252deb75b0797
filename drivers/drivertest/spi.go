package drivertest

import (
	"errors"
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
	Turns
	Spoiler

	mu    sync.Mutex // guards all below
	chips map[int]SPIChip
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

// Exchange implements drivers.SPIBus.
func (b *SPI) Exchange(line int, mode spi.Mode, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.Take() {
		return errors.New("input/output error")
	}
	if b.fill(r) {
		return nil
	}
	chip := b.chips[line]
	if chip == nil {
		for i := range r {
			r[i] = 0xFF
		}
		return nil
	}
	chip.Exchange(mode, w, r)
	b.spoil(r)
	return nil
}
