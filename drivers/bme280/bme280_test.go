package bme280

import (
	"math"
	"math/rand/v2"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/bme280/bme280test"
	"millwarden/drivers/drivertest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/reading"
)

const at = 0x76

func site(bus *drivertest.I2C) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "i2c-1", I2C: bus}, Place: drivertest.Place("i2c-1", at)}
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewI2C("i2c-1"), bme280test.New(bme280test.Example)
	bus.Put(at, chip)
	truth := map[string]float64{"temperature": 20, "humidity": 50, "pressure": 101.3}
	return &drivertest.Bench{
		Site: site(bus),
		// The double reckons in hundredths of a degree, in 1/1024 %RH and in Pa; the word of the humidity has steps of about 0.01 %RH.
		Truths: []drivertest.Truth{{Channel: "temperature", Low: -39.9, High: 84.9, Within: 0.02}, {Channel: "humidity", Low: 1, High: 99, Within: 0.05},
			{Channel: "pressure", Low: 30.1, High: 109.9, Within: 0.005}},
		Set: func(channel string, value float64) {
			truth[channel] = value
			chip.Set(truth["temperature"], truth["humidity"], truth["pressure"])
			if channel == "temperature" && value > 84 { // leave it where the others can be measured
				truth["temperature"] = 20
			}
		},
		Remove:    func() { bus.Remove(at) },
		Restore:   func() { bus.Put(at, chip); bus.Alter(nil) },
		WrongPart: func() { chip.SetID(0x58) },
		Garble: func() { // the words have no checksum; what the chip gives back of its settings is all that can be held against it
			bus.Alter(func(r []byte) {
				if len(r) == 3 {
					r[2] ^= 0x20
				}
			})
		},
		Exceed:    func() { chip.SetWords(0xFFFF0, 415148, 25000) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

// readWords reads once from a part with that calibration that measures these words.
func readWords(t *testing.T, trim bme280test.Trim, temperature, pressure, humidity uint32) (s drivers.Sample, err error) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), bme280test.New(trim)
		bus.Put(at, chip)
		p, openErr := Driver.Open(t.Context(), site(bus))
		if openErr != nil {
			t.Fatal(openErr)
		}
		chip.SetWords(temperature, pressure, humidity)
		s, err = p.Read(t.Context())
	})
	return s, err
}

func TestRead_workedExample(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "bme280") {
		// RAW packs the three words: 20 bits of temperature, 20 of pressure, 16 of humidity
		s, err := readWords(t, bme280test.Example, uint32(v.Raw>>36&0xFFFFF), uint32(v.Raw>>16&0xFFFFF), uint32(v.Raw&0xFFFF))
		if err != nil {
			t.Fatal(err)
		}
		for _, got := range s.Values {
			if got.Channel == v.Channel && !(math.Abs(got.Value-v.Value) <= v.Within) {
				t.Errorf("%014X: %s = %v, want %v (%s)", v.Raw, v.Channel, got.Value, v.Value, v.Source)
			}
		}
	}
}

// H5 = -30 gives 21.31 %RH (check value M38); a driver that reads H4 and H5 as unsigned gives 0.
func TestRead_negativeHumidityWords(t *testing.T) {
	trim := bme280test.Example
	trim.H5 = -30
	s, err := readWords(t, trim, 519888, 415148, 25000)
	if err != nil || !(math.Abs(s.Values[1].Value-21.31) <= 0.02) {
		t.Errorf("H5 -30: humidity = %v, %v, want 21.31", s.Values, err)
	}
	trim = bme280test.Example
	trim.H4 = -30
	var a [26]byte
	if c := parse(a, [7]byte{3: 0xFE, 4: 0x02}); c.h4 != -30 { // -30 is FE2 in 12 bits
		t.Errorf("H4 = %v, want -30", c.h4)
	}
	if c := parse(a, [7]byte{4: 0x20, 5: 0xFE}); c.h5 != -30 {
		t.Errorf("H5 = %v, want -30", c.h5)
	}
	if s, err := readWords(t, trim, 519888, 415148, 2000); err != nil || s.Values[1].Quality != reading.Good || s.Values[1].Value < 10 || s.Values[1].Value > 30 {
		t.Errorf("H4 -30: humidity = %+v, %v, want 10 to 30 and good", s.Values[1], err)
	}
}

// Words that the chip marks as not measured are no values: 80000h would be a good temperature.
func TestRead_skippedWords(t *testing.T) {
	for _, words := range [][3]uint32{{0x80000, 415148, 25000}, {519888, 0x80000, 25000}, {519888, 415148, 0x8000}} {
		if s, err := readWords(t, bme280test.Example, words[0], words[1], words[2]); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("words %X: Read() = %+v, %v, want Fault NotReady", words, s.Values, err)
		}
	}
}

// A part that takes its settings and does not measure still holds the words of before. They must not pass for new ones.
func TestRead_neverTheWordsOfBefore(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), bme280test.New(bme280test.Example)
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.Read(t.Context()); err != nil {
			t.Fatal(err)
		}
		chip.Sleep(true)
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("it does not measure: Read() = %+v, %v, want Fault NotReady", s.Values, err)
		}
	})
}

func TestRead_clipIsTold(t *testing.T) {
	s, err := readWords(t, bme280test.Example, 519888, 415148, 0xFFFF)
	if h := s.Values[1]; err != nil || h.Value != 100 || h.Quality != reading.Uncertain {
		t.Errorf("far beyond: %+v, %v, want 100 and uncertain", h, err)
	}
}

// Whatever calibration a broken part has, no panic and no number that is none.
func FuzzCompensate(f *testing.F) {
	f.Add(make([]byte, 41))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) < 41 {
			return
		}
		var p probe
		p.c = parse([26]byte(data[:26]), [7]byte(data[26:33]))
		copy(p.raw[:], data[33:41])
		fine := p.c.fine(float64(data[33]) * 4096)
		for _, v := range []drivers.Value{p.humidity(fine, float64(data[34])*256), p.ranged("pressure", 0, p.c.pressure(fine, float64(data[35])*4096), 30, 110, "kPa")} {
			if v.Fault == nil && (math.IsNaN(v.Value) || math.IsInf(v.Value, 0)) {
				t.Errorf("%s = %v without a Fault", v.Channel, v.Value)
			}
		}
	})
}
