// Package counter counts the pulses of a contact on a line of the board: a tipping-bucket rain gauge, a flow meter, an energy meter.
//
// Source: Linux kernel, include/uapi/linux/gpio.h, character device of version 2: the kernel numbers the edges of a line, also those for which its
// queue had no room, so that no pulse is lost between two readings however far apart they are.
//
// The value is the sum since the probe was opened: after a restart of the gateway it begins at nothing. What fell within an hour is a matter
// of the rules, by the rise of the value.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package counter

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
)

const kind = "counter"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.GPIO, Declares: declares, Open: open}

const declares = `part counter
    place on GPIO line NUMBER 0 .. 255
    phrase pulse AMOUNT
    needs pulse
    reads count ends with pulse
`

// shortest is for how long a pulse must stand. Chosen: reed contacts bounce for under 2 ms, and flow meters give up to 100 pulses a second.
const shortest = 3 * time.Millisecond

type probe struct {
	where  string
	line   drivers.CounterLine
	scale  drivers.Scale
	raw    [8]byte
	values [1]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p := &probe{where: site.Bus.Name}
	pulse, ok := site.Lines.Find("pulse")
	if site.Bus.GPIO == nil || len(site.Place.Slots) < 2 || !ok || len(pulse.Slots) == 0 {
		return nil, p.fault(drivers.Settings, errors.New("needs a gpio chip, a line and what a pulse is worth"))
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	number := int(site.Place.Slots[1].Amount.Value)
	p.where = fmt.Sprintf("%s line %d", site.Bus.Name, number)
	due, known := site.Due("count")
	if !known {
		due = pulse.Slots[0].Amount.Quantity
	}
	p.scale = drivers.ScaleOf(pulse.Slots[0], due)
	line, err := site.Bus.GPIO.Counter(number, shortest)
	if err != nil {
		return nil, p.fault(drivers.NoAnswer, err)
	}
	p.line = line
	return p, nil
}

func (p *probe) String() string { return kind + " on " + p.where }

func (p *probe) Close() error { return p.line.Close() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := context.Cause(ctx); err != nil {
		return drivers.Sample{}, err
	}
	falls, err := p.line.Falls()
	if err != nil {
		return drivers.Sample{}, p.fault(drivers.NoAnswer, err)
	}
	binary.BigEndian.PutUint64(p.raw[:], falls)
	p.values[0] = drivers.Value{Channel: "count", Quantity: p.scale.Quantity, Value: p.scale.Base(float64(falls)), Raw: float64(falls)}
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

func (p *probe) fault(of drivers.FaultKind, cause error) *drivers.Fault {
	return &drivers.Fault{Kind: of, Part: kind, Place: p.where, Cause: cause}
}
