// Package hwmon reads what the Linux kernel's drivers of hardware monitoring chips show: any chip by its name, each of its inputs as a channel. The
// board's own temperature stands there too.
//
// Source: Linux kernel documentation, hwmon/sysfs-interface: files tempN_input m°C, humidityN_input m%, inN_input mV, currN_input mA, powerN_input µW,
// fanN_input rpm; where a file _fault is there and says 1, the value is none.
//
// Some chips give a thermistor's voltage in mV as a temperature; the kernel's page of such a chip says so.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package hwmon

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

const kind = "hwmon"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.HWMon, Declares: declares, Open: open}

const declares = `part hwmon
    place on HWMON device PATH [at PATH]
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
	{"temp", units.Temperature, 1e-3, -273.15, 2500},
	{"humidity", units.Humidity, 1e-3, 0, 100},
	{"in", units.Voltage, 1e-3, -1000, 1000},
	{"curr", units.Current, 1e-3, -100, 100},
	{"power", units.Power, 1e-6, -1e6, 1e6},
	{"fan", units.Rotation, 1, 0, 1e6},
}

// edge is how far beyond 0 or 100 %RH a sensor may show and still be right. Chosen: the typical tolerance of such parts.
const edge = 3.0

// input is one line of the rules.
type input struct {
	name    string // "temp1"
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
	p := &probe{tree: site.Bus.HWMon, bus: site.Bus.Name}
	if p.tree == nil || len(site.Place.Slots) < 2 {
		return nil, p.fault(drivers.Settings, errors.New("needs the kernel's hardware monitoring and a name"))
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
		if strings.TrimRight(in.name, "0123456789") != m.prefix || in.name == m.prefix { // so it is no path either
			continue
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
	return fmt.Errorf("of input %q it is not known what it measures; known are temp1, humidity1, in0, curr1, power1, fan1 and so on", in.name)
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
		if fault, is := drivers.AsFault(err); is && fault.Kind == drivers.OutOfRange {
			p.values[i] = drivers.Failed(p.inputs[i].channel, p.inputs[i].meaning.quantity, fault)
			continue
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

// number is the value in the kernel's unit, unless the chip says that it is none.
func (p *probe) number(in *input) (float64, error) {
	fault, err := p.file(in.name + "_fault")
	switch {
	case errors.Is(err, fs.ErrNotExist): // most chips have no such file
	case err != nil:
		return 0, err
	case fault != 0:
		return 0, p.fault(drivers.OutOfRange, fmt.Errorf("%s: the chip says that its sensor is broken or not connected", in.name))
	}
	return p.file(in.name + "_input")
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
