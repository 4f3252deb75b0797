package max31865

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"periph.io/x/conn/v3/spi"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/max31865/max31865test"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/measured"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

const line = 1

func site(bus *drivertest.SPI, lines ...phrase.Line) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "spi-0", SPI: bus}, Place: drivertest.Place("spi-0", line), Lines: lines}
}

func element(name, wires string, reference float64) phrase.Line {
	return phrase.Line{Key: "element", Slots: []phrase.Slot{drivertest.Word(name), drivertest.Word(wires),
		{Given: reference > 0, Amount: units.Amount{Value: reference, Quantity: units.Resistance}}}}
}

// forgetful answers and keeps nothing, as another part does.
type forgetful struct{}

func (forgetful) Exchange(_ spi.Mode, _, r []byte) {
	for i := range r {
		r[i] = byte(0x23 * i)
	}
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewSPI(), max31865test.New(430, 100)
	bus.Put(line, chip)
	return &drivertest.Bench{
		Site: site(bus, element("pt100", "3", 0)),
		// Half a step is 430/32768/2 Ω; the element has 0.29 Ω/°C at 600 °C and 0.43 at -200.
		Truths:    []drivertest.Truth{{Channel: "temperature", Low: -200, High: 600, Within: 0.023}},
		Set:       func(_ string, value float64) { chip.SetOhms(max31865test.Platinum(100, value)) },
		Remove:    func() { bus.Remove(line) },
		Restore:   func() { bus.Put(line, chip); bus.Alter(nil) },
		WrongPart: func() { bus.Put(line, forgetful{}) },
		Garble: func() { // there is no checksum; what the chip gives back of its settings is all that can be held against it
			bus.Alter(func(r []byte) {
				if len(r) > 2 {
					r[1] ^= 0x10
				}
			})
		},
		Exceed:    func() { chip.SetOhms(max31865test.Platinum(100, 640)) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func with(t *testing.T, chip *max31865test.Chip, setting phrase.Line, f func(t *testing.T, p drivers.Probe)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus := drivertest.NewSPI()
		bus.Put(line, chip)
		p, err := Driver.Open(t.Context(), site(bus, setting))
		if err != nil {
			t.Fatal(err)
		}
		f(t, p)
	})
}

// RAW carries the reference in its upper half: the same word is another temperature over another resistor.
func TestRead_wordsOfTheTable(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "max31865") {
		reference := float64(v.Raw >> 16)
		chip := max31865test.New(reference, 100)
		with(t, chip, element("pt100", "2", reference), func(t *testing.T, p drivers.Probe) {
			chip.SetWord(uint16(v.Raw))
			s, err := p.Read(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			got := s.Values[0].Value
			if v.Channel == "ohms" {
				got = s.Values[0].Raw
			}
			if !(math.Abs(got-v.Value) <= v.Within) {
				t.Errorf("%08X: %s = %v, want %v (%s)", v.Raw, v.Channel, got, v.Value, v.Source)
			}
		})
	}
}

func TestRead_faults(t *testing.T) {
	chip := max31865test.New(430, 110)
	with(t, chip, element("pt100", "4", 0), func(t *testing.T, p drivers.Probe) {
		chip.Break(true)
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil || !strings.Contains(s.Values[0].Cause, "broken") {
			t.Errorf("broken: %+v, %v, want a Fault that says so", s.Values, err)
		}
		chip.Break(false)
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault != nil {
			t.Errorf("mended: %+v, %v, want a value: the status is cleared each time", s.Values, err)
		}
		chip.SetWord(0x4001) // check value M25
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil {
			t.Errorf("fault bit: %+v, %v, want no value", s.Values, err)
		}
		for _, ohms := range []float64{0, 2, 420} {
			chip.SetOhms(ohms)
			if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil || s.Values[0].Fault.Kind != drivers.OutOfRange {
				t.Errorf("%v Ω: %+v, %v, want OutOfRange", ohms, s.Values, err)
			}
		}
		chip.SetOhms(100)
		chip.Sleep()
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("it does not convert: %+v, %v, want NotReady", s.Values, err)
		}
	})
}

// The current is off between readings, and three wires are told to the chip only where there are three.
func TestRead_configuration(t *testing.T) {
	for wires, three := range map[string]bool{"2": false, "3": true, "4": false} {
		chip := max31865test.New(430, 110)
		with(t, chip, element("pt100", wires, 0), func(t *testing.T, p drivers.Probe) {
			if _, err := p.Read(t.Context()); err != nil {
				t.Fatal(err)
			}
			now, ever := chip.Config()
			if now&0x80 != 0 || ever&0x80 == 0 || (now&0x10 != 0) != three || now&0x01 == 0 {
				t.Errorf("%s wires: configuration %02X, ever %02X", wires, now, ever)
			}
		})
	}
}

// A wrong reference is 7.5 % of the resistance and cannot be seen; one that the element exceeds can.
func TestOpen_reference(t *testing.T) {
	if _, err := Driver.Open(t.Context(), site(drivertest.NewSPI(), element("pt1000", "2", 430))); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("Pt1000 over 430 Ω: Open() = %v, want Settings", err)
	}
	chip := max31865test.New(4300, max31865test.Platinum(1000, 85))
	with(t, chip, element("pt1000", "2", 0), func(t *testing.T, p drivers.Probe) {
		if s, err := p.Read(t.Context()); err != nil || math.Abs(s.Values[0].Value-85) > 0.03 {
			t.Errorf("Pt1000 at 85 °C: %+v, %v", s.Values, err)
		}
	})
}

// testdata/pt100.csv: IEC 60751, its source in its own head; and check value M20 of the measurement tables.
func TestPlatinum_publishedTable(t *testing.T) {
	for _, row := range measured.Rows(t, "testdata/pt100.csv", 51) {
		celsius, ohms := measured.Number(t, row[0]), measured.Number(t, row[2])
		if got := 100 * ratioAt(celsius); !(math.Abs(got-ohms) <= 0.0001) {
			t.Errorf("at %v °C: %.4f Ω, want %v", celsius, got, ohms)
		}
		if got := temperatureOf(ohms / 100); !(math.Abs(got-celsius) <= 0.0005) {
			t.Errorf("temperatureOf(%v Ω) = %v, want %v", ohms, got, celsius)
		}
	}
	for celsius, ohms := range map[float64]float64{0: 100, 100: 138.51, 200: 175.86, -100: 60.26} {
		if got := 100 * ratioAt(celsius); !(math.Abs(got-ohms) <= 0.005) {
			t.Errorf("M20 at %v °C: %.3f Ω, want %v", celsius, got, ohms)
		}
	}
}

// The datasheet's table 5, each word over a reference with which it is a Pt100 within its range.
func TestValue_ratiosOfTheDatasheet(t *testing.T) {
	for word, c := range map[uint16]struct{ ratio, reference float64 }{0x0666: {0.025, 4300}, 0x2000: {0.125, 800}, 0x4000: {0.25, 400}, 0x8000: {0.5, 200}, 0xC000: {0.75, 134}, 0xFFFE: {0.999, 101}} {
		p := &probe{element: 100, reference: c.reference}
		p.buffer[2], p.buffer[3] = byte(word>>8), byte(word)
		if v := p.value(); !(math.Abs(v.Raw/c.reference-c.ratio) <= 0.001) { // as the table rounds, and cuts 32767/32768
			t.Errorf("%04X: %+v, want %v of the reference", word, v, c.ratio)
		}
	}
}

func FuzzTemperatureOf(f *testing.F) {
	for _, ratio := range []float64{0, 1, 0.18, 3.1, -1, math.Inf(1), math.NaN()} {
		f.Add(ratio)
	}
	f.Fuzz(func(t *testing.T, ratio float64) {
		got := temperatureOf(ratio)
		if got >= -200 && got <= 600 && !(math.Abs(ratioAt(got)-ratio) <= 1e-6) {
			t.Errorf("temperatureOf(%v) = %v, whose ratio is %v", ratio, got, ratioAt(got))
		}
	})
}
