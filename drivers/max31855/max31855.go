// Package max31855 reads a thermocouple by the Maxim MAX31855 over SPI, which is made for types K, J, T, N and E each.
//
// Source: Maxim Integrated, "MAX31855 Cold-Junction Compensated Thermocouple-to-Digital Converter", 19-5793 rev 5: memory map table 2, formats tables 4
// and 5, the straight line pages 8 and 10. Thermocouple: NIST ITS-90 thermocouple database (SRD 60), NIST Monograph 175 (1993).
//
// The chip takes the thermocouple for a straight line between its own temperature and the hot end, 41.276 µV/°C for type K. No type is one: at 250 °C a K
// reads 3.3 °C low, in a roaster's most dangerous range. So the voltage is reckoned back from the line, that of the cold end by ITS-90 is
// added, and the temperature found by ITS-90; the datasheet itself says to do so.
//
// A board of another type than the rules file says cannot be told from its word: the letter stands on the chip.
//
// The word has no checksum. Two reserved bits, and the fault bit that must agree with three others, are all that tells a garbled one.
//
// Each Read ends the conversion that is under way, so the chip is never asked again before a whole conversion: asked faster it gives one value for
// ever.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package max31855

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/spi"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "max31855"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.SPI, Declares: declares, Open: open}

const declares = `part max31855
    place on SPI select NUMBER 0 .. 7
    phrase thermocouple (K|J|T|N|E)
    reads temperature temperature -200 .. 1350
    reads junction temperature -40 .. 125 aside
`

const (
	bitReserved = 1<<17 | 1<<3 // always 0 [table 2]
	bitFault    = 1 << 16
	bitSupply   = 1 << 2
	bitGround   = 1 << 1
	bitOpen     = 1 << 0

	hotStep      = 0.25   // °C [table 4]
	junctionStep = 0.0625 // [table 5]

	// conversion is the longest, 100 ms (from memory), with half as much again. Chosen.
	conversion = 150 * time.Millisecond

	leastJunction, greatestJunction = -40.0, 125.0
)

// couple is the chip made for one type: its straight line, in mV/°C, and its range in °C [pages 8 and 10; but for K from memory, each line the ITS-90 voltage of 1000 °C, for T of 400 °C, over that].
type couple struct {
	of              *drivers.Thermocouple
	line            float64
	least, greatest float64
}

var couples = map[string]couple{
	"K": {drivers.TypeK, 0.041276, -200, 1350},
	"J": {drivers.TypeJ, 0.057953, -40, 750},
	"T": {drivers.TypeT, 0.05218, -200, 400},
	"N": {drivers.TypeN, 0.036256, -200, 1300},
	"E": {drivers.TypeE, 0.076373, -40, 900},
}

type probe struct {
	device drivers.SPIDevice
	couple couple
	asked  time.Time // monotonic; the conversion began then
	raw    [4]byte
	values [2]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

var (
	errStuck    = errors.New("all bits are alike: no chip there, or its line is shorted")
	errReserved = errors.New("a reserved bit is set")
	errUnclear  = errors.New("the fault bits disagree")

	silence [4]byte // the chip listens to nothing
)

// open reads once: a broken thermocouple is no reason to refuse, a word that the chip cannot send is.
func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewSPIDevice(kind, site, spi.Mode0)
	if err != nil {
		return nil, err
	}
	name := "K"
	if line, ok := site.Lines.Find("thermocouple"); ok && len(line.Slots) > 0 {
		name = line.Slots[0].Text
	}
	made, known := couples[name]
	if !known {
		return nil, device.Fault(drivers.Settings, nil, fmt.Errorf("there is no thermocouple %q", name))
	}
	p := &probe{device: device, couple: made}
	_, err = p.word(ctx)
	if drivers.KindOf(err) == drivers.Garbled {
		return nil, device.Fault(drivers.WrongPart, p.raw[:], errors.Unwrap(err))
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	word, err := p.word(ctx)
	if err != nil {
		return drivers.Sample{}, err
	}
	hot := float64(int32(word)>>18) * hotStep
	junction := float64(int32(word<<16)>>20) * junctionStep
	p.values[0] = p.hot(word, hot, junction)
	p.values[1] = p.ranged("junction", junction, leastJunction, greatestJunction)
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// word fetches one word, no sooner than a conversion after the one before. A word of zeros would be a good 0.00 °C, one of ones -0.25 °C.
func (p *probe) word(ctx context.Context) (uint32, error) {
	if !p.asked.IsZero() {
		if err := drivers.Wait(ctx, time.Until(p.asked.Add(conversion))); err != nil {
			return 0, err
		}
	}
	err := p.device.Exchange(ctx, silence[:], p.raw[:])
	if err != nil {
		return 0, err
	}
	p.asked = time.Now()
	word := binary.BigEndian.Uint32(p.raw[:])
	switch {
	case drivers.Dead(p.raw[:]):
		return 0, p.device.Fault(drivers.NoAnswer, p.raw[:], errStuck)
	case word&bitReserved != 0:
		return 0, p.device.Fault(drivers.Garbled, p.raw[:], errReserved)
	case (word&bitFault != 0) != (word&(bitSupply|bitGround|bitOpen) != 0):
		return 0, p.device.Fault(drivers.Garbled, p.raw[:], errUnclear)
	}
	return word, nil
}

// hot corrects the chip's value. What the chip said stands in Raw.
func (p *probe) hot(word uint32, shown, junction float64) drivers.Value {
	if cause := broken(word); cause != nil {
		return drivers.Failed("temperature", units.Temperature, p.device.Fault(drivers.OutOfRange, p.raw[:], cause))
	}
	if junction < leastJunction || junction > greatestJunction {
		return drivers.Failed("temperature", units.Temperature, p.device.Fault(drivers.OutOfRange, p.raw[:], fmt.Errorf("its own temperature is %.1f °C", junction)))
	}
	c := &p.couple
	v := p.ranged("temperature", c.of.Temperature((shown-junction)*c.line+c.of.Voltage(junction)), c.least, c.greatest)
	v.Raw = shown
	return v
}

func broken(word uint32) error {
	switch {
	case word&bitOpen != 0:
		return errors.New("the thermocouple is broken or not connected")
	case word&bitGround != 0:
		return errors.New("the thermocouple touches ground")
	case word&bitSupply != 0:
		return errors.New("the thermocouple touches the supply")
	}
	return nil
}

func (p *probe) ranged(channel string, t, least, greatest float64) drivers.Value {
	if math.IsNaN(t) || t < least || t > greatest {
		return drivers.Failed(channel, units.Temperature, p.device.Fault(drivers.OutOfRange, p.raw[:], fmt.Errorf("beyond %g to %g °C", least, greatest)))
	}
	return drivers.Value{Channel: channel, Quantity: units.Temperature, Value: t, Raw: t}
}
