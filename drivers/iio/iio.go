// Package iio reads what the Linux kernel's own drivers of industrial input devices show: any device by its name, each of its inputs as a channel.
//
// Source: Linux kernel documentation, ABI/testing/sysfs-bus-iio: value = (raw + offset) x scale where a file ends in _raw, the value itself where it ends
// in _input; units by the kind of input: temperature m°C, humidity m%, voltage mV, current mA, pressure kPa, resistance Ω, illuminance lux, and
// **concentration in per cent** (500 ppm of carbon dioxide read 0.05).
//
// Several drivers of the kernel give no reason for a fault and correct less than those here (a MAX31855 is not linearised there): where a part has a
// driver of its own, take that.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package iio

import (
	"errors"
	"io/fs"
	"strings"

	"millwarden/drivers"
	"millwarden/internal/units"
)

const kind = "iio"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.IIO, Declares: declares, Open: class.Open}

const declares = `part iio
    place on IIO device PATH [at PATH]
    phrase input* PATH [x AMOUNT] is CHANNEL
    needs input
    reads each input
`

var class = &drivers.KernelClass{
	Kind:    kind,
	Tree:    func(b drivers.Bus) drivers.Tree { return b.IIO },
	Missing: "needs the kernel's industrial input devices and a name",
	Known:   "in_temp, in_humidityrelative, in_concentration, in_pressure, in_voltage, in_current and in_resistance",
	Is:      is,
	Number:  number,
	Inputs:  inputs,
}

// inputs by the beginning of their name. The bounds are chosen: wider than any part for mills.
var inputs = []drivers.KernelInput{
	{Prefix: "in_temp", Quantity: units.Temperature, Factor: 1e-3, Least: -273.15, Greatest: 2500},
	{Prefix: "in_humidityrelative", Quantity: units.Humidity, Factor: 1e-3, Least: 0, Greatest: 100},
	{Prefix: "in_concentration", Quantity: units.Concentration, Factor: 1e4, Least: 0, Greatest: 1e6},
	{Prefix: "in_pressure", Quantity: units.Pressure, Factor: 1, Least: -1000, Greatest: 10000},
	{Prefix: "in_voltage", Quantity: units.Voltage, Factor: 1e-3, Least: -1000, Greatest: 1000},
	{Prefix: "in_current", Quantity: units.Current, Factor: 1e-3, Least: -100, Greatest: 100},
	{Prefix: "in_resistance", Quantity: units.Resistance, Factor: 1, Least: 0, Greatest: 1e9},
}

func is(name, prefix string) bool {
	return strings.HasPrefix(name, prefix) && fs.ValidPath(name) && !strings.Contains(name, "/")
}

// number is the value in the kernel's unit: of the file _input where there is one, else of _raw, _offset and _scale.
func number(read func(file string) (float64, error), input string) (float64, error) {
	value, err := read(input + "_input")
	if !errors.Is(err, fs.ErrNotExist) {
		return value, err
	}
	if value, err = read(input + "_raw"); err != nil {
		return 0, err
	}
	offset, err := shared(read, input, "_offset", 0)
	if err != nil {
		return 0, err
	}
	scale, err := shared(read, input, "_scale", 1)
	return (value + offset) * scale, err
}

// shared reads a file of one input, or that which several of a kind share (in_voltage_scale for in_voltage0), or takes what holds without.
func shared(read func(file string) (float64, error), name, suffix string, without float64) (float64, error) {
	value, err := read(name + suffix)
	if errors.Is(err, fs.ErrNotExist) {
		if stem := strings.TrimRight(name, "0123456789"); stem != name {
			value, err = read(stem + suffix)
		}
	}
	if errors.Is(err, fs.ErrNotExist) {
		return without, nil
	}
	return value, err
}
