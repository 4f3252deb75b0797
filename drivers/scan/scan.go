// Package scan finds what is on the host's buses: what it probably is, how sure that is, and a probe block for it. It also says what it did not touch,
// and why.
//
// It only reads. An I2C address is tried with no data at all; a register is asked for only at addresses where every part known to stand there takes a
// byte for the number of a register. Where a byte could be a command (converters that give a voltage, multiplexers, port expanders) nothing is sent. So
// some parts are named as possible alone, and the driver's own check decides when the block is in the rules.
//
// Sources: addresses by the datasheets of the parts (named in their packages); the way to try an address by the i2cdetect(8) manual of i2c-tools: no
// data, but a read at 30h to 37h and 50h to 5Fh, where memories stand.
//
// Concurrency: one goroutine. Not beside a gateway that reads the same address: such addresses are to be named as known.
package scan

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
)

// Sure is how sure it is what a thing is.
type Sure string

// The degrees.
const (
	Certain  Sure = "certain"  // it said so itself
	Probable Sure = "probable" // it behaves like it
	Possible Sure = "possible" // it stands where such a part stands
	Unknown  Sure = "unknown"
)

// Found is one thing on a bus, or one that was left alone.
type Found struct {
	Bus   string   `json:"bus"`             // "i2c-1"
	Place string   `json:"place"`           // "0x48", "28-0316a2794bff"
	What  string   `json:"what"`            // for people: "an ADS1115"
	Parts []string `json:"parts,omitempty"` // kinds of the catalog that it may be, the likeliest first
	Sure  Sure     `json:"sure"`
	Why   string   `json:"why"`             // what that rests on
	Known string   `json:"known,omitempty"` // the probe of the rules that has it
	Left  string   `json:"left,omitempty"`  // why it was not asked; "" if it was
	Block string   `json:"block,omitempty"` // ready for the rules
}

// Prober tries addresses of one I2C bus.
type Prober interface {
	// Try calls an address and sends no data. An error for which errors.Is(err, ErrHeld) holds: a driver of the kernel has it. Any other:
	// nobody answers.
	Try(address uint16) error
	// Tx writes w, then reads r, in one transaction.
	Tx(address uint16, w, r []byte) error
}

// ErrHeld tells that the kernel's own driver has an address.
var ErrHeld = errors.New("a driver of the kernel has it")

// Host is where to look. What is nil is not there.
type Host struct {
	I2C     []I2CBus
	OneWire fs.FS // /sys/bus/w1/devices
	IIO     fs.FS // /sys/bus/iio/devices
	HWMon   fs.FS // /sys/class/hwmon
	Devices fs.FS // /dev
	// Known names the probe of the rules that stands at a place of a bus, or "". Nothing is sent there.
	Known func(bus, place string) string
	// Station names a station at which such a point is still free, or "".
	Station func(point string) string
}

// I2CBus is one I2C bus.
type I2CBus struct {
	Name string
	Prober
}

// Run looks at everything, bus by bus. The error is the end of ctx.
func Run(ctx context.Context, h Host) ([]Found, error) {
	var list []Found
	for _, bus := range h.I2C {
		found, err := h.i2c(ctx, bus)
		list = append(list, found...)
		if err != nil {
			return list, err
		}
	}
	list = append(list, h.oneWire()...)
	list = append(list, h.kernel(h.IIO, "iio")...)
	list = append(list, h.kernel(h.HWMon, "hwmon")...)
	list = append(list, h.devices()...)
	for i := range list {
		f := &list[i]
		f.Known = h.known(f.Bus, f.Place)
		if f.Known == "" && len(f.Parts) > 0 && f.Block == "" {
			f.Block = h.block(f.Parts[0], "on "+f.Bus+" at "+f.Place)
		}
	}
	return list, context.Cause(ctx)
}

func (h Host) known(bus, place string) string {
	if h.Known == nil {
		return ""
	}
	return h.Known(bus, place)
}

// lines are what a part of the catalog needs beside its place, and the points that it usually feeds.
var lines = map[string]struct {
	more  []string
	gives string
	point string // by which a station is looked for
	every string
}{
	"ads1115":  {[]string{"channel         ain0 range 2.048 V", "electrode"}, "ph", "ph", "10 s"},
	"lm75":     {nil, "wall-temperature", "wall-temperature", "30 s"},
	"tmp102":   {nil, "wall-temperature", "wall-temperature", "30 s"},
	"sht4x":    {nil, "temperature, humidity", "humidity", "10 s"},
	"sht3x":    {nil, "temperature, humidity", "humidity", "10 s"},
	"bme280":   {nil, "temperature, humidity", "humidity", "10 s"},
	"scd4x":    {nil, "co2", "co2", "30 s"},
	"mcp9600":  {[]string{"thermocouple    K"}, "bean-temperature", "bean-temperature", "1 s"},
	"max31855": {[]string{"thermocouple    K"}, "bean-temperature", "bean-temperature", "1 s"},
	"ds18b20":  {nil, "temperature", "temperature", "10 s"},
	"hx711":    {nil, "weight", "weight", "10 s"},
}

// block writes a probe block for a part. Names of probe and station are to be changed by whoever pastes it, which it says.
func (h Host) block(part, place string, more ...string) string {
	l := lines[part]
	gives := cmp.Or(l.gives, "temperature")
	station := "tank-1"
	if h.Station != nil {
		station = cmp.Or(h.Station(cmp.Or(l.point, gives)), station)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "probe %s  # change the name, and the station to where it is\n", blockName(part, place))
	fmt.Fprintf(&b, "    part            %s\n", strings.TrimSpace(part+" "+place))
	for _, m := range slices.Concat(l.more, more) {
		fmt.Fprintf(&b, "    %s\n", m)
	}
	if !slices.ContainsFunc(more, func(m string) bool { return strings.HasPrefix(m, "gives") }) {
		fmt.Fprintf(&b, "    gives           %s at %s\n", gives, station)
	}
	fmt.Fprintf(&b, "    every           %s\n", cmp.Or(l.every, "10 s"))
	return b.String()
}

// blockName is a name for the probe: the part and the end of its place, of letters and digits.
func blockName(part, place string) string {
	words := strings.FieldsFunc(strings.ToLower(place), func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') })
	if len(words) == 0 {
		return "new-" + part
	}
	last := words[len(words)-1]
	if len(last) > 12 {
		last = last[len(last)-12:]
	}
	return "new-" + part + "-" + last
}
