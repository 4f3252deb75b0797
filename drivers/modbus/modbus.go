// Package modbus reads registers and contacts of any Modbus device: which one, where its numbers lie and what they mean stands in the rules.
//
// Source: Modbus Organization, "MODBUS Application Protocol Specification V1.1b3" (2012): data model 4.3, function codes 6.1 to 6.4,
// exception codes 7. Addresses here are those of the protocol, from 0; the 30001 and 40001 of many manuals are names of address 0.
//
// Bytes within a register come high first [4.2]. The protocol does not say which of two registers of a 32-bit number comes first: the high
// one does here, unless the line says swapped.
//
// Concurrency: as of drivers.Probe, one goroutine at a time; the line may be shared with other units.
package modbus

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"

	"millwarden/drivers"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

const kind = "modbus"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.Modbus, Declares: declares, Open: open}

const declares = `part modbus
    place on (tcp HOST|BUS) unit NUMBER 1 .. 247
    phrase register* (input|holding) NUMBER 0 .. 65535 as (int16|uint16|int32|uint32|float32) [swapped] [x AMOUNT] is CHANNEL
    phrase contact* (coil|input) NUMBER 0 .. 65535 [inverted] is CHANNEL
    needs register|contact
    reads each register
`

// item is one register line or contact line.
type item struct {
	table    drivers.ModbusTable
	address  uint16
	form     form
	swapped  bool
	inverted bool
	scale    drivers.Scale
	channel  string
}

type probe struct {
	line   drivers.ModbusLine
	bus    string
	unit   uint8
	items  []item
	words  []uint16
	raw    []byte
	values []drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

// open reads everything once: a wrong address, a wrong unit and a number that looks like swapped words are found here, not at night.
func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p := &probe{line: site.Bus.Modbus, bus: site.Bus.Name}
	if p.line == nil || len(site.Place.Slots) < 4 {
		return nil, p.fault(drivers.Settings, errors.New("needs a modbus line and a unit"))
	}
	unit := site.Place.Slots[3].Amount.Value // after the choice, its host and its bus
	if unit < 1 || unit > 247 {
		return nil, p.fault(drivers.Settings, fmt.Errorf("unit %g is not between 1 and 247", unit))
	}
	p.unit = uint8(unit)
	for _, line := range site.Lines {
		it, ok, err := readLine(line, site)
		if err != nil {
			return nil, p.fault(drivers.Settings, err)
		}
		if ok {
			p.items = append(p.items, it)
		}
	}
	if len(p.items) == 0 {
		return nil, p.fault(drivers.Settings, errors.New("needs a register or a contact"))
	}
	p.values = make([]drivers.Value, len(p.items))
	sample, err := p.Read(ctx)
	if err != nil {
		return nil, err
	}
	for _, v := range sample.Values {
		if v.Fault != nil && v.Fault.Kind == drivers.Settings {
			return nil, v.Fault
		}
	}
	return p, nil
}

func readLine(line phrase.Line, site drivers.Site) (item, bool, error) {
	s := line.Slots
	switch {
	case line.Key == "register" && len(s) >= 6:
		it := item{table: drivers.InputRegisters, address: uint16(s[1].Amount.Value), swapped: s[3].Given, channel: s[5].Text}
		if s[0].Text == "holding" {
			it.table = drivers.HoldingRegisters
		}
		var known bool
		if it.form, known = forms[s[2].Text]; !known {
			return it, false, fmt.Errorf("there is no form %q", s[2].Text)
		}
		due, _ := site.Due(it.channel)
		it.scale = drivers.ScaleOf(s[4], due)
		if int(it.address)+it.form.words > 1<<16 {
			return it, false, fmt.Errorf("register %d has no second word", it.address)
		}
		return it, true, nil
	case line.Key == "contact" && len(s) >= 4:
		it := item{table: drivers.Coils, address: uint16(s[1].Amount.Value), inverted: s[2].Given, channel: s[3].Text}
		if s[0].Text == "input" {
			it.table = drivers.DiscreteInputs
		}
		it.scale.Quantity = units.State
		return it, true, nil
	case line.Key == "register" || line.Key == "contact":
		return item{}, false, fmt.Errorf("%s stops too early", line.Key)
	}
	return item{}, false, nil
}

func (p *probe) String() string { return kind + " on " + p.place() }

func (p *probe) place() string { return p.bus + " unit " + strconv.Itoa(int(p.unit)) }

// Read asks for one item after another. A refusal is the fault of that channel; when nobody answers, nothing was read.
func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	p.raw = p.raw[:0]
	for i := range p.items {
		if err := context.Cause(ctx); err != nil {
			return drivers.Sample{}, err
		}
		value, err := p.ask(ctx, &p.items[i])
		if err != nil {
			return drivers.Sample{}, err
		}
		p.values[i] = value
	}
	return drivers.Sample{Values: p.values, Raw: p.raw}, nil
}

func (p *probe) ask(ctx context.Context, it *item) (drivers.Value, error) {
	count := uint16(1)
	if it.form.words > 1 {
		count = uint16(it.form.words)
	}
	words, err := p.line.Ask(ctx, p.unit, it.table, it.address, count, p.words[:0])
	p.words = words
	if err != nil {
		return p.refused(ctx, it, err)
	}
	if len(words) != int(count) {
		return drivers.Value{}, p.fault(drivers.Garbled, fmt.Errorf("%s: %d words came, %d were asked for", it, len(words), count))
	}
	at := len(p.raw)
	for _, w := range words {
		p.raw = append(p.raw, byte(w>>8), byte(w))
	}
	if it.form.words == 0 {
		return it.contact(words[0]), nil
	}
	number, err := it.form.number(words, it.swapped)
	if err != nil {
		fault := p.fault(drivers.OutOfRange, fmt.Errorf("%s: %w", it, err))
		fault.Raw = append([]byte(nil), p.raw[at:]...)
		return drivers.Failed(it.channel, it.scale.Quantity, fault), nil
	}
	return drivers.Value{Channel: it.channel, Quantity: it.scale.Quantity, Value: it.scale.Base(number), Raw: number}, nil
}

// refused sorts an error of the line: the refusal of one item is its own fault, anything else that of the whole reading.
func (p *probe) refused(ctx context.Context, it *item, err error) (drivers.Value, error) {
	var refusal drivers.ModbusException
	if errors.As(err, &refusal) {
		return drivers.Failed(it.channel, it.scale.Quantity, p.fault(refusalKind(refusal), fmt.Errorf("%s: %w", it, err))), nil
	}
	if over := context.Cause(ctx); over != nil {
		return drivers.Value{}, over
	}
	kindOf := drivers.NoAnswer
	if errors.Is(err, drivers.ErrGarbled) {
		kindOf = drivers.Garbled
	}
	return drivers.Value{}, p.fault(kindOf, fmt.Errorf("%s: %w", it, err))
}

func (it *item) contact(bit uint16) drivers.Value {
	on := (bit != 0) != it.inverted
	v := drivers.Value{Channel: it.channel, Quantity: units.State, Raw: float64(bit)}
	if on {
		v.Value = 1
	}
	return v
}

// String is the item as the technician wrote it.
func (it *item) String() string {
	name := map[drivers.ModbusTable]string{drivers.InputRegisters: "register input", drivers.HoldingRegisters: "register holding",
		drivers.Coils: "contact coil", drivers.DiscreteInputs: "contact input"}[it.table]
	return name + " " + strconv.Itoa(int(it.address))
}

// refusalKind sorts exceptions: 1 to 3 are for whoever wrote the rules, and asking again does not help; 4, 5 and 6 say that the device has
// no value now; 8 is a broken memory; 10 and 11 come from a gateway that got no answer [7].
func refusalKind(e drivers.ModbusException) drivers.FaultKind {
	switch e {
	case 1, 2, 3:
		return drivers.Settings
	case 8:
		return drivers.Garbled
	case 10, 11:
		return drivers.NoAnswer
	}
	return drivers.NotReady
}

func (p *probe) fault(kindOf drivers.FaultKind, cause error) *drivers.Fault {
	return &drivers.Fault{Kind: kindOf, Part: kind, Place: p.place(), Cause: cause}
}

// form is how the words of a number are read. A contact has none.
type form struct {
	words  int
	signed bool
	float  bool
}

var forms = map[string]form{
	"int16": {1, true, false}, "uint16": {1, false, false}, "int32": {2, true, false}, "uint32": {2, false, false}, "float32": {2, false, true},
}

// Beyond these a float is taken for words in the wrong order: 123.456 read so is -1.88e25. Chosen: no quantity of a mill comes near.
const (
	implausiblyLarge = 1e12
	implausiblySmall = 1e-12
)

var (
	errNoValue = errors.New("the device says it has no value")
	errOrder   = errors.New("a number that nothing measures; are the words swapped?")
)

// number reads the words. The codes by which devices say that they have no value are refused: the greatest number, for signed ones the
// least too, for floats what is no number. They are customs of makers, not of the protocol.
func (f form) number(words []uint16, swapped bool) (float64, error) {
	bits := uint32(words[0])
	if f.words == 2 {
		high, low := words[0], words[1]
		if swapped {
			high, low = low, high
		}
		bits = uint32(high)<<16 | uint32(low)
	}
	if f.float {
		v := float64(math.Float32frombits(bits))
		switch size := math.Abs(v); {
		case math.IsNaN(v) || math.IsInf(v, 0):
			return 0, errNoValue
		case size > implausiblyLarge || size != 0 && size < implausiblySmall:
			return 0, errOrder
		}
		return v, nil
	}
	width := 16 * f.words
	all := uint32(1<<width - 1)
	if f.signed {
		sign := uint32(1) << (width - 1)
		if bits == sign || bits == sign-1 {
			return 0, errNoValue
		}
		return float64(int32(bits<<(32-width)) >> (32 - width)), nil
	}
	if bits == all {
		return 0, errNoValue
	}
	return float64(bits), nil
}
