package ds18b20

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/ds18b20/ds18b20test"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/onewire"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const id = "28-0316a2794bff"

func site(tree drivers.Tree, id string, bits float64) drivers.Site {
	return drivers.Site{
		Bus:   drivers.Bus{Name: "onewire", OneWire: tree},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{{Given: true, Text: id}}},
		Lines: phrase.Lines{{Key: "bits", Slots: []phrase.Slot{{Amount: units.Amount{Value: bits, Quantity: units.Count}}}}},
		Gives: []drivers.Channel{{Name: "temperature", Quantity: units.Temperature}},
	}
}

func bench() *drivertest.Bench {
	tree := ds18b20test.NewTree()
	part := tree.Add(id)
	return &drivertest.Bench{
		Site:    site(tree, id, 12),
		Truths:  []drivertest.Truth{{Channel: "temperature", Low: -55, High: 125, Within: 1.0 / 32}}, // half a step of 1/16 °C [table 1]
		Set:     func(_ string, value float64) { part.Set(value) },
		Remove:  func() { tree.Remove(id) },
		Restore: func() { tree.Rewrite(nil); part = readd(tree, part) },
		Garble:  func() { part.FlipBit(3) },
		Exceed:  func() { part.Set(125.5) },
		Noise: func(r *rand.Rand) {
			if r == nil {
				tree.Rewrite(nil)
				return
			}
			tree.Rewrite(func(_, text string) string { return scramble(r, text) })
		},
		Fail:      tree.Fail,
		Exchanges: tree.Exchanges,
		Without:   map[string]string{"WrongPart": "the kernel knows the family by the id; TestOpen_otherFamily"},
	}
}

// readd puts a part back if it is gone; it comes back as a part that was never away.
func readd(tree *ds18b20test.Tree, part *ds18b20test.Part) *ds18b20test.Part {
	part.Restore()
	return tree.Add(id)
}

// scramble writes random bytes of the scratchpad half of the time, and random text otherwise.
func scramble(r *rand.Rand, text string) string {
	if r.IntN(2) == 0 {
		b := []byte(text)
		for range 1 + r.IntN(8) {
			b[r.IntN(len(b))] = byte(r.Uint32())
		}
		return string(b[:r.IntN(len(b)+1)])
	}
	var pad [9]byte
	for i := range pad {
		pad[i] = byte(r.Uint32())
	}
	if r.IntN(2) == 0 {
		pad[8] = onewire.Checksum(pad[:8])
	}
	return fmt.Sprintf("% x : crc=%02x YES\n% x t=0\n", pad[:], pad[8], pad[:])
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func open12(t *testing.T) (*ds18b20test.Tree, *ds18b20test.Part, drivers.Probe) {
	t.Helper()
	tree := ds18b20test.NewTree()
	part := tree.Add(id)
	p, err := Driver.Open(t.Context(), site(tree, id, 12))
	if err != nil {
		t.Fatal(err)
	}
	return tree, part, p
}

// text opens a probe on a tree that shows this text, and reads once.
func text(t *testing.T, w1 string) (drivers.Sample, error) {
	t.Helper()
	tree, _, p := open12(t)
	tree.Rewrite(func(string, string) string { return w1 })
	return p.Read(t.Context())
}

// lines are the two lines of w1_slave for a scratchpad in hex, as the kernel writes them.
func lines(pad, verdict, second string) string {
	return pad + " : crc=" + pad[len(pad)-2:] + " " + verdict + "\n" + second + "\n"
}

// The datasheet's table 1, register by register. RAW is the register; the checksum is this test's.
func TestRead_datasheetTable(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "ds18b20") {
		pad := []byte{byte(v.Raw), byte(v.Raw >> 8), 0x4B, 0x46, 0x7F, 0xFF, 0x00, 0x10, 0}
		pad[8] = onewire.Checksum(pad[:8])
		s, err := text(t, lines(strings.ToLower(fmt.Sprintf("% x", pad)), "YES", "irrelevant t=1"))
		if err != nil {
			t.Errorf("%04X: %v", v.Raw, err)
			continue
		}
		if got := s.Values[0].Value; got != v.Value {
			t.Errorf("%04X = %v °C, want %v (%s)", v.Raw, got, v.Value, v.Source)
		}
	}
}

// Check values M27 to M31 of the measurement tables: whole scratchpads with their checksums.
func TestRead_scratchpads(t *testing.T) {
	tests := []struct {
		name, text string
		want       float64
		kind       drivers.FaultKind
		quality    reading.Quality
	}{
		{"M27 good", lines("91 01 4b 46 7f ff 0f 10 25", "YES", "91 01 4b 46 7f ff 0f 10 25 t=25062"), 25.0625, 0, reading.Good},
		{"M28 power-on value, marked", lines("50 05 4b 46 7f ff 0c 10 1c", "YES", "50 05 4b 46 7f ff 0c 10 1c t=85000"), 0, drivers.NotReady, 0},
		{"M29 the same value, not marked", lines("50 05 4b 46 7f ff 10 10 bd", "YES", "50 05 4b 46 7f ff 10 10 bd t=85000"), 85, 0, reading.Uncertain},
		{"M30 all zero, checksum right", lines("00 00 00 00 00 00 00 00 00", "YES", "00 00 00 00 00 00 00 00 00 t=0"), 0, drivers.Garbled, 0},
		{"M31 NO, and the old value on line 2", lines("91 01 4b 46 7f ff 0f 10 26", "NO", "72 01 4b 46 7f ff 0e 10 57 t=23125"), 0, drivers.Garbled, 0},
		{"NO though the checksum is right", lines("91 01 4b 46 7f ff 0f 10 25", "NO", "91 01 4b 46 7f ff 0f 10 25 t=25062"), 0, drivers.Garbled, 0},
		{"YES though the checksum is wrong", lines("90 01 4b 46 7f ff 0f 10 25", "YES", "90 01 4b 46 7f ff 0f 10 25 t=25000"), 0, drivers.Garbled, 0},
		{"nothing drives the bus", lines("ff ff ff ff ff ff ff ff ff", "NO", "91 01 4b 46 7f ff 0f 10 25 t=25062"), 0, drivers.NoAnswer, 0},
		{"empty", "", 0, drivers.NoAnswer, 0},
		{"half a line", "91 01 4b", 0, drivers.Garbled, 0},
		{"no hex", lines("zz 01 4b 46 7f ff 0f 10 25", "YES", ""), 0, drivers.Garbled, 0},
	}
	for _, test := range tests {
		s, err := text(t, test.text)
		if drivers.KindOf(err) != test.kind || test.kind == 0 && err != nil {
			t.Errorf("%s: Read() = %v, %v, want Fault %v", test.name, s.Values, err, test.kind)
			continue
		}
		if err == nil && (s.Values[0].Value != test.want || s.Values[0].Quality != test.quality) {
			t.Errorf("%s: Read() = %v %s, want %v %s", test.name, s.Values[0].Value, s.Values[0].Quality, test.want, test.quality)
		}
	}
}

// 127.94 °C is beyond the range; with the mark it is told apart as a lost supply.
func TestRead_lowPowerValue(t *testing.T) {
	for mark, want := range map[byte]drivers.FaultKind{0x0C: drivers.NotReady, 0x01: drivers.OutOfRange} {
		pad := []byte{0xFF, 0x07, 0x4B, 0x46, 0x7F, 0xFF, mark, 0x10, 0}
		pad[8] = onewire.Checksum(pad[:8])
		if _, err := text(t, lines(fmt.Sprintf("% x", pad), "YES", "")); drivers.KindOf(err) != want {
			t.Errorf("byte 6 = %02X: %v, want %s", mark, err, want)
		}
	}
}

// A dryer that truly reaches 85 °C is seen all the way; a probe that lost its supply in cool air is not believed.
func TestRead_true85AndFalse85(t *testing.T) {
	_, part, p := open12(t)
	for _, celsius := range []float64{60, 75, 81, 84, 85, 85, 86} {
		part.Set(celsius)
		s, err := p.Read(t.Context())
		if err != nil || s.Values[0].Value != celsius || s.Values[0].Quality != reading.Good {
			t.Errorf("rising through %v: Read() = %+v, %v, want it good", celsius, s.Values, err)
		}
	}
	part.Set(25)
	if _, err := p.Read(t.Context()); err != nil {
		t.Fatal(err)
	}
	part.LoseSupply(false)
	if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
		t.Errorf("lost its supply: Read() = %+v, %v, want Fault NotReady", s.Values, err)
	}
	part.LoseSupply(true) // a clone shows no mark
	for range 2 {         // and must not talk itself into it
		s, err := p.Read(t.Context())
		if err != nil || s.Values[0].Value != 85 || s.Values[0].Quality != reading.Uncertain {
			t.Errorf("a clone lost its supply: Read() = %+v, %v, want 85 °C uncertain", s.Values, err)
		}
	}
}

// Lower resolutions leave the low bits undefined; the double leaves them set.
func TestRead_masksUndefinedBits(t *testing.T) {
	for bits, step := range map[float64]float64{9: 0.5, 10: 0.25, 11: 0.125, 12: 0.0625} { // [table 2]
		tree := ds18b20test.NewTree()
		part := tree.Add(id)
		p, err := Driver.Open(t.Context(), site(tree, id, bits))
		if err != nil {
			t.Fatal(err)
		}
		part.Set(23.3)
		s, err := p.Read(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		got := s.Values[0].Value
		if math.Mod(got, step) != 0 || math.Abs(got-23.3) > step {
			t.Errorf("%v bits: %v °C, want a multiple of %v near 23.3", bits, got, step)
		}
	}
}

func TestOpen_otherFamily(t *testing.T) {
	tree := ds18b20test.NewTree()
	tree.Add("10-000802b4635f")
	if _, err := Driver.Open(t.Context(), site(tree, "10-000802b4635f", 12)); drivers.KindOf(err) != drivers.WrongPart {
		t.Errorf("Open() of a family 10 part = %v, want WrongPart: its register counts in half degrees", err)
	}
}

func TestOpen_cloneThatIgnoresItsBits(t *testing.T) {
	tree := ds18b20test.NewTree()
	tree.Add(id).FixBits()
	if _, err := Driver.Open(t.Context(), site(tree, id, 9)); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("Open() = %v, want Settings", err)
	}
}

func TestOpen_pathsStayInside(t *testing.T) {
	for _, bad := range []string{"28-../../etc", "28-a/b", "28-\x00/.."} {
		if _, err := Driver.Open(t.Context(), site(ds18b20test.NewTree(), bad, 12)); err == nil {
			t.Errorf("Open(%q) worked", bad)
		}
	}
}

// An old kernel has no file for the resolution.
func TestOpen_oldKernel(t *testing.T) {
	tree := oldTree{fstest.MapFS{id + "/w1_slave": &fstest.MapFile{Data: []byte(lines("91 01 4b 46 7f ff 0f 10 25", "YES", "t=25062"))}}}
	p, err := Driver.Open(t.Context(), site(tree, id, 12))
	if err != nil {
		t.Fatal(err)
	}
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 25.0625 {
		t.Errorf("Read() = %v, %v, want 25.0625", s.Values, err)
	}
	if _, err := Driver.Open(t.Context(), site(tree, id, 10)); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("Open() with 10 bits = %v, want Settings", err)
	}
}

type oldTree struct{ fstest.MapFS }

func (oldTree) Write(string, []byte) error { return errors.ErrUnsupported }

// A conversion takes its time in the kernel; the double's does too, on fake time.
func TestRead_takesOneConversion(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		tree, _, p := open12(t)
		tree.Conversion = 750 * time.Millisecond // [table 2]
		begin := time.Now()
		if _, err := p.Read(t.Context()); err != nil {
			t.Fatal(err)
		}
		if took := time.Since(begin); took != 750*time.Millisecond {
			t.Errorf("Read() took %s, want one conversion", took)
		}
	})
}

func FuzzRead(f *testing.F) {
	f.Add(lines("91 01 4b 46 7f ff 0f 10 25", "YES", "91 01 4b 46 7f ff 0f 10 25 t=25062"))
	f.Add(lines("50 05 4b 46 7f ff 0c 10 1c", "YES", ""))
	f.Add("")
	f.Fuzz(func(t *testing.T, w1 string) {
		s, err := text(t, w1)
		if err != nil {
			if drivers.KindOf(err) == 0 {
				t.Errorf("Read() = %v, want a Fault", err)
			}
			return
		}
		if v := s.Values[0].Value; !(v >= -55 && v <= 125) {
			t.Errorf("Read() = %v °C", v)
		}
	})
}
