// Package lm75test is the double of LM75, TMP75 and TMP102: their registers and what they keep of what is written.
//
// Concurrency: safe for use by several goroutines.
package lm75test

import (
	"math"
	"sync"
)

// Model is which part the double is.
type Model uint8

// The models.
const (
	LM75   Model = iota // 9 bits, undefined ones set, a configuration of five bits
	TMP75               // 9 to 12 bits by its configuration
	TMP102              // 12 bits, 13 with Extend
)

// Chip is one part.
type Chip struct {
	mu       sync.Mutex // guards all below
	model    Model
	celsius  float64
	word     *uint16
	config   uint16
	high     uint16
	pointer  byte
	asleep   float64 // what it measured last before it was put to sleep
	extended bool
}

// New is a part of 20 °C as it powers on.
func New(m Model) *Chip {
	c := &Chip{model: m, celsius: 20, high: 0x5000} // 80 °C
	if m == TMP102 {
		c.config = 0x60A0
	}
	return c
}

// Set sets the true temperature in °C.
func (c *Chip) Set(celsius float64) { c.with(func() { c.celsius, c.word = celsius, nil }) }

// SetWord makes the chip answer this temperature word.
func (c *Chip) SetWord(word uint16) { c.with(func() { c.word = &word }) }

// SetConfiguration sets the register as another program may have left it.
func (c *Chip) SetConfiguration(word uint16) {
	c.with(func() { c.config, c.asleep = word, c.celsius })
}

// Extend makes a TMP102 give 13 bits.
func (c *Chip) Extend() { c.with(func() { c.extended = true; c.config |= 0x10 }) }

// SetHigh sets the register of the upper limit.
func (c *Chip) SetHigh(word uint16) { c.with(func() { c.high = word }) }

func (c *Chip) with(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
}

// Tx is one exchange: the first byte written is the pointer.
func (c *Chip) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(w) > 0 {
		c.pointer = w[0] & 3
	}
	if len(w) > 1 && c.pointer == 1 {
		c.configure(w[1:])
	}
	word := map[byte]uint16{0: c.temperature(), 1: c.config, 2: 0x4B00, 3: c.high}[c.pointer]
	if c.pointer == 1 && c.model != TMP102 {
		word <<= 8
	}
	for i := range r {
		r[i] = byte(word >> 8)
		word = word<<8 | word>>8
	}
	return nil
}

func (c *Chip) configure(w []byte) {
	switch {
	case c.model == LM75:
		c.config = uint16(w[0] & 0x1F)
	case c.model == TMP75:
		c.config = uint16(w[0] & 0x7F)
	case len(w) > 1:
		c.config = uint16(w[0])<<8&0x1F00 | 0x6000 | uint16(w[1])&0xF0
	}
}

// temperature counts steps of the part's own size, by rounding to the nearest.
func (c *Chip) temperature() uint16 {
	if c.word != nil {
		return *c.word
	}
	celsius := c.celsius
	if c.sleeping() {
		celsius = c.asleep
	}
	switch {
	case c.model == LM75:
		return uint16(int16(math.Round(celsius*2)))<<7 | 0x7F
	case c.model == TMP75:
		perDegree := math.Pow(2, float64(1+c.config>>5&3))
		return uint16(int16(math.Round(celsius*perDegree) / perDegree * 256))
	case c.extended:
		return uint16(int16(math.Round(celsius*16)))<<3 | 1
	default:
		return uint16(int16(math.Round(celsius*16))) << 4
	}
}

func (c *Chip) sleeping() bool {
	if c.model == TMP102 {
		return c.config&0x0100 != 0
	}
	return c.config&1 != 0
}
