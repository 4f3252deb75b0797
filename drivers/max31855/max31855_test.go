package max31855

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/max31855/max31855test"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/measured"
	"millwarden/internal/phrase"
)

const line = 0

func site(bus *drivertest.SPI) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "spi-1", SPI: bus}, Place: drivertest.Place("spi-1", line)}
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewSPI(), max31855test.New()
	bus.Put(line, chip)
	truth := map[string]float64{"temperature": 25, "junction": 25}
	return &drivertest.Bench{
		Site: site(bus),
		// Half a step of 0.25 °C, at most 1.2 times as wide where the couple is less sensitive than the line, 0.03 °C of the junction and 0.06 °C of
		// the double's polynomials. Below -100 °C the couple gives half of what the line does.
		Truths: []drivertest.Truth{{Channel: "temperature", Low: -100, High: 1300, Within: 0.3}, {Channel: "temperature", Low: -190, High: -100, Within: 0.5},
			{Channel: "junction", Low: -40, High: 125, Within: 0.032}},
		Set: func(channel string, value float64) {
			truth[channel] = value
			chip.Set(truth["temperature"], truth["junction"])
		},
		Remove:    func() { bus.Remove(line) },
		Restore:   func() { bus.Put(line, chip); bus.Alter(nil) },
		WrongPart: func() { chip.SetWord(0x12345678 | 1<<3) },            // D3 is always 0
		Garble:    func() { bus.Alter(func(r []byte) { r[1] ^= 0x02 }) }, // D17; a bit of the value cannot be told from a value
		Exceed:    func() { chip.Set(1371, 25) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func with(t *testing.T, f func(t *testing.T, bus *drivertest.SPI, chip *max31855test.Chip, p drivers.Probe)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewSPI(), max31855test.New()
		bus.Put(line, chip)
		p, err := Driver.Open(t.Context(), site(bus))
		if err != nil {
			t.Fatal(err)
		}
		f(t, bus, chip, p)
	})
}

// Without the correction the rows of 200 to 320 °C are 2 to 3.5 °C low.
func TestRead_wordsOfTheTable(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.SPI, chip *max31855test.Chip, p drivers.Probe) {
		for _, v := range drivertest.Vectors(t, "max31855") {
			chip.SetWord(uint32(v.Raw))
			s, err := p.Read(t.Context())
			if err != nil {
				t.Fatalf("%08X: %v", v.Raw, err)
			}
			hot, junction := s.Values[0], s.Values[1]
			got := map[string]float64{"temperature": hot.Value, "chip": hot.Raw, "junction": junction.Raw}[v.Channel]
			if hot.Fault != nil && v.Channel == "chip" { // beyond the couple, not beyond the format
				got = float64(int32(uint32(v.Raw))>>18) * hotStep
			}
			if junction.Fault != nil && v.Channel == "junction" {
				got = float64(int32(uint32(v.Raw)<<16)>>20) * junctionStep
			}
			if !(math.Abs(got-v.Value) <= v.Within) {
				t.Errorf("%08X: %s = %v, want %v (%s)", v.Raw, v.Channel, got, v.Value, v.Source)
			}
		}
	})
}

// What an ideal chip shows from -20 to 1,350 °C with its own end at 15 to 60 °C, by the line of the datasheet's page 8 and NIST ITS-90 (computed by another program, testdata/ideal.csv), put into
// steps of 0.25 °C: at most half of one, and 1.2 times as much where the couple gives less than the line.
func TestRead_whatAnIdealChipShows(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.SPI, chip *max31855test.Chip, p drivers.Probe) {
		for _, row := range measured.Rows(t, "testdata/ideal.csv", 42) {
			for i, own := range []int{15, 25, 35, 45, 60} {
				want, shown := measured.Number(t, row[0]), measured.Number(t, row[i+1])
				steps, within := math.Round(shown*4), 0.16
				if want == 1350 { // the end of the type, half a step beyond which there is no value
					steps, within = math.Floor(shown*4), 0.32
				}
				chip.SetWord(uint32(int32(steps))<<18 | uint32(own*16<<4))
				if s, err := p.Read(t.Context()); err != nil || !(math.Abs(s.Values[0].Value-want) <= within) {
					t.Errorf("%v °C shown with its own end at %d °C: %+v, %v, want %v", shown, own, s.Values, err, want)
				}
			}
		}
	})
}

// The same words as the chip says them: if the correction did nothing, this test and the one above could not both pass.
func TestRead_correctsWhatTheChipSays(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.SPI, chip *max31855test.Chip, p drivers.Probe) {
		chip.Set(250, 25)
		s, err := p.Read(t.Context())
		if err != nil || math.Abs(s.Values[0].Raw-246.75) > 0.25 || math.Abs(s.Values[0].Value-250) > 0.25 {
			t.Errorf("250 °C: %+v, %v, want the chip at 246.75 and the value at 250", s.Values[0], err)
		}
	})
}

// Aim: each type by its own line and function. The words are what an ideal chip shows of the voltages of the NIST ITS-90 tables (drivers/testdata/jtne.csv: mV at 25 and at the hot end), with its
// own end at 25 °C; a chip taken for type K is off by far more, which the control shows.
func TestRead_otherTypes(t *testing.T) {
	for _, c := range []struct {
		letter                   string
		line, own, millivolts, t float64
	}{
		{"J", 0.057953, 1.277288, 5.268916, 100}, {"J", 0.057953, 1.277288, 19.090463, 350}, {"T", 0.05218, 0.991977, 4.278519, 100}, {"T", 0.05218, 0.991977, 9.288102, 200},
		{"N", 0.036256, 0.658646, 2.774124, 100}, {"N", 0.036256, 0.658646, 11.136178, 350}, {"E", 0.076373, 1.495112, 24.964, 350},
	} {
		clocktest.Bubble(t, func(t *testing.T) {
			bus, chip := drivertest.NewSPI(), max31855test.New()
			bus.Put(line, chip)
			shown := 25 + (c.millivolts-c.own)/c.line
			chip.SetWord(uint32(int32(math.Round(shown*4)))<<18 | 25*16<<4)
			read := func(letter string) float64 {
				at := site(bus)
				at.Lines = phrase.Lines{{Key: "thermocouple", Slots: []phrase.Slot{{Text: letter}}}}
				p, err := Driver.Open(t.Context(), at)
				if err != nil {
					t.Fatal(err)
				}
				s, err := p.Read(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				return s.Values[0].Value
			}
			if got := read(c.letter); !(math.Abs(got-c.t) <= 0.25) {
				t.Errorf("type %s at %v °C = %v", c.letter, c.t, got)
			}
			if got := read("K"); math.Abs(got-c.t) <= 0.5 {
				t.Errorf("type %s at %v °C taken for a K = %v: the control does not fail", c.letter, c.t, got)
			}
		})
	}
}

func TestRead_deadBus(t *testing.T) {
	with(t, func(t *testing.T, bus *drivertest.SPI, _ *max31855test.Chip, p drivers.Probe) {
		for _, level := range []byte{0x00, 0xFF} { // check value M17
			bus.Alter(func(r []byte) {
				for i := range r {
					r[i] = level
				}
			})
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NoAnswer {
				t.Errorf("bus stuck at %02X: Read() = %+v, %v, want NoAnswer", level, s.Values, err)
			}
		}
	})
}

func TestRead_brokenCouple(t *testing.T) {
	with(t, func(t *testing.T, bus *drivertest.SPI, chip *max31855test.Chip, p drivers.Probe) {
		for bits, says := range map[uint32]string{1: "broken", 2: "ground", 4: "supply"} {
			chip.Break(bits)
			s, err := p.Read(t.Context())
			if err != nil || s.Values[0].Fault == nil || s.Values[0].Fault.Kind != drivers.OutOfRange || !strings.Contains(s.Values[0].Cause, says) || s.Values[1].Fault != nil {
				t.Errorf("fault bit %d: %+v, %v, want OutOfRange that says %q, and the junction", bits, s.Values, err, says)
			}
			if _, err := Driver.Open(t.Context(), site(bus)); err != nil {
				t.Errorf("fault bit %d: Open() = %v, want a probe all the same", bits, err)
			}
		}
		chip.Break(0)
		chip.SetWord(0x00011681) // check value M16
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil {
			t.Errorf("00011681: %+v, %v, want a Fault", s.Values, err)
		}
		chip.SetWord(0x064D1900)
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled {
			t.Errorf("fault without a cause: %+v, %v, want Garbled", s.Values, err)
		}
	})
}

// Asking ends the conversion that is under way. A driver that asked at once would have the first value for ever: the couple heats by 10 °C a round here.
func TestRead_neverFasterThanTheChip(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.SPI, chip *max31855test.Chip, p drivers.Probe) {
		for want := 100.0; want < 200; want += 10 {
			chip.Set(want, 25)
			s, err := p.Read(t.Context())
			if err != nil || math.Abs(s.Values[0].Value-want) > 0.3 {
				t.Errorf("Read() = %+v, %v, want %v °C", s.Values, err, want)
			}
			time.Sleep(10 * time.Millisecond) // on fake time: as a retry would come
		}
	})
}

func FuzzRead(f *testing.F) {
	f.Add(uint32(0x064C1900))
	f.Add(uint32(0xFFFFFFFF))
	f.Fuzz(func(t *testing.T, word uint32) {
		bus, chip := drivertest.NewSPI(), max31855test.New()
		bus.Put(line, chip)
		chip.SetWord(word)
		p := &probe{couple: couples["K"]}
		p.device, _ = drivers.NewSPIDevice(kind, site(bus), 0)
		s, err := p.Read(t.Context())
		if err != nil && drivers.KindOf(err) == 0 {
			t.Errorf("%08X: %v is no Fault", word, err)
		}
		for _, v := range s.Values {
			if v.Fault == nil && !(v.Value >= -200 && v.Value <= 1350) {
				t.Errorf("%08X: %+v", word, v)
			}
		}
	})
}
