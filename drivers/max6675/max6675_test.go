package max6675

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/max6675/max6675test"
	"millwarden/internal/clock/clocktest"
)

const line = 0

func site(bus *drivertest.SPI) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "spi-1", SPI: bus}, Place: drivertest.Place("spi-1", line)}
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewSPI(), max6675test.New()
	bus.Put(line, chip)
	return &drivertest.Bench{
		Site:      site(bus),
		Truths:    []drivertest.Truth{{Channel: "temperature", Low: 1, High: 1000, Within: 0.35}}, // half a step, and up to 0.2 °C of the double's table
		Set:       func(_ string, value float64) { chip.Set(value) },
		Remove:    func() { bus.Remove(line) },
		Restore:   func() { bus.Put(line, chip); bus.Alter(nil) },
		WrongPart: func() { chip.SetWord(0x0642) },                       // D1 is always 0
		Garble:    func() { bus.Alter(func(r []byte) { r[0] ^= 0x80 }) }, // D15; a bit of the value cannot be told from a value
		Exceed:    func() { chip.Set(1090) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func with(t *testing.T, f func(t *testing.T, bus *drivertest.SPI, chip *max6675test.Chip, p drivers.Probe)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewSPI(), max6675test.New()
		bus.Put(line, chip)
		p, err := Driver.Open(t.Context(), site(bus))
		if err != nil {
			t.Fatal(err)
		}
		f(t, bus, chip, p)
	})
}

// Without the correction the row of 800 °C is 13 °C off.
func TestRead_wordsOfTheTable(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.SPI, chip *max6675test.Chip, p drivers.Probe) {
		for _, v := range drivertest.Vectors(t, "max6675") {
			chip.SetWord(uint16(v.Raw))
			s, err := p.Read(t.Context())
			if err != nil {
				t.Fatalf("%04X: %v", v.Raw, err)
			}
			got := map[string]float64{"temperature": s.Values[0].Value, "chip": s.Values[0].Raw}[v.Channel]
			if !(math.Abs(got-v.Value) <= v.Within) {
				t.Errorf("%04X: %s = %v, want %v (%s)", v.Raw, v.Channel, got, v.Value, v.Source)
			}
		}
	})
}

// The chip does not tell its own temperature; 25 °C is taken for it. How much that can matter.
func TestRead_ownTemperatureMattersLittle(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.SPI, chip *max6675test.Chip, p drivers.Probe) {
		for own, within := range map[float64]float64{-20: 1.9, 0: 0.6, 45: 0.6, 60: 0.6} {
			chip.SetOwn(own)
			for _, hot := range []float64{100, 205, 320} {
				chip.Set(hot)
				s, err := p.Read(t.Context())
				const halfStep = 0.125
				if err != nil || !(math.Abs(s.Values[0].Value-hot) <= halfStep+within) {
					t.Errorf("chip at %v °C: %+v, %v, want %v", own, s.Values[0], err, hot)
				}
			}
		}
	})
}

func TestRead_deadBus(t *testing.T) {
	with(t, func(t *testing.T, bus *drivertest.SPI, _ *max6675test.Chip, p drivers.Probe) {
		for _, level := range []byte{0x00, 0xFF} {
			bus.Alter(func(r []byte) { r[0], r[1] = level, level })
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NoAnswer {
				t.Errorf("bus stuck at %02X: Read() = %+v, %v, want NoAnswer", level, s.Values, err)
			}
		}
	})
}

func TestRead_brokenCouple(t *testing.T) {
	with(t, func(t *testing.T, bus *drivertest.SPI, chip *max6675test.Chip, p drivers.Probe) {
		chip.Break(true)
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil || s.Values[0].Fault.Kind != drivers.OutOfRange {
			t.Errorf("Read() = %+v, %v, want OutOfRange", s.Values, err)
		}
		if _, err := Driver.Open(t.Context(), site(bus)); err != nil {
			t.Errorf("Open() = %v, want a probe all the same", err)
		}
		chip.Break(false)
		for _, word := range []uint16{0x0004, 0x7FF8} { // check value M19: broken; and the end of the scale, 1,023.75 °C, which all beyond it gives too
			chip.SetWord(word)
			if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil {
				t.Errorf("%04X: %+v, %v, want a Fault", word, s.Values, err)
			}
		}
	})
}

// Asking ends the conversion that is under way: a driver that asked at once would have the first value for ever.
func TestRead_neverFasterThanTheChip(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.SPI, chip *max6675test.Chip, p drivers.Probe) {
		for want := 100.0; want < 200; want += 20 {
			chip.Set(want)
			s, err := p.Read(t.Context())
			if err != nil || math.Abs(s.Values[0].Value-want) > 0.3 {
				t.Errorf("Read() = %+v, %v, want %v °C", s.Values, err, want)
			}
			time.Sleep(10 * time.Millisecond) // on fake time: as a retry would come
		}
	})
}
