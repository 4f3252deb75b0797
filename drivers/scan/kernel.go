package scan

import (
	"fmt"
	"io/fs"
	"slices"
	"strings"
)

// oneWire lists the parts that the kernel has found. Their id is their family and number.
func (h Host) oneWire() []Found {
	var list []Found
	for _, name := range names(h.OneWire) {
		family, _, isPart := strings.Cut(name, "-")
		if !isPart || len(family) != 2 {
			continue // a master
		}
		f := Found{Bus: "onewire", Place: name, Why: "family " + family + " in its id"}
		switch family {
		case "28":
			f.What, f.Parts, f.Sure = "a DS18B20", []string{"ds18b20"}, Certain
			f.Block = h.block("ds18b20", name)
		case "00":
			f.What, f.Sure, f.Left = "a ghost", Unknown, "no part has family 00: the bus is disturbed, look at its pull-up and its length"
		default:
			f.What, f.Sure, f.Left = "a part of family "+family, Unknown, "no driver of this program reads it"
		}
		if h.known("onewire", name) != "" {
			f.Block = ""
		}
		list = append(list, f)
	}
	return list
}

// kernel lists the devices of iio or hwmon, with the inputs that a block can name.
func (h Host) kernel(tree fs.FS, bus string) []Found {
	var list []Found
	for _, folder := range names(tree) {
		text, err := fs.ReadFile(tree, folder+"/name")
		if err != nil {
			continue // a trigger
		}
		name := strings.TrimSpace(string(text))
		at := standsAt(tree, folder)
		f := Found{Bus: bus, Place: strings.TrimSpace(name + " " + at), What: "the kernel's device " + name, Parts: []string{bus}, Sure: Certain, Why: "the kernel says so"}
		inputs := inputsOf(tree, folder, bus)
		switch {
		case name == "hx711" && bus == "iio":
			f.Parts = []string{"hx711"}
			f.Block = h.block("hx711", "on iio")
		case len(inputs) == 0:
			f.Parts, f.Left = nil, "it has no input that is understood"
		default:
			f.Block = h.block(bus, "on "+bus+" device "+name+atPath(at), h.inputLines(inputs)...)
		}
		if h.known(bus, f.Place) != "" {
			f.Block = ""
		}
		list = append(list, f)
	}
	return list
}

// standsAt is the part of a device's path that tells it from others of its name: the address on its bus.
func standsAt(tree fs.FS, folder string) string {
	path, err := fs.ReadLink(tree, folder)
	if err != nil {
		return ""
	}
	steps := strings.Split(path, "/")
	for i := len(steps) - 2; i >= 0; i-- {
		if steps[i] != "hwmon" && steps[i] != ".." {
			return steps[i]
		}
	}
	return ""
}

func atPath(at string) string {
	if at == "" {
		return ""
	}
	return " at " + at
}

// kinds are the inputs that a block names, with their unit in the kernel, and the point that they usually feed.
var kinds = []struct{ bus, stem, unit, point string }{
	{"iio", "in_temp", "0.001 °C", "temperature"}, {"iio", "in_humidityrelative", "0.001 %RH", "humidity"},
	{"iio", "in_concentration", "10000 ppm", "co2"}, {"iio", "in_pressure", "1 kPa", "pressure"}, {"iio", "in_voltage", "0.001 V", "voltage"},
	{"hwmon", "temp", "0.001 °C", "temperature"}, {"hwmon", "humidity", "0.001 %RH", "humidity"}, {"hwmon", "in", "0.001 V", "voltage"},
	{"hwmon", "fan", "1 rpm", "fan-speed"},
}

type inputOf struct{ name, unit, point string }

// inputsOf finds the inputs by the names of their files.
func inputsOf(tree fs.FS, folder, bus string) []inputOf {
	var list []inputOf
	for _, file := range names(sub(tree, folder)) {
		name, isInput := strings.CutSuffix(file, "_input")
		if !isInput {
			if name, isInput = strings.CutSuffix(file, "_raw"); !isInput {
				continue
			}
		}
		for _, k := range kinds {
			if k.bus == bus && stem(name, bus) == k.stem && !slices.ContainsFunc(list, func(i inputOf) bool { return i.name == name }) {
				list = append(list, inputOf{name, k.unit, k.point})
			}
		}
	}
	return list
}

func stem(name, bus string) string {
	if bus == "iio" {
		if strings.HasPrefix(name, "in_concentration") {
			return "in_concentration"
		}
		if name == "in_temp_ambient" {
			return "in_temp"
		}
	}
	return strings.TrimRight(name, "0123456789")
}

// inputLines are the lines of a block for the first input of each kind.
func (h Host) inputLines(inputs []inputOf) []string {
	var lines []string
	seen := map[string]bool{}
	station := "tank-1"
	if h.Station != nil {
		if s := h.Station(inputs[0].point); s != "" {
			station = s
		}
	}
	var gives []string
	for _, in := range inputs {
		if seen[in.point] {
			continue
		}
		seen[in.point] = true
		lines = append(lines, fmt.Sprintf("input           %s x %s is %s", in.name, in.unit, in.point))
		gives = append(gives, fmt.Sprintf("gives           %s at %s as %s", in.point, station, in.point))
	}
	return append(lines, gives...)
}

// devices lists what can be wired to and never says what is there.
func (h Host) devices() []Found {
	var list []Found
	for _, name := range names(h.Devices) {
		switch {
		case strings.HasPrefix(name, "spidev"):
			bus, line, _ := strings.Cut(strings.TrimPrefix(name, "spidev"), ".")
			list = append(list, Found{Bus: "spi-" + bus, Place: "select " + line, What: "a select line", Sure: Unknown, Parts: []string{"max31855", "max31856", "max31865", "max6675"},
				Why: "the kernel shows it", Left: "an SPI part does not say what it is, and to clock an unknown one can be a command",
				Block: h.block("max31855", "on spi-"+bus+" select "+line)})
		case strings.HasPrefix(name, "gpiochip"):
			list = append(list, Found{Bus: name, Place: "lines", What: "a chip of input lines", Sure: Unknown, Why: "the kernel shows it",
				Left: "nothing tells an open contact from a free line; a line in use by others is not asked for"})
		case strings.HasPrefix(name, "ttyUSB"), strings.HasPrefix(name, "ttyACM"), strings.HasPrefix(name, "ttyAMA"), strings.HasPrefix(name, "ttymxc"):
			list = append(list, Found{Bus: "serial", Place: "/dev/" + name, What: "a serial line", Sure: Unknown, Why: "the kernel shows it",
				Left:  "on a Modbus line every question is a write, and another master may be speaking; a modem or a console may be there",
				Block: "bus new-line is serial  # change the name\n    port            /dev/" + name + "\n    speed           9600\n"})
		}
	}
	return list
}

func names(tree fs.FS) []string {
	if tree == nil {
		return nil
	}
	entries, err := fs.ReadDir(tree, ".")
	if err != nil {
		return nil
	}
	list := make([]string, 0, len(entries))
	for _, e := range entries {
		list = append(list, e.Name())
	}
	slices.Sort(list)
	return list
}

// sub is a folder below, as far as names goes.
func sub(tree fs.FS, folder string) fs.FS {
	below, err := fs.Sub(tree, folder)
	if err != nil {
		return nil
	}
	return below
}
