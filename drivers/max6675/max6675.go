// Package max6675 reads a type K thermocouple by the Maxim MAX6675 over SPI.
//
// Source: Maxim Integrated, "MAX6675 Cold-Junction-Compensated K-Thermocouple-to-Digital Converter (0°C to +1024°C)", 19-2235 rev 2: output format, the
// straight line "VOUT = (41 µV/°C) (TR - TAMB)" under Temperature Conversion. Thermocouple: NIST ITS-90 thermocouple database (SRD 60).
//
// The chip takes the thermocouple for a straight line, as the MAX31855 does, and does not tell its own temperature. The voltage is reckoned back from the
// line and the temperature found by ITS-90, with the chip taken to be at 25 °C. A chip at 0 to 60 °C makes up to 0.6 °C of that, one at -20 °C 1.9 °C
// (TestRead_ownTemperatureMattersLittle); the maker's own tolerance is 2 °C. A new wiring is better served by a MAX31856.
//
// The word has no checksum. Two bits that are always 0 are all that tells a garbled one. A word of zeros would be a good 0.00 °C; it is taken for a dead
// bus, as nothing in a mill is at 0.00 °C by this chip for long.
//
// Each Read ends the conversion that is under way, so the chip is never asked again before a whole conversion.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package max6675

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/spi"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "max6675"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.SPI, Declares: declares, Open: open}

const declares = `part max6675
    place on SPI select NUMBER 0 .. 7
    phrase thermocouple (K)
    reads temperature temperature 0 .. 1040
`

const (
	bitsZero = 1<<15 | 1<<1 // dummy sign and device id: always 0 [output format]
	bitOpen  = 1 << 2

	step                = 0.25  // °C
	greatestShown       = 0xFFF // 1023.75 °C: the end of the scale
	millivoltsPerDegree = 0.041 // of the chip's line
	ownTemperature      = 25.0  // chosen, see the package doc

	// conversion is the longest, 220 ms (from memory), with some more. Chosen.
	conversion = 250 * time.Millisecond

	least, greatest = 0.0, 1040.0 // 1023.75 °C of the line are 1033 °C of the couple
)

type probe struct {
	device drivers.SPIDevice
	asked  time.Time // monotonic; the conversion began then
	raw    [2]byte
	values [1]drivers.Value
}

var _ drivers.Probe = (*probe)(nil)

var (
	errStuck = errors.New("all bits are alike: no chip there, or its line is shorted")
	errZero  = errors.New("a bit that is always 0 is set")
	errOpen  = errors.New("the thermocouple is broken or not connected")
	errFull  = errors.New("at the end of its scale")

	silence [2]byte // the chip listens to nothing
)

// open reads once: a broken thermocouple is no reason to refuse, a word that the chip cannot send is.
func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	device, err := drivers.NewSPIDevice(kind, site, spi.Mode0)
	if err != nil {
		return nil, err
	}
	p := &probe{device: device}
	_, err = p.word(ctx)
	if drivers.KindOf(err) == drivers.Garbled {
		return nil, device.Fault(drivers.WrongPart, p.raw[:], errors.Unwrap(err))
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

func (p *probe) String() string { return p.device.String() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	word, err := p.word(ctx)
	if err != nil {
		return drivers.Sample{}, err
	}
	p.values[0] = p.hot(word)
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// word fetches one word, no sooner than a conversion after the one before.
func (p *probe) word(ctx context.Context) (uint16, error) {
	if !p.asked.IsZero() {
		if err := drivers.Wait(ctx, time.Until(p.asked.Add(conversion))); err != nil {
			return 0, err
		}
	}
	if err := p.device.Exchange(ctx, silence[:], p.raw[:]); err != nil {
		return 0, err
	}
	p.asked = time.Now()
	word := binary.BigEndian.Uint16(p.raw[:])
	switch {
	case drivers.Dead(p.raw[:]):
		return 0, p.device.Fault(drivers.NoAnswer, p.raw[:], errStuck)
	case word&bitsZero != 0:
		return 0, p.device.Fault(drivers.Garbled, p.raw[:], errZero)
	}
	return word, nil
}

// hot corrects the chip's value. What the chip said stands in Raw.
func (p *probe) hot(word uint16) drivers.Value {
	counts := word >> 3 & 0xFFF
	switch {
	case word&bitOpen != 0:
		return p.beyond(errOpen)
	case counts == greatestShown:
		return p.beyond(errFull)
	}
	shown := float64(counts) * step
	t := drivers.TypeK.Temperature((shown-ownTemperature)*millivoltsPerDegree + drivers.TypeK.Voltage(ownTemperature))
	if math.IsNaN(t) || t < least-step || t > greatest {
		return p.beyond(fmt.Errorf("beyond %g to %g °C", least, greatest))
	}
	return drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: t, Raw: shown}
}

func (p *probe) beyond(cause error) drivers.Value {
	return drivers.Failed("temperature", units.Temperature, p.device.Fault(drivers.OutOfRange, p.raw[:], cause))
}
