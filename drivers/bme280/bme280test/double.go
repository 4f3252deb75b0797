// Package bme280test is the double of the BME280: registers and time as the datasheet has them, with a second door for tests and for the simulated
// estate. It finds the words for a true value by trying, with the datasheet's compensation in whole numbers [BST-BME280-DS001, 4.2.3]; the driver
// reckons in floating point.
//
// Concurrency: safe for use by several goroutines.
package bme280test

import (
	"sync"
	"time"
)

// Trim are the calibration words of a part.
type Trim struct {
	T1                             uint16
	T2, T3                         int16
	P1                             uint16
	P2, P3, P4, P5, P6, P7, P8, P9 int16
	H1, H3                         uint8
	H2                             int16
	H4, H5                         int16 // 12 bits
	H6                             int8
}

// Example are the words of the worked example of the makers' older part, with humidity words of the measurement tables (check values M36 and M37).
var Example = Trim{T1: 27504, T2: 26435, T3: -1000, P1: 36477, P2: -10685, P3: 3024, P4: 2855, P5: 140, P6: -7, P7: 15500, P8: -14600, P9: 6000,
	H1: 75, H2: 362, H3: 0, H4: 333, H5: 50, H6: 30}

// Chip is one BME280.
type Chip struct {
	mu                              sync.Mutex // guards all below
	registers                       [256]byte
	pointer                         byte
	trim                            Trim
	temperature, humidity, pressure float64
	words                           *[3]uint32
	asleep                          bool
	done                            time.Time
}

// New is a chip in air of 20 °C, 50 %RH and 101.3 kPa.
func New(trim Trim) *Chip {
	c := &Chip{trim: trim, temperature: 20, humidity: 50, pressure: 101.3}
	c.registers[0xD0] = 0x60
	for i, word := range []uint16{trim.T1, uint16(trim.T2), uint16(trim.T3), trim.P1, uint16(trim.P2), uint16(trim.P3), uint16(trim.P4), uint16(trim.P5),
		uint16(trim.P6), uint16(trim.P7), uint16(trim.P8), uint16(trim.P9)} {
		c.registers[0x88+2*i], c.registers[0x89+2*i] = byte(word), byte(word>>8)
	}
	c.registers[0xA1] = trim.H1
	c.registers[0xE1], c.registers[0xE2] = byte(trim.H2), byte(uint16(trim.H2)>>8)
	c.registers[0xE3] = trim.H3
	h4, h5 := uint16(trim.H4)&0xFFF, uint16(trim.H5)&0xFFF
	c.registers[0xE4], c.registers[0xE5], c.registers[0xE6] = byte(h4/16), byte(h4%16+h5%16*16), byte(h5/16)
	c.registers[0xE7] = byte(trim.H6)
	copy(c.registers[0xF7:], []byte{0x80, 0, 0, 0x80, 0, 0, 0x80, 0}) // as after power-up
	return c
}

// Set sets the true temperature in °C, humidity in %RH and pressure in kPa.
func (c *Chip) Set(temperature, humidity, pressure float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.temperature, c.humidity, c.pressure, c.words = temperature, humidity, pressure, nil
}

// SetWords makes the chip measure these words of temperature, pressure and humidity, whatever the truth.
func (c *Chip) SetWords(temperature, pressure, humidity uint32) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.words = &[3]uint32{temperature, pressure, humidity}
}

// SetID makes it another part.
func (c *Chip) SetID(id byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.registers[0xD0] = id
}

// Sleep makes the chip take its settings and measure nothing, or measure again.
func (c *Chip) Sleep(asleep bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asleep = asleep
}

// Tx is one exchange: pairs of register and value are written; a single register, then reading, reads from there on.
func (c *Chip) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.finish()
	for i := 0; i+1 < len(w); i += 2 {
		c.write(w[i], w[i+1])
	}
	if len(w) == 1 {
		c.pointer = w[0]
	}
	for i := range r { // it counts on by itself [6.2.2]
		r[i] = c.registers[c.pointer]
		c.pointer++
	}
	return nil
}

func (c *Chip) write(register, value byte) {
	switch register {
	case 0xF2, 0xF4, 0xF5:
		c.registers[register] = value
	}
	if register == 0xF4 && value&3 != 0 {
		c.registers[0xF3] |= 0x08
		c.done = time.Now().Add(9300 * time.Microsecond)
	}
}

// finish ends a measurement whose time has come: the words stand, the status is clear, and the mode goes back to sleep.
func (c *Chip) finish() {
	if c.registers[0xF3]&0x08 == 0 || time.Now().Before(c.done) || c.asleep {
		return
	}
	c.registers[0xF3] &^= 0x08
	c.registers[0xF4] &^= 3
	t, p, h := c.measure()
	copy(c.registers[0xF7:], []byte{byte(p >> 12), byte(p >> 4), byte(p << 4), byte(t >> 12), byte(t >> 4), byte(t << 4), byte(h >> 8), byte(h)})
}

func (c *Chip) measure() (t, p, h uint32) {
	if c.words != nil {
		return c.words[0], c.words[1], c.words[2]
	}
	t = search(0xFFFFF, func(w uint32) bool {
		hundredths, _ := c.trim.celsius(int32(w))
		return float64(hundredths) >= c.temperature*100
	})
	_, fine := c.trim.celsius(int32(t))
	p = search(0xFFFFF, func(w uint32) bool { return float64(c.trim.pascal256(int32(w), fine)) <= c.pressure*256000 })
	h = search(0xFFFF, func(w uint32) bool { return float64(c.trim.percent1024(int32(w), fine)) >= c.humidity*1024 })
	return t, p, h
}

// search finds the least word that fits, where all greater ones fit too.
func search(greatest uint32, fits func(uint32) bool) uint32 {
	least := uint32(0)
	for least < greatest {
		middle := least + (greatest-least)/2
		if fits(middle) {
			greatest = middle
		} else {
			least = middle + 1
		}
	}
	return least
}

// celsius is in hundredths, beside the fine temperature.
func (k *Trim) celsius(adc int32) (hundredths, fine int32) {
	v1 := ((adc>>3 - int32(k.T1)<<1) * int32(k.T2)) >> 11
	d := adc>>4 - int32(k.T1)
	v2 := (((d * d) >> 12) * int32(k.T3)) >> 14
	fine = v1 + v2
	return (fine*5 + 128) >> 8, fine
}

// pascal256 is in 1/256 Pa.
func (k *Trim) pascal256(adc, fine int32) int64 {
	v1 := int64(fine) - 128000
	v2 := v1*v1*int64(k.P6) + (v1*int64(k.P5))<<17 + int64(k.P4)<<35
	v1 = (v1*v1*int64(k.P3))>>8 + (v1*int64(k.P2))<<12
	v1 = ((int64(1)<<47 + v1) * int64(k.P1)) >> 33
	if v1 == 0 {
		return 0
	}
	p := ((int64(1048576-adc)<<31 - v2) * 3125) / v1
	v1 = (int64(k.P9) * (p >> 13) * (p >> 13)) >> 25
	v2 = (int64(k.P8) * p) >> 19
	return (p+v1+v2)>>8 + int64(k.P7)<<4
}

// percent1024 is in 1/1024 %RH.
func (k *Trim) percent1024(adc, fine int32) int32 {
	v := fine - 76800
	left := (adc<<14 - int32(k.H4)<<20 - int32(k.H5)*v + 16384) >> 15
	right := ((((v*int32(k.H6))>>10*((v*int32(k.H3))>>11+32768))>>10+2097152)*int32(k.H2) + 8192) >> 14
	v = left * right
	v -= (((v >> 15) * (v >> 15)) >> 7 * int32(k.H1)) >> 4
	return max(0, min(v, 419430400)) >> 12
}
