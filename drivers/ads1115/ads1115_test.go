package ads1115

import (
	"math"
	"strings"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/ads1115/ads1115test"
	"millwarden/drivers/drivertest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const at = 0x48

func amount(value float64, q units.Quantity) phrase.Slot {
	return phrase.Slot{Given: true, Amount: units.Amount{Value: value, Quantity: q}}
}

func word(text string) phrase.Slot { return phrase.Slot{Given: true, Text: text} }

// site is a probe on an input with that range, and one more line.
func site(bus *drivertest.I2C, input string, volts float64, line phrase.Line, gives ...drivers.Channel) drivers.Site {
	return drivers.Site{
		Bus:   drivers.Bus{Name: "i2c-1", I2C: bus},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{word("i2c-1"), amount(at, units.Count)}},
		Lines: phrase.Lines{{Key: "channel", Slots: []phrase.Slot{word(input), amount(volts, units.Voltage)}}, line},
		Gives: gives,
	}
}

func loopLine(ohms, low, high float64, q units.Quantity, bands string) phrase.Line {
	return phrase.Line{Key: "loop", Slots: []phrase.Slot{amount(ohms, units.Resistance), amount(low, q), amount(high, q), word(bands)}}
}

func electrodeLine() phrase.Line {
	return phrase.Line{Key: "electrode", Slots: []phrase.Slot{word("tank-1/temperature")}}
}

func tableLine(pairs ...float64) phrase.Line {
	line := phrase.Line{Key: "table"}
	for i, value := range pairs {
		q := units.Voltage
		if i%2 == 1 {
			q = units.Moisture
		}
		line.Slots = append(line.Slots, amount(value, q))
	}
	return line
}

// impostor answers like a humidity chip: it acknowledges all and keeps no register.
type impostor struct{}

func (impostor) Tx(_, r []byte) error {
	for i := range r {
		r[i] = 0x63
	}
	return nil
}

// rig is one bench of the suite: a chip and the doors common to electrode, loop and table.
func rig(volts func(value float64) float64, line phrase.Line, truth drivertest.Truth, q units.Quantity, exceed float64) func() *drivertest.Bench {
	return func() *drivertest.Bench {
		bus, chip := drivertest.NewI2C("i2c-1"), ads1115test.New()
		bus.Put(at, chip)
		chip.SetVoltage(2, volts((truth.Low+truth.High)/2))
		return &drivertest.Bench{
			Site:      site(bus, "ain2", 4.096, line, drivers.Channel{Name: truth.Channel, Quantity: q}),
			Truths:    []drivertest.Truth{truth},
			Set:       func(_ string, value float64) { chip.SetVoltage(2, volts(value)) },
			Remove:    func() { bus.Remove(at) },
			Restore:   func() { bus.Put(at, chip) },
			WrongPart: func() { bus.Put(at, impostor{}) },
			Garble:    func() { chip.FlipBit(12) },
			Exceed:    func() { chip.SetVoltage(2, exceed) },
			Noise:     bus.Noise,
			Fail:      bus.Fail,
			Exchanges: bus.Exchanges,
		}
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	const step = 4.096 / 32768 / 2 // half a code, in V
	// 59.159 mV per pH at 25 °C: meas-nernst.csv, computed there independently from the 2019 SI.
	t.Run("electrode", func(t *testing.T) {
		volts := func(ph float64) float64 { return -0.059159 * (ph - 7) }
		drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: rig(volts, electrodeLine(), drivertest.Truth{Channel: "ph", Low: 0.01, High: 13.99, Within: step/0.059 + 0.0001}, units.PH, 0.6)})
	})
	t.Run("loop", func(t *testing.T) {
		volts := func(kpa float64) float64 { return (4 + 16*kpa/0.5) / 1000 * 100 }
		drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: rig(volts, loopLine(100, 0, 0.5, units.Pressure, "ne43"), drivertest.Truth{Channel: "loop", Low: 0, High: 0.5, Within: step / 1.6 * 0.5 * 1.001}, units.Pressure, 2.2)})
	})
	t.Run("table", func(t *testing.T) {
		volts := func(wb float64) float64 { return 0.4 + (wb-8)*0.5/7 }
		drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: rig(volts, tableLine(0.4, 8, 0.9, 15), drivertest.Truth{Channel: "table", Low: 8, High: 15, Within: step / 0.5 * 7 * 1.001}, units.Moisture, 1.2)})
	})
}

// fixture is an opened probe with its chip, on fake time.
func fixture(t *testing.T, input string, volts float64, line phrase.Line, f func(t *testing.T, bus *drivertest.I2C, chip *ads1115test.Chip, p drivers.Probe)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), ads1115test.New()
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus, input, volts, line))
		if err != nil {
			t.Fatal(err)
		}
		f(t, bus, chip, p)
	})
}

func readOne(t *testing.T, p drivers.Probe) drivers.Value {
	t.Helper()
	s, err := p.Read(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return s.Values[0]
}

// RAW is the gain code of table 8-3, then the conversion word. The volts are read back through a table that maps 1 V to 1.
func TestRead_codesToVolts(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "ads1115") {
		gain, code := v.Raw>>16, uint16(v.Raw)
		full := []float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}[gain]
		fixture(t, "ain0", full, tableLine(-7, -7, 7, 7), func(t *testing.T, _ *drivertest.I2C, chip *ads1115test.Chip, p drivers.Probe) {
			chip.SetCode(code)
			got := readOne(t, p)
			if !(math.Abs(got.Value-v.Value) <= v.Within) {
				t.Errorf("gain %d, code %04X: %v V, want %v (%s)", gain, code, got.Value, v.Value, v.Source)
			}
		})
	}
}

// A clip is never a value, at either end.
func TestRead_clips(t *testing.T) {
	for _, volts := range []float64{2.5, -2.5} {
		fixture(t, "ain0-ain1", 2.048, tableLine(-7, -7, 7, 7), func(t *testing.T, _ *drivertest.I2C, chip *ads1115test.Chip, p drivers.Probe) {
			chip.SetVoltage(0, max(volts, 0))
			chip.SetVoltage(1, max(-volts, 0))
			if v := readOne(t, p); v.Fault == nil || v.Fault.Kind != drivers.OutOfRange {
				t.Errorf("%v V: %+v, want Fault OutOfRange", volts, v)
			}
		})
	}
}

// Bands of NE 43: check value M43 of the measurement tables, and the two kinds of failure told apart.
func TestLoop_bands(t *testing.T) {
	tests := []struct {
		milliamps float64
		quality   reading.Quality
		says      string
	}{
		{-0.02, reading.Bad, "broken wire"}, {0, reading.Bad, "broken wire or no loop supply"}, {0.9, reading.Bad, "broken wire"},
		{2.0, reading.Bad, "signalled failure"}, {3.50, reading.Bad, "signalled failure"}, {3.59, reading.Bad, "signalled failure"},
		{3.70, reading.Uncertain, "3.70 mA"}, {3.81, reading.Good, ""}, {3.90, reading.Good, ""}, {12, reading.Good, ""},
		{20.30, reading.Good, ""}, {20.49, reading.Good, ""}, {20.70, reading.Uncertain, "20.70 mA"},
		{21.01, reading.Bad, "signalled failure"}, {21.20, reading.Bad, "signalled failure"}, {22, reading.Bad, "signalled failure"},
	}
	fixture(t, "ain1", 4.096, loopLine(100, 0, 120, units.Temperature, "ne43"), func(t *testing.T, _ *drivertest.I2C, chip *ads1115test.Chip, p drivers.Probe) {
		for _, test := range tests {
			chip.SetVoltage(1, test.milliamps/10) // 100 Ω
			v := readOne(t, p)
			if v.Quality != test.quality || !strings.Contains(v.Cause, test.says) {
				t.Errorf("%v mA: %s %q, want %s %q", test.milliamps, v.Quality, v.Cause, test.quality, test.says)
			}
			want := (test.milliamps - 4) / 16 * 120
			if v.Quality != reading.Bad && math.Abs(v.Value-want) > 0.01 {
				t.Errorf("%v mA: %v, want %v", test.milliamps, v.Value, want)
			}
			if test.milliamps == 12 && !(math.Abs(v.Value-60) <= 0.01) {
				t.Errorf("check value M42: 12 mA of 0 to 120 °C = %v, want 60", v.Value)
			}
			if flagged := v.Note != ""; v.Quality == reading.Good && flagged != (test.milliamps < 4 || test.milliamps > 20) {
				t.Errorf("%v mA: note %q", test.milliamps, v.Note)
			}
		}
	})
}

// The edges belong to the band beyond at 3.6 and 21 mA, and to the usable one at 3.8 and 20.5 mA.
func TestLoop_bandEdges(t *testing.T) {
	l := loop{ohms: 100, low: 0, high: 16, bands: true}
	for milliamps, want := range map[float64]reading.Quality{3.6: reading.Bad, 3.8: reading.Good, 20.5: reading.Good, 21: reading.Bad} {
		if got := l.value(milliamps * 100 / 1000); got.Quality != want {
			t.Errorf("%v mA: %s, want %s", milliamps, got.Quality, want)
		}
	}
}

func TestLoop_withoutBands(t *testing.T) {
	fixture(t, "ain0", 4.096, loopLine(100, 0, 16, units.Share, "none"), func(t *testing.T, _ *drivertest.I2C, chip *ads1115test.Chip, p drivers.Probe) {
		for milliamps, want := range map[float64]reading.Quality{3.5: reading.Good, 21.5: reading.Good, 0: reading.Bad} {
			chip.SetVoltage(0, milliamps/10)
			if v := readOne(t, p); v.Quality != want {
				t.Errorf("%v mA: %s %q, want %s", milliamps, v.Quality, v.Cause, want)
			}
		}
	})
}

// 100 Ω at ±2.048 V ends at 20.48 mA, so that a failure signalled by 21 mA could not be told from a clip: check value M41. Refused at Open.
func TestOpen_rangeThatHidesTheFailureBand(t *testing.T) {
	tests := []struct {
		ohms, volts float64
		bands       string
		refused     bool
	}{
		{100, 2.048, "ne43", true}, {100, 4.096, "ne43", false}, {150, 4.096, "ne43", false}, {200, 4.096, "ne43", true},
		{100, 2.048, "none", false}, {110, 2.048, "none", true},
	}
	for _, test := range tests {
		bus := drivertest.NewI2C("i2c-1")
		bus.Put(at, ads1115test.New())
		_, err := Driver.Open(t.Context(), site(bus, "ain0", test.volts, loopLine(test.ohms, 0, 1, units.Pressure, test.bands)))
		if refused := drivers.KindOf(err) == drivers.Settings; refused != test.refused {
			t.Errorf("%v Ω at ±%v V, bands %s: %v, want refused %t", test.ohms, test.volts, test.bands, err, test.refused)
		}
	}
}

// A chip whose clock is 10 % slow [SBAS444, data rate variation], read right after another input of the same chip, gives its own input: the
// probe waits for the chip's word and not for the nominal time.
func TestRead_slowClockNeverGivesTheOtherInput(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), ads1115test.New()
		bus.Put(at, chip)
		chip.Slow(1.1)
		var probes []drivers.Probe
		for i, input := range []string{"ain0", "ain1", "ain2", "ain3"} {
			chip.SetVoltage(i, 0.5+float64(i))
			p, err := Driver.Open(t.Context(), site(bus, input, 4.096, tableLine(-7, -7, 7, 7)))
			if err != nil {
				t.Fatal(err)
			}
			probes = append(probes, p)
		}
		for range 3 {
			for i, p := range probes {
				if v := readOne(t, p); math.Abs(v.Value-0.5-float64(i)) > 0.001 {
					t.Errorf("ain%d = %v V, want %v", i, v.Value, 0.5+float64(i))
				}
			}
		}
	})
}

func TestRead_conversionThatNeverEnds(t *testing.T) {
	fixture(t, "ain0", 4.096, tableLine(0, 0, 4, 4), func(t *testing.T, _ *drivertest.I2C, chip *ads1115test.Chip, p drivers.Probe) {
		chip.Slow(100)
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("Read() = %v, %v, want NotReady", s, err)
		}
	})
}

// A bus stuck low or high never becomes a voltage, though both words are legal codes of a conversion.
func TestRead_stuckBus(t *testing.T) {
	fixture(t, "ain0", 4.096, tableLine(-7, -7, 7, 7), func(t *testing.T, bus *drivertest.I2C, _ *ads1115test.Chip, p drivers.Probe) {
		for _, level := range []byte{0x00, 0xFF} {
			bus.Alter(func(r []byte) {
				for i := range r {
					r[i] = level
				}
			})
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled {
				t.Errorf("stuck at %02X: Read() = %v, %v, want Garbled", level, s, err)
			}
		}
	})
}

func TestTable_betweenAndBeyondItsPairs(t *testing.T) {
	fixture(t, "ain0", 4.096, tableLine(0.4, 8, 0.9, 15, 1.4, 30), func(t *testing.T, _ *drivertest.I2C, chip *ads1115test.Chip, p drivers.Probe) {
		tests := []struct {
			volts, want float64
			quality     reading.Quality
		}{
			{0.4, 8, reading.Good}, {0.65, 11.5, reading.Good}, {0.9, 15, reading.Good}, {1.15, 22.5, reading.Good},
			{1.405, 30.15, reading.Uncertain}, {1.45, 0, reading.Bad}, {0.3, 0, reading.Bad},
		}
		for _, test := range tests {
			chip.SetVoltage(0, test.volts)
			v := readOne(t, p)
			if v.Quality != test.quality || test.quality != reading.Bad && math.Abs(v.Value-test.want) > 0.005 {
				t.Errorf("%v V: %v %s, want %v %s", test.volts, v.Value, v.Quality, test.want, test.quality)
			}
		}
	})
	for _, bad := range [][]float64{{0.4, 8}, {0.9, 15, 0.4, 8}, {0.4, 8, 0.4, 9}} {
		bus := drivertest.NewI2C("i2c-1")
		bus.Put(at, ads1115test.New())
		if _, err := Driver.Open(t.Context(), site(bus, "ain0", 4.096, tableLine(bad...))); drivers.KindOf(err) != drivers.Settings {
			t.Errorf("table %v: %v, want Settings", bad, err)
		}
	}
}

// A value of a well electrode costs no memory; a Read as a whole costs its timer.
func TestElectrode_valueWithoutAllocation(t *testing.T) {
	bus, chip := drivertest.NewI2C("i2c-1"), ads1115test.New()
	bus.Put(at, chip)
	chip.Slow(0)
	opened, err := Driver.Open(t.Context(), site(bus, "ain0", 4.096, electrodeLine()))
	if err != nil {
		t.Fatal(err)
	}
	chip.SetVoltage(0, 0.12)
	p := opened.(*electrodeProbe)
	p.Compensate(25, true)
	var v drivers.Value
	if n := testing.AllocsPerRun(100, func() { v = p.electrode.value(0.12) }); n != 0 || v.Fault != nil {
		t.Errorf("%v allocations a value, want 0", n)
	}
}
