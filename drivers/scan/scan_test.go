package scan

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/fstest"

	"millwarden/drivers/ads1115/ads1115test"
	"millwarden/drivers/bme280/bme280test"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/hwmon/hwmontest"
	"millwarden/drivers/iio/iiotest"
	"millwarden/drivers/lm75/lm75test"
	"millwarden/drivers/mcp9600/mcp9600test"
	"millwarden/drivers/scd4x/scd4xtest"
	"millwarden/drivers/sht3x/sht3xtest"
	"millwarden/drivers/sht4x/sht4xtest"
)

// spy is a bus with the doubles, which notes what is sent to whom.
type spy struct {
	*drivertest.I2C
	held map[uint16]bool
	sent map[uint16][][]byte
}

func (s *spy) Try(address uint16) error {
	if s.held[address] {
		return ErrHeld
	}
	return s.I2C.Tx(address, nil, nil)
}

func (s *spy) Tx(address uint16, w, r []byte) error {
	if len(w) > 0 {
		s.sent[address] = append(s.sent[address], append([]byte(nil), w...))
	}
	return s.I2C.Tx(address, w, r)
}

// multiplexer keeps one byte and gives it again and again; a written byte opens branches.
type multiplexer struct{ branches byte }

func (m *multiplexer) Tx(w, r []byte) error {
	if len(w) > 0 {
		m.branches = w[len(w)-1]
	}
	for i := range r {
		r[i] = m.branches
	}
	return nil
}

// memory answers everything.
type memory struct{}

func (memory) Tx(_, _ []byte) error { return nil }

func wires() *spy {
	bus := drivertest.NewI2C("i2c-1")
	for address, chip := range map[uint16]drivertest.Chip{0x20: memory{}, 0x44: sht4xtest.New(), 0x45: sht3xtest.New(), 0x48: ads1115test.New(), 0x49: lm75test.New(lm75test.TMP102),
		0x4c: lm75test.New(lm75test.LM75), 0x50: memory{}, 0x62: scd4xtest.New(), 0x67: mcp9600test.New(), 0x70: &multiplexer{}, 0x76: bme280test.New(bme280test.Example), 0x77: &multiplexer{},
		0x1e: memory{}, 0x4a: ads1115test.New()} {
		bus.Put(address, chip)
	}
	return &spy{I2C: bus, held: map[uint16]bool{0x68: true}, sent: map[uint16][][]byte{}}
}

func place(list []Found, bus, at string) Found {
	for _, f := range list {
		if f.Bus == bus && f.Place == at {
			return f
		}
	}
	return Found{}
}

func TestRun_names(t *testing.T) {
	s := wires()
	list, err := Run(t.Context(), Host{I2C: []I2CBus{{"i2c-1", s}}, Known: func(_, place string) string { return map[string]string{"0x4a": "tank-1-electrode"}[place] }})
	if err != nil {
		t.Fatal(err)
	}
	for at, want := range map[string]struct {
		part string
		sure Sure
		left bool
	}{
		"0x44": {"sht4x", Certain, false}, "0x45": {"sht3x", Possible, false}, "0x48": {"ads1115", Probable, false}, "0x49": {"tmp102", Probable, false},
		"0x4c": {"lm75", Probable, false}, "0x62": {"scd4x", Possible, true}, "0x67": {"mcp9600", Possible, true}, "0x76": {"bme280", Certain, false},
		"0x77": {"bme280", Possible, true}, "0x20": {"", Unknown, true}, "0x50": {"", Unknown, true}, "0x70": {"", Unknown, true}, "0x68": {"", Unknown, true}, "0x1e": {"", Unknown, true},
		"0x4a": {"", Certain, true},
	} {
		f := place(list, "i2c-1", at)
		if strings.Join(f.Parts[:min(1, len(f.Parts))], "") != want.part || f.Sure != want.sure || (f.Left != "") != want.left || f.Why == "" {
			t.Errorf("%s: %+v, want part %q, %s, left alone %t", at, f, want.part, want.sure, want.left)
		}
		if want.part != "" && !strings.Contains(f.Block, "part            "+want.part+" on i2c-1 at "+at+"\n") {
			t.Errorf("%s: block is %q", at, f.Block)
		}
	}
	if len(list) != 15 {
		t.Errorf("%d things were found, want 15: %+v", len(list), list)
	}
}

// Nothing is sent where a byte could be a command, to what is unknown, or to what the gateway reads; and what is sent is the number of a register.
func TestRun_onlyReads(t *testing.T) {
	s := wires()
	if _, err := Run(t.Context(), Host{I2C: []I2CBus{{"i2c-1", s}}, Known: func(_, place string) string { return map[string]string{"0x4a": "x"}[place] }}); err != nil {
		t.Fatal(err)
	}
	allowed := map[uint16]string{0x44: "\x89", 0x45: "\x89", 0x48: "\x00\x01\x02\x03", 0x49: "\x00\x01\x02\x03", 0x4c: "\x00\x01\x02\x03", 0x76: "\xd0"}
	for address, sent := range s.sent {
		for _, w := range sent {
			if len(w) != 1 || !strings.Contains(allowed[address], string(w)) {
				t.Errorf("0x%02x was sent % X", address, w)
			}
		}
	}
	if len(s.sent) != len(allowed) {
		t.Errorf("bytes were sent to %d addresses, want %d: the spy sees too little", len(s.sent), len(allowed))
	}
}

func TestRun_theKernelsDevices(t *testing.T) {
	oneWire := fstest.MapFS{"28-0316a2794bff/w1_slave": {}, "28-0316a279510a/w1_slave": {}, "00-800000000000/id": {}, "10-000801020304/id": {}, "w1_bus_master1/name": {}}
	devices := fstest.MapFS{"spidev0.1": {}, "gpiochip0": {}, "ttyUSB0": {}, "tty1": {}, "null": {}}
	board := iiotest.New()
	board.Put("iio:device9/name", "hx711\n")
	board.Put("iio:device9/in_voltage0_raw", "5\n")
	list, err := Run(t.Context(), Host{OneWire: oneWire, IIO: board, HWMon: hwmontest.New(), Devices: devices,
		Known: func(_, place string) string { return map[string]string{"28-0316a279510a": "tank-2-thermometer"}[place] },
		Station: func(point string) string {
			return map[string]string{"temperature": "tank-3", "weight": "dryer-1"}[point]
		}})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		bus, place, block string
		sure              Sure
	}{
		{"onewire", "28-0316a2794bff", "part            ds18b20 28-0316a2794bff\n    gives           temperature at tank-3\n", Certain}, {"onewire", "28-0316a279510a", "", Certain},
		{"onewire", "00-800000000000", "", Unknown}, {"onewire", "10-000801020304", "", Unknown},
		{"iio", "ads1015 1-0048", "device ads1015 at 1-0048\n    input           in_voltage0 x 0.001 V is voltage\n", Certain},
		{"iio", "hx711", "part            hx711 on iio\n    gives           weight at dryer-1\n", Certain},
		{"hwmon", "lm75 1-0049", "part            hwmon on hwmon device lm75 at 1-0049\n    input           temp1 x 0.001 °C is temperature\n    gives           temperature at tank-3 as temperature\n", Certain},
		{"spi-0", "select 1", "part            max31855 on spi-0 select 1\n", Unknown}, {"gpiochip0", "lines", "", Unknown}, {"serial", "/dev/ttyUSB0", "bus new-line is serial", Unknown},
	} {
		f := place(list, want.bus, want.place)
		if f.Sure != want.sure || !strings.Contains(f.Block, want.block) || want.block == "" && f.Block != "" {
			t.Errorf("%s %s: %+v, want %s and a block with %q", want.bus, want.place, f, want.sure, want.block)
		}
	}
}

func TestRun_ends(t *testing.T) {
	over, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Run(over, Host{I2C: []I2CBus{{"i2c-1", wires()}}}); !errors.Is(err, context.Canceled) {
		t.Errorf("Run() after the end = %v", err)
	}
	if list, err := Run(t.Context(), Host{}); err != nil || len(list) != 0 {
		t.Errorf("Run() of a board without buses = %+v, %v", list, err)
	}
}
