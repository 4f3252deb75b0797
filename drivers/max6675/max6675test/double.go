// Package max6675test is the double of the MAX6675: it converts while it is left alone, and ends the conversion when it is asked. It finds the voltage of
// a true temperature by linear interpolation in a table of NIST ITS-90 values, not by the driver's function.
//
// Concurrency: safe for use by several goroutines.
package max6675test

import (
	"encoding/binary"
	"math"
	"sync"
	"time"

	"periph.io/x/conn/v3/spi"
)

// converts is how long a conversion takes: 220 ms at most (from memory).
const converts = 220 * time.Millisecond

// Chip is one MAX6675 with its thermocouple.
type Chip struct {
	mu      sync.Mutex // guards all below
	hot     float64
	own     float64
	open    bool
	word    *uint16
	latched uint16
	begun   time.Time
}

// New is a chip at 25 °C whose thermocouple is at 25 °C too.
func New() *Chip {
	c := &Chip{hot: 25, own: 25}
	c.latched = c.convert()
	return c
}

// Set sets the true temperature of the hot end, in °C.
func (c *Chip) Set(hot float64) { c.with(func() { c.hot, c.word = hot, nil }) }

// SetOwn sets the true temperature of the chip itself, in °C.
func (c *Chip) SetOwn(own float64) { c.with(func() { c.own = own }) }

// SetWord makes the chip answer this word, whatever the truth.
func (c *Chip) SetWord(word uint16) { c.with(func() { c.word = &word }) }

// Break opens the thermocouple, or mends it.
func (c *Chip) Break(open bool) { c.with(func() { c.open = open }) }

func (c *Chip) with(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
}

// Exchange gives the result of the last whole conversion, and begins a new one.
func (c *Chip) Exchange(mode spi.Mode, _, r []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.begun) >= converts {
		c.latched = c.convert()
	}
	c.begun = time.Now()
	word := c.latched
	if mode != spi.Mode0 { // shifted by half a clock: the first bit is lost
		word <<= 1
	}
	var out [2]byte
	binary.BigEndian.PutUint16(out[:], word)
	copy(r, out[:])
}

func (c *Chip) convert() uint16 {
	if c.word != nil {
		return *c.word
	}
	if c.open {
		return 1 << 2
	}
	shown := c.own + (millivolts(c.hot)-millivolts(c.own))/0.041
	return uint16(math.Max(0, math.Min(4095, math.Round(shown*4)))) << 3
}

// every20 are the voltages of type K from -40 to 1100 °C, every 20 °C, in mV [NIST ITS-90 thermocouple database, SRD 60].
var every20 = [...]float64{
	-1.5269, -0.7775, 0.0000, 0.7981, 1.6118, 2.4365, 3.2666, 4.0962, 4.9199, 5.7345,
	6.5402, 7.3400, 8.1385, 8.9399, 9.7472, 10.5613, 11.3821, 12.2086, 13.0396, 13.8745,
	14.7126, 15.5536, 16.3971, 17.2431, 18.0911, 18.9409, 19.7921, 20.6443, 21.4971, 22.3500,
	23.2027, 24.0547, 24.9055, 25.7547, 26.6020, 27.4471, 28.2895, 29.1290, 29.9653, 30.7983,
	31.6277, 32.4534, 33.2754, 34.0934, 34.9075, 35.7177, 36.5238, 37.3259, 38.1240, 38.9180,
	39.7080, 40.4939, 41.2756, 42.0531, 42.8263, 43.5951, 44.3593, 45.1187,
}

func millivolts(celsius float64) float64 {
	at := (celsius + 40) / 20
	i := int(math.Max(0, math.Min(float64(len(every20)-2), math.Floor(at))))
	return every20[i] + (at-float64(i))*(every20[i+1]-every20[i])
}
