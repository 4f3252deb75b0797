// Package sht3x reads temperature and relative humidity from the Sensirion SHT30, SHT31 and SHT35 over I2C.
//
// Source: Sensirion, "Datasheet SHT3x-DIS", version 5: measurement times table 4, commands tables 8 and 17, status register table 17, checksum
// table 20, conversion 4.13. Its humidity formula differs from that of the SHT4x, which stands at the same address.
//
// Measurements are single shots without clock stretching, which some boards mishandle. The heater is never used.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package sht3x

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "sht3x"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.I2C, Declares: declares, Open: open}

const declares = `part sht3x
    place on I2C at ADDRESS 0x44 .. 0x45
    reads temperature temperature -40 .. 125
    reads humidity humidity 0 .. 100
`

const (
	cmdMeasure = 0x2400 // single shot, high repeatability, no stretching [table 8]
	cmdStatus  = 0xF32D // [table 17]

	measureTime = 15500 * time.Microsecond // longest at high repeatability, 15 ms [table 4]; chosen: 0.5 ms for the start
	statusTime  = 1 * time.Millisecond     // chosen: the datasheet gives none; the next command may follow within 1 ms [table 4]

	heaterOn = 1 << 13 // of the status [table 17]

	leastTemperature    = -40.0 // [table 2]
	greatestTemperature = 125.0
	step                = 175.0 / 65535
)

type probe struct {
	device  drivers.I2CDevice
	command [2]byte
	raw     [6]byte
	values  [2]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

var errHeater = errors.New("its heater is on; take its supply away for a second")

// open asks for the status, whose word carries a checksum. An SHT4x knows no such command and does not acknowledge it.
func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewI2CDevice(kind, site)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device}
	if err := p.exchange(ctx, cmdStatus, statusTime, p.raw[:3]); err != nil {
		if drivers.KindOf(err) == drivers.Garbled {
			return nil, device.Fault(drivers.WrongPart, p.raw[:3], errors.New("the answer for the status has a wrong checksum"))
		}
		return nil, err
	}
	if status := uint16(p.raw[0])<<8 | uint16(p.raw[1]); status&heaterOn != 0 {
		return nil, device.Fault(drivers.NotReady, p.raw[:3], errHeater) // another program has switched it on: the humidity would be false
	}
	return p, nil
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := p.exchange(ctx, cmdMeasure, measureTime, p.raw[:]); err != nil {
		return drivers.Sample{}, err
	}
	p.values[0] = p.temperature(drivers.SensirionWord(p.raw[0:]))
	p.values[1] = humidity(drivers.SensirionWord(p.raw[3:]))
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

func (p *probe) exchange(ctx context.Context, command uint16, wait time.Duration, into []byte) error {
	p.command = [2]byte{byte(command >> 8), byte(command)}
	return drivers.SensirionWords(ctx, &p.device, p.command[:], wait, into)
}

// temperature is -45 + 175 S / (2^16 - 1) [4.13].
func (p *probe) temperature(s float64) drivers.Value {
	t := -45 + 175*s/65535
	if t < leastTemperature-step || t > greatestTemperature+step { // the ends themselves lie between two words
		return drivers.Failed("temperature", units.Temperature, p.device.Fault(drivers.OutOfRange, p.raw[:], fmt.Errorf("chip said %.1f °C", t)))
	}
	return drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: t, Raw: t}
}

// humidity is 100 S / (2^16 - 1) [4.13]: the word cannot leave the range.
func humidity(s float64) drivers.Value {
	h := 100 * s / 65535
	return drivers.Value{Channel: "humidity", Quantity: units.Humidity, Value: h, Raw: h}
}
