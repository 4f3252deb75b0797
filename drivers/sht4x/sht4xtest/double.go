// Package sht4xtest is the double of the SHT4x: what the datasheet says the chip answers on its bus, with a second door for tests and for
// the simulated estate. It converts values to words by its own table of steps, not by the driver's formulas.
//
// Concurrency: safe for use by several goroutines.
package sht4xtest

import (
	"errors"
	"sync"
	"time"

	"millwarden/drivers/drivertest"
)

var errNotAcknowledged = errors.New("address not acknowledged")

// Chip is one SHT4x.
type Chip struct {
	mu          sync.Mutex // guards all below
	temperature float64    // °C
	humidity    float64    // %RH
	words       *[2]uint16 // as set by SetWords
	flip        int        // bit of the next measurement to flip, -1 none
	serial      [2]uint16
	answer      []byte
	ready       time.Time
}

// New is a chip in air of 20 °C and 50 %RH.
func New() *Chip {
	return &Chip{temperature: 20, humidity: 50, flip: -1, serial: [2]uint16{0x0F4A, 0x91C3}}
}

// Set sets the true temperature in °C and humidity in %RH.
func (c *Chip) Set(temperature, humidity float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.temperature, c.humidity, c.words = temperature, humidity, nil
}

// SetWords makes the chip answer these words, with right checksums, whatever the truth.
func (c *Chip) SetWords(temperature, humidity uint16) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.words = &[2]uint16{temperature, humidity}
}

// FlipBit turns over one of the 48 bits of the next measurement, counted from the first sent.
func (c *Chip) FlipBit(n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.flip = n
}

// Tx is one exchange. Until a measurement is done the chip does not acknowledge its address.
func (c *Chip) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(w) > 0 {
		if err := c.command(w); err != nil {
			return err
		}
	}
	if len(r) == 0 {
		return nil
	}
	if c.answer == nil || time.Now().Before(c.ready) {
		return errNotAcknowledged
	}
	for i := range r {
		r[i] = 0xFF // a master that clocks beyond the answer reads the released line
	}
	copy(r, c.answer)
	c.answer = nil
	return nil
}

// times are how long the chip is busy; the measurement takes its longest.
var times = map[byte]time.Duration{0xFD: 8300 * time.Microsecond, 0xF6: 4500 * time.Microsecond, 0xE0: 1700 * time.Microsecond, 0x89: 0}

func (c *Chip) command(w []byte) error {
	busy, known := times[w[0]]
	if len(w) != 1 || !known {
		return errNotAcknowledged
	}
	c.ready = time.Now().Add(busy)
	first, second := c.serial[0], c.serial[1]
	if w[0] != 0x89 {
		first, second = drivertest.Steps(c.temperature, -45, 130), drivertest.Steps(c.humidity, -6, 119)
		if c.words != nil {
			first, second = c.words[0], c.words[1]
		}
	}
	c.answer = drivertest.SensirionWords(first, second)
	if c.flip >= 0 && w[0] != 0x89 {
		c.answer[c.flip/8] ^= 0x80 >> (c.flip % 8)
		c.flip = -1
	}
	return nil
}
