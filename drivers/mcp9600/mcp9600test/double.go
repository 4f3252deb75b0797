// Package mcp9600test is the double of the MCP9600: its registers, converting by itself every 320 ms.
//
// Concurrency: safe for use by several goroutines.
package mcp9600test

import (
	"math"
	"sync"
	"time"
)

const converts = 320 * time.Millisecond // 18 bits (from memory)

// Chip is one MCP9600 with its thermocouple.
type Chip struct {
	mu        sync.Mutex // guards all below
	hot, cold float64
	shown     float64 // of the last conversion
	begun     time.Time
	registers [256]byte
	pointer   byte
	stopped   bool
	status    byte
	id        byte
	stubborn  bool
}

// New is a chip at 25 °C whose thermocouple, of type K, is at 25 °C too.
func New() *Chip { return &Chip{hot: 25, cold: 25, shown: 25, begun: time.Now(), id: 0x40} }

// Set sets the true temperatures of the hot end and of the chip, in °C.
func (c *Chip) Set(hot, cold float64) { c.with(func() { c.hot, c.cold = hot, cold }) }

// SetStatus sets bits of the status: 10h beyond its range or open, 20h shorted.
func (c *Chip) SetStatus(bits byte) { c.with(func() { c.status = bits }) }

// Stop makes the chip convert no more.
func (c *Chip) Stop(stopped bool) { c.with(func() { c.stopped = stopped }) }

// SetID sets the id register.
func (c *Chip) SetID(id byte) { c.with(func() { c.id = id }) }

// Refuse makes the chip keep its settings.
func (c *Chip) Refuse() { c.with(func() { c.stubborn = true }) }

// Type is the type of thermocouple that was set.
func (c *Chip) Type() (bits byte) {
	c.with(func() { bits = c.registers[5] >> 4 & 7 })
	return bits
}

func (c *Chip) with(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
}

// Tx is one exchange: the first byte written is the register.
func (c *Chip) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.stopped && time.Since(c.begun) >= converts {
		c.begun, c.shown = time.Now(), c.hot
		c.registers[4] |= 0x40
	}
	if len(w) > 0 {
		c.pointer = w[0]
	}
	if len(w) > 1 && !c.stubborn {
		c.registers[c.pointer] = w[1]
	}
	copy(r, c.content())
	return nil
}

func (c *Chip) content() []byte {
	switch c.pointer {
	case 0x00:
		return sixteenths(c.shown)
	case 0x02:
		return sixteenths(c.cold)
	case 0x04:
		return []byte{c.registers[4] | c.status}
	case 0x20:
		return []byte{c.id, 0x12}
	}
	return []byte{c.registers[c.pointer]}
}

func sixteenths(celsius float64) []byte {
	n := int(math.Floor(celsius*16+0.5)) & 0xFFFF
	return []byte{byte(n / 256), byte(n % 256)}
}
