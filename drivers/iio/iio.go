// Package iio reads what the Linux kernel's own drivers of industrial input devices show: any device by its name, each of its inputs as a channel.
//
// Source: Linux kernel documentation, ABI/testing/sysfs-bus-iio: value = (raw + offset) x scale where a file ends in _raw, the value itself where it ends
// in _input; units by the kind of input: temperature m°C, humidity m%, voltage mV, current mA, pressure kPa, resistance Ω, illuminance lux, and
// **concentration in per cent** (500 ppm of carbon dioxide read 0.05).
//
// Several drivers of the kernel give no reason for a fault and correct less than those here (a MAX31855 is not linearised there): where a part has a
// driver of its own, take that.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package iio

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"millwarden/drivers"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

const kind = "iio"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.IIO, Declares: declares, Open: open}

const declares = `part iio
    place on IIO device PATH [at PATH]
    phrase input* PATH [x AMOUNT] is CHANNEL
    needs input
    reads each input
`

// meaning is what the number of an input is: base = number x factor.
type meaning struct {
	prefix   string
	quantity units.Quantity
	factor   float64
	// least and greatest bound what such a sensor can say, in base units; beyond is no value. Chosen: wider than any part for mills.
	least, greatest float64
}

var meanings = []meaning{
	{"in_temp", units.Temperature, 1e-3, -273.15, 2500},
	{"in_humidityrelative", units.Humidity, 1e-3, 0, 100},
	{"in_concentration", units.Concentration, 1e4, 0, 1e6},
	{"in_pressure", units.Pressure, 1, -1000, 10000},
	{"in_voltage", units.Voltage, 1e-3, -1000, 1000},
	{"in_current", units.Current, 1e-3, -100, 100},
	{"in_resistance", units.Resistance, 1, 0, 1e9},
}

// edge is how far beyond 0 or 100 %RH a sensor may show and still be right. Chosen: the typical tolerance of such parts.
const edge = 3.0

// input is one line of the rules.
type input struct {
	name    string // "in_voltage0"
	channel string
	meaning meaning
	scale   *drivers.Scale // of the line, in place of the kernel's unit; nil: none
}

type probe struct {
	tree   drivers.Tree
	bus    string
	name   string
	at     string
	folder string
	inputs []input
	raw    []byte
	values []drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

// open finds the device and reads it once: an input that is not there is found here.
func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p := &probe{tree: site.Bus.IIO, bus: site.Bus.Name}
	if p.tree == nil || len(site.Place.Slots) < 2 {
		return nil, p.fault(drivers.Settings, errors.New("needs the kernel's industrial input devices and a name"))
	}
	p.name = site.Place.Slots[1].Text
	if len(site.Place.Slots) > 2 {
		p.at = site.Place.Slots[2].Text
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	for _, line := range site.Lines {
		if line.Key != "input" || len(line.Slots) < 3 {
			continue
		}
		in := input{name: line.Slots[0].Text, channel: line.Slots[2].Text}
		if err := in.settle(site, line.Slots[1]); err != nil {
			return nil, p.fault(drivers.Settings, err)
		}
		p.inputs = append(p.inputs, in)
	}
	if len(p.inputs) == 0 {
		return nil, p.fault(drivers.Settings, errors.New("needs an input"))
	}
	p.values = make([]drivers.Value, len(p.inputs))
	if err := p.find(); err != nil {
		return nil, err
	}
	if _, err := p.Read(ctx); err != nil {
		return nil, err
	}
	return p, nil
}

// settle finds what the input's name says that it measures, and holds it to what is due. An amount in the line says it anew: a thermistor's voltage
// that a driver shows as a temperature, and the unit for a point that no kind of station knows.
func (in *input) settle(site drivers.Site, x phrase.Slot) error {
	for _, m := range meanings {
		if !strings.HasPrefix(in.name, m.prefix) {
			continue
		}
		if !fs.ValidPath(in.name) || strings.Contains(in.name, "/") {
			return fmt.Errorf("%q is no input", in.name)
		}
		in.meaning = m
		due, fed := site.Due(in.channel)
		if x.Given {
			scale := drivers.ScaleOf(x, due)
			in.scale, in.meaning.quantity = &scale, scale.Quantity
			return nil
		}
		if fed && due != m.quantity {
			return fmt.Errorf("input %s is a %s, the point needs a %s; or say the unit of the number, for example: x 0.001 °C", in.name, m.quantity, due)
		}
		return nil
	}
	return fmt.Errorf("of input %q it is not known what it measures; known are in_temp, in_humidityrelative, in_concentration, in_pressure, in_voltage, in_current and in_resistance", in.name)
}

func (p *probe) find() error {
	folder, err := drivers.FindDevice(p.tree, p.name, p.at)
	switch {
	case errors.Is(err, drivers.ErrAmbiguous):
		return p.fault(drivers.Settings, err)
	case err != nil:
		return p.fault(drivers.NoAnswer, err)
	}
	p.folder = folder
	return nil
}

func (p *probe) String() string { return kind + " on " + p.place() }

func (p *probe) place() string {
	text := p.bus + " device " + p.name
	if p.at != "" {
		text += " at " + p.at
	}
	return text
}

// Read asks for one input after another. A device that has gone is looked for under another number.
func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	p.raw = p.raw[:0]
	for i := range p.inputs {
		if err := context.Cause(ctx); err != nil {
			return drivers.Sample{}, err
		}
		number, err := p.number(&p.inputs[i])
		if errors.Is(err, fs.ErrNotExist) && i == 0 {
			if err = p.find(); err == nil {
				number, err = p.number(&p.inputs[i])
			}
		}
		if err != nil {
			return drivers.Sample{}, p.sorted(&p.inputs[i], err)
		}
		p.values[i] = p.value(&p.inputs[i], number)
	}
	return drivers.Sample{Values: p.values, Raw: p.raw}, nil
}

// sorted makes a Fault of what a file said. What the kernel answers when a part has a fault (EIO, EINVAL) is no end of the driver.
func (p *probe) sorted(in *input, err error) error {
	if _, is := drivers.AsFault(err); is {
		return err
	}
	kindOf := drivers.NoAnswer
	if errors.Is(err, drivers.ErrNumber) {
		kindOf = drivers.Garbled
	}
	return p.fault(kindOf, fmt.Errorf("%s: %w", in.name, err))
}

// number is the value in the kernel's unit: of the file _input where there is one, else of _raw, _offset and _scale.
func (p *probe) number(in *input) (float64, error) {
	value, err := p.file(in.name + "_input")
	if !errors.Is(err, fs.ErrNotExist) {
		return value, err
	}
	if value, err = p.file(in.name + "_raw"); err != nil {
		return 0, err
	}
	offset, err := p.shared(in.name, "_offset", 0)
	if err != nil {
		return 0, err
	}
	scale, err := p.shared(in.name, "_scale", 1)
	return (value + offset) * scale, err
}

// shared reads a file of one input, or that which several of a kind share (in_voltage_scale for in_voltage0), or takes what holds without.
func (p *probe) shared(name, suffix string, without float64) (float64, error) {
	value, err := p.file(name + suffix)
	if errors.Is(err, fs.ErrNotExist) {
		if stem := strings.TrimRight(name, "0123456789"); stem != name {
			value, err = p.file(stem + suffix)
		}
	}
	if errors.Is(err, fs.ErrNotExist) {
		return without, nil
	}
	return value, err
}

func (p *probe) file(name string) (float64, error) {
	text, err := fs.ReadFile(p.tree, p.folder+"/"+name)
	if err != nil {
		return 0, err
	}
	p.raw = append(p.raw, text...)
	return drivers.KernelNumber(string(text))
}

func (p *probe) value(in *input, number float64) drivers.Value {
	if in.scale != nil {
		return drivers.Value{Channel: in.channel, Quantity: in.scale.Quantity, Value: in.scale.Base(number), Raw: number}
	}
	v := drivers.Value{Channel: in.channel, Quantity: in.meaning.quantity, Value: number * in.meaning.factor, Raw: number}
	if in.meaning.quantity == units.Humidity && v.Value > -edge && v.Value < 100+edge {
		if inside := min(max(v.Value, 0), 100); inside != v.Value {
			v.Value, v.Note = inside, "clipped to its range"
		}
	}
	if v.Value < in.meaning.least || v.Value > in.meaning.greatest {
		return drivers.Failed(in.channel, in.meaning.quantity, p.fault(drivers.OutOfRange, fmt.Errorf("%s gave %g", in.name, number)))
	}
	return v
}

func (p *probe) fault(of drivers.FaultKind, cause error) *drivers.Fault {
	return &drivers.Fault{Kind: of, Part: kind, Place: p.place(), Cause: cause}
}
