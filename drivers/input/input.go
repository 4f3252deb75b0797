// Package input reads one contact on a line of the board: a door, a fan's proving switch, a burner's relay, rain, a smoke detector's output.
//
// Source: Linux kernel, include/uapi/linux/gpio.h, character device of version 2. The line is pulled up by the board and the contact, dry
// and isolated from any mains, connects it to ground. Closed is low.
//
// Whether a broken cable may pass for all well is the choice of whoever wires: where an open line must be the alarm, the contact is one that
// opens, and the line in the rules file says "on-when open".
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package input

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "input"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.GPIO, Declares: declares, Open: open}

const declares = `part input
    place on GPIO line NUMBER 0 .. 255
    phrase on-when (closed|open)
    phrase settle DURATION 1 ms .. 10 s default 50 ms
    reads contact state
`

// settled is for how long a level must stand; chosen: contacts of relays bounce for up to 20 ms.
const settled = 50 * time.Millisecond

type probe struct {
	where  string
	line   drivers.InputLine
	onOpen bool
	raw    [1]byte
	values [1]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p := &probe{where: site.Bus.Name}
	if site.Bus.GPIO == nil || len(site.Place.Slots) < 2 {
		return nil, p.fault(drivers.Settings, errors.New("needs a gpio chip and a line"))
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	number := int(site.Place.Slots[1].Amount.Value)
	p.where = fmt.Sprintf("%s line %d", site.Bus.Name, number)
	settle := settled
	if line, ok := site.Lines.Find("settle"); ok && len(line.Slots) > 0 && line.Slots[0].Amount.Value > 0 {
		settle = time.Duration(line.Slots[0].Amount.Value * float64(time.Second))
	}
	if line, ok := site.Lines.Find("on-when"); ok && len(line.Slots) > 0 {
		p.onOpen = line.Slots[0].Text == "open"
	}
	line, err := site.Bus.GPIO.Input(number, settle)
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
	low, err := p.line.Low()
	if err != nil {
		return drivers.Sample{}, p.fault(drivers.NoAnswer, err)
	}
	v := drivers.Value{Channel: "contact", Quantity: units.State}
	p.raw[0] = 1
	if low {
		p.raw[0] = 0
	}
	v.Raw = float64(p.raw[0])
	if low != p.onOpen {
		v.Value = 1
	}
	p.values[0] = v
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

func (p *probe) fault(of drivers.FaultKind, cause error) *drivers.Fault {
	return &drivers.Fault{Kind: of, Part: kind, Place: p.where, Cause: cause}
}
