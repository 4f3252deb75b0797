package iio

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/iio/iiotest"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

func site(tree drivers.Tree, device, at string, inputs ...string) drivers.Site {
	s := drivers.Site{Bus: drivers.Bus{Name: "iio", IIO: tree},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{drivertest.Word("iio"), drivertest.Word(device), {Given: at != "", Text: at}}}}
	for _, in := range inputs {
		s.Lines = append(s.Lines, phrase.Line{Key: "input", Slots: []phrase.Slot{drivertest.Word(in), {}, drivertest.Word(in)}})
	}
	return s
}

func bench() *drivertest.Bench {
	board := iiotest.New()
	return &drivertest.Bench{
		Site: site(board, "bme280", "", "in_temp", "in_humidityrelative", "in_pressure"),
		Truths: []drivertest.Truth{{Channel: "in_temp", Low: -40, High: 85, Within: 0.0005}, {Channel: "in_humidityrelative", Low: 0, High: 100, Within: 0.0005},
			{Channel: "in_pressure", Low: 30, High: 110, Within: 1e-6}},
		Set: func(channel string, value float64) {
			board.SetAir(map[string]string{"in_temp": "temperature", "in_humidityrelative": "humidity", "in_pressure": "pressure"}[channel], value)
		},
		Remove:  board.Unplug,
		Restore: func() { board.Plug(); board.Alter(nil) },
		Garble:  func() { board.Alter(func(_, text string) string { return "x" + text[1:] }) },
		Exceed:  func() { board.SetAir("temperature", 99999) },
		Noise: func(r *rand.Rand) {
			if r == nil {
				board.Alter(nil)
				return
			}
			board.Alter(func(string, string) string {
				text := make([]byte, r.IntN(9))
				for i := range text {
					text[i] = "0123456789-.e \n\x00a"[r.IntN(17)]
				}
				return string(text)
			})
		},
		Fail:      board.Fail,
		Exchanges: board.Exchanges,
		Without:   map[string]string{"WrongPart": "it is found by its name"},
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

// A driver that takes the kernel's concentration for ppm reads 0.05 ppm in a room of 500.
func TestRead_unitsOfTheKernel(t *testing.T) {
	for _, v := range drivertest.Vectors(t, kind) {
		tree := drivertest.NewTree()
		tree.Put("iio:device0/name", "thing\n")
		tree.Put("iio:device0/"+v.Channel+"_input", strconv.FormatUint(v.Raw, 10)+"\n")
		p, err := Driver.Open(t.Context(), site(tree, "thing", "", v.Channel))
		if err != nil {
			t.Fatal(err)
		}
		if s, err := p.Read(t.Context()); err != nil || math.Abs(s.Values[0].Value-v.Value) > 1e-9*v.Value {
			t.Errorf("%s of %d: %+v, %v, want %v (%s)", v.Channel, v.Raw, s.Values, err, v.Value, v.Source)
		}
	}
}

func TestRead_rawOffsetScale(t *testing.T) {
	board := iiotest.New()
	for _, test := range []struct {
		device, at, input string
		want, within      float64
	}{
		{"scd4x", "", "in_concentration_co2", 500, 1e-9}, // check value M35: 01F4h
		{"scd4x", "1-0062", "in_temp", 25, 0.002},        // check value M35: 6667h, in the kernel's raw, offset and scale
		{"ads1015", "1-0048", "in_voltage0", 2, 1e-9},    // a scale of its own
		{"ads1015", "1-0049", "in_voltage0", 4, 1e-9},
		{"ads1015", "1-0048", "in_voltage1", -0.021, 1e-9}, // the scale that all share
	} {
		p, err := Driver.Open(t.Context(), site(board, test.device, test.at, test.input))
		if err != nil {
			t.Fatal(err)
		}
		if s, err := p.Read(t.Context()); err != nil || math.Abs(s.Values[0].Value-test.want) > test.within {
			t.Errorf("%s %s of %s: %+v, %v, want %v", test.device, test.at, test.input, s.Values, err, test.want)
		}
	}
}

// Numbers change between starts; two of one name are told apart by their path, and never by order.
func TestOpen_byNameAndPath(t *testing.T) {
	board := iiotest.New()
	if _, err := Driver.Open(t.Context(), site(board, "ads1015", "", "in_voltage0")); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("two of one name: Open() = %v, want Settings", err)
	}
	if _, err := Driver.Open(t.Context(), site(board, "ads1015", "1-004a", "in_voltage0")); drivers.KindOf(err) != drivers.NoAnswer {
		t.Errorf("no such path: Open() = %v, want NoAnswer", err)
	}
	p, err := Driver.Open(t.Context(), site(board, "bme280", "", "in_temp"))
	if err != nil {
		t.Fatal(err)
	}
	board.Renumber(9)
	board.SetAir("temperature", 31)
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 31 {
		t.Errorf("after another number: %+v, %v, want 31", s.Values, err)
	}
}

func TestOpen_refusesWhatItDoesNotUnderstand(t *testing.T) {
	board := iiotest.New()
	for _, name := range []string{"in_accel_x", "temp", "in_temp/../../x", ""} {
		if _, err := Driver.Open(t.Context(), site(board, "bme280", "", name)); drivers.KindOf(err) != drivers.Settings {
			t.Errorf("input %q: Open() = %v, want Settings", name, err)
		}
	}
	wrong := site(board, "bme280", "", "in_temp")
	wrong.Gives = []drivers.Channel{{Name: "in_temp", Quantity: units.Humidity}}
	if _, err := Driver.Open(t.Context(), wrong); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("a temperature for a humidity: Open() = %v, want Settings", err)
	}
	if _, err := Driver.Open(t.Context(), site(board, "bme280", "")); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("no input: Open() = %v, want Settings", err)
	}
}
