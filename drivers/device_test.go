package drivers

import (
	"errors"
	"io/fs"
	"math"
	"testing"
	"testing/fstest"
)

func FuzzKernelNumber(f *testing.F) {
	for _, s := range []string{"25000\n", "", "-1", "1e400", "0x10", "nan", "1\n2", "0.000100", "1_0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if v, err := KernelNumber(text); err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			t.Errorf("KernelNumber(%q) = %v", text, v)
		}
	})
}

func TestFindDevice(t *testing.T) {
	file := func(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text)} }
	link := func(to string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(to), Mode: fs.ModeSymlink} }
	tree := fstest.MapFS{"trigger0/type": file("x"), "hwmon0": link("devices/i2c-1/1-0048/hwmon0"), "hwmon1": link("devices/i2c-1/1-0049/hwmon1"),
		"devices/i2c-1/1-0048/hwmon0/name": file("lm75\n"), "devices/i2c-1/1-0049/hwmon1/name": file("lm75\n"), "hwmon2/name": file("cpu_thermal\n")}
	for _, test := range []struct {
		name, at, want string
		err            error
	}{{"cpu_thermal", "", "hwmon2", nil}, {"lm75", "1-0049", "hwmon1", nil}, {"lm75", "1-004", "", fs.ErrNotExist}, {"lm75", "", "", ErrAmbiguous}, {"none", "", "", fs.ErrNotExist}} {
		if got, err := FindDevice(tree, test.name, test.at); got != test.want || !errors.Is(err, test.err) {
			t.Errorf("FindDevice(%s, %s) = %q, %v, want %q, %v", test.name, test.at, got, err, test.want, test.err)
		}
	}
}
