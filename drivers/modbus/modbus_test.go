package modbus

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const unit = 7

func word(text string) phrase.Slot { return phrase.Slot{Given: true, Text: text} }

func number(n float64) phrase.Slot {
	return phrase.Slot{Given: true, Amount: units.Amount{Value: n, Quantity: units.Count}}
}

// register writes "register TABLE ADDRESS as FORM [swapped] [x SCALE] is CHANNEL"; a scale of "" is left out.
func register(table string, address int, form string, swapped bool, scale string, q units.Quantity, channel string) phrase.Line {
	x := phrase.Slot{}
	if scale != "" {
		a, err := units.Parse(scale, q)
		if err != nil {
			panic(err)
		}
		x = phrase.Slot{Given: true, Text: scale, Amount: a}
	}
	return phrase.Line{Key: "register", Slots: []phrase.Slot{word(table), number(float64(address)), word(form), {Given: swapped}, x, word(channel)}}
}

func contact(table string, address int, inverted bool, channel string) phrase.Line {
	return phrase.Line{Key: "contact", Slots: []phrase.Slot{word(table), number(float64(address)), {Given: inverted}, word(channel)}}
}

func site(line drivers.ModbusLine, lines phrase.Lines, gives ...drivers.Channel) drivers.Site {
	return drivers.Site{
		Bus:   drivers.Bus{Name: "tcp 192.0.2.20:502", Modbus: line},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{word("tcp 192.0.2.20:502"), word("192.0.2.20:502"), {}, number(unit)}},
		Lines: lines, Gives: gives,
	}
}

// noisy is a line whose answers are random words of the right count.
type noisy struct {
	*modbustest.Device
	noise *rand.Rand
}

func (n *noisy) Ask(ctx context.Context, unit uint8, table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	if n.noise == nil {
		return n.Device.Ask(ctx, unit, table, address, count, into)
	}
	for range count + uint16(n.noise.IntN(20)/19) {
		into = append(into, uint16(n.noise.Uint32()))
	}
	return into, nil
}

func bench() *drivertest.Bench {
	device := modbustest.New()
	line := &noisy{Device: device}
	device.SetInteger(unit, drivers.InputRegisters, 0, 1, 215)
	device.SetInteger(unit, drivers.InputRegisters, 1, 1, 480)
	device.SetFloat(unit, drivers.HoldingRegisters, 12, 750, true)
	set := map[string]func(float64){
		"temperature": func(v float64) {
			device.SetInteger(unit, drivers.InputRegisters, 0, 1, int64(math.Round(v*10)))
		},
		"humidity": func(v float64) {
			device.SetInteger(unit, drivers.InputRegisters, 1, 1, int64(math.Round(v*10)))
		},
		"power": func(v float64) { device.SetFloat(unit, drivers.HoldingRegisters, 12, float32(v), true) },
	}
	return &drivertest.Bench{
		Site: site(line, phrase.Lines{
			register("input", 0, "int16", false, "0.1 °C", units.Temperature, "temperature"),
			register("input", 1, "uint16", false, "0.1 %RH", units.Humidity, "humidity"),
			register("holding", 12, "float32", true, "1 W", units.Power, "power"),
		}),
		Truths: []drivertest.Truth{{Channel: "temperature", Low: -3000, High: 3000, Within: 0.0501}, {Channel: "humidity", Low: 0, High: 6000, Within: 0.0501},
			{Channel: "power", Low: -1e6, High: 1e6, Within: 0.04}},
		Set:       func(channel string, value float64) { set[channel](value) },
		Remove:    func() { device.Mute(true) },
		Restore:   func() { device.Mute(false); device.Garble(false) },
		Garble:    func() { device.Garble(true) },
		Exceed:    func() { device.Set(unit, drivers.InputRegisters, 0, 0x7FFF) },
		Noise:     func(r *rand.Rand) { line.noise = r },
		Fail:      device.Fail,
		Exchanges: device.Exchanges,
		Without:   map[string]string{"WrongPart": "Modbus devices have no identity in common; a wrong unit does not answer, a wrong table refuses"},
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

// RAW is one or two words as they stand in the device; CHANNEL names the form, "swapped" with it.
func TestNumber_vectors(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "modbus") {
		name, swapped := strings.CutSuffix(v.Channel, "-swapped")
		f, ok := forms[name]
		if !ok {
			t.Fatalf("no form %s", name)
		}
		words := []uint16{uint16(v.Raw)}
		if f.words == 2 {
			words = []uint16{uint16(v.Raw >> 16), uint16(v.Raw)}
		}
		got, err := f.number(words, swapped)
		if err != nil || !(math.Abs(got-v.Value) <= v.Within) {
			t.Errorf("%X as %s = %v, %v, want %v (%s)", v.Raw, v.Channel, got, err, v.Value, v.Source)
		}
	}
}

// Codes by which devices say that they have no value (measurement section 7), and the neighbours that are values.
func TestNumber_noValueCodes(t *testing.T) {
	const nan, infinity = 0x7FC00000, 0x7F800000
	tests := []struct {
		form    string
		raw     uint32
		refused bool
	}{
		{"int16", 0x7FFF, true}, {"int16", 0x8000, true}, {"int16", 0xFFFF, false}, {"int16", 0x7FFE, false}, {"int16", 0x8001, false},
		{"uint16", 0xFFFF, true}, {"uint16", 0x7FFF, false}, {"uint16", 0x8000, false}, {"uint16", 0xFFFE, false},
		{"int32", 0x7FFFFFFF, true}, {"int32", 0x80000000, true}, {"int32", 0xFFFFFFFF, false},
		{"uint32", 0xFFFFFFFF, true}, {"uint32", 0x80000000, false},
		{"float32", nan, true}, {"float32", infinity, true}, {"float32", 0xFF800000, true}, {"float32", 0, false}, {"float32", 0x80000000, false},
		{"float32", 0xE97942F6, true}, // 123.456 with its words swapped: -1.88e25
		{"float32", 0x42F6E979, false},
	}
	for _, test := range tests {
		f := forms[test.form]
		words := []uint16{uint16(test.raw)}
		if f.words == 2 {
			words = []uint16{uint16(test.raw >> 16), uint16(test.raw)}
		}
		if got, err := f.number(words, false); (err != nil) != test.refused {
			t.Errorf("%s %X = %v, %v, want refused %t", test.form, test.raw, got, err, test.refused)
		}
	}
}

// Exception codes become kinds that the reader can act on; only what may pass by itself is worth asking again.
func TestRead_exceptions(t *testing.T) {
	for code, want := range map[drivers.ModbusException]drivers.FaultKind{
		4: drivers.NotReady, 5: drivers.NotReady, 6: drivers.NotReady, 8: drivers.Garbled, 10: drivers.NoAnswer, 11: drivers.NoAnswer,
		1: drivers.Settings, 2: drivers.Settings, 3: drivers.Settings, 77: drivers.NotReady,
	} {
		device := modbustest.New()
		device.Set(unit, drivers.InputRegisters, 0, 215)
		p, err := Driver.Open(t.Context(), site(device, phrase.Lines{register("input", 0, "int16", false, "0.1 °C", units.Temperature, "temperature")}))
		if err != nil {
			t.Fatal(err)
		}
		device.Refuse(code)
		s, err := p.Read(t.Context())
		if err != nil || s.Values[0].Fault == nil || s.Values[0].Fault.Kind != want || s.Values[0].Quality != reading.Bad {
			t.Errorf("exception %d: %+v, %v, want Fault %s", code, s.Values, err, want)
		}
	}
}

// A refusal concerns its own channel: the others of the device are read.
func TestRead_oneRefusedChannel(t *testing.T) {
	device := modbustest.New()
	device.Set(unit, drivers.InputRegisters, 0, 215)
	device.Set(unit, drivers.InputRegisters, 1, 480)
	p, err := Driver.Open(t.Context(), site(device, phrase.Lines{
		register("input", 0, "int16", false, "0.1 °C", units.Temperature, "temperature"),
		register("input", 1, "uint16", false, "0.1 %RH", units.Humidity, "humidity"),
	}))
	if err != nil {
		t.Fatal(err)
	}
	device.Set(unit, drivers.InputRegisters, 0, 0x8000)
	s, err := p.Read(t.Context())
	if err != nil || s.Values[0].Fault == nil || s.Values[1].Value != 48 {
		t.Errorf("Read() = %+v, %v, want a Fault and 48 %%RH", s.Values, err)
	}
}

func TestOpen_findsWrongLines(t *testing.T) {
	device := modbustest.New()
	device.Set(unit, drivers.InputRegisters, 0, 215)
	device.SetFloat(unit, drivers.HoldingRegisters, 12, 123.456, true)
	tests := []struct {
		name string
		line phrase.Line
		want drivers.FaultKind
	}{
		{"address that is not there", register("input", 9, "int16", false, "", 0, "temperature"), drivers.Settings},
		{"the other table", register("holding", 0, "int16", false, "", 0, "temperature"), drivers.Settings},
		{"unknown form", register("input", 0, "int64", false, "", 0, "temperature"), drivers.Settings},
		{"last register as two", register("input", 65535, "int32", false, "", 0, "temperature"), drivers.Settings},
		{"short line", phrase.Line{Key: "register", Slots: []phrase.Slot{word("input")}}, drivers.Settings},
		{"no line", phrase.Line{Key: "note"}, drivers.Settings},
	}
	for _, test := range tests {
		if _, err := Driver.Open(t.Context(), site(device, phrase.Lines{test.line})); drivers.KindOf(err) != test.want {
			t.Errorf("%s: Open() = %v, want Fault %s", test.name, err, test.want)
		}
	}
	// Swapped words show as a value nothing measures, with the hint.
	p, err := Driver.Open(t.Context(), site(device, phrase.Lines{register("holding", 12, "float32", false, "1 W", units.Power, "power")}))
	if err != nil {
		t.Fatal(err)
	}
	if s, err := p.Read(t.Context()); err != nil || !strings.Contains(s.Values[0].Cause, "swapped") {
		t.Errorf("Read() = %+v, %v, want the hint that words are swapped", s.Values, err)
	}
}

func TestRead_scales(t *testing.T) {
	device := modbustest.New()
	device.SetInteger(unit, drivers.InputRegisters, 0, 1, 320)
	device.SetInteger(unit, drivers.InputRegisters, 1, 1, 2095)
	device.SetInteger(unit, drivers.InputRegisters, 2, 2, -70000)
	device.SetInteger(unit, drivers.InputRegisters, 4, 1, 1234)
	p, err := Driver.Open(t.Context(), site(device, phrase.Lines{
		register("input", 0, "int16", false, "0.1 °F", units.Temperature, "temperature"),
		register("input", 1, "uint16", false, "0.01 %", units.Concentration, "oxygen"),
		register("input", 2, "int32", false, "0.001 kg", units.Mass, "weight"),
		register("input", 4, "int16", false, "", 0, "pressure"),
	}, drivers.Channel{Name: "temperature", Quantity: units.Temperature}, drivers.Channel{Name: "oxygen", Quantity: units.Concentration},
		drivers.Channel{Name: "weight", Quantity: units.Mass}, drivers.Channel{Name: "pressure", Quantity: units.Pressure}))
	if err != nil {
		t.Fatal(err)
	}
	s, err := p.Read(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []units.Amount{{Value: 0, Quantity: units.Temperature}, {Value: 209500, Quantity: units.Concentration}, {Value: -70, Quantity: units.Mass}, {Value: 1234, Quantity: units.Pressure}} {
		if got := s.Values[i]; math.Abs(got.Value-want.Value) > 1e-9 || got.Quantity != want.Quantity {
			t.Errorf("%s = %v %s, want %v %s", got.Channel, got.Value, got.Quantity, want.Value, want.Quantity)
		}
	}
}

func TestRead_contacts(t *testing.T) {
	device := modbustest.New()
	device.Set(unit, drivers.Coils, 3, 1)
	device.Set(unit, drivers.DiscreteInputs, 3, 0)
	p, err := Driver.Open(t.Context(), site(device, phrase.Lines{contact("coil", 3, false, "fan"), contact("coil", 3, true, "idle"), contact("input", 3, false, "door"), contact("input", 3, true, "closed")}))
	if err != nil {
		t.Fatal(err)
	}
	s, err := p.Read(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{1, 0, 0, 1} {
		if v := s.Values[i]; v.Value != want || v.Quantity != units.State {
			t.Errorf("%s = %v, want %v", v.Channel, v.Value, want)
		}
	}
}

// The double's own numbers, against IEEE 754 as Go has it, so that the bench is not wrong in the same way as the driver.
func TestDouble_floats(t *testing.T) {
	for _, f := range []float32{0, 1, -1, 0.1, 123.456, -750.25, 1e-30, 3.4e38, float32(math.Pi)} {
		d := modbustest.New()
		d.SetFloat(1, drivers.InputRegisters, 0, f, false)
		words, err := d.Ask(t.Context(), 1, drivers.InputRegisters, 0, 2, nil)
		if got := uint32(words[0])<<16 | uint32(words[1]); err != nil || got != math.Float32bits(f) {
			t.Errorf("%v = %08X, %v, want %08X", f, got, err, math.Float32bits(f))
		}
	}
}

func TestRead_withoutAllocation(t *testing.T) {
	device := modbustest.New()
	device.Set(unit, drivers.InputRegisters, 0, 215)
	p, err := Driver.Open(t.Context(), site(device, phrase.Lines{register("input", 0, "int16", false, "0.1 °C", units.Temperature, "temperature")}))
	if err != nil {
		t.Fatal(err)
	}
	ctx := t.Context()
	if n := testing.AllocsPerRun(100, func() { _, err = p.Read(ctx) }); n != 0 || err != nil {
		t.Errorf("%v allocations a Read, %v, want 0", n, err)
	}
}

func ExampleDriver() {
	device := modbustest.New()
	device.SetInteger(unit, drivers.InputRegisters, 0, 1, -50)
	p, _ := Driver.Open(context.Background(), site(device, phrase.Lines{register("input", 0, "int16", false, "0.1 °C", units.Temperature, "temperature")}))
	s, _ := p.Read(context.Background())
	fmt.Println(p, s.Values[0].Value)
	// Output: modbus on tcp 192.0.2.20:502 unit 7 -5
}
