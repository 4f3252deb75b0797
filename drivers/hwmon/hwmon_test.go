package hwmon

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/hwmon/hwmontest"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

func site(tree drivers.Tree, device, at string, inputs ...string) drivers.Site {
	s := drivers.Site{Bus: drivers.Bus{Name: "hwmon", HWMon: tree},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{drivertest.Word("hwmon"), drivertest.Word(device), {Given: at != "", Text: at}}}}
	for _, in := range inputs {
		s.Lines = append(s.Lines, phrase.Line{Key: "input", Slots: []phrase.Slot{drivertest.Word(in), {}, drivertest.Word(in)}})
	}
	return s
}

func bench() *drivertest.Bench {
	board := hwmontest.New()
	return &drivertest.Bench{
		Site:    site(board, "sht4x", "", "temp1", "humidity1"),
		Truths:  []drivertest.Truth{{Channel: "temp1", Low: -40, High: 125, Within: 0.0005}, {Channel: "humidity1", Low: 0, High: 100, Within: 0.0005}},
		Set:     board.Set,
		Remove:  board.Unplug,
		Restore: func() { board.Plug(); board.Alter(nil) },
		Garble:  func() { board.Alter(func(_, text string) string { return "x" + text[1:] }) },
		Exceed:  func() { board.Set("temp1", 99999) },
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

func TestRead_unitsOfTheKernel(t *testing.T) {
	for _, v := range drivertest.Vectors(t, kind) {
		tree := drivertest.NewTree()
		tree.Put("hwmon0/name", "thing\n")
		tree.Put("hwmon0/"+v.Channel+"_input", strconv.FormatUint(v.Raw, 10)+"\n")
		p, err := Driver.Open(t.Context(), site(tree, "thing", "", v.Channel))
		if err != nil {
			t.Fatal(err)
		}
		if s, err := p.Read(t.Context()); err != nil || math.Abs(s.Values[0].Value-v.Value) > 1e-9*v.Value {
			t.Errorf("%s of %d: %+v, %v, want %v (%s)", v.Channel, v.Raw, s.Values, err, v.Value, v.Source)
		}
	}
}

// A chip keeps a number for a sensor that is off, and says so beside it.
func TestRead_sensorThatIsOff(t *testing.T) {
	board := hwmontest.New()
	p, err := Driver.Open(t.Context(), site(board, "sht4x", "", "temp1", "humidity1"))
	if err != nil {
		t.Fatal(err)
	}
	board.Break("temp1", true)
	s, err := p.Read(t.Context())
	if err != nil || s.Values[0].Fault == nil || s.Values[0].Fault.Kind != drivers.OutOfRange || s.Values[1].Value != 50 {
		t.Errorf("Read() = %+v, %v, want OutOfRange, and the humidity", s.Values, err)
	}
	board.Break("temp1", false)
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 20 {
		t.Errorf("Read() = %+v, %v, want 20", s.Values, err)
	}
}

// Numbers change between starts; two of one name are told apart by their path, and never by order.
func TestOpen_byNameAndPath(t *testing.T) {
	board := hwmontest.New()
	if _, err := Driver.Open(t.Context(), site(board, "lm75", "", "temp1")); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("two of one name: Open() = %v, want Settings", err)
	}
	for at, want := range map[string]float64{"1-0048": 26.5, "1-0049": 27.5} {
		p, err := Driver.Open(t.Context(), site(board, "lm75", at, "temp1"))
		if err != nil {
			t.Fatal(err)
		}
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != want {
			t.Errorf("%s at %s: %+v, %v, want %v", p, at, s.Values, err, want)
		}
	}
	p, err := Driver.Open(t.Context(), site(board, "sht4x", "", "temp1"))
	if err != nil {
		t.Fatal(err)
	}
	board.Renumber(9)
	board.Set("temp1", 31)
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 31 {
		t.Errorf("after another number: %+v, %v, want 31", s.Values, err)
	}
}

func TestOpen_refusesWhatItDoesNotUnderstand(t *testing.T) {
	board := hwmontest.New()
	for _, name := range []string{"beep1", "temp", "temp1/../../x", "intrusion0", ""} {
		if _, err := Driver.Open(t.Context(), site(board, "sht4x", "", name)); drivers.KindOf(err) != drivers.Settings {
			t.Errorf("input %q: Open() = %v, want Settings", name, err)
		}
	}
	wrong := site(board, "sht4x", "", "temp1")
	wrong.Gives = []drivers.Channel{{Name: "temp1", Quantity: units.Humidity}}
	if _, err := Driver.Open(t.Context(), wrong); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("a temperature for a humidity: Open() = %v, want Settings", err)
	}
}
