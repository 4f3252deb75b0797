// Package lm75 reads the thermometers that share the register map of the LM75 over I2C: LM75, LM75B, TMP75, TMP105, DS75 and their kin as part lm75, and
// the TMP102, which can be told from them, as part tmp102.
//
// Sources: National Semiconductor, "LM75 Digital Temperature Sensor and Thermal Watchdog", DS012658: pointer, temperature register of 9 bits, power-on
// values 75 and 80 °C of the limits; Texas Instruments, "TMP102", SBOS397: configuration register (R1 R0 always 1, last four bits 0), 13 bits when EM is
// set, temperature table; NXP, "LM75B": 11 bits; Texas Instruments, "TMP75", SBOS288, and "TMP105", SBOS375: R1 R0 choose 9 to 12 bits. From memory
// where no row of testdata/vectors stands for it.
//
// All keep the temperature as sixteen bits of two's complement, 1/256 °C a step, high byte first; they differ in how many of these are defined. What
// is not is masked. None has a checksum or an id. A word of zeros is a good 0 °C, one of ones nearly so: then the register of the upper limit, which is
// never all alike in a part that is awake, tells a dead bus from the truth.
//
// A part that was put to sleep shows one value for ever, so it is woken at Open.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package lm75

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const (
	kind    = "lm75"
	kind102 = "tmp102"
)

// Driver is the part lm75 for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.I2C, Open: open, Declares: `part lm75
    place on I2C at ADDRESS 0x48 .. 0x4f
    phrase bits NUMBER 9 .. 12 default 9
    reads temperature temperature -55 .. 125
`}

// TMP102 is the part tmp102 for the catalog.
var TMP102 = drivers.Driver{Kind: kind102, Bus: drivers.I2C, Open: open102, Declares: `part tmp102
    place on I2C at ADDRESS 0x48 .. 0x4b
    reads temperature temperature -55 .. 150
`}

const (
	regTemperature   = 0
	regConfiguration = 1
	regHigh          = 3 // the upper limit

	sleep      = 0x01 // of the configuration
	resolution = 0x60 // R1 R0 of TMP75 and TMP105

	extended     = 0x0010 // EM of the TMP102's second byte
	alwaysSet    = 0x6000 // its R1 R0
	alwaysClear  = 0x000F
	sleep102     = 0x0100
	fixed        = 11 // bits of a part that has no resolution to set, an LM75B
	least        = -55.0
	greatest     = 125.0
	greatest102  = 150.0
	stepsPerGrad = 256.0
)

type probe struct {
	device   drivers.I2CDevice
	bits     int
	greatest float64
	register [1]byte
	raw      [2]byte
	values   [1]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

var (
	errDead  = errors.New("all registers are alike: the bus is dead")
	errOther = errors.New("its configuration is not one of this part")
)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p, err := newProbe(kind, site, greatest)
	if err != nil {
		return nil, err
	}
	p.bits = 9
	if line, ok := site.Lines.Find("bits"); ok && len(line.Slots) > 0 {
		p.bits = int(line.Slots[0].Amount.Value)
	}
	word, err := p.read(ctx, regConfiguration, 1)
	if err != nil {
		return nil, err
	}
	if err := p.alive(ctx); err != nil {
		return nil, err
	}
	was := byte(word)
	if was&0x80 != 0 { // one-shot, or reserved: reads back as 0
		return nil, p.device.Fault(drivers.WrongPart, p.raw[:1], errOther)
	}
	want := was &^ sleep
	if p.bits != 9 && p.bits != fixed {
		want = want&^resolution | byte(p.bits-9)<<5
	}
	if want == was {
		return p, nil
	}
	return p, p.configure(ctx, want, was)
}

// configure writes the configuration and reads it back: an LM75 keeps no resolution.
func (p *probe) configure(ctx context.Context, want, was byte) error {
	if err := p.device.Tx(ctx, []byte{regConfiguration, want}, nil); err != nil {
		return err
	}
	got, err := p.read(ctx, regConfiguration, 1)
	if err != nil {
		return err
	}
	if byte(got) != want {
		return p.device.Fault(drivers.Settings, p.raw[:1], fmt.Errorf("set to %02X from %02X, it stays at %02X: it may have no %d bits", want, was, got, p.bits))
	}
	return nil
}

func open102(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p, err := newProbe(kind102, site, greatest102)
	if err != nil {
		return nil, err
	}
	word, err := p.read(ctx, regConfiguration, 2)
	if err != nil {
		return nil, err
	}
	if word&(alwaysSet|alwaysClear) != alwaysSet {
		return nil, p.device.Fault(drivers.WrongPart, p.raw[:], errOther)
	}
	p.bits = 12
	if word&extended != 0 {
		p.bits = 13
	}
	if word&sleep102 == 0 {
		return p, nil
	}
	awake := word &^ sleep102
	if err := p.device.Tx(ctx, []byte{regConfiguration, byte(awake >> 8), byte(awake)}, nil); err != nil {
		return nil, err
	}
	if word, err = p.read(ctx, regConfiguration, 2); err == nil && word&sleep102 != 0 {
		err = p.device.Fault(drivers.Settings, p.raw[:], errors.New("it does not wake up"))
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

func newProbe(kind string, site drivers.Site, greatest float64) (*probe, error) {
	device, err := drivers.NewI2CDevice(kind, site)
	return &probe{device: device, greatest: greatest}, err
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	word, err := p.read(ctx, regTemperature, 2)
	if err != nil {
		return drivers.Sample{}, err
	}
	if drivers.Dead(p.raw[:]) {
		if err := p.alive(ctx); err != nil {
			return drivers.Sample{}, err
		}
		binary.BigEndian.PutUint16(p.raw[:], word)
	}
	if p.values[0], err = p.temperature(word); err != nil {
		return drivers.Sample{}, err
	}
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// temperature masks the bits that are not defined. Those of 12 and 13 bits are, and are 0 but for the last, which tells EM [TMP102].
func (p *probe) temperature(word uint16) (drivers.Value, error) {
	perDegree := stepsPerGrad
	if p.bits == 13 {
		perDegree = stepsPerGrad / 2
	}
	if p.device.Part == kind102 {
		if undefined := word & (1<<(16-p.bits) - 1); (word&1 != 0) != (p.bits == 13) || undefined > 1 {
			return drivers.Value{}, p.device.Fault(drivers.Garbled, p.raw[:], errors.New("bits are set that the part does not have"))
		}
	}
	t := float64(int16(word&^(1<<(16-p.bits)-1))) / perDegree
	if t < least || t > p.greatest {
		return drivers.Value{}, p.device.Fault(drivers.OutOfRange, p.raw[:], fmt.Errorf("the part said %.4f °C", t))
	}
	return drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: t, Raw: t}, nil
}

// alive reads the upper limit, which no part keeps at all zeros or all ones.
func (p *probe) alive(ctx context.Context) error {
	if _, err := p.read(ctx, regHigh, 2); err != nil {
		return err
	}
	if drivers.Dead(p.raw[:]) {
		return p.device.Fault(drivers.NoAnswer, p.raw[:], errDead)
	}
	return nil
}

// read fetches a register of one or two bytes into raw.
func (p *probe) read(ctx context.Context, register byte, size int) (uint16, error) {
	p.register[0], p.raw = register, [2]byte{}
	if err := p.device.Tx(ctx, p.register[:], p.raw[:size]); err != nil {
		return 0, err
	}
	if size == 1 {
		return uint16(p.raw[0]), nil
	}
	return binary.BigEndian.Uint16(p.raw[:]), nil
}
