// Package ads1115test is the double of the ADS1115: its registers and its busy time as the datasheet tells them, with a second door for
// tests and for the simulated estate. It turns volts into codes by searching the step, not by the driver's arithmetic.
//
// Concurrency: safe for use by several goroutines.
package ads1115test

import (
	"errors"
	"math"
	"sort"
	"sync"
	"time"
)

var errNotAcknowledged = errors.New("not acknowledged")

// Chip is one ADS1115.
type Chip struct {
	mu        sync.Mutex // guards all below
	volts     [4]float64 // at the inputs, against ground
	pointer   byte
	registers [4]uint16
	pending   uint16 // code that stands in the conversion register when done
	busy      bool
	done      time.Time
	slow      float64
	code      *uint16 // as set by SetCode
	flip      int     // bit of the next config word read to flip, -1 none
}

// New is a chip as it powers up, with all inputs at ground.
func New() *Chip {
	return &Chip{registers: [4]uint16{0x0000, 0x8583, 0x8000, 0x7FFF}, slow: 1, flip: -1}
}

// SetVoltage sets the voltage at an input 0 to 3 against ground, in V.
func (c *Chip) SetVoltage(input int, volts float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.volts[input] = volts
}

// SetCode makes every conversion give this code, whatever the voltage.
func (c *Chip) SetCode(code uint16) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.code = &code
}

// Slow makes the chip's clock slower by this factor; the datasheet allows 1.1.
func (c *Chip) Slow(factor float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.slow = factor
}

// FlipBit turns over one of the 16 bits of the next configuration word that is read.
func (c *Chip) FlipBit(n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.flip = n
}

// Tx is one exchange: the first byte written points to a register, two more fill it; two bytes read come from where it points.
func (c *Chip) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.settle()
	if len(w) > 0 {
		if w[0] > 3 || len(w) == 2 || len(w) > 3 {
			return errNotAcknowledged
		}
		c.pointer = w[0]
		if len(w) == 3 {
			c.write(uint16(w[1])<<8 | uint16(w[2]))
		}
	}
	word := c.registers[c.pointer]
	if c.pointer == 1 {
		word &= 0x7FFF
		if !c.busy {
			word |= 0x8000
		}
		if c.flip >= 0 && len(r) > 0 {
			word ^= 1 << c.flip
			c.flip = -1
		}
	}
	for i := range r {
		r[i] = byte(word >> (8 * (1 - i%2)))
	}
	return nil
}

func (c *Chip) settle() {
	if c.busy && !time.Now().Before(c.done) {
		c.busy, c.registers[0] = false, c.pending
	}
}

var rates = [...]float64{8, 16, 32, 64, 128, 250, 475, 860}

func (c *Chip) write(word uint16) {
	if c.pointer == 0 {
		return // the conversion register is read-only
	}
	c.registers[c.pointer] = word
	if c.pointer != 1 || word&0x8000 == 0 || c.busy {
		return
	}
	c.pending = code(c.across(word>>12&7), full(word>>9&7))
	if c.code != nil {
		c.pending = *c.code
	}
	c.busy = true
	c.done = time.Now().Add(time.Duration(c.slow / rates[word>>5&7] * float64(time.Second)))
}

// across is the voltage between the two inputs of a position of the multiplexer.
func (c *Chip) across(position uint16) float64 {
	if position >= 4 {
		return c.volts[position-4]
	}
	pair := [4][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}}[position]
	return c.volts[pair[0]] - c.volts[pair[1]]
}

func full(position uint16) float64 {
	switch position {
	case 0:
		return 6.144
	case 1:
		return 4.096
	case 2:
		return 2.048
	case 3:
		return 1.024
	case 4:
		return 0.512
	}
	return 0.256
}

// code is the code whose voltage lies nearest; beyond the ends it stays at the end.
func code(volts, full float64) uint16 {
	n := sort.Search(65535, func(i int) bool {
		upper := full * (float64(i-32768) + 0.5) / 32768
		return volts < upper
	})
	if math.IsNaN(volts) {
		n = 32768
	}
	return uint16(int16(n - 32768))
}
