package drivers

import (
	"context"
	"errors"
	"fmt"

	"periph.io/x/conn/v3/spi"
)

// SPIDevice is one select line of an SPI bus, with the words for its Faults.
type SPIDevice struct {
	Part  string
	Where string // "spi-0 select 1"
	bus   SPIBus
	line  int
	mode  spi.Mode
}

// NewSPIDevice reads a place of the form "on SPI select NUMBER".
func NewSPIDevice(part string, site Site, mode spi.Mode) (SPIDevice, error) {
	d := SPIDevice{Part: part, Where: site.Bus.Name, bus: site.Bus.SPI, mode: mode}
	if site.Bus.SPI == nil || len(site.Place.Slots) < 2 {
		return d, d.Fault(Settings, nil, errors.New("needs an spi bus and a select line"))
	}
	d.line = int(site.Place.Slots[1].Amount.Value)
	d.Where = fmt.Sprintf("%s select %d", site.Bus.Name, d.line)
	return d, nil
}

// Exchange sends w while it fills r. It does not touch the bus when ctx has ended. Words that are all ones or all zeros are what a bus shows on
// which nobody answers; whether they can also be words of the part is for the part to know: see Dead.
func (d *SPIDevice) Exchange(ctx context.Context, w, r []byte) error {
	if err := context.Cause(ctx); err != nil {
		return err
	}
	if err := d.bus.Exchange(d.line, d.mode, w, r); err != nil {
		return d.Fault(NoAnswer, nil, err)
	}
	return nil
}

// Dead tells that all bits are the same: nobody drives the line, or it is shorted.
func Dead(words []byte) bool {
	for _, b := range words {
		if b != words[0] || b != 0x00 && b != 0xFF {
			return false
		}
	}
	return true
}

// Fault is a Fault at this place. The raw words are copied.
func (d *SPIDevice) Fault(kind FaultKind, raw []byte, cause error) *Fault {
	return &Fault{Kind: kind, Part: d.Part, Place: d.Where, Raw: append([]byte(nil), raw...), Cause: cause}
}

func (d *SPIDevice) String() string { return d.Part + " on " + d.Where }
