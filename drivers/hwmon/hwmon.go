// Package hwmon reads what the Linux kernel's drivers of hardware monitoring chips show: any chip by its name, each of its inputs as a channel. The
// board's own temperature stands there too.
//
// Source: Linux kernel documentation, hwmon/sysfs-interface: files tempN_input m°C, humidityN_input m%, inN_input mV, currN_input mA, powerN_input µW,
// fanN_input rpm; where a file _fault is there and says 1, the value is none.
//
// Some chips give a thermistor's voltage in mV as a temperature; the kernel's page of such a chip says so.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package hwmon

import (
	"errors"
	"io/fs"
	"strings"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "hwmon"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.HWMon, Declares: declares, Open: class.Open}

const declares = `part hwmon
    place on HWMON device PATH [at PATH]
    phrase input* PATH [x AMOUNT] is CHANNEL
    needs input
    reads each input
`

var class = &drivers.KernelClass{
	Kind:    kind,
	Tree:    func(b drivers.Bus) drivers.Tree { return b.HWMon },
	Missing: "needs the kernel's hardware monitoring and a name",
	Known:   "temp1, humidity1, in0, curr1, power1, fan1 and so on",
	Is:      is,
	Number:  number,
	Inputs:  inputs,
}

// inputs by the beginning of their name. The bounds are chosen: wider than any part for mills.
var inputs = []drivers.KernelInput{
	{Prefix: "temp", Quantity: units.Temperature, Factor: 1e-3, Least: -273.15, Greatest: 2500},
	{Prefix: "humidity", Quantity: units.Humidity, Factor: 1e-3, Least: 0, Greatest: 100},
	{Prefix: "in", Quantity: units.Voltage, Factor: 1e-3, Least: -1000, Greatest: 1000},
	{Prefix: "curr", Quantity: units.Current, Factor: 1e-3, Least: -100, Greatest: 100},
	{Prefix: "power", Quantity: units.Power, Factor: 1e-6, Least: -1e6, Greatest: 1e6},
	{Prefix: "fan", Quantity: units.Rotation, Factor: 1, Least: 0, Greatest: 1e6},
}

// is holds for a prefix with a number, so for no path either.
func is(name, prefix string) bool {
	return strings.TrimRight(name, "0123456789") == prefix && name != prefix
}

// number is the value in the kernel's unit, unless the chip says that it is none.
func number(read func(file string) (float64, error), input string) (float64, error) {
	fault, err := read(input + "_fault")
	switch {
	case errors.Is(err, fs.ErrNotExist): // most chips have no such file
	case err != nil:
		return 0, err
	case fault != 0:
		return 0, drivers.ErrSensor
	}
	return read(input + "_input")
}
