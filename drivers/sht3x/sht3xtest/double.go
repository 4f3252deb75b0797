// Package sht3xtest is the double of the SHT3x: what the datasheet says the chip answers on its bus, with a second door for tests and for the
// simulated estate. It converts values to words by its own table of steps, not by the driver's formulas.
//
// Concurrency: safe for use by several goroutines.
package sht3xtest

import (
	"errors"
	"sync"
	"time"

	"millwarden/drivers/drivertest"
)

var errNotAcknowledged = errors.New("address not acknowledged")

// Chip is one SHT3x.
type Chip struct {
	mu          sync.Mutex // guards all below
	temperature float64    // °C
	humidity    float64    // %RH
	words       *[2]uint16 // as set by SetWords
	status      uint16
	flip        int // bit of the next measurement to flip, -1 none
	answer      []byte
	ready       time.Time
}

// New is a chip in air of 20 °C and 50 %RH that was just powered up [table 17: bits 15 and 4].
func New() *Chip { return &Chip{temperature: 20, humidity: 50, flip: -1, status: 0x8010} }

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

// Heat switches the heater on, as another program might.
func (c *Chip) Heat() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status |= 0x2000
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

func (c *Chip) command(w []byte) error {
	if len(w) != 2 {
		return errNotAcknowledged
	}
	switch [2]byte{w[0], w[1]} {
	case [2]byte{0xF3, 0x2D}:
		c.answer, c.ready = drivertest.SensirionWords(c.status), time.Now()
	case [2]byte{0x24, 0x00}: // high repeatability takes 15 ms at most [table 4]
		first, second := drivertest.Steps(c.temperature, -45, 130), drivertest.Steps(c.humidity, 0, 100)
		if c.words != nil {
			first, second = c.words[0], c.words[1]
		}
		c.answer, c.ready = drivertest.SensirionWords(first, second), time.Now().Add(15*time.Millisecond)
		if c.flip >= 0 {
			c.answer[c.flip/8] ^= 0x80 >> (c.flip % 8)
			c.flip = -1
		}
	default:
		return errNotAcknowledged
	}
	return nil
}
