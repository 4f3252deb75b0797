// Package aht20test is the double of the AHT20: it measures for 80 ms after it is told to, and gives its status before all else it is asked for. It counts the steps of a value by itself, and its
// checksum divides on paper's way, not by the driver's functions.
//
// Concurrency: safe for use by several goroutines.
package aht20test

import (
	"errors"
	"math"
	"sync"
	"time"
)

var errNotAcknowledged = errors.New("address not acknowledged")

// measures is how long a measurement takes [DHT20 data sheet V1.0, 7.4].
const measures = 80 * time.Millisecond

// Chip is one AHT20.
type Chip struct {
	mu          sync.Mutex // guards all below
	temperature float64    // °C
	humidity    float64    // %RH
	numbers     *[2]uint32 // as set by SetNumbers
	calibrated  bool
	slow        time.Duration
	flip        int // bit of the next frame to turn over, -1 none
	frame       [7]byte
	ready       time.Time
}

// New is a chip in air of 20 °C and 50 %RH that has just got its supply: it has not loaded its calibration yet.
func New() *Chip { return &Chip{temperature: 20, humidity: 50, flip: -1} }

// Set sets the true temperature in °C and humidity in %RH.
func (c *Chip) Set(temperature, humidity float64) {
	c.with(func() { c.temperature, c.humidity, c.numbers = temperature, humidity, nil })
}

// SetNumbers makes the chip give these two numbers of 20 bits, whatever the truth.
func (c *Chip) SetNumbers(humidity, temperature uint32) {
	c.with(func() { c.numbers = &[2]uint32{humidity, temperature} })
}

// FlipBit turns over one of the 56 bits of the next frame, counted from the first sent.
func (c *Chip) FlipBit(n int) { c.with(func() { c.flip = n }) }

// Dip is a short loss of the supply: the calibration is not loaded any more.
func (c *Chip) Dip() { c.with(func() { c.calibrated = false }) }

// Slow makes each measurement take so much longer.
func (c *Chip) Slow(by time.Duration) { c.with(func() { c.slow = by }) }

func (c *Chip) with(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
}

// Tx is one exchange.
func (c *Chip) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case len(w) == 0:
	case len(w) == 3 && w[0] == 0xBE && w[1] == 0x08 && w[2] == 0:
		c.calibrated = true
	case len(w) == 3 && w[0] == 0xAC && w[1] == 0x33 && w[2] == 0:
		c.begin()
	default:
		return errNotAcknowledged
	}
	if len(r) == 0 {
		return nil
	}
	sent := c.frame
	sent[0] = c.status()
	sent[6] = remainder(sent[:6])
	if c.flip >= 0 && len(r) == len(sent) {
		sent[c.flip/8] ^= 0x80 >> (c.flip % 8)
		c.flip = -1
	}
	copy(r, sent[:])
	return nil
}

// begin measures at once; that it is not there before its time is told by the status.
func (c *Chip) begin() {
	c.ready = time.Now().Add(measures + c.slow)
	h, t := steps(c.humidity/100), steps((c.temperature+50)/200)
	if c.numbers != nil {
		h, t = c.numbers[0], c.numbers[1]
	}
	both := uint64(h)<<20 | uint64(t)
	for i := range 5 {
		c.frame[1+i] = byte(both >> (32 - 8*i))
	}
}

func (c *Chip) status() byte {
	s := byte(0x10) // always 1 in what was seen of such parts
	if c.calibrated {
		s |= 0x08
	}
	if time.Now().Before(c.ready) {
		s |= 0x80
	}
	return s
}

// steps counts the 2^20 parts of a share; the last one is the most there is.
func steps(share float64) uint32 { return uint32(max(0, min(math.Round(share*1048576), 1048575))) }

// remainder divides the bytes, the first of them turned over by FFh, by x^8 + x^5 + x^4 + 1, digit by digit.
func remainder(data []byte) byte {
	var digits []byte
	for i, b := range data {
		if i == 0 {
			b ^= 0xFF
		}
		for bit := 7; bit >= 0; bit-- {
			digits = append(digits, b>>bit&1)
		}
	}
	digits = append(digits, 0, 0, 0, 0, 0, 0, 0, 0)
	for at := range len(digits) - 8 {
		if digits[at] == 1 {
			for _, power := range []int{8, 5, 4, 0} {
				digits[at+8-power] ^= 1
			}
		}
	}
	rest := byte(0)
	for _, d := range digits[len(digits)-8:] {
		rest = rest<<1 | d
	}
	return rest
}
