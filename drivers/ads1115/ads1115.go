// Package ads1115 reads the Texas Instruments ADS1115, a four-channel 16-bit converter on I2C, and what hangs on its inputs: a pH electrode
// behind its amplifier, a 4-20 mA loop over a resistor, or anything with a table of voltages.
//
// Sources: Texas Instruments, "ADS111x Ultra-Small, Low-Power, I2C-Compatible, 860-SPS, 16-Bit ADCs", SBAS444: registers 8.1, config register
// table 8-3, full-scale ranges table 7-1, output codes 7.5.4. Bands of the loop: NAMUR NE 43 by secondary sources. Electrode: the equation
// of Nernst with the constants of the 2019 SI.
//
// Several probes may share one chip: every Read writes the whole configuration, converts once and waits until the chip itself says that
// it is done. Waiting for the nominal time alone would, with a clock that is 10 % slow, give the value of the channel before.
//
// Glass electrodes have 50 to 250 MΩ and never go straight into this chip; the range ±6.144 V does not make an input stand more than its supply.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package ads1115

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/internal/phrase"
)

const kind = "ads1115"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.I2C, Declares: declares, Open: open}

const declares = `part ads1115
    place on I2C at ADDRESS 0x48 .. 0x4b
    phrase channel (ain0|ain1|ain2|ain3|ain0-ain1|ain0-ain3|ain1-ain3|ain2-ain3) [range VOLTAGE 0.256 V .. 6.144 V default 4.096 V]
    phrase electrode [compensated by POINT temperature]
    phrase loop 4-20 mA [over RESISTANCE 10 ohm .. 500 ohm default 100 ohm] is ANY .. ANY [bands (ne43|none)]
    phrase table VOLTAGE is ANY {, VOLTAGE is ANY}
    needs channel
    one electrode|loop|table
    reads ph ph 0 .. 14 with electrode
    reads loop ends with loop
    reads table ends with table
    shares channel
`

const (
	regConversion = 0x00 // [8.1]
	regConfig     = 0x01

	cfgStart     = 1 << 15 // written: begin; read: idle [table 8-3]
	cfgSingle    = 1 << 8
	cfgRate16    = 1 << 5 // 16 per second; chosen: 62.5 ms averages over three periods of the mains
	cfgNoCompare = 3

	conversion = time.Second / 16
	pollEvery  = 4 * time.Millisecond // chosen: an exchange at 100 kHz takes under 1 ms
	polls      = 16                   // so that a clock twice as slow as nominal is still waited for; the datasheet allows 10 %

	codeHigh = 0x7FFF // clips, never a value [7.5.4]
	codeLow  = 0x8000
)

// inputs are the positions of the multiplexer [table 8-3].
var inputs = map[string]uint16{"ain0-ain1": 0, "ain0-ain3": 1, "ain1-ain3": 2, "ain2-ain3": 3, "ain0": 4, "ain1": 5, "ain2": 6, "ain3": 7}

// ranges are the full scales in V, by their code [table 8-3].
var ranges = [...]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}

// meaning turns the voltage of the input into a value: electrode, loop or table.
type meaning interface {
	value(volts float64) drivers.Value
}

type probe struct {
	device drivers.I2CDevice
	input  string
	config uint16 // without cfgStart
	scale  float64
	means  meaning
	buffer [3]byte
	raw    [4]byte // config and conversion as read
	values [1]drivers.Value
}

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewI2CDevice(kind, site)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device}
	if err := p.set(site); err != nil {
		return nil, device.Fault(drivers.Settings, nil, err)
	}
	p.device.Where += " " + p.input
	opened, err := p.interpret(site)
	if err != nil {
		return nil, p.device.Fault(drivers.Settings, nil, err)
	}
	return opened, p.check(ctx)
}

// set reads the line channel: the smallest range that holds the one asked for.
func (p *probe) set(site drivers.Site) error {
	line, _ := site.Lines.Find("channel")
	if len(line.Slots) == 0 {
		return errors.New("needs a channel")
	}
	p.input = line.Slots[0].Text
	mux, known := inputs[p.input]
	if !known {
		return fmt.Errorf("there is no input %q", p.input)
	}
	wanted := 4.096
	if len(line.Slots) > 1 && line.Slots[1].Amount.Value > 0 {
		wanted = line.Slots[1].Amount.Value
	}
	gain := len(ranges) - 1
	for gain > 0 && ranges[gain] < wanted-1e-9 {
		gain--
	}
	p.config = mux<<12 | uint16(gain)<<9 | cfgSingle | cfgRate16 | cfgNoCompare
	p.scale = ranges[gain] / 32768
	return nil
}

// interpret gives the probe with the meaning of its voltage.
func (p *probe) interpret(site drivers.Site) (drivers.Probe, error) {
	if line, ok := site.Lines.Find("loop"); ok {
		l, err := newLoop(line, site, p.scale*codeHigh)
		p.means = l
		return p, err
	}
	if line, ok := site.Lines.Find("table"); ok {
		t, err := newTable(line, site)
		p.means = t
		return p, err
	}
	if line, ok := site.Lines.Find("electrode"); ok {
		e := newElectrode(line)
		p.means = e
		return &electrodeProbe{probe: p, electrode: e}, nil
	}
	return nil, errors.New("needs an electrode, a loop or a table")
}

// check writes the configuration without starting and reads it back: no other part on these addresses keeps it.
func (p *probe) check(ctx context.Context) error {
	if err := p.write(ctx, p.config); err != nil {
		return err
	}
	got, err := p.read(ctx, regConfig)
	if err != nil {
		return err
	}
	if got&^cfgStart != p.config {
		return p.device.Fault(drivers.WrongPart, p.buffer[1:], fmt.Errorf("settings %04X come back as %04X", p.config, got))
	}
	return nil
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	code, err := p.convert(ctx)
	if err != nil {
		return drivers.Sample{}, err
	}
	volts := float64(int16(code)) * p.scale
	v := p.means.value(volts)
	if code == codeHigh || code == codeLow {
		fault := &drivers.Fault{Kind: drivers.OutOfRange, Cause: fmt.Errorf("input beyond ±%.3f V", p.scale*32768)}
		v = drivers.Failed(v.Channel, v.Quantity, fault)
	}
	if v.Fault != nil {
		v.Fault.Part, v.Fault.Place, v.Fault.Raw = kind, p.device.Where, append([]byte(nil), p.raw[:]...)
	}
	p.values[0] = v
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// convert starts one conversion, waits for the chip's own word that it is done, and fetches the code. The settings are read back with
// that word: if another program or a flipped bit has changed them the code is of something else.
func (p *probe) convert(ctx context.Context) (uint16, error) {
	if err := p.write(ctx, p.config|cfgStart); err != nil {
		return 0, err
	}
	if err := drivers.Wait(ctx, conversion); err != nil {
		return 0, err
	}
	for range polls {
		got, err := p.read(ctx, regConfig)
		if err != nil {
			return 0, err
		}
		if got&^cfgStart != p.config {
			return 0, p.device.Fault(drivers.Garbled, p.buffer[1:], fmt.Errorf("settings %04X come back as %04X", p.config, got))
		}
		if got&cfgStart != 0 {
			copy(p.raw[:2], p.buffer[1:])
			code, err := p.read(ctx, regConversion)
			copy(p.raw[2:], p.buffer[1:])
			return code, err
		}
		if err := drivers.Wait(ctx, pollEvery); err != nil {
			return 0, err
		}
	}
	return 0, p.device.Fault(drivers.NotReady, p.buffer[1:], errors.New("the conversion does not end"))
}

func (p *probe) write(ctx context.Context, config uint16) error {
	p.buffer[0] = regConfig
	binary.BigEndian.PutUint16(p.buffer[1:], config)
	return p.device.Tx(ctx, p.buffer[:], nil)
}

func (p *probe) read(ctx context.Context, register byte) (uint16, error) {
	p.buffer = [3]byte{register}
	if err := p.device.Tx(ctx, p.buffer[:1], p.buffer[1:]); err != nil {
		return 0, err
	}
	return binary.BigEndian.Uint16(p.buffer[1:]), nil
}

// slot gives a slot of a line, empty where the line is shorter.
func slot(line phrase.Line, n int) phrase.Slot {
	if n < len(line.Slots) {
		return line.Slots[n]
	}
	return phrase.Slot{}
}

var _ drivers.Probe = (*probe)(nil)
