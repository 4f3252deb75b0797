// Package max31865 reads a platinum thermometer, Pt100 or Pt1000, of two, three or four wires by the Maxim MAX31865 over SPI.
//
// Source: Maxim Integrated, "MAX31865 RTD-to-Digital Converter", 19-6478: configuration table 2, automatic fault detection table 3, ratio table 5, faults
// table 7. Resistance: IEC 60751:2008, coefficients by secondary sources.
//
// The quick formula code/32 - 256 of some notes is 1.4 °C off at 100 °C and 5.8 °C at 200 °C and is not used. The reference resistor must be the one
// on the board: the datasheet's 400 Ω taken for the usual 430 Ω is 7.5 % of the resistance.
//
// The current is on for one measurement only, so that it does not warm the element.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package max31865

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/spi"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "max31865"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.SPI, Declares: declares, Open: open}

const declares = `part max31865
    place on SPI select NUMBER 0 .. 7
    phrase element (pt100|pt1000) [wires (2|3|4)] [reference RESISTANCE 100 ohm .. 4300 ohm default 430 ohm]
    reads temperature temperature -200 .. 600
`

const (
	writing  = 0x80 // added to the address
	all      = 8    // registers: configuration, ratio, four of thresholds, status
	atStatus = 7

	cfgBias    = 0x80 // [table 2]
	cfgOneShot = 0x20 // returns to 0
	cfgThree   = 0x10
	cfgDetect  = 0x04 // automatic fault detection, returns to 0 [table 3]
	cfgClear   = 0x02 // returns to 0
	cfgMains50 = 0x01

	bitFault  = 0x01 // of the ratio's word
	fullRatio = 32768

	// settle is for the current to stand: 10.5 time constants of the input filter and 1 ms. Chosen for the 100 nF of common boards.
	settle     = 10 * time.Millisecond
	detection  = 1 * time.Millisecond  // 550 µs (from memory)
	conversion = 66 * time.Millisecond // at 50 Hz (from memory)

	least, greatest = -200.0, 600.0
	slack           = 0.05 // °C, a step of the ratio and more: the ends themselves lie between two codes
)

// faults are the bits of the status [table 7].
var faults = []struct {
	bit   byte
	cause error
}{
	{1 << 5, errors.New("the element is broken or not connected")},                   // REFIN- above 0.85 bias
	{1 << 4, errors.New("a wire of the reference side is broken or touches ground")}, // REFIN- below 0.85 bias with FORCE- open
	{1 << 3, errors.New("a wire of the element is broken or touches ground")},        // RTDIN- below 0.85 bias with FORCE- open
	{1 << 2, errors.New("an input lies above the supply or below ground")},
	{1 << 7, errors.New("the element is broken, or hotter than it can be")},
	{1 << 6, errors.New("the element is shorted")},
}

type probe struct {
	device    drivers.SPIDevice
	config    byte // without current
	element   float64
	reference float64
	command   [all + 1]byte
	buffer    [all + 1]byte
	values    [1]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewSPIDevice(kind, site, spi.Mode1)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device, config: cfgMains50}
	if err := p.set(site); err != nil {
		return nil, device.Fault(drivers.Settings, nil, err)
	}
	return p, p.check(ctx)
}

// set reads "element (pt100|pt1000) [wires (2|3|4)] [reference RESISTANCE]".
func (p *probe) set(site drivers.Site) error {
	p.element, p.reference = 100, 430
	line, _ := site.Lines.Find("element")
	if len(line.Slots) > 0 && line.Slots[0].Text == "pt1000" {
		p.element, p.reference = 1000, 4300
	}
	if len(line.Slots) > 1 && line.Slots[1].Text == "3" {
		p.config |= cfgThree
	}
	if len(line.Slots) > 2 && line.Slots[2].Given {
		p.reference = line.Slots[2].Amount.Value
	}
	if most := p.element * ratioAt(greatest); p.reference <= most {
		return fmt.Errorf("the element has up to %.0f Ω, more than the reference of %.0f Ω", most, p.reference)
	}
	return nil
}

// check writes the settings and reads them back: no other part keeps them.
func (p *probe) check(ctx context.Context) error {
	if err := p.write(ctx, p.config|cfgClear); err != nil {
		return err
	}
	err := p.fetch(ctx, p.config)
	if drivers.KindOf(err) == drivers.Garbled {
		return p.device.Fault(drivers.WrongPart, p.registers(), errors.Unwrap(err))
	}
	return err
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	for _, step := range [...]struct {
		config byte
		wait   time.Duration
	}{
		{p.config | cfgBias | cfgClear, settle},
		{p.config | cfgBias | cfgDetect, detection},
		{p.config | cfgBias | cfgOneShot, conversion},
	} {
		if err := p.write(ctx, step.config); err != nil {
			return drivers.Sample{}, err
		}
		if err := drivers.Wait(ctx, step.wait); err != nil {
			return drivers.Sample{}, err
		}
	}
	if err := p.fetch(ctx, p.config|cfgBias); err != nil {
		return drivers.Sample{}, err
	}
	if err := p.off(ctx); err != nil {
		return drivers.Sample{}, err
	}
	p.values[0] = p.value()
	return drivers.Sample{Values: p.values[:], Raw: p.registers()}, nil
}

// value is the temperature, or why there is none. A ratio of nothing or of all is a short or a break, whether the chip has found it or not.
func (p *probe) value() drivers.Value {
	r := p.registers()
	word := binary.BigEndian.Uint16(r[1:])
	ohms := float64(word>>1) / fullRatio * p.reference
	for _, f := range faults {
		if word&bitFault != 0 && r[atStatus]&f.bit != 0 {
			return p.failed(f.cause)
		}
	}
	if word&bitFault != 0 {
		return p.failed(errors.New("the chip tells of a fault that is over"))
	}
	t := temperatureOf(ohms / p.element)
	if !(t >= least-slack && t <= greatest+slack) {
		return p.failed(fmt.Errorf("%.1f Ω is beyond the element: broken, shorted, or another element", ohms))
	}
	return drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: t, Raw: ohms}
}

func (p *probe) failed(cause error) drivers.Value {
	return drivers.Failed("temperature", units.Temperature, p.device.Fault(drivers.OutOfRange, p.registers(), cause))
}

// registers are those of the last fetch.
func (p *probe) registers() []byte { return p.buffer[1:] }

// fetch reads all registers. The settings are the only part of them that can be held against what is known; there is no checksum.
func (p *probe) fetch(ctx context.Context, want byte) error {
	p.command = [all + 1]byte{}
	if err := p.device.Exchange(ctx, p.command[:], p.buffer[:]); err != nil {
		return err
	}
	r := p.registers()
	switch {
	case drivers.Dead(r):
		return p.device.Fault(drivers.NoAnswer, r, errors.New("all bits are alike: no chip there, or its line is shorted"))
	case r[0] == want|cfgOneShot:
		return p.device.Fault(drivers.NotReady, r, errors.New("the conversion does not end"))
	case r[0] != want:
		return p.device.Fault(drivers.Garbled, r, fmt.Errorf("settings %02X come back as %02X", want, r[0]))
	}
	return nil
}

func (p *probe) write(ctx context.Context, config byte) error {
	p.command[0], p.command[1] = writing, config
	var ignored [2]byte // what comes meanwhile means nothing
	return p.device.Exchange(ctx, p.command[:2], ignored[:])
}

// off switches the current off.
func (p *probe) off(ctx context.Context) error { return p.write(ctx, p.config) }
