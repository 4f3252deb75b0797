// Package sht4x reads temperature and relative humidity from the Sensirion SHT40, SHT41 and SHT45 over I2C.
//
// Source: Sensirion, "Datasheet SHT4x", version 6 (2023): commands table 8, data format and checksum 4.4, conversion formulas 4.6,
// measurement times table 4. The humidity formula differs from that of the SHT3x: with the older one an SHT4x reads 3.25 %RH low at 40 %RH.
//
// The heater is never used: it falsifies the humidity for a minute and drains a small supply.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package sht4x

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const kind = "sht4x"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.I2C, Declares: declares, Open: open}

const declares = `part sht4x
    place on I2C at ADDRESS 0x44 .. 0x46
    reads temperature temperature -40 .. 125
    reads humidity humidity 0 .. 100
`

const (
	cmdMeasure = 0xFD // high precision [table 8]
	cmdSerial  = 0x89 // [table 8]

	measureTime = 8300 * time.Microsecond // longest at high precision [table 4]
	serialTime  = 1 * time.Millisecond    // chosen: the datasheet gives none; the next command may follow within 1 ms [table 4]

	leastTemperature    = -40.0 // [table 2]
	greatestTemperature = 125.0
	step                = 175.0 / 65535

	// edge is how far beyond 0 or 100 %RH a dry or saturated sensor may show and still be right: typical accuracy [table 1].
	edge = 1.8
)

type probe struct {
	device  drivers.I2CDevice
	command [1]byte
	raw     [6]byte
	values  [2]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

// open asks for the serial number, whose two words carry checksums: what answers otherwise is not this part.
func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewI2CDevice(kind, site)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device}
	if err := p.exchange(ctx, cmdSerial, serialTime); err != nil {
		if drivers.KindOf(err) == drivers.Garbled {
			return nil, device.Fault(drivers.WrongPart, p.raw[:], errors.New("the answer for the serial number has a wrong checksum"))
		}
		return nil, err
	}
	return p, nil
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := p.exchange(ctx, cmdMeasure, measureTime); err != nil {
		return drivers.Sample{}, err
	}
	p.values[0] = p.temperature(drivers.SensirionWord(p.raw[0:]))
	p.values[1] = p.humidity(drivers.SensirionWord(p.raw[3:]))
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

func (p *probe) exchange(ctx context.Context, command byte, wait time.Duration) error {
	p.command[0] = command
	return drivers.SensirionWords(ctx, &p.device, p.command[:], wait, p.raw[:])
}

// temperature is -45 + 175 S / (2^16 - 1) [4.6].
func (p *probe) temperature(s float64) drivers.Value {
	t := -45 + 175*s/65535
	if t < leastTemperature-step || t > greatestTemperature+step { // the ends themselves lie between two words
		return p.beyond("temperature", units.Temperature, t, "°C")
	}
	return drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: t, Raw: t}
}

// humidity is -6 + 125 S / (2^16 - 1) [4.6]. The formula reaches from -6 to 119, because a sensor may show a little more than there is;
// the datasheet has such values cropped. A little beyond is as good as the end itself, and noted. Far beyond is a wet or failing sensor:
// the end stands for it, uncertain, so that it may raise an alarm and never clears one.
func (p *probe) humidity(s float64) drivers.Value {
	shown := -6 + 125*s/65535
	v := drivers.Value{Channel: "humidity", Quantity: units.Humidity, Value: min(max(shown, 0), 100), Raw: shown}
	switch {
	case shown == v.Value:
	case shown >= -edge && shown <= 100+edge:
		v.Note = "clipped to its range"
	default:
		v.Quality = reading.Uncertain
		v.Cause = fmt.Sprintf("clipped, chip said %.1f %%RH", shown)
	}
	return v
}

func (p *probe) beyond(channel string, q units.Quantity, value float64, unit string) drivers.Value {
	return drivers.Failed(channel, q, p.device.Fault(drivers.OutOfRange, p.raw[:], fmt.Errorf("chip said %.1f %s", value, unit)))
}
