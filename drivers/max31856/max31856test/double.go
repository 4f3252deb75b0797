// Package max31856test is the double of the MAX31856: registers and time as the datasheet has them, with a second door for tests and for the simulated
// estate. Where the thermocouple is broken and nobody told the chip to look for that, it shows its own temperature.
//
// Concurrency: safe for use by several goroutines.
package max31856test

import (
	"math"
	"sync"
	"time"

	"periph.io/x/conn/v3/spi"
)

// Chip is one MAX31856 with its thermocouple.
type Chip struct {
	mu        sync.Mutex // guards all below
	registers [16]byte
	hot       float64
	junction  float64
	broken    bool
	status    byte // further bits of the status
	asleep    bool
	done      time.Time
}

// New is a chip just powered up, at 25 °C.
func New() *Chip {
	c := &Chip{hot: 25, junction: 25}
	c.PowerUp()
	return c
}

// PowerUp takes the supply away for a moment: all settings are gone.
func (c *Chip) PowerUp() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.registers = [16]byte{0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80} // 0Ah to 0Eh are 0 until the first conversion
}

// Set sets the true temperatures of the hot end and of the chip, in °C.
func (c *Chip) Set(hot, junction float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.hot, c.junction = hot, junction
}

// Break breaks the thermocouple, or mends it.
func (c *Chip) Break(broken bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.broken = broken
}

// SetStatus sets further bits of the status.
func (c *Chip) SetStatus(bits byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status = bits
}

// Sleep makes the chip take its settings and convert nothing.
func (c *Chip) Sleep() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asleep = true
}

// Exchange writes or reads from a register on.
func (c *Chip) Exchange(mode spi.Mode, w, r []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(w) == 0 || mode != spi.Mode1 && mode != spi.Mode3 {
		return
	}
	c.finish()
	at, write := int(w[0]&0x7F), w[0]&0x80 != 0
	for i := 1; i < len(w) && at < len(c.registers); i, at = i+1, at+1 {
		if write {
			if at < 10 {
				c.registers[at] = w[i]
			}
		} else {
			r[i] = c.registers[at]
		}
	}
	if write && int(w[0]&0x7F) == 0 { // it acts when it is released
		if c.registers[0]&0x02 != 0 {
			c.registers[0] &^= 0x02
			c.registers[15] = 0
		}
		if c.registers[0]&0x40 != 0 {
			count := 1 << min(c.registers[1]>>4&7, 4)
			c.done = time.Now().Add(time.Duration(185+40*(count-1)) * time.Millisecond)
		}
	}
}

// finish ends a conversion whose time has come.
func (c *Chip) finish() {
	if c.registers[0]&0x40 == 0 || c.asleep || time.Now().Before(c.done) {
		return
	}
	c.registers[0] &^= 0x40
	hot := c.hot
	c.registers[15] = c.status
	if c.broken {
		hot = c.junction
		if c.registers[0]&0x30 != 0 {
			c.registers[15] |= 1
		}
	}
	put(c.registers[12:15], int64(math.Round(hot*128))*32)
	put(c.registers[10:12], int64(math.Round(c.junction*64))*4)
}

// put writes a number high byte first, negative ones counted down from the top.
func put(into []byte, n int64) {
	size := int64(1) << (8 * len(into))
	n = (n%size + size) % size
	for i := len(into) - 1; i >= 0; i-- {
		into[i], n = byte(n%256), n/256
	}
}
