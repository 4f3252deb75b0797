package bus

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/ds18b20"
	"millwarden/internal/phrase"
)

func TestOpen_refuses(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "none")
	tests := []struct {
		kind drivers.BusKind
		name string
		says string
	}{
		{drivers.I2C, "spi-0", "named like i2c-1"},
		{drivers.I2C, "i2c-x", "named like i2c-1"},
		{drivers.I2C, "i2c-240", "i2c-240"}, // no board has so many; the system's own words follow
		{drivers.OneWire, "onewire", "1-wire"},
		{drivers.Modbus, "roastery-line", "needs its port"},
		{drivers.SPI, "i2c-1", "named like spi-1"},
		{drivers.GPIO, "gpiochip0", "gpiochip0"},
		{drivers.IIO, "iio", "industrial input"},
		{drivers.Radio, "broker", "no broker"},
		{"can", "can-0", "no kind of bus"},
	}
	for _, test := range tests {
		if opened, err := Open(test.kind, test.name, Options{OneWire: missing, IIO: missing, Devices: missing}); err == nil || !strings.Contains(err.Error(), test.says) {
			t.Errorf("Open(%s, %s) = %v, %v, want an error that says %q", test.kind, test.name, opened, err, test.says)
		}
	}
}

// Aim: the folder works as the kernel lays it out, where devices are symbolic links out of the folder. The text of w1_slave is check value M27.
func TestOneWire_throughTheKernelsLinks(t *testing.T) {
	sys := t.TempDir()
	devices, real := filepath.Join(sys, "bus/w1/devices"), filepath.Join(sys, "devices/w1_bus_master1/28-0316a2794bff")
	for _, dir := range []string{devices, real} {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	files := map[string]string{"resolution": "12\n", "w1_slave": "91 01 4b 46 7f ff 0f 10 25 : crc=25 YES\n91 01 4b 46 7f ff 0f 10 25 t=25062\n"}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(real, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("../../../devices/w1_bus_master1/28-0316a2794bff", filepath.Join(devices, "28-0316a2794bff")); err != nil {
		t.Fatal(err)
	}
	opened, err := Open(drivers.OneWire, "onewire", Options{OneWire: devices})
	if err != nil {
		t.Fatal(err)
	}
	defer opened.Close()
	site := drivers.Site{Bus: opened.Bus, Place: phrase.Line{Slots: []phrase.Slot{{Given: true, Text: "28-0316a2794bff"}}}}
	p, err := ds18b20.Driver.Open(t.Context(), site)
	if err != nil {
		t.Fatal(err)
	}
	s, err := p.Read(t.Context())
	if err != nil || s.Values[0].Value != 25.0625 {
		t.Errorf("Read() = %v, %v, want 25.0625 °C", s.Values, err)
	}
	if err := opened.OneWire.Write("28-0316a2794bff/resolution", []byte("9\n")); err != nil {
		t.Error(err)
	}
	if got, _ := os.ReadFile(filepath.Join(real, "resolution")); string(got) != "9\n" {
		t.Errorf("resolution = %q, want 9", got)
	}
	if err := opened.OneWire.Write("28-0316a2794bff/none", []byte("9\n")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("Write() to no file = %v, want that it does not exist: nothing may be created there", err)
	}
	for _, outside := range []string{"../../../secret", "/etc/hostname", "a/../../b"} {
		if _, err := opened.OneWire.Open(outside); !errors.Is(err, fs.ErrInvalid) {
			t.Errorf("Open(%q) = %v, want it refused", outside, err)
		}
		if err := opened.OneWire.Write(outside, nil); !errors.Is(err, fs.ErrInvalid) {
			t.Errorf("Write(%q) = %v, want it refused", outside, err)
		}
	}
}
