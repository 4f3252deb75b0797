package drivers

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"periph.io/x/conn/v3/i2c"

	"millwarden/internal/phrase"
)

// I2CDevice is one address on an I2C bus, with the words for its Faults.
type I2CDevice struct {
	Part  string
	Where string // "i2c-1 at 0x48"
	bus   i2c.Bus
	addr  uint16
}

// NewI2CDevice reads a place of the form "on I2C at ADDRESS".
func NewI2CDevice(part string, site Site) (I2CDevice, error) {
	d := I2CDevice{Part: part, Where: site.Bus.Name, bus: site.Bus.I2C}
	if site.Bus.I2C == nil || len(site.Place.Slots) < 2 {
		return d, d.Fault(Settings, nil, errors.New("needs an i2c bus and an address"))
	}
	addr, err := address(site.Place.Slots[1])
	if err != nil {
		return d, d.Fault(Settings, nil, err)
	}
	d.addr = addr
	d.Where = fmt.Sprintf("%s at 0x%02x", site.Bus.Name, addr)
	return d, nil
}

func address(slot phrase.Slot) (uint16, error) {
	if slot.Amount.Value > 0 {
		return uint16(slot.Amount.Value), nil
	}
	n, err := strconv.ParseUint(slot.Text, 0, 7) // 7-bit addresses [I2C-bus specification UM10204, 3.1.10]
	if err != nil {
		return 0, fmt.Errorf("%q is no address", slot.Text)
	}
	return uint16(n), nil
}

// Tx writes w, then reads r, in one transaction; either may be nil. Any failure of the bus is a Fault of kind NoAnswer. It does not touch
// the bus when ctx has ended.
func (d *I2CDevice) Tx(ctx context.Context, w, r []byte) error {
	if err := context.Cause(ctx); err != nil {
		return err
	}
	if err := d.bus.Tx(d.addr, w, r); err != nil {
		return d.Fault(NoAnswer, nil, err)
	}
	return nil
}

// Fault is a Fault at this place. The raw words are copied.
func (d *I2CDevice) Fault(kind FaultKind, raw []byte, cause error) *Fault {
	return &Fault{Kind: kind, Part: d.Part, Place: d.Where, Raw: append([]byte(nil), raw...), Cause: cause}
}

func (d *I2CDevice) String() string { return d.Part + " on " + d.Where }
