// Package mcp9600 reads a thermocouple by the Microchip MCP9600 or MCP9601 over I2C. The chip linearises by itself.
//
// Source: Microchip, "MCP960X/L0X/RL0X Thermocouple EMF to Temperature Converter", DS20005426: registers (hot junction 00h, cold junction 02h, status
// 04h, sensor configuration 05h, device configuration 06h, device id 20h), type selection, update flag, ranges of the types. Read from public
// descriptions of the registers; ranges and conversion time from memory.
//
// The chip goes on showing its last value when it no longer converts, and after a change of type that of the old type. So the update flag is cleared at
// Open and after each Read, and no value is given before it is set again.
//
// It stretches the clock; some boards' I2C controllers do not bear that (from memory). Then words come garbled or not at all: run that bus slower.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package mcp9600

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "mcp9600"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.I2C, Declares: declares, Open: open}

const declares = `part mcp9600
    place on I2C at ADDRESS 0x60 .. 0x67
    phrase thermocouple (K|J|T|N|E)
    reads temperature temperature -200 .. 1372
    reads junction temperature -40 .. 125 aside
`

const (
	regHot    = 0x00
	regCold   = 0x02
	regStatus = 0x04
	regSensor = 0x05
	regDevice = 0x06
	regID     = 0x20

	idMCP9600 = 0x40
	idMCP9601 = 0x41

	statusUpdate  = 1 << 6
	statusShorted = 1 << 5 // MCP9601; 0 in the MCP9600
	statusRange   = 1 << 4 // beyond the range of its type, or open

	deviceNormal = 0x00 // 18 bits, junction by 0.0625 °C, converting by itself

	// conversion is that of 18 bits, 320 ms (from memory), with a quarter more. Chosen.
	conversion = 400 * time.Millisecond

	perDegree                       = 16.0
	leastJunction, greatestJunction = -40.0, 125.0
)

// couple is a type of thermocouple: its bits in the sensor configuration, and how far the chip reads it.
type couple struct {
	bits            byte
	least, greatest float64
}

var couples = map[string]couple{"K": {0x00, -200, 1372}, "J": {0x10, -150, 1200}, "T": {0x20, -200, 400}, "N": {0x30, -150, 1300}, "E": {0x50, -200, 1000}}

type probe struct {
	device  drivers.I2CDevice
	couple  couple
	command [2]byte
	answer  [2]byte
	raw     [5]byte // status, hot, cold
	values  [2]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

var (
	errBroken  = errors.New("beyond the range of its type: the thermocouple is broken, not connected or of another type")
	errShorted = errors.New("the thermocouple touches ground or the supply")
	errStands  = errors.New("the chip has not converted")
)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewI2CDevice(kind, site)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device, couple: couples["K"]}
	if line, ok := site.Lines.Find("thermocouple"); ok && len(line.Slots) > 0 {
		if p.couple, ok = couples[line.Slots[0].Text]; !ok {
			return nil, device.Fault(drivers.Settings, nil, fmt.Errorf("it knows no thermocouple %s", line.Slots[0].Text))
		}
	}
	if err := p.read(ctx, regID, p.answer[:2]); err != nil {
		return nil, err
	}
	if id := p.answer[0]; id != idMCP9600 && id != idMCP9601 {
		return nil, device.Fault(drivers.WrongPart, p.answer[:2], fmt.Errorf("id %02X, want %02X or %02X", id, idMCP9600, idMCP9601))
	}
	for _, setting := range [...][2]byte{{regSensor, p.couple.bits}, {regDevice, deviceNormal}} {
		if err := p.set(ctx, setting[0], setting[1]); err != nil {
			return nil, err
		}
	}
	return p, p.clear(ctx)
}

// set writes a register and reads it back.
func (p *probe) set(ctx context.Context, register, value byte) error {
	p.command = [2]byte{register, value}
	if err := p.device.Tx(ctx, p.command[:], nil); err != nil {
		return err
	}
	if err := p.read(ctx, register, p.answer[:1]); err != nil {
		return err
	}
	if p.answer[0] != value {
		return p.device.Fault(drivers.Settings, p.answer[:1], fmt.Errorf("register %02X set to %02X, it stays at %02X", register, value, p.answer[0]))
	}
	return nil
}

// clear takes the update flag away.
func (p *probe) clear(ctx context.Context) error {
	p.command = [2]byte{regStatus, 0}
	return p.device.Tx(ctx, p.command[:], nil)
}

func (p *probe) read(ctx context.Context, register byte, into []byte) error {
	p.command[0] = register
	return p.device.Tx(ctx, p.command[:1], into)
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := p.updated(ctx); err != nil {
		return drivers.Sample{}, err
	}
	if err := p.read(ctx, regHot, p.raw[1:3]); err != nil {
		return drivers.Sample{}, err
	}
	if err := p.read(ctx, regCold, p.raw[3:5]); err != nil {
		return drivers.Sample{}, err
	}
	if err := p.clear(ctx); err != nil {
		return drivers.Sample{}, err
	}
	p.values[0] = p.ranged("temperature", p.raw[1:3], p.couple.least, p.couple.greatest)
	switch status := p.raw[0]; {
	case status&statusRange != 0:
		p.values[0] = p.failed("temperature", errBroken)
	case status&statusShorted != 0:
		p.values[0] = p.failed("temperature", errShorted)
	}
	p.values[1] = p.ranged("junction", p.raw[3:5], leastJunction, greatestJunction)
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// updated waits for one conversion if none has ended since the last Read.
func (p *probe) updated(ctx context.Context) error {
	if err := p.read(ctx, regStatus, p.raw[:1]); err != nil || p.raw[0]&statusUpdate != 0 {
		return err
	}
	if err := drivers.Wait(ctx, conversion); err != nil {
		return err
	}
	if err := p.read(ctx, regStatus, p.raw[:1]); err != nil || p.raw[0]&statusUpdate != 0 {
		return err
	}
	return p.device.Fault(drivers.NotReady, p.raw[:1], errStands)
}

func (p *probe) ranged(channel string, word []byte, least, greatest float64) drivers.Value {
	t := float64(int16(binary.BigEndian.Uint16(word))) / perDegree
	if t < least || t > greatest {
		return p.failed(channel, fmt.Errorf("the chip said %.4f °C", t))
	}
	return drivers.Value{Channel: channel, Quantity: units.Temperature, Value: t, Raw: t}
}

func (p *probe) failed(channel string, cause error) drivers.Value {
	return drivers.Failed(channel, units.Temperature, p.device.Fault(drivers.OutOfRange, p.raw[:], cause))
}
