package sht4x

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/sht4x/sht4xtest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const at = 0x44

func site(bus *drivertest.I2C) drivers.Site {
	return drivers.Site{
		Bus:   drivers.Bus{Name: "i2c-1", I2C: bus},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{{Given: true, Text: "i2c-1"}, {Given: true, Text: "0x44", Amount: units.Amount{Value: at, Quantity: units.Count}}}},
		Gives: []drivers.Channel{{Name: "temperature", Quantity: units.Temperature}, {Name: "humidity", Quantity: units.Humidity}},
	}
}

// impostor acknowledges everything and answers with bytes of its own, as another maker's humidity sensor at 0x44 does.
type impostor struct{}

func (impostor) Tx(_, r []byte) error {
	for i := range r {
		r[i] = byte(0x10 + i)
	}
	return nil
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewI2C("i2c-1"), sht4xtest.New()
	bus.Put(at, chip)
	truth := map[string]float64{"temperature": 20, "humidity": 50}
	return &drivertest.Bench{
		Site: site(bus),
		// Half a step of the 16-bit word: 175/65535/2 °C and 125/65535/2 %RH.
		Truths: []drivertest.Truth{{Channel: "temperature", Low: -40, High: 125, Within: 0.00134}, {Channel: "humidity", Low: 0, High: 100, Within: 0.00096}},
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

// readWords reads once from a chip that answers these words.
func readWords(t *testing.T, temperature, humidity uint16) (temp, hum drivers.Value) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), sht4xtest.New()
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus))
		if err != nil {
			t.Fatal(err)
		}
		chip.SetWords(temperature, humidity)
		s, err := p.Read(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		temp, hum = s.Values[0], s.Values[1]
	})
	return temp, hum
}

func TestRead_datasheetWords(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "sht4x") {
		temp, hum := readWords(t, uint16(v.Raw>>16), uint16(v.Raw))
		got := map[string]drivers.Value{"temperature": temp, "humidity": hum}[v.Channel]
		if !(math.Abs(got.Value-v.Value) <= v.Within) {
			t.Errorf("%08X: %s = %v, want %v (%s)", v.Raw, v.Channel, got.Value, v.Value, v.Source)
		}
	}
}

// The humidity formula reaches beyond 0 and 100. A little beyond is the end itself; far beyond it may raise an alarm but clears none.
func TestRead_clipIsNoted(t *testing.T) {
	tests := []struct {
		word    uint16
		want    float64
		quality reading.Quality
		says    string
	}{
		{0xFFFF, 100, reading.Uncertain, "119.0 %RH"}, // check value M34 of the measurement tables
		{0xD916, 100, reading.Good, ""},               // 100.0007 %RH: one step above full saturation
		{0xDC00, 100, reading.Good, ""},               // 101.4 %RH
		{0x0000, 0, reading.Uncertain, "-6.0 %RH"},
		{0x0C00, 0, reading.Good, ""}, // -0.14 %RH
	}
	for _, test := range tests {
		_, hum := readWords(t, 0x6667, test.word)
		if hum.Value != test.want || hum.Quality != test.quality || !strings.Contains(hum.Cause, test.says) {
			t.Errorf("%04X: humidity = %v %s %q, want %v %s %q", test.word, hum.Value, hum.Quality, hum.Cause, test.want, test.quality, test.says)
		}
		if hum.Quality == reading.Good && hum.Note == "" {
			t.Errorf("%04X: a clipped value has no note", test.word)
		}
	}
}

// An SHT4x read with the formula of the SHT3x (RH = 100 S/65535) shows 37.00 for these words.
func TestRead_notTheFormulaOfTheOlderPart(t *testing.T) {
	if _, hum := readWords(t, 0x6667, 0x5EB9); math.Abs(hum.Value-37.00) < 1 {
		t.Errorf("humidity = %v, the formula of the SHT3x", hum.Value)
	}
}

// A bus stuck low reads all zeros, one stuck high all ones. Neither may become a temperature.
func TestRead_stuckBus(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), sht4xtest.New()
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus))
		if err != nil {
			t.Fatal(err)
		}
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
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), sht4xtest.New()
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus))
		if err != nil {
			t.Fatal(err)
		}
		for bit := range 48 {
			chip.FlipBit(bit)
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled {
				t.Errorf("bit %d turned over: Read() = %v, %v, want Garbled", bit, s, err)
			}
		}
	})
}
