// Package scd4xtest is the double of the SCD4x: commands and time as the datasheet has them, with a second door for tests and for the simulated estate. It
// converts values to words by its own table of steps, not by the driver's formulas.
//
// Concurrency: safe for use by several goroutines.
package scd4xtest

import (
	"errors"
	"math"
	"sync"
	"time"

	"millwarden/drivers/drivertest"
)

var errNotAcknowledged = errors.New("address not acknowledged")

// Chip is one SCD4x.
type Chip struct {
	mu              sync.Mutex // guards all below
	co2             float64
	temperature     float64
	humidity        float64
	words           *[3]uint16
	flip            int // bit of the next result to flip, -1 none
	measuring       bool
	next            time.Time // when the next result is there
	selfCalibration uint16
	answer          []byte
	busy            time.Time
}

// New is a chip just powered up, in fresh air of 20 °C and 50 %RH. It calibrates itself unless told otherwise.
func New() *Chip {
	return &Chip{co2: 420, temperature: 20, humidity: 50, flip: -1, selfCalibration: 1}
}

// Set sets the truth in ppm, °C and %RH.
func (c *Chip) Set(co2, temperature, humidity float64) {
	c.with(func() { c.co2, c.temperature, c.humidity, c.words = co2, temperature, humidity, nil })
}

// SetWords makes the chip answer these words, with right checksums, whatever the truth.
func (c *Chip) SetWords(co2, temperature, humidity uint16) {
	c.with(func() { c.words = &[3]uint16{co2, temperature, humidity} })
}

// FlipBit turns over one of the 72 bits of the next result, counted from the first sent.
func (c *Chip) FlipBit(n int) { c.with(func() { c.flip = n }) }

// PowerUp takes the supply away for a moment: it stands still, and calibrates itself again.
func (c *Chip) PowerUp() { c.with(func() { c.measuring, c.selfCalibration = false, 1 }) }

// SelfCalibration tells whether it calibrates itself.
func (c *Chip) SelfCalibration() (on bool) {
	c.with(func() { on = c.selfCalibration == 1 })
	return on
}

func (c *Chip) with(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
}

// Tx is one exchange. While it is busy, or has nothing to give, the chip does not acknowledge.
func (c *Chip) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Now().Before(c.busy) {
		return errNotAcknowledged
	}
	if len(w) > 0 {
		if err := c.command(w); err != nil {
			return err
		}
	}
	if len(r) == 0 {
		return nil
	}
	if c.answer == nil {
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
	if len(w) != 2 && len(w) != 5 {
		return errNotAcknowledged
	}
	ready := c.measuring && !time.Now().Before(c.next)
	switch code := int(w[0])*256 + int(w[1]); {
	case code == 0x3F86:
		c.measuring, c.busy = false, time.Now().Add(500*time.Millisecond)
	case code == 0xE4B8 && ready:
		c.answer = drivertest.SensirionWords(0x8006)
	case code == 0xE4B8:
		c.answer = drivertest.SensirionWords(0x8000)
	case code == 0xEC05 && ready:
		c.result()
	case c.measuring:
		return errNotAcknowledged // it knows no more while it measures
	case code == 0x21B1:
		c.measuring, c.next = true, time.Now().Add(5*time.Second)
	case code == 0x3682:
		c.answer = drivertest.SensirionWords(0xF896, 0x9F07, 0x3BBE)
	case code == 0x2416 && len(w) == 5 && w[4] == drivertest.SensirionWords(uint16(w[2])*256 + uint16(w[3]))[2]:
		c.selfCalibration = uint16(w[3])
	default:
		return errNotAcknowledged
	}
	return nil
}

// result empties the buffer; the next result comes on its own beat.
func (c *Chip) result() {
	words := [3]uint16{uint16(math.Round(math.Min(c.co2, 65535))), drivertest.Steps(c.temperature, -45, 130), drivertest.Steps(c.humidity, 0, 100)}
	if c.words != nil {
		words = *c.words
	}
	c.answer = drivertest.SensirionWords(words[:]...)
	if c.flip >= 0 {
		c.answer[c.flip/8] ^= 0x80 >> (c.flip % 8)
		c.flip = -1
	}
	for !c.next.After(time.Now()) {
		c.next = c.next.Add(5 * time.Second)
	}
}
