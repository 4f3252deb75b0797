package lm75

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/lm75/lm75test"
	"millwarden/internal/phrase"
)

const at = 0x48

func site(bus *drivertest.I2C, bits int) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "i2c-1", I2C: bus}, Place: drivertest.Place("i2c-1", at),
		Lines: phrase.Lines{{Key: "bits", Slots: []phrase.Slot{drivertest.Number(float64(bits))}}}}
}

// impostor has other registers.
type impostor struct{}

func (impostor) Tx(_, r []byte) error {
	for i := range r {
		r[i] = 0x9C
	}
	return nil
}

// bench is that of a model read with so many bits, up to a temperature.
func bench(m lm75test.Model, bits int, greatest, within float64, garble byte) func() *drivertest.Bench {
	return func() *drivertest.Bench {
		bus, chip := drivertest.NewI2C("i2c-1"), lm75test.New(m)
		bus.Put(at, chip)
		b := &drivertest.Bench{
			Site:      site(bus, bits),
			Truths:    []drivertest.Truth{{Channel: "temperature", Low: -55, High: greatest, Within: within}},
			Set:       func(_ string, v float64) { chip.Set(v) },
			Remove:    func() { bus.Remove(at) },
			Restore:   func() { bus.Put(at, chip); bus.Alter(nil) },
			WrongPart: func() { bus.Put(at, impostor{}) },
			Exceed:    func() { chip.SetWord(0xC000) }, // -64 °C
			Noise:     func(r *rand.Rand) { bus.Noise(r) },
			Fail:      bus.Fail,
			Exchanges: bus.Exchanges,
			Without:   map[string]string{"Garble": "no checksum, and every bit may be set"},
		}
		if garble != 0 {
			b.Garble = func() { bus.Alter(func(r []byte) { r[len(r)-1] ^= garble }) }
		}
		return b
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	t.Run("lm75", func(t *testing.T) {
		drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench(lm75test.LM75, 9, 125, 0.25, 0)})
	})
	t.Run("tmp75", func(t *testing.T) {
		drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench(lm75test.TMP75, 12, 125, 1.0/32, 0)})
	})
	t.Run("tmp102", func(t *testing.T) {
		drivertest.Run(t, drivertest.Suite{Driver: TMP102, Bench: bench(lm75test.TMP102, 12, 127.9, 1.0/32, 0x02)})
	})
}

func TestRead_wordsOfTheTables(t *testing.T) {
	for _, driver := range []drivers.Driver{Driver, TMP102} {
		for _, v := range drivertest.Vectors(t, driver.Kind) {
			bits := int(v.Raw >> 16)
			chip := lm75test.New(lm75test.TMP75)
			if driver.Kind == kind102 {
				chip = lm75test.New(lm75test.TMP102)
			}
			if bits == 13 {
				chip.Extend()
			}
			bus := drivertest.NewI2C("i2c-1")
			bus.Put(at, chip)
			p, err := driver.Open(t.Context(), site(bus, bits))
			if err != nil {
				t.Fatal(err)
			}
			chip.SetWord(uint16(v.Raw))
			s, err := p.Read(t.Context())
			if beyond := driver.Kind == kind && v.Value > 125; beyond {
				if drivers.KindOf(err) != drivers.OutOfRange {
					t.Errorf("%06X: %+v, %v, want OutOfRange (%s)", v.Raw, s.Values, err, v.Source)
				}
				continue
			}
			if err != nil || s.Values[0].Value != v.Value {
				t.Errorf("%06X: %+v, %v, want %v (%s)", v.Raw, s.Values, err, v.Value, v.Source)
			}
		}
	}
}

// The undefined bits of the double are set: a driver that takes them in is 0.496 °C high.
func TestRead_masksWhatIsNotDefined(t *testing.T) {
	p, chip, _ := opened(t, lm75test.LM75, 9)
	chip.Set(21.5)
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 21.5 {
		t.Errorf("Read() = %+v, %v, want 21.5", s.Values, err)
	}
}

func opened(t *testing.T, m lm75test.Model, bits int) (drivers.Probe, *lm75test.Chip, *drivertest.I2C) {
	t.Helper()
	bus, chip := drivertest.NewI2C("i2c-1"), lm75test.New(m)
	bus.Put(at, chip)
	driver := Driver
	if m == lm75test.TMP102 {
		driver = TMP102
	}
	p, err := driver.Open(t.Context(), site(bus, bits))
	if err != nil {
		t.Fatal(err)
	}
	return p, chip, bus
}

// A part that sleeps has one value for ever.
func TestOpen_wakes(t *testing.T) {
	for m, asleep := range map[lm75test.Model]uint16{lm75test.LM75: 0x01, lm75test.TMP75: 0x61, lm75test.TMP102: 0x61A0} {
		bus, chip := drivertest.NewI2C("i2c-1"), lm75test.New(m)
		bus.Put(at, chip)
		chip.SetConfiguration(asleep)
		driver := Driver
		if m == lm75test.TMP102 {
			driver = TMP102
		}
		p, err := driver.Open(t.Context(), site(bus, 9))
		if err != nil {
			t.Fatal(err)
		}
		chip.Set(44.5)
		if s, err := p.Read(t.Context()); err != nil || math.Abs(s.Values[0].Value-44.5) > 0.001 {
			t.Errorf("model %d asleep: Read() = %+v, %v, want 44.5", m, s.Values, err)
		}
	}
}

func TestOpen_refusesBitsThatThePartDoesNotHave(t *testing.T) {
	bus := drivertest.NewI2C("i2c-1")
	bus.Put(at, lm75test.New(lm75test.LM75))
	if _, err := Driver.Open(t.Context(), site(bus, 12)); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("Open() of an LM75 with 12 bits = %v, want Settings", err)
	}
}

// 0 °C is a value, a bus of zeros is none; the same for ones.
func TestRead_deadBusIsNoTemperature(t *testing.T) {
	p, chip, bus := opened(t, lm75test.TMP75, 9)
	chip.Set(0)
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 0 {
		t.Errorf("Read() = %+v, %v, want 0 °C", s.Values, err)
	}
	for _, level := range []byte{0x00, 0xFF} {
		bus.Alter(func(r []byte) {
			for i := range r {
				r[i] = level
			}
		})
		_, err := p.Read(t.Context())
		if fault, ok := drivers.AsFault(err); !ok || fault.Kind != drivers.NoAnswer || !errors.Is(err, errDead) {
			t.Errorf("bus stuck at %02X: %v, want NoAnswer", level, err)
		}
	}
}
