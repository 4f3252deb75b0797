// Package max31855test is the double of the MAX31855K: it converts while it is left alone, and ends the conversion when it is asked. It finds the
// voltage of a true temperature by the published inverse polynomials of ITS-90 (good to 0.06 °C), not by the driver's function.
//
// Concurrency: safe for use by several goroutines.
package max31855test

import (
	"encoding/binary"
	"math"
	"sync"
	"time"

	"periph.io/x/conn/v3/spi"
)

// converts is how long a conversion takes: 100 ms at most (from memory).
const converts = 100 * time.Millisecond

// Chip is one MAX31855K with its thermocouple.
type Chip struct {
	mu       sync.Mutex // guards all below
	hot      float64
	junction float64
	fault    uint32 // D2, D1, D0
	word     *uint32
	latched  uint32
	begun    time.Time
}

// New is a chip at 25 °C whose thermocouple is at 25 °C too.
func New() *Chip {
	c := &Chip{hot: 25, junction: 25}
	c.latched = c.convert()
	return c
}

// Set sets the true temperatures of the hot end and of the chip, in °C.
func (c *Chip) Set(hot, junction float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.hot, c.junction, c.word = hot, junction, nil
}

// SetWord makes the chip answer this word, whatever the truth.
func (c *Chip) SetWord(word uint32) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.word = &word
}

// Break sets the fault bits: 1 open, 2 touches ground, 4 touches the supply, 0 mended.
func (c *Chip) Break(bits uint32) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.fault = bits
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
	var out [4]byte
	binary.BigEndian.PutUint32(out[:], word)
	copy(r, out[:])
}

func (c *Chip) convert() uint32 {
	if c.word != nil {
		return *c.word
	}
	const line = 0.041276 // mV/°C
	shown := c.junction + (millivolts(c.hot)-millivolts(c.junction))/line
	hot := uint32(int32(math.Round(shown*4))) & 0x3FFF
	junction := uint32(int32(math.Round(c.junction*16))) & 0xFFF
	word := hot*0x40000 + junction*0x10 + c.fault
	if c.fault != 0 {
		word += 0x10000
	}
	return word
}

// millivolts turns the inverse polynomials about.
func millivolts(celsius float64) float64 {
	low, high := -5.95, 54.9
	for range 60 {
		middle := low + (high-low)/2
		if inverse(middle) > celsius {
			high = middle
		} else {
			low = middle
		}
	}
	return low
}

func inverse(mv float64) float64 {
	d := inverseHigh[:]
	switch {
	case mv < 0:
		d = inverseCold[:]
	case mv < 20.644:
		d = inverseLow[:]
	}
	sum, power := 0.0, 1.0
	for _, coefficient := range d {
		sum += coefficient * power
		power *= mv
	}
	return sum
}

// Type K inverse of the NIST ITS-90 thermocouple database, in °C of mV.
var (
	inverseCold = [...]float64{0.00000000e+00, 2.51734620e+01, -1.16628780e+00, -1.08336380e+00, -8.97735400e-01, -3.73423770e-01, -8.66326430e-02, -1.04505980e-02, -5.19205770e-04}
	inverseLow  = [...]float64{0.00000000e+00, 2.50835500e+01, 7.86010600e-02, -2.50313100e-01, 8.31527000e-02, -1.22803400e-02, 9.80403600e-04, -4.41303000e-05, 1.05773400e-06, -1.05275500e-08}
	inverseHigh = [...]float64{-1.31805800e+02, 4.83022200e+01, -1.64603100e+00, 5.46473100e-02, -9.65071500e-04, 8.80219300e-06, -3.11081000e-08}
)
