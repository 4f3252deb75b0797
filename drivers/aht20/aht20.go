// Package aht20 reads temperature and relative humidity from the ASAIR (Aosong) AHT20, AHT21 and AHT25, and the DHT20 and AM2301B made of them, over I2C: the sensor of most cheap boards and cabled
// probes.
//
// Source: Guangzhou Aosong, "DHT20 Data Sheet", V1.0 (May 2021): status bits table 9, sequence and checksum 7.4, formulas 8.1 and 8.2; the same in "Data Sheet AHT20 Humidity and Temperature Sensor",
// V1.0. The "command 71h" of their sequence is no command: it is the address 38h with the read bit.
//
// There is no identity to ask for. What gives no frame with a right checksum after a measurement was ordered is another part.
//
// An AHT10, the part before, has no checksum and is not read.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package aht20

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "aht20"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.I2C, Declares: declares, Open: open}

const declares = `part aht20
    place on I2C at ADDRESS 0x38 .. 0x38
    reads temperature temperature -40 .. 85
    reads humidity humidity 0 .. 100
`

const (
	bitBusy       = 1 << 7 // [table 9]
	bitCalibrated = 1 << 3

	measureTime = 80 * time.Millisecond // [7.4]
	moreTime    = 10 * time.Millisecond // between looks at a part that is still busy; chosen
	looks       = 3                     // chosen
	settleTime  = 10 * time.Millisecond // after the order to load the calibration [AHT20 5.4]

	full = 1 << 20 // both numbers have 20 bits [8.1, 8.2]
	step = 200.0 / full

	leastTemperature, greatestTemperature = -40.0, 85.0
)

var (
	measure   = []byte{0xAC, 0x33, 0x00} // [7.4]
	calibrate = []byte{0xBE, 0x08, 0x00} // [AHT20 5.4]

	errDead   = errors.New("all bits are alike: its line is shorted")
	errBusy   = errors.New("the measurement does not end")
	errSupply = errors.New("it lost its calibration, as after a dip of its supply; it was told to load it again")
)

type probe struct {
	device drivers.I2CDevice
	raw    [7]byte // status, 20 bits of humidity, 20 of temperature, checksum
	values [2]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

// open has the part load its calibration if it has not, and measures once.
func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewI2CDevice(kind, site)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device}
	var status [1]byte
	if err := p.device.Tx(ctx, nil, status[:]); err != nil {
		return nil, err
	}
	if status[0]&bitCalibrated == 0 {
		if err := p.order(ctx, calibrate, settleTime); err != nil {
			return nil, err
		}
	}
	err = p.convert(ctx)
	if drivers.KindOf(err) == drivers.Garbled {
		return nil, device.Fault(drivers.WrongPart, p.raw[:], errors.New("what it gives has no right checksum"))
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := p.convert(ctx); err != nil {
		return drivers.Sample{}, err
	}
	h := float64(uint32(p.raw[1])<<12|uint32(p.raw[2])<<4|uint32(p.raw[3])>>4) / full * 100 // [8.1]: cannot leave the range
	t := float64(uint32(p.raw[3]&0x0F)<<16|uint32(p.raw[4])<<8|uint32(p.raw[5]))/full*200 - 50
	p.values[0] = p.temperature(t)
	p.values[1] = drivers.Value{Channel: "humidity", Quantity: units.Humidity, Value: h, Raw: h}
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// convert orders a measurement and fetches it.
func (p *probe) convert(ctx context.Context) error {
	if err := p.order(ctx, measure, measureTime); err != nil {
		return err
	}
	for range looks {
		clear(p.raw[:])
		if err := p.device.Tx(ctx, nil, p.raw[:]); err != nil {
			return err
		}
		if p.raw[0]&bitBusy == 0 || drivers.Dead(p.raw[:]) {
			return p.judge(ctx)
		}
		if err := drivers.Wait(ctx, moreTime); err != nil {
			return err
		}
	}
	return p.device.Fault(drivers.NotReady, p.raw[:], errBusy)
}

// judge tells what is wrong with a frame. A part without its calibration measures, and wrongly.
func (p *probe) judge(ctx context.Context) error {
	want := drivers.SensirionChecksum(p.raw[:6]) // the same polynomial and beginning [7.4]
	switch {
	case drivers.Dead(p.raw[:]):
		return p.device.Fault(drivers.Garbled, p.raw[:], errDead)
	case p.raw[6] != want:
		return p.device.Fault(drivers.Garbled, p.raw[:], fmt.Errorf("checksum %02X, want %02X", p.raw[6], want))
	case p.raw[0]&bitCalibrated == 0:
		if err := p.order(ctx, calibrate, settleTime); err != nil {
			return err
		}
		return p.device.Fault(drivers.NotReady, p.raw[:], errSupply)
	}
	return nil
}

func (p *probe) order(ctx context.Context, command []byte, wait time.Duration) error {
	if err := p.device.Tx(ctx, command, nil); err != nil {
		return err
	}
	return drivers.Wait(ctx, wait)
}

// temperature is -50 + 200 S / 2^20 [8.2].
func (p *probe) temperature(t float64) drivers.Value {
	if t < leastTemperature-step || t > greatestTemperature+step { // the ends themselves may lie between two codes
		return drivers.Failed("temperature", units.Temperature, p.device.Fault(drivers.OutOfRange, p.raw[:], fmt.Errorf("chip said %.1f °C", t)))
	}
	return drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: t, Raw: t}
}
