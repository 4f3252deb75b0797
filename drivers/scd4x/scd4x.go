// Package scd4x reads carbon dioxide, temperature and relative humidity from the Sensirion SCD40 and SCD41 over I2C.
//
// Source: Sensirion, "SCD4x Datasheet": commands and times chapter 3, words and checksum 3.4, conversion 3.5. The command for the self-calibration and the
// ranges are from memory.
//
// The part measures by itself every five seconds and holds the newest result until it is fetched. By its self-calibration it takes the lowest value of
// a week for fresh air; in a fermentation room, which has none, that drifts low, so it is off unless the rules say otherwise.
//
// A tank's head holds far more than the part can measure. This is not a gas detector: whoever enters a pit or a tank room relies on listed
// detection and on local rules for confined spaces.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package scd4x

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const kind = "scd4x"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.I2C, Declares: declares, Open: open}

const declares = `part scd4x
    place on I2C at ADDRESS 0x62 .. 0x62
    phrase self-calibration (off|on)
    reads co2 concentration 0 .. 5000
    reads temperature temperature -10 .. 60
    reads humidity humidity 0 .. 100
`

// Commands [chapter 3].
const (
	cmdStart           = 0x21B1
	cmdStop            = 0x3F86
	cmdReady           = 0xE4B8
	cmdRead            = 0xEC05
	cmdSerial          = 0x3682
	cmdSelfCalibration = 0x2416 // from memory

	stopTime    = 500 * time.Millisecond
	commandTime = 1 * time.Millisecond
	interval    = 5 * time.Second
	readyBits   = 0x07FF // of the answer; all 0: no new result

	lookEvery = 100 * time.Millisecond // chosen
	// patience is how long a running part may have nothing new before it is taken for one that lost its supply. Chosen: two results.
	patience = 2*interval + time.Second

	greatestCO2                           = 5000.0 // ppm, of the SCD41 (from memory)
	leastTemperature, greatestTemperature = -10.0, 60.0
)

type probe struct {
	device  drivers.I2CDevice
	own     uint16 // self-calibration
	heard   time.Time
	command [5]byte
	raw     [9]byte
	values  [3]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewI2CDevice(kind, site)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device}
	if line, ok := site.Lines.Find("self-calibration"); ok && len(line.Slots) > 0 && line.Slots[0].Text == "on" {
		p.own = 1
	}
	return p, p.begin(ctx)
}

// begin stops the part, as only few commands are known to one that measures, asks who it is, and sets and starts it.
func (p *probe) begin(ctx context.Context) error {
	if err := p.send(ctx, cmdStop, stopTime); err != nil {
		return err
	}
	if err := p.fetch(ctx, cmdSerial, p.raw[:]); err != nil {
		if drivers.KindOf(err) == drivers.Garbled {
			return p.device.Fault(drivers.WrongPart, p.raw[:], errors.New("the answer for the serial number has a wrong checksum"))
		}
		return err
	}
	if err := p.set(ctx, cmdSelfCalibration, p.own); err != nil {
		return err
	}
	p.heard = time.Now()
	return p.send(ctx, cmdStart, 0)
}

func (p *probe) String() string { return p.device.String() }

// Read fetches the newest result, and waits for it if there is none.
func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := p.await(ctx); err != nil {
		return drivers.Sample{}, err
	}
	if err := p.fetch(ctx, cmdRead, p.raw[:]); err != nil {
		return drivers.Sample{}, err
	}
	p.values[0] = p.co2(drivers.SensirionWord(p.raw[0:]))
	p.values[1] = p.temperature(drivers.SensirionWord(p.raw[3:]))
	h := 100 * drivers.SensirionWord(p.raw[6:]) / 65535 // [3.5]: cannot leave the range
	p.values[2] = drivers.Value{Channel: "humidity", Quantity: units.Humidity, Value: h, Raw: h}
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// await asks until there is a new result. A part that has none for too long has lost its supply and stands still: it is started again.
func (p *probe) await(ctx context.Context) error {
	for {
		var answer [3]byte
		if err := p.fetch(ctx, cmdReady, answer[:]); err != nil {
			return err
		}
		if (uint16(answer[0])<<8|uint16(answer[1]))&readyBits != 0 {
			p.heard = time.Now() // it works, even if the result is lost on the way
			return nil
		}
		if time.Since(p.heard) > patience {
			if err := p.begin(ctx); err != nil {
				return err
			}
			return p.device.Fault(drivers.NotReady, answer[:], errors.New("it stood still and was started again"))
		}
		if err := drivers.Wait(ctx, lookEvery); err != nil {
			return p.device.Fault(drivers.NotReady, answer[:], patienceError{err})
		}
	}
}

// patienceError says in a few words that the caller's time ended before there was a result.
type patienceError struct{ cause error }

func (patienceError) Error() string   { return "no new result yet" }
func (e patienceError) Unwrap() error { return e.cause }

func (p *probe) send(ctx context.Context, command uint16, wait time.Duration) error {
	p.command[0], p.command[1] = byte(command>>8), byte(command)
	if err := p.device.Tx(ctx, p.command[:2], nil); err != nil {
		return err
	}
	return drivers.Wait(ctx, wait)
}

func (p *probe) set(ctx context.Context, command, value uint16) error {
	p.command = [5]byte{byte(command >> 8), byte(command), byte(value >> 8), byte(value)}
	p.command[4] = drivers.SensirionChecksum(p.command[2:4])
	if err := p.device.Tx(ctx, p.command[:], nil); err != nil {
		return err
	}
	return drivers.Wait(ctx, commandTime)
}

func (p *probe) fetch(ctx context.Context, command uint16, into []byte) error {
	p.command[0], p.command[1] = byte(command>>8), byte(command)
	return drivers.SensirionWords(ctx, &p.device, p.command[:2], commandTime, into)
}

// co2 is in ppm. Beyond the range the end stands for it, uncertain: so it may raise an alarm and never clears one. Nothing at all is no air.
func (p *probe) co2(ppm float64) drivers.Value {
	v := drivers.Value{Channel: "co2", Quantity: units.Concentration, Value: min(ppm, greatestCO2), Raw: ppm}
	switch {
	case ppm == 0:
		return drivers.Failed(v.Channel, v.Quantity, p.device.Fault(drivers.NotReady, p.raw[:], errors.New("chip said 0 ppm")))
	case ppm > greatestCO2:
		v.Quality, v.Cause = reading.Uncertain, fmt.Sprintf("beyond its range, chip said %.0f ppm", ppm)
	}
	return v
}

// temperature is -45 + 175 S / (2^16 - 1) [3.5].
func (p *probe) temperature(s float64) drivers.Value {
	t := -45 + 175*s/65535
	const step = 175.0 / 65535
	if t < leastTemperature-step || t > greatestTemperature+step { // the ends themselves lie between two words
		return drivers.Failed("temperature", units.Temperature, p.device.Fault(drivers.OutOfRange, p.raw[:], fmt.Errorf("chip said %.1f °C", t)))
	}
	return drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: t, Raw: t}
}
