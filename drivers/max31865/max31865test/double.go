// Package max31865test is the double of the MAX31865 with its element: registers and time as the datasheet has them, with a second door for tests and for
// the simulated estate.
//
// Concurrency: safe for use by several goroutines.
package max31865test

import (
	"math"
	"sync"
	"time"

	"periph.io/x/conn/v3/spi"
)

// Chip is one MAX31865.
type Chip struct {
	mu        sync.Mutex // guards all below
	registers [8]byte
	ohms      float64
	reference float64
	broken    bool
	word      *uint16
	asleep    bool
	biased    time.Time
	done      time.Time
	highest   byte // configuration as ever written, all bits
}

// New is a chip with a reference resistor and an element of that resistance at the moment.
func New(reference, ohms float64) *Chip {
	return &Chip{reference: reference, ohms: ohms, registers: [8]byte{0, 0, 0, 0xFF, 0xFF, 0, 0, 0}}
}

// SetOhms sets the resistance of the element.
func (c *Chip) SetOhms(ohms float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.ohms, c.word = ohms, nil
}

// Platinum is the resistance of an element of so many Ω at 0 °C [IEC 60751, as sums of powers].
func Platinum(nominal, celsius float64) float64 {
	below := 0.0
	if celsius < 0 {
		below = -4.183e-12 * (math.Pow(celsius, 4) - 100*math.Pow(celsius, 3))
	}
	return nominal * (1 + 0.0039083*celsius - 0.0000005775*math.Pow(celsius, 2) + below)
}

// SetWord makes the chip convert to this word, whatever the truth.
func (c *Chip) SetWord(word uint16) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.word = &word
}

// Break breaks the element, or mends it.
func (c *Chip) Break(broken bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.broken = broken
}

// Sleep makes the chip take its settings and convert nothing.
func (c *Chip) Sleep() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asleep = true
}

// Config is the configuration as it stands, and all its bits that were ever written.
func (c *Chip) Config() (now, ever byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.registers[0], c.highest
}

// Exchange writes or reads from a register on.
func (c *Chip) Exchange(mode spi.Mode, w, r []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(w) < 2 || mode != spi.Mode1 && mode != spi.Mode3 {
		return
	}
	c.finish()
	if w[0] == 0x80 {
		c.configure(w[1])
		return
	}
	for i, at := 1, int(w[0]); i < len(w) && at < len(c.registers); i, at = i+1, at+1 {
		r[i] = c.registers[at]
	}
}

func (c *Chip) configure(value byte) {
	c.highest |= value
	if value&0x80 != 0 && c.registers[0]&0x80 == 0 {
		c.biased = time.Now()
	}
	if value&0x02 != 0 && value&0x2C == 0 {
		c.registers[7] = 0
	}
	if value&0x0C == 0x04 && value&0x80 != 0 && c.broken {
		c.registers[7] |= 0x20
	}
	if value&0x20 != 0 {
		c.done = time.Now().Add(62500 * time.Microsecond)
	}
	c.registers[0] = value &^ 0x0E
}

// finish ends a conversion whose time has come. Where the current did not stand long enough before it the ratio is short of the truth.
func (c *Chip) finish() {
	if c.registers[0]&0x20 == 0 || c.asleep || time.Now().Before(c.done) {
		return
	}
	c.registers[0] &^= 0x20
	ratio := c.ohms / c.reference
	if stood := c.done.Sub(c.biased); stood < 70*time.Millisecond || c.registers[0]&0x80 == 0 {
		ratio *= 0.9
	}
	if c.broken {
		ratio = 1
	}
	code := math.Max(0, math.Min(32767, math.Round(ratio*32768)))
	word := uint16(code) * 2
	if c.word != nil {
		word = *c.word
	}
	if c.registers[7] != 0 {
		word |= 1
	}
	c.registers[1], c.registers[2] = byte(word/256), byte(word%256)
}
