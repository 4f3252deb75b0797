package drivers

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

// KernelClass is one way in which the kernel's own drivers show chips as files: hwmon, IIO. What differs between them is here; the rest is the same probe.
type KernelClass struct {
	Kind    string                                                                       // of the driver: "hwmon"
	Tree    func(Bus) Tree                                                               // where its devices lie
	Missing string                                                                       // said if there is no such tree, or no name: "needs the kernel's ... and a name"
	Inputs  []KernelInput                                                                // what inputs measure; the first whose Is holds counts
	Known   string                                                                       // the known ones in words
	Is      func(name, prefix string) bool                                               // whether the name of an input is one of such a kind, and no path
	Number  func(read func(file string) (float64, error), input string) (float64, error) // value in the kernel's unit; ErrSensor in the error if the chip says that it is none
}

// KernelInput is what the number of an input is: base = number x factor.
type KernelInput struct {
	Prefix   string
	Quantity units.Quantity
	Factor   float64
	// Least and Greatest bound what such a sensor can say, in base units; beyond is no value.
	Least, Greatest float64
}

// ErrSensor is in the error of KernelClass.Number where the chip says that its sensor is broken or not connected.
var ErrSensor = errors.New("the chip says that its sensor is broken or not connected")

// humidityEdge is how far beyond 0 or 100 %RH a sensor may show and still be right. Chosen: the typical tolerance of such parts.
const humidityEdge = 3.0

// kernelInput is one line of the rules.
type kernelInput struct {
	name    string // "temp1", "in_voltage0"
	channel string
	is      KernelInput
	scale   *Scale // of the line, in place of the kernel's unit; nil: none
}

type kernelProbe struct {
	class  *KernelClass
	tree   Tree
	bus    string
	name   string
	at     string
	folder string
	inputs []kernelInput
	raw    []byte
	values []Value
}

var _ Probe = (*kernelProbe)(nil)

// Open finds the device that a site names and reads it once: an input that is not there is found here. Its lines are those of Declares.
func (c *KernelClass) Open(ctx context.Context, site Site) (Probe, error) {
	p := &kernelProbe{class: c, tree: c.Tree(site.Bus), bus: site.Bus.Name}
	if p.tree == nil || len(site.Place.Slots) < 2 {
		return nil, p.fault(Settings, errors.New(c.Missing))
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
		in := kernelInput{name: line.Slots[0].Text, channel: line.Slots[2].Text}
		if err := in.settle(c, site, line.Slots[1]); err != nil {
			return nil, p.fault(Settings, err)
		}
		p.inputs = append(p.inputs, in)
	}
	if len(p.inputs) == 0 {
		return nil, p.fault(Settings, errors.New("needs an input"))
	}
	p.values = make([]Value, len(p.inputs))
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
func (in *kernelInput) settle(c *KernelClass, site Site, x phrase.Slot) error {
	known := false
	for _, is := range c.Inputs {
		if known = c.Is(in.name, is.Prefix); known {
			in.is = is
			break
		}
	}
	if !known {
		return fmt.Errorf("of input %q it is not known what it measures; known are %s", in.name, c.Known)
	}
	due, fed := site.Due(in.channel)
	if x.Given {
		scale := ScaleOf(x, due)
		in.scale, in.is.Quantity = &scale, scale.Quantity
		return nil
	}
	if fed && due != in.is.Quantity {
		return fmt.Errorf("input %s is a %s, the point needs a %s; or say the unit of the number, for example: x 0.001 °C", in.name, in.is.Quantity, due)
	}
	return nil
}

func (p *kernelProbe) find() error {
	folder, err := FindDevice(p.tree, p.name, p.at)
	switch {
	case errors.Is(err, ErrAmbiguous):
		return p.fault(Settings, err)
	case err != nil:
		return p.fault(NoAnswer, err)
	}
	p.folder = folder
	return nil
}

func (p *kernelProbe) String() string { return p.class.Kind + " on " + p.place() }

func (p *kernelProbe) place() string {
	text := p.bus + " device " + p.name
	if p.at != "" {
		text += " at " + p.at
	}
	return text
}

// Read asks for one input after another. A device that has gone is looked for under another number.
func (p *kernelProbe) Read(ctx context.Context) (Sample, error) {
	p.raw = p.raw[:0]
	for i := range p.inputs {
		in := &p.inputs[i]
		if err := context.Cause(ctx); err != nil {
			return Sample{}, err
		}
		number, err := p.class.Number(p.file, in.name)
		if errors.Is(err, fs.ErrNotExist) && i == 0 {
			if err = p.find(); err == nil {
				number, err = p.class.Number(p.file, in.name)
			}
		}
		switch {
		case errors.Is(err, ErrSensor):
			p.values[i] = Failed(in.channel, in.is.Quantity, p.fault(OutOfRange, fmt.Errorf("%s: %w", in.name, err)))
		case err != nil:
			return Sample{}, p.sorted(in, err)
		default:
			p.values[i] = p.value(in, number)
		}
	}
	return Sample{Values: p.values, Raw: p.raw}, nil
}

// sorted makes a Fault of what a file said. What the kernel answers when a part has a fault (EIO, EINVAL) is no end of the driver.
func (p *kernelProbe) sorted(in *kernelInput, err error) error {
	if _, is := AsFault(err); is {
		return err
	}
	kind := NoAnswer
	if errors.Is(err, ErrNumber) {
		kind = Garbled
	}
	return p.fault(kind, fmt.Errorf("%s: %w", in.name, err))
}

func (p *kernelProbe) file(name string) (float64, error) {
	text, err := fs.ReadFile(p.tree, p.folder+"/"+name)
	if err != nil {
		return 0, err
	}
	p.raw = append(p.raw, text...)
	return KernelNumber(string(text))
}

func (p *kernelProbe) value(in *kernelInput, number float64) Value {
	if in.scale != nil {
		return Value{Channel: in.channel, Quantity: in.scale.Quantity, Value: in.scale.Base(number), Raw: number}
	}
	v := Value{Channel: in.channel, Quantity: in.is.Quantity, Value: number * in.is.Factor, Raw: number}
	if in.is.Quantity == units.Humidity && v.Value > -humidityEdge && v.Value < 100+humidityEdge {
		if inside := min(max(v.Value, 0), 100); inside != v.Value {
			v.Value, v.Note = inside, "clipped to its range"
		}
	}
	if v.Value < in.is.Least || v.Value > in.is.Greatest {
		return Failed(in.channel, in.is.Quantity, p.fault(OutOfRange, fmt.Errorf("%s gave %g", in.name, number)))
	}
	return v
}

func (p *kernelProbe) fault(of FaultKind, cause error) *Fault {
	return &Fault{Kind: of, Part: p.class.Kind, Place: p.place(), Cause: cause}
}
