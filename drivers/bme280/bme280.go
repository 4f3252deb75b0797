// Package bme280 reads temperature, relative humidity and air pressure from the Bosch BME280 over I2C.
//
// Source: Bosch Sensortec, "BME280 Combined humidity and pressure sensor", BST-BME280-DS001: memory map 5.3 and table 18, calibration words table 16,
// compensation in double precision appendix 8.1, measurement time 9.1. The words H4 and H5 are signed, 12 bits each, and share a byte; read as
// unsigned they give 0 %RH on parts that have a negative one.
//
// Each Read is one forced measurement. In a closed box the part warms itself by 1 to 2 °C (from memory).
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package bme280

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const kind = "bme280"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.I2C, Declares: declares, Open: open}

const declares = `part bme280
    place on I2C at ADDRESS 0x76 .. 0x77
    reads temperature temperature -40 .. 85
    reads humidity humidity 0 .. 100
    reads pressure pressure 30 .. 110
`

// Registers and what is written to them [5.3, table 18].
const (
	regID       = 0xD0
	regCalibA   = 0x88 // to A1
	regCalibB   = 0xE1 // to E7
	regHumidity = 0xF2
	regStatus   = 0xF3
	regMeasure  = 0xF4
	regData     = 0xF7 // to FE, in one burst so that the words belong together

	idBME280 = 0x60
	idBMP280 = 0x58 // the same without humidity

	onceHumidity = 0x01               // oversampling 1
	onceForced   = 1<<5 | 1<<2 | 0x01 // temperature and pressure oversampling 1, forced mode
	modeMask     = 0x03
	measuring    = 1 << 3 // of the status

	// measureTime is the longest for one of each: 1.25 + 2.3 + 2.3 + 0.575 + 2.3 + 0.575 ms [9.1].
	measureTime = 9300 * time.Microsecond

	skipped20 = 0x80000 // a 20-bit word that was not measured [5.4.7]
	skipped16 = 0x8000
)

// What the part measures [tables 2, 3 and 4]. A formula may go somewhat beyond 0 or 100 %RH: edge is the accuracy of the humidity.
const (
	leastTemperature, greatestTemperature = -40.0, 85.0
	leastPressure, greatestPressure       = 30.0, 110.0
	edge                                  = 3.0
)

type probe struct {
	device  drivers.I2CDevice
	c       calibration
	command [2]byte
	raw     [8]byte
	values  [3]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewI2CDevice(kind, site)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device}
	var id [1]byte
	if err := p.fetch(ctx, regID, id[:]); err != nil {
		return nil, err
	}
	switch id[0] {
	case idBME280:
	case idBMP280:
		return nil, device.Fault(drivers.WrongPart, id[:], errors.New("it is a BMP280, which has no humidity"))
	default:
		return nil, device.Fault(drivers.WrongPart, id[:], fmt.Errorf("chip id %02X, want %02X", id[0], idBME280))
	}
	return p, p.calibrate(ctx)
}

func (p *probe) calibrate(ctx context.Context) error {
	var a [26]byte
	var b [7]byte
	if err := p.fetch(ctx, regCalibA, a[:]); err != nil {
		return err
	}
	if err := p.fetch(ctx, regCalibB, b[:]); err != nil {
		return err
	}
	p.c = parse(a, b)
	if drivers.Dead(a[:]) || p.c.t1 == 0 || p.c.p1 == 0 {
		return p.device.Fault(drivers.WrongPart, a[:], errors.New("its calibration is empty"))
	}
	return nil
}

// fetch reads from a register on.
func (p *probe) fetch(ctx context.Context, register byte, into []byte) error {
	p.command[0] = register
	return p.device.Tx(ctx, p.command[:1], into)
}

func (p *probe) write(ctx context.Context, register, value byte) error {
	p.command = [2]byte{register, value}
	return p.device.Tx(ctx, p.command[:], nil)
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := p.measure(ctx); err != nil {
		return drivers.Sample{}, err
	}
	adcP := uint32(p.raw[0])<<12 | uint32(p.raw[1])<<4 | uint32(p.raw[2])>>4
	adcT := uint32(p.raw[3])<<12 | uint32(p.raw[4])<<4 | uint32(p.raw[5])>>4
	adcH := binary.BigEndian.Uint16(p.raw[6:])
	if adcT == skipped20 || adcP == skipped20 || adcH == skipped16 {
		return drivers.Sample{}, p.device.Fault(drivers.NotReady, p.raw[:], errors.New("it has not measured"))
	}
	fine := p.c.fine(float64(adcT))
	temperature := fine / 5120
	p.values[0] = p.ranged("temperature", units.Temperature, temperature, leastTemperature, greatestTemperature, "°C")
	p.values[1] = p.humidity(fine, float64(adcH))
	p.values[2] = p.ranged("pressure", units.Pressure, p.c.pressure(fine, float64(adcP)), leastPressure, greatestPressure, "kPa")
	if p.values[0].Fault != nil { // the others are worked out from it
		p.values[1] = drivers.Failed("humidity", units.Humidity, p.values[0].Fault)
		p.values[2] = drivers.Failed("pressure", units.Pressure, p.values[0].Fault)
	}
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// measure makes one measurement and fetches its words. The settings are read back with the state: a part that has lost its supply and measures
// nothing would give the words of before.
func (p *probe) measure(ctx context.Context) error {
	if err := p.write(ctx, regHumidity, onceHumidity); err != nil { // counts from the next write of regMeasure [5.4.3]
		return err
	}
	if err := p.write(ctx, regMeasure, onceForced); err != nil {
		return err
	}
	if err := drivers.Wait(ctx, measureTime); err != nil {
		return err
	}
	var state [3]byte // humidity settings, status, measure settings
	if err := p.fetch(ctx, regHumidity, state[:]); err != nil {
		return err
	}
	if state[0] != onceHumidity || state[2]&^modeMask != onceForced&^modeMask {
		return p.device.Fault(drivers.Garbled, state[:], errors.New("its settings come back otherwise"))
	}
	if state[1]&measuring != 0 || state[2]&modeMask != 0 {
		return p.device.Fault(drivers.NotReady, state[:], errors.New("the measurement does not end"))
	}
	p.raw = [8]byte{}
	return p.fetch(ctx, regData, p.raw[:])
}

func (p *probe) ranged(channel string, q units.Quantity, value, least, greatest float64, unit string) drivers.Value {
	if !(value >= least && value <= greatest) {
		return drivers.Failed(channel, q, p.device.Fault(drivers.OutOfRange, p.raw[:], fmt.Errorf("chip said %.1f %s", value, unit)))
	}
	return drivers.Value{Channel: channel, Quantity: q, Value: value, Raw: value}
}

// humidity holds the value to 0 and 100, as the datasheet does [8.1], but tells of it: a little beyond is as good as the end; far beyond is a wet or
// failing sensor, uncertain, so that it may raise an alarm and never clears one.
func (p *probe) humidity(fine, adc float64) drivers.Value {
	shown := p.c.humidity(fine, adc)
	v := drivers.Value{Channel: "humidity", Quantity: units.Humidity, Value: min(max(shown, 0), 100), Raw: shown}
	switch {
	case !(shown > -1e6 && shown < 1e6):
		return drivers.Failed(v.Channel, v.Quantity, p.device.Fault(drivers.OutOfRange, p.raw[:], errors.New("no humidity comes of its words")))
	case shown == v.Value:
	case shown >= -edge && shown <= 100+edge:
		v.Note = "clipped to its range"
	default:
		v.Quality, v.Cause = reading.Uncertain, fmt.Sprintf("clipped, chip said %.1f %%RH", shown)
	}
	return v
}
