// Package max31856 reads a thermocouple of type K, J, T, N or E by the Maxim MAX31856 over SPI.
//
// Source: Maxim Integrated, "MAX31856 Precision Thermocouple to Digital Converter with Linearization", 19-7534: registers table 6, formats of the words,
// electrical characteristics. Seen in print were the bits of CR0 and the format; the order of the fault bits, registers 09h to 0Fh and the times
// are from memory.
//
// The chip knows the curves of the types and its own temperature; nothing is corrected here. It does not look for a broken thermocouple unless
// told to: then a broken one reads about the temperature of the chip, which looks like a cold roaster. So that is switched on with every
// conversion, together with all other settings, which do not survive a dip of the supply.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package max31856

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/spi"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "max31856"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.SPI, Declares: declares, Open: open}

const declares = `part max31856
    place on SPI select NUMBER 0 .. 7
    phrase thermocouple (K|J|T|N|E) [averaging NUMBER 1 .. 16]
    reads temperature temperature -200 .. 1372
    reads junction temperature -40 .. 125 aside
`

// Registers and bits [table 6].
const (
	regCR0   = 0x00
	writing  = 0x80 // added to the address
	all      = 16   // registers, read in one burst so that they belong together
	atJunct  = 0x0A // high and low byte, 14 bits from the top
	atHot    = 0x0C // three bytes, 19 bits from the top
	atStatus = 0x0F

	cr0OneShot = 0x40
	cr0Open    = 0x10 // looks for a broken thermocouple of less than 5 kΩ
	cr0Clear   = 0x02 // returns to 0 by itself
	cr0Mains50 = 0x01

	hotStep      = 1.0 / 128
	junctionStep = 1.0 / 64

	// One conversion at 50 Hz takes 185 ms at most, each further one of an average 40 ms; 20 ms are chosen for the look for a break.
	conversion = 205 * time.Millisecond
	oneMore    = 40 * time.Millisecond

	leastJunction, greatestJunction = -40.0, 125.0
)

// faults are the bits of the status that spoil the value, worst first.
var faults = []struct {
	bit   byte
	cause error
}{
	{1 << 0, errors.New("the thermocouple is broken or not connected")},
	{1 << 1, errors.New("the thermocouple touches the supply or lies below ground")},
	{1 << 7, errors.New("the chip is beyond its own range")},
	{1 << 6, errors.New("beyond the range of the thermocouple")},
}

// couple is a type of thermocouple: its code and the range over which the chip knows its curve [table of linearization ranges].
type couple struct {
	code            byte
	least, greatest float64
}

var couples = map[string]couple{
	"E": {1, -200, 1000}, "J": {2, -200, 1200}, "K": {3, -200, 1372}, "N": {4, -200, 1300}, "T": {7, -200, 400},
}

// averagings are the codes of how many conversions make a value.
var averagings = map[int]byte{1: 0, 2: 1, 4: 2, 8: 3, 16: 4}

type probe struct {
	device  drivers.SPIDevice
	couple  couple
	cr0     byte // without the bits that return to 0
	cr1     byte
	takes   time.Duration
	ready   time.Time // monotonic; zero: nothing was started
	command [all + 1]byte
	buffer  [all + 1]byte
	values  [2]drivers.Value
}

var (
	_ drivers.Probe   = (*probe)(nil)
	_ drivers.Starter = (*probe)(nil)
)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewSPIDevice(kind, site, spi.Mode1)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device, cr0: cr0Open | cr0Mains50}
	if err := p.set(site); err != nil {
		return nil, device.Fault(drivers.Settings, nil, err)
	}
	return p, p.check(ctx)
}

// set reads "thermocouple (K|J|T|N|E) [averaging NUMBER]".
func (p *probe) set(site drivers.Site) error {
	name, count := "K", 1
	if line, ok := site.Lines.Find("thermocouple"); ok && len(line.Slots) > 0 {
		name = line.Slots[0].Text
		if len(line.Slots) > 1 && line.Slots[1].Amount.Value > 0 {
			count = int(line.Slots[1].Amount.Value)
		}
	}
	var known bool
	if p.couple, known = couples[name]; !known {
		return fmt.Errorf("there is no thermocouple %q", name)
	}
	average, known := averagings[count]
	if !known {
		return fmt.Errorf("it averages 1, 2, 4, 8 or 16, not %d", count)
	}
	p.cr1 = average<<4 | p.couple.code
	p.takes = conversion + time.Duration(count-1)*oneMore
	return nil
}

// check writes the settings without starting and reads them back: no other part keeps them.
func (p *probe) check(ctx context.Context) error {
	if err := p.write(ctx, p.cr0|cr0Clear); err != nil {
		return err
	}
	err := p.fetch(ctx)
	if drivers.KindOf(err) == drivers.Garbled {
		return p.device.Fault(drivers.WrongPart, p.registers(), errors.Unwrap(err))
	}
	return err
}

func (p *probe) String() string { return p.device.String() }

// Start begins a conversion with the whole of the settings.
func (p *probe) Start(ctx context.Context) (time.Duration, error) {
	p.ready = time.Time{}
	if err := p.write(ctx, p.cr0|cr0OneShot|cr0Clear); err != nil {
		return 0, err
	}
	p.ready = time.Now().Add(p.takes)
	return p.takes, nil
}

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if p.ready.IsZero() {
		if _, err := p.Start(ctx); err != nil {
			return drivers.Sample{}, err
		}
	}
	if err := drivers.Wait(ctx, time.Until(p.ready)); err != nil {
		return drivers.Sample{}, err
	}
	p.ready = time.Time{}
	if err := p.fetch(ctx); err != nil {
		return drivers.Sample{}, err
	}
	r := p.registers()
	hot := float64(int32(uint32(r[atHot])<<24|uint32(r[atHot+1])<<16|uint32(r[atHot+2])<<8)>>13) * hotStep
	junction := float64(int16(uint16(r[atJunct])<<8|uint16(r[atJunct+1]))>>2) * junctionStep
	p.values[0] = p.ranged("temperature", hot, p.couple.least, p.couple.greatest)
	p.values[1] = p.ranged("junction", junction, leastJunction, greatestJunction)
	for _, f := range faults {
		if r[atStatus]&f.bit != 0 {
			p.values[0] = p.failed("temperature", f.cause)
			break
		}
	}
	return drivers.Sample{Values: p.values[:], Raw: r}, nil
}

// registers are those of the last fetch.
func (p *probe) registers() []byte { return p.buffer[1:] }

// fetch reads all registers. The settings are the only part of them that can be held against what is known; there is no checksum.
func (p *probe) fetch(ctx context.Context) error {
	p.command = [all + 1]byte{regCR0}
	if err := p.device.Exchange(ctx, p.command[:], p.buffer[:]); err != nil {
		return err
	}
	r := p.registers()
	switch {
	case drivers.Dead(r):
		return p.device.Fault(drivers.NoAnswer, r, errors.New("all bits are alike: no chip there, or its line is shorted"))
	case r[0]&^(cr0OneShot|cr0Clear) != p.cr0 || r[1] != p.cr1:
		return p.device.Fault(drivers.Garbled, r, fmt.Errorf("settings %02X %02X come back as %02X %02X", p.cr0, p.cr1, r[0], r[1]))
	case r[0]&cr0OneShot != 0:
		return p.device.Fault(drivers.NotReady, r, errors.New("the conversion does not end"))
	}
	return nil
}

func (p *probe) write(ctx context.Context, cr0 byte) error {
	p.command[0], p.command[1], p.command[2] = regCR0|writing, cr0, p.cr1
	return p.device.Exchange(ctx, p.command[:3], p.buffer[:3])
}

func (p *probe) ranged(channel string, t, least, greatest float64) drivers.Value {
	if t < least || t > greatest {
		return p.failed(channel, fmt.Errorf("chip said %.1f °C", t))
	}
	return drivers.Value{Channel: channel, Quantity: units.Temperature, Value: t, Raw: t}
}

func (p *probe) failed(channel string, cause error) drivers.Value {
	return drivers.Failed(channel, units.Temperature, p.device.Fault(drivers.OutOfRange, p.registers(), cause))
}
