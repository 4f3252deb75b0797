package max31856

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/spi"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/max31856/max31856test"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
)

const line = 2

func site(bus *drivertest.SPI, lines ...phrase.Line) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "spi-0", SPI: bus}, Place: drivertest.Place("spi-0", line), Lines: lines}
}

func thermocouple(name string, averaging float64) phrase.Line {
	return phrase.Line{Key: "thermocouple", Slots: []phrase.Slot{drivertest.Word(name), drivertest.Number(averaging)}}
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewSPI(), max31856test.New()
	bus.Put(line, chip)
	truth := map[string]float64{"temperature": 25, "junction": 25}
	return &drivertest.Bench{
		Site: site(bus),
		// Half a step: 2^-8 and 2^-7 °C.
		Truths: []drivertest.Truth{{Channel: "temperature", Low: -200, High: 1372, Within: 0.004}, {Channel: "junction", Low: -40, High: 125, Within: 0.008}},
		Set: func(channel string, value float64) {
			truth[channel] = value
			chip.Set(truth["temperature"], truth["junction"])
		},
		Remove:    func() { bus.Remove(line) },
		Restore:   func() { bus.Put(line, chip); bus.Alter(nil) },
		WrongPart: func() { bus.Put(line, forgetful{}) },
		Garble: func() { // there is no checksum; what the chip gives back of its settings is all that can be held against it
			bus.Alter(func(r []byte) {
				if len(r) > 3 {
					r[2] ^= 0x04
				}
			})
		},
		Exceed:    func() { chip.Set(1600, 25) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

// forgetful answers and keeps nothing, as another part does.
type forgetful struct{}

func (forgetful) Exchange(_ spi.Mode, _, r []byte) {
	for i := range r {
		r[i] = byte(0x11 * i)
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func with(t *testing.T, lines phrase.Lines, f func(t *testing.T, bus *drivertest.SPI, chip *max31856test.Chip, p drivers.Probe)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewSPI(), max31856test.New()
		bus.Put(line, chip)
		p, err := Driver.Open(t.Context(), site(bus, lines...))
		if err != nil {
			t.Fatal(err)
		}
		f(t, bus, chip, p)
	})
}

func TestRead_wordsOfTheTable(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "max31856") {
		with(t, nil, func(t *testing.T, bus *drivertest.SPI, _ *max31856test.Chip, p drivers.Probe) {
			bus.Alter(func(r []byte) {
				if len(r) < 17 {
					return
				}
				if v.Channel == "junction" {
					r[11], r[12] = byte(v.Raw>>8), byte(v.Raw)
				} else {
					r[13], r[14], r[15] = byte(v.Raw>>16), byte(v.Raw>>8), byte(v.Raw)
				}
			})
			s, err := p.Read(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			for _, got := range s.Values {
				if got.Channel != v.Channel {
					continue
				}
				if beyond := v.Value < -200 || v.Value > 1372 || v.Channel == "junction" && (v.Value < -40 || v.Value > 125); beyond {
					if got.Fault == nil || got.Fault.Kind != drivers.OutOfRange {
						t.Errorf("%X: %+v, want OutOfRange (%s)", v.Raw, got, v.Source)
					}
				} else if !(math.Abs(got.Value-v.Value) <= v.Within) {
					t.Errorf("%X: %s = %v, want %v (%s)", v.Raw, v.Channel, got.Value, v.Value, v.Source)
				}
			}
		})
	}
}

// A broken thermocouple must not read as the temperature of the chip. The chip looks for it only where it was told to.
func TestRead_brokenCouple(t *testing.T) {
	with(t, nil, func(t *testing.T, _ *drivertest.SPI, chip *max31856test.Chip, p drivers.Probe) {
		chip.Break(true)
		s, err := p.Read(t.Context())
		if err != nil || s.Values[0].Fault == nil || !strings.Contains(s.Values[0].Cause, "broken") || s.Values[1].Value != 25 {
			t.Errorf("Read() = %+v, %v, want a Fault that says broken, and the junction", s.Values, err)
		}
		chip.Break(false)
		for bit, says := range map[byte]string{0x02: "supply", 0x80: "own range", 0x40: "thermocouple"} {
			chip.SetStatus(bit)
			if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil || !strings.Contains(s.Values[0].Cause, says) {
				t.Errorf("status %02X: %+v, %v, want a Fault that says %q", bit, s.Values, err, says)
			}
		}
	})
}

// A dip of the supply clears all settings and all words: 0.00 °C without any fault bit, and no more look for a break. The next reading must be right
// again, or a Fault, never 0.
func TestRead_afterADipOfTheSupply(t *testing.T) {
	with(t, nil, func(t *testing.T, _ *drivertest.SPI, chip *max31856test.Chip, p drivers.Probe) {
		chip.Set(205, 25)
		if _, err := p.(drivers.Starter).Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		chip.PowerUp() // while it converts
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled {
			t.Errorf("in the dip: Read() = %+v, %v, want a Fault", s.Values, err)
		}
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 205 {
			t.Errorf("after it: Read() = %+v, %v, want 205", s.Values, err)
		}
		chip.PowerUp() // between two readings
		chip.Break(true)
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil {
			t.Errorf("broken after a dip: Read() = %+v, %v, want a Fault", s.Values, err)
		}
	})
}

func TestRead_neverTheConversionOfBefore(t *testing.T) {
	with(t, nil, func(t *testing.T, _ *drivertest.SPI, chip *max31856test.Chip, p drivers.Probe) {
		if _, err := p.Read(t.Context()); err != nil {
			t.Fatal(err)
		}
		chip.Sleep()
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("it does not convert: Read() = %+v, %v, want NotReady", s.Values, err)
		}
	})
}

// Several chips on one bus convert at the same time.
func TestStart_takesTheTimeOfItsAverage(t *testing.T) {
	with(t, phrase.Lines{thermocouple("J", 16)}, func(t *testing.T, _ *drivertest.SPI, chip *max31856test.Chip, p drivers.Probe) {
		chip.Set(300, 25)
		takes, err := p.(drivers.Starter).Start(t.Context())
		if err != nil || takes != 805*time.Millisecond {
			t.Errorf("Start() = %s, %v, want 805ms", takes, err)
		}
		begin := time.Now()
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 300 || time.Since(begin) != takes {
			t.Errorf("Read() = %+v, %v after %s, want 300 after %s", s.Values, err, time.Since(begin), takes)
		}
	})
}

func TestOpen_settings(t *testing.T) {
	for says, lines := range map[string]phrase.Line{"no thermocouple": thermocouple("R", 1), "not 3": thermocouple("K", 3)} {
		if _, err := Driver.Open(t.Context(), site(drivertest.NewSPI(), lines)); drivers.KindOf(err) != drivers.Settings || !strings.Contains(err.Error(), says) {
			t.Errorf("Open() = %v, want Settings that says %q", err, says)
		}
	}
	with(t, phrase.Lines{thermocouple("T", 1)}, func(t *testing.T, _ *drivertest.SPI, chip *max31856test.Chip, p drivers.Probe) {
		chip.Set(450, 25) // type T ends at 400
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil {
			t.Errorf("type T at 450 °C: %+v, %v, want a Fault", s.Values, err)
		}
	})
}
