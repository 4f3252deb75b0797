package hx711

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/hx711/hx711test"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
)

func site(tree drivers.Tree) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "iio", IIO: tree}, Place: phrase.Line{Key: "place", Slots: []phrase.Slot{drivertest.Word("iio")}}}
}

// twoPoints is a calibration of the double: empty, and with 100 kg.
var twoPoints = drivers.Calibration{Points: []drivers.CalibrationPoint{{True: 0, Raw: hx711test.Empty}, {True: 100, Raw: hx711test.Empty + 100*hx711test.PerKilogram}}}

// calibrating is the driver whose probes are calibrated as soon as they are open, as the gateway does it.
func calibrating() drivers.Driver {
	d := Driver
	d.Open = func(ctx context.Context, s drivers.Site) (drivers.Probe, error) {
		p, err := Driver.Open(ctx, s)
		if err != nil {
			return nil, err
		}
		_, err = p.(drivers.Calibrated).Calibrate(twoPoints)
		return p, err
	}
	return d
}

func bench() *drivertest.Bench {
	tree := hx711test.New()
	return &drivertest.Bench{
		Site:    site(tree),
		Truths:  []drivertest.Truth{{Channel: "mass", Low: 0, High: 20000, Within: 0.5 / hx711test.PerKilogram}},
		Set:     func(_ string, kg float64) { tree.Load(kg) },
		Remove:  func() { tree.Present(false) },
		Restore: func() { tree.Present(true); tree.Alter(nil) },
		Garble:  func() { tree.Alter(func(s string) string { return "x" + s[1:] }) },
		Exceed:  func() { tree.Load(20100) },
		Noise: func(r *rand.Rand) {
			if r == nil {
				tree.Alter(nil)
				return
			}
			tree.Alter(func(string) string {
				text := make([]byte, r.IntN(9))
				for i := range text {
					text[i] = "0123456789- \n\x00a"[r.IntN(15)]
				}
				return string(text)
			})
		},
		Fail:      tree.Fail,
		Exchanges: tree.Exchanges,
		Without:   map[string]string{"WrongPart": "it is found by its name"},
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: calibrating(), Bench: bench})
}

func open1(t *testing.T) (*hx711test.Tree, drivers.Probe) {
	t.Helper()
	tree := hx711test.New()
	p, err := Driver.Open(t.Context(), site(tree))
	if err != nil {
		t.Fatal(err)
	}
	return tree, p
}

// The kernel turns the sign bit over: a driver that takes its text for two's complement is 8,388,608 counts off.
func TestRead_wordsOfTheTable(t *testing.T) {
	tree, p := open1(t)
	for _, v := range drivertest.Vectors(t, "hx711") {
		tree.SetCounts(float64(int32(uint32(v.Raw)<<8) >> 8)) // the word of the chip, 24 bits of two's complement
		s, err := p.Read(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		got := s.Values[0]
		if saturated := v.Channel == "saturated"; saturated != (got.Fault.Kind == drivers.OutOfRange) || got.Raw != v.Value {
			t.Errorf("%06X: %+v, want %v counts, saturated %t (%s)", v.Raw, got, v.Value, saturated, v.Source)
		}
	}
}

// Counts are no kilograms.
func TestRead_uncalibrated(t *testing.T) {
	tree, p := open1(t)
	tree.Load(50)
	s, err := p.Read(t.Context())
	if err != nil || s.Values[0].Fault == nil || s.Values[0].Fault.Kind != drivers.NotReady || s.Values[0].Raw != hx711test.Empty+50*hx711test.PerKilogram {
		t.Errorf("Read() = %+v, %v, want NotReady with the counts", s.Values, err)
	}
}

func TestCalibrate_judges(t *testing.T) {
	tree, p := open1(t)
	c := p.(drivers.Calibrated)
	point := func(kg, raw float64) drivers.CalibrationPoint { return drivers.CalibrationPoint{True: kg, Raw: raw} }
	for name, points := range map[string][]drivers.CalibrationPoint{"none": nil, "one": {point(10, 5)}, "no change": {point(0, 5), point(10, 5)}, "no mass": {point(0, 5), point(0, 9)},
		"no number": {point(0, math.NaN()), point(10, 5)}, "endless": {point(0, 1), point(10, math.Inf(1))}} {
		if j, err := c.Calibrate(drivers.Calibration{Points: points}); drivers.KindOf(err) != drivers.Settings {
			t.Errorf("%s: Calibrate() = %+v, %v, want Settings", name, j, err)
		}
	}
	if s, _ := p.Read(t.Context()); s.Values[0].Fault == nil {
		t.Error("a refused calibration is in force")
	}
	if j, err := c.Calibrate(twoPoints); err != nil || j.Quality != reading.Good || math.Abs(j.Offset-hx711test.Empty) > 1e-6 {
		t.Errorf("two points: %+v, %v", j, err)
	}
	tree.Load(-0.5) // creep
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 0 || s.Values[0].Note == "" || s.Values[0].Quality != reading.Good {
		t.Errorf("half a kilogram below empty: %+v, %v, want 0 with a note", s.Values, err)
	}
	tree.Load(-5)
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil {
		t.Errorf("five kilograms below empty: %+v, %v, want a Fault", s.Values, err)
	}
	crookedPoints := append([]drivers.CalibrationPoint{point(50, hx711test.Empty+52*hx711test.PerKilogram)}, twoPoints.Points...)
	if j, err := c.Calibrate(drivers.Calibration{Points: crookedPoints}); err != nil || j.Quality != reading.Uncertain || j.Warning == "" {
		t.Errorf("a platform that touches: %+v, %v, want uncertain", j, err)
	}
	tree.Load(100)
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Quality != reading.Uncertain || s.Values[0].Cause == "" {
		t.Errorf("Read() = %+v, %v, want uncertain", s.Values, err)
	}
}

func TestRead_anotherNumber(t *testing.T) {
	tree, p := open1(t)
	tree.Renumber(4)
	if _, err := p.Read(t.Context()); err != nil {
		t.Errorf("the device has another number: %v, want it found", err)
	}
	tree.AddSecond()
	if _, err := Driver.Open(t.Context(), site(tree)); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("two of them: Open() = %v, want Settings", err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"8388608\n", "", "-1", "16777216", "0x10", "9999999999999999999999", "1\n2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if word, err := parse(text); err == nil && (word < 0 || word >= 1<<24) {
			t.Errorf("parse(%q) = %d", text, word)
		}
	})
}
