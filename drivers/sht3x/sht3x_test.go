package sht3x

import (
	"math"
	"math/rand/v2"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/sht3x/sht3xtest"
	"millwarden/drivers/sht4x/sht4xtest"
	"millwarden/internal/clock/clocktest"
)

const at = 0x44

func site(bus *drivertest.I2C) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "i2c-1", I2C: bus}, Place: drivertest.Place("i2c-1", at)}
}

// impostor acknowledges everything and answers with bytes of its own.
type impostor struct{}

func (impostor) Tx(_, r []byte) error {
	for i := range r {
		r[i] = byte(0x10 + i)
	}
	return nil
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewI2C("i2c-1"), sht3xtest.New()
	bus.Put(at, chip)
	truth := map[string]float64{"temperature": 20, "humidity": 50}
	return &drivertest.Bench{
		Site: site(bus),
		// Half a step of the 16-bit word: 175/65535/2 °C and 100/65535/2 %RH.
		Truths: []drivertest.Truth{{Channel: "temperature", Low: -40, High: 125, Within: 0.00134}, {Channel: "humidity", Low: 0, High: 100, Within: 0.00077}},
		Set: func(channel string, value float64) {
			truth[channel] = value
			chip.Set(truth["temperature"], truth["humidity"])
		},
		Remove:    func() { bus.Remove(at) },
		Restore:   func() { bus.Put(at, chip) },
		WrongPart: func() { bus.Put(at, impostor{}) },
		Garble:    func() { chip.FlipBit(11) },
		Exceed:    func() { chip.SetWords(0xFFFF, 0x8000) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

// with opens the probe of a fresh chip on fake time.
func with(t *testing.T, f func(t *testing.T, bus *drivertest.I2C, chip *sht3xtest.Chip, p drivers.Probe)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), sht3xtest.New()
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus))
		if err != nil {
			t.Fatal(err)
		}
		f(t, bus, chip, p)
	})
}

func TestRead_datasheetWords(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *sht3xtest.Chip, p drivers.Probe) {
		for _, v := range drivertest.Vectors(t, "sht3x") {
			chip.SetWords(uint16(v.Raw>>16), uint16(v.Raw))
			s, err := p.Read(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]drivers.Value{"temperature": s.Values[0], "humidity": s.Values[1]}[v.Channel]
			if !(math.Abs(got.Value-v.Value) <= v.Within) {
				t.Errorf("%08X: %s = %v, want %v (%s)", v.Raw, v.Channel, got.Value, v.Value, v.Source)
			}
		}
	})
}

// A bus stuck low reads all zeros, one stuck high all ones. Neither may become a temperature.
func TestRead_stuckBus(t *testing.T) {
	with(t, func(t *testing.T, bus *drivertest.I2C, _ *sht3xtest.Chip, p drivers.Probe) {
		for _, level := range []byte{0x00, 0xFF} {
			bus.Alter(func(r []byte) {
				for i := range r {
					r[i] = level
				}
			})
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled {
				t.Errorf("bus stuck at %02X: Read() = %v, %v, want Garbled", level, s, err)
			}
		}
	})
}

// Every bit of the six bytes is covered by a checksum.
func TestRead_anyFlippedBit(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *sht3xtest.Chip, p drivers.Probe) {
		for bit := range 48 {
			chip.FlipBit(bit)
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled {
				t.Errorf("bit %d turned over: Read() = %v, %v, want Garbled", bit, s, err)
			}
		}
	})
}

// The newer part stands at the same address and has another formula: it must not be taken for this one.
func TestOpen_theNewerPart(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		bus := drivertest.NewI2C("i2c-1")
		bus.Put(at, sht4xtest.New())
		if p, err := Driver.Open(t.Context(), site(bus)); drivers.KindOf(err) != drivers.NoAnswer {
			t.Errorf("Open() of an SHT4x = %v, %v, want a Fault", p, err)
		}
	})
}

func TestOpen_heaterLeftOn(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), sht3xtest.New()
		bus.Put(at, chip)
		chip.Heat()
		if p, err := Driver.Open(t.Context(), site(bus)); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("Open() with the heater on = %v, %v, want Fault NotReady", p, err)
		}
	})
}
