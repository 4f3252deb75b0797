package drivertest

import (
	"context"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// Aim: the suite itself is worth something. A small invented part passes it; each copy of its driver that breaks one promise is rejected by
// the check that is there for it. Method: the part answers three bytes, high, low and their sum; the driver's ways can be bent one by one.

// thing is the double: a word from 0 to 10,000 is hundredths of a degree, beyond is out of range.
type thing struct {
	word    uint16
	turned  bool
	foreign bool
}

func (c *thing) Tx(_, r []byte) error {
	if len(r) != 3 {
		return nil
	}
	r[0], r[1] = byte(c.word>>8), byte(c.word)
	r[2] = r[0] + r[1] + 1
	if c.foreign {
		r[2]++
	}
	if c.turned {
		r[1] ^= 4
		c.turned = false
	}
	return nil
}

// bends are the ways in which a driver may be bad.
type bends struct {
	clamps, swallows, swallowsAtOpen, leaks, skipsSum, skipsPart, ignoresCancel, panics, talks bool
	release                                                                                    chan struct{}
}

type thingProbe struct {
	device drivers.I2CDevice
	bends  bends
	last   float64
	values [1]drivers.Value
	raw    [3]byte
}

func (p *thingProbe) String() string { return p.device.String() }

func (p *thingProbe) Read(ctx context.Context) (drivers.Sample, error) {
	if p.bends.leaks {
		go func() { <-p.bends.release }()
	}
	if p.bends.ignoresCancel {
		ctx = context.WithoutCancel(ctx)
	}
	if err := p.fetch(ctx); err != nil {
		if p.bends.swallows {
			return p.sample(p.last), nil
		}
		return drivers.Sample{}, err
	}
	word := uint16(p.raw[0])<<8 | uint16(p.raw[1])
	if p.bends.panics && word > 20000 {
		panic("a word that the author did not think of")
	}
	celsius := float64(word) / 100
	if celsius > 100 {
		if !p.bends.clamps {
			return drivers.Sample{}, p.device.Fault(drivers.OutOfRange, p.raw[:], errors.New("beyond 100 °C"))
		}
		celsius = 100
	}
	p.last = celsius
	return p.sample(celsius), nil
}

func (p *thingProbe) fetch(ctx context.Context) error {
	if err := p.device.Tx(ctx, []byte{1}, nil); err != nil {
		return err
	}
	if err := drivers.Wait(ctx, 10*time.Millisecond); err != nil {
		return err
	}
	if err := p.device.Tx(ctx, nil, p.raw[:]); err != nil {
		return err
	}
	if p.raw[2] != p.raw[0]+p.raw[1]+1 && !p.bends.skipsSum {
		return p.device.Fault(drivers.Garbled, p.raw[:], errors.New("wrong sum"))
	}
	return nil
}

func (p *thingProbe) sample(celsius float64) drivers.Sample {
	p.values[0] = drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: celsius}
	if p.bends.talks {
		p.values[0].Quality = reading.Uncertain // and no cause
	}
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}
}

func thingDriver(b bends) drivers.Driver {
	return drivers.Driver{Kind: "thing", Bus: drivers.I2C,
		Declares: "part thing\n    place on I2C at ADDRESS 0x10 .. 0x10\n    reads temperature temperature 0 .. 100\n",
		Open: func(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
			p := &thingProbe{bends: b}
			var err error
			if p.device, err = drivers.NewI2CDevice("thing", site); err != nil {
				return nil, err
			}
			err = p.fetch(ctx)
			switch {
			case b.swallowsAtOpen:
				return p, nil
			case drivers.KindOf(err) == drivers.Garbled && !b.skipsPart:
				return nil, p.device.Fault(drivers.WrongPart, p.raw[:], errors.New("this is no thing"))
			}
			return p, err
		}}
}

func thingBench() *Bench {
	bus, chip := NewI2C("i2c-1"), &thing{word: 2000}
	bus.Put(0x10, chip)
	return &Bench{
		Site:      thingSite(bus),
		Truths:    []Truth{{Channel: "temperature", Low: 0, High: 100, Within: 0.0051}},
		Set:       func(_ string, value float64) { chip.word = uint16(value*100 + 0.5) },
		Remove:    func() { bus.Remove(0x10) },
		Restore:   func() { bus.Put(0x10, chip) },
		WrongPart: func() { chip.foreign = true },
		Garble:    func() { chip.turned = true },
		Exceed:    func() { chip.word = 12345 },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

func TestSuite_acceptsAGoodDriver(t *testing.T) {
	Run(t, Suite{Driver: thingDriver(bends{}), Bench: thingBench})
}

func TestSuite_rejectsBadDrivers(t *testing.T) {
	tests := []struct {
		name  string
		bend  func(*bends)
		check string // that must reject it
	}{
		{"clamps", func(b *bends) { b.clamps = true }, "never clamps"},
		{"swallows errors", func(b *bends) { b.swallows = true }, "calls no answer by its name"},
		{"swallows errors in some step", func(b *bends) { b.swallows = true }, "reports any failing step"},
		{"swallows errors at Open", func(b *bends) { b.swallowsAtOpen = true }, "reports any failing step"},
		{"leaves a goroutine", func(b *bends) { b.leaks = true }, "leaves no goroutine"},
		{"skips the sum", func(b *bends) { b.skipsSum = true }, "calls a turned bit garbled"},
		{"takes any part", func(b *bends) { b.skipsPart, b.skipsSum = true, true }, "refuses a wrong part"},
		{"ignores the end of its context", func(b *bends) { b.ignoresCancel = true }, "returns at once when cancelled"},
		{"panics on odd words", func(b *bends) { b.panics = true }, "survives noise"},
		{"is uncertain without a cause", func(b *bends) { b.talks = true }, "reads the whole range"},
	}
	for _, test := range tests {
		t.Run(strings.ReplaceAll(test.name, " ", "-"), func(t *testing.T) {
			clocktest.Bubble(t, func(t *testing.T) {
				b := bends{release: make(chan struct{})}
				defer close(b.release)
				test.bend(&b)
				if err := runCheck(t.Context(), test.check, Suite{Driver: thingDriver(b), Bench: thingBench}); err == nil {
					t.Errorf("%q accepts a driver that %s", test.check, test.name)
				} else {
					t.Log(err)
				}
			})
		})
	}
}

// runCheck turns a panic into an error, as a failed test would show it.
func runCheck(ctx context.Context, name string, s Suite) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = errors.New("the driver panicked")
		}
	}()
	for _, c := range Checks {
		if c.Name == name {
			return c.Run(ctx, s)
		}
	}
	return nil
}

// A bench that lacks a door must say why.
func TestSuite_wantsEveryDoorOrAReason(t *testing.T) {
	bench := func(reason string) func() *Bench {
		return func() *Bench {
			b := thingBench()
			b.WrongPart = nil
			b.Without = map[string]string{"WrongPart": reason}
			return b
		}
	}
	if err := runCheck(t.Context(), "refuses a wrong part", Suite{Driver: thingDriver(bends{}), Bench: bench("")}); err == nil {
		t.Error("a bench without a door and without a reason is accepted")
	}
	if err := runCheck(t.Context(), "refuses a wrong part", Suite{Driver: thingDriver(bends{}), Bench: bench("there is one maker")}); err != nil {
		t.Error(err)
	}
}

func thingSite(bus *I2C) drivers.Site {
	return drivers.Site{
		Bus: drivers.Bus{Name: "i2c-1", I2C: bus},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{
			{Given: true, Text: "i2c-1"}, {Given: true, Text: "0x10", Amount: units.Amount{Value: 0x10, Quantity: units.Count}},
		}},
	}
}
