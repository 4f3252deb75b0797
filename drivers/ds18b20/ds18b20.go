// Package ds18b20 reads the Maxim DS18B20 thermometer through the kernel's 1-Wire files.
//
// Sources: Maxim Integrated, "DS18B20 Programmable Resolution 1-Wire Digital Thermometer", 19-7487 rev 6: temperature register table 1 and
// figure 4, memory map figure 9, configuration register figure 10, CRC figure 11, conversion times table 2. Linux kernel documentation,
// "Kernel driver w1_therm": files w1_slave and resolution. What the maker does not document, byte 6 of a chip whose conversion failed, is
// the rule of that kernel driver (its feature "conversion check").
//
// One read of w1_slave is one conversion: the kernel starts it, waits up to 750 ms and holds the bus meanwhile, so ten probes of 12 bits on one
// bus take 7.5 s. Where several are due at once, the kernel's bulk conversion starts all of them and takes as long as one (kernel 5.10 and later,
// file therm_bulk_read of the bus's master). It leaves the value of that moment behind for every probe of the master, also for those that are not
// read then: their next read would give it as if it were new. So such a probe is read twice, and the first is thrown away
// (TestStartTogether_leavesNoOldValue).
//
// Concurrency: as of drivers.Probe, one goroutine at a time. A Read that waits in the kernel cannot be cut short.
package ds18b20

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strconv"
	"strings"

	"millwarden/drivers"
	"millwarden/internal/onewire"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const kind = "ds18b20"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.OneWire, Declares: declares, Open: open}

const declares = `part ds18b20
    place ID
    phrase bits NUMBER 9 .. 12 default 12
    reads temperature temperature -55 .. 125
`

const (
	family = "28" // family code of the DS18B20 [figure 8]

	leastTemperature    = -55.0 // [features]
	greatestTemperature = 125.0

	powerOn  = 0x0550 // 85 °C, in the register before the first conversion [table 1]
	lowPower = 0x07FF // 127.94 °C, left by a conversion that lost its supply [kernel driver w1_therm]
	// failedMark in byte 6 goes with these two words if there was no conversion [kernel driver w1_therm; not documented by the maker].
	failedMark = 0x0C

	// near is how close the last good value must be for the power-on word without the mark to be believed. Chosen: a probe in the air of a
	// dryer moves less within a minute, and one that lost its supply is seldom that hot.
	near = 5.0
)

type probe struct {
	tree  drivers.Tree
	bus   string
	id    string
	last  float64 // last good value, NaN before the first
	bulk  string  // the file that starts all of the master, "" if this kernel has none
	ready bool    // a bulk conversion for this probe was made and not read
	old   bool    // the kernel keeps a value of a bulk conversion that was not for this probe
	raw   [9]byte
	value [1]drivers.Value
}

var (
	_ drivers.Probe    = (*probe)(nil)
	_ drivers.Together = (*probe)(nil)
)

// open checks the family in the id, that the kernel sees the part, and sets its resolution.
func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p := &probe{tree: site.Bus.OneWire, bus: site.Bus.Name, last: math.NaN()}
	if p.tree == nil || len(site.Place.Slots) == 0 {
		return nil, p.fault(drivers.Settings, errors.New("needs the 1-wire bus and an id"))
	}
	p.id = strings.ToLower(site.Place.Slots[0].Text)
	if !strings.HasPrefix(p.id, family+"-") {
		return nil, p.fault(drivers.WrongPart, errors.New("the id of a ds18b20 begins with "+family+"-"))
	}
	if !fs.ValidPath(p.id) || strings.Contains(p.id, "/") {
		return nil, p.fault(drivers.Settings, errors.New("this is no id"))
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	bits := 12
	if line, ok := site.Lines.Find("bits"); ok && len(line.Slots) > 0 {
		bits = int(line.Slots[0].Amount.Value)
	}
	if err := p.resolve(bits); err != nil {
		return nil, err
	}
	return p, p.findBulk()
}

// findBulk looks for the master on which the part hangs, and whether it can start all of its parts at once.
func (p *probe) findBulk() error {
	folders, err := fs.ReadDir(p.tree, ".")
	if err != nil {
		return p.fault(drivers.NoAnswer, err)
	}
	for _, f := range folders {
		if !strings.HasPrefix(f.Name(), "w1_bus_master") {
			continue
		}
		switch _, err := fs.Stat(p.tree, f.Name()+"/"+p.id); {
		case errors.Is(err, fs.ErrNotExist):
			continue
		case err != nil:
			return p.fault(drivers.NoAnswer, err)
		}
		file := f.Name() + "/therm_bulk_read"
		if _, err := fs.Stat(p.tree, file); err == nil {
			p.bulk = file
		} else if !errors.Is(err, fs.ErrNotExist) {
			return p.fault(drivers.NoAnswer, err)
		}
	}
	return nil
}

// StartTogether starts all parts of the master, if several of it are due: for one the kernel's own conversion takes as long.
func (p *probe) StartTogether(ctx context.Context, due, all []drivers.Probe) error {
	if kin := p.kin(due); p.bulk == "" || p.ready || len(kin) < 2 {
		return nil
	}
	if err := context.Cause(ctx); err != nil {
		return err
	}
	err := p.tree.Write(p.bulk, []byte("trigger\n"))
	kin := p.kin(all)
	for _, other := range kin { // some of them even if it failed half way
		other.old, other.ready = true, false
		if err != nil {
			other.bulk = "" // a kernel that refuses, or a folder that may not be written, is not asked again until the probe is opened anew
		}
	}
	if err != nil {
		return p.fault(drivers.NoAnswer, err)
	}
	for _, other := range p.kin(due) {
		other.old, other.ready = false, true
	}
	return nil
}

// kin are the probes of the same master.
func (p *probe) kin(list []drivers.Probe) []*probe {
	var kin []*probe
	for _, other := range list {
		if o, is := other.(*probe); is && o.tree == p.tree && o.bulk == p.bulk {
			kin = append(kin, o)
		}
	}
	return kin
}

// resolve makes the part convert to so many bits, in its memory only. The file is read first: a part that has the setting is left alone,
// and a clone that does not take it is told from one that does.
func (p *probe) resolve(bits int) error {
	name := p.id + "/resolution"
	now, err := fs.ReadFile(p.tree, name)
	if errors.Is(err, fs.ErrNotExist) {
		return p.oldKernel(bits)
	}
	if err != nil {
		return p.fault(drivers.NoAnswer, err)
	}
	if strings.TrimSpace(string(now)) == strconv.Itoa(bits) {
		return nil
	}
	if err := p.tree.Write(name, []byte(strconv.Itoa(bits)+"\n")); err != nil {
		return p.fault(drivers.Settings, fmt.Errorf("set to %d bits: %w", bits, err))
	}
	if now, err = fs.ReadFile(p.tree, name); err != nil {
		return p.fault(drivers.NoAnswer, err)
	}
	if got := strings.TrimSpace(string(now)); got != strconv.Itoa(bits) {
		return p.fault(drivers.Settings, fmt.Errorf("set to %d bits, it stays at %s", bits, got))
	}
	return nil
}

// oldKernel is for kernels before 5.10, which have no file for the resolution: the part converts to 12 bits.
func (p *probe) oldKernel(bits int) error {
	if _, err := fs.Stat(p.tree, p.id+"/w1_slave"); err != nil {
		return p.fault(drivers.NoAnswer, err)
	}
	if bits != 12 {
		return p.fault(drivers.Settings, fmt.Errorf("this kernel cannot set %d bits", bits))
	}
	return nil
}

func (p *probe) String() string { return kind + " " + p.id + " on " + p.bus }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := context.Cause(ctx); err != nil {
		return drivers.Sample{}, err
	}
	p.raw, p.ready = [9]byte{}, false
	text, err := fs.ReadFile(p.tree, p.id+"/w1_slave")
	if p.old && err == nil {
		p.old = false
		text, err = fs.ReadFile(p.tree, p.id+"/w1_slave")
	}
	if err != nil {
		return drivers.Sample{}, p.fault(drivers.NoAnswer, err)
	}
	if len(text) == 0 { // the kernel's answer when the exchange failed, or while another program converts in bulk
		return drivers.Sample{}, p.fault(drivers.NoAnswer, errors.New("the kernel read nothing"))
	}
	if err := p.scratchpad(text); err != nil {
		return drivers.Sample{}, err
	}
	value, err := p.temperature()
	if err != nil {
		return drivers.Sample{}, err
	}
	p.value[0] = value
	return drivers.Sample{Values: p.value[:], Raw: p.raw[:]}, nil
}

// scratchpad takes the nine bytes of line 1, which are those of this conversion. Line 2 is never used: after a wrong checksum the kernel
// puts the bytes and the t= of the conversion before there.
func (p *probe) scratchpad(text []byte) error {
	line, _, _ := bytes.Cut(text, []byte("\n"))
	words := bytes.Fields(line)
	if len(words) < 9 {
		return p.fault(drivers.Garbled, fmt.Errorf("line %q is none of w1_slave", shorten(line)))
	}
	for i := range p.raw {
		if len(words[i]) != 2 {
			return p.fault(drivers.Garbled, fmt.Errorf("line %q is none of w1_slave", shorten(line)))
		}
		if _, err := hex.Decode(p.raw[i:i+1], words[i]); err != nil {
			return p.fault(drivers.Garbled, fmt.Errorf("line %q is none of w1_slave", shorten(line)))
		}
	}
	switch all := p.raw[0]; {
	case all == 0x00 && p.same(): // its checksum is right: CRC-8 of zeros is zero
		return p.fault(drivers.Garbled, errors.New("all bytes are 00: the bus is shorted"))
	case all == 0xFF && p.same():
		return p.fault(drivers.NoAnswer, errors.New("all bytes are FF: nothing drives the bus"))
	}
	if want := onewire.Checksum(p.raw[:8]); want != p.raw[8] {
		return p.fault(drivers.Garbled, fmt.Errorf("checksum %02X, want %02X", p.raw[8], want))
	}
	if !bytes.HasSuffix(bytes.TrimSpace(line), []byte("YES")) {
		return p.fault(drivers.Garbled, errors.New("the kernel doubts the checksum"))
	}
	return nil
}

func (p *probe) same() bool {
	for _, b := range p.raw {
		if b != p.raw[0] {
			return false
		}
	}
	return true
}

func shorten(line []byte) []byte { return line[:min(len(line), 60)] }

// temperature reads the register [figure 4]: two's complement sixteenths, of which fewer bits are defined at lower resolution [table 2].
func (p *probe) temperature() (drivers.Value, error) {
	word := uint16(p.raw[1])<<8 | uint16(p.raw[0])
	if (word == powerOn || word == lowPower) && p.raw[6] == failedMark {
		return drivers.Value{}, p.fault(drivers.NotReady, errors.New("the part lost its supply and has not measured"))
	}
	bits := 9 + int(p.raw[4]>>5&3) // [figure 10]
	defined := int16(word &^ (1<<(12-bits) - 1))
	t := float64(defined) / 16
	if t < leastTemperature || t > greatestTemperature {
		return drivers.Value{}, p.fault(drivers.OutOfRange, fmt.Errorf("the part said %.4f °C", t))
	}
	v := drivers.Value{Channel: "temperature", Quantity: units.Temperature, Value: t, Raw: t}
	if word == powerOn && !(math.Abs(t-p.last) <= near) {
		// A true 85 °C is a hot dryer and is never thrown away; but it is also what a clone shows that lost its supply.
		v.Quality, v.Cause = reading.Uncertain, "85 °C is also the power-on value"
		return v, nil
	}
	p.last = t
	return v, nil
}

func (p *probe) fault(kindOf drivers.FaultKind, cause error) *drivers.Fault {
	f := &drivers.Fault{Kind: kindOf, Part: kind, Place: p.bus + " " + p.id, Cause: cause}
	if p.raw != [9]byte{} {
		f.Raw = append([]byte(nil), p.raw[:]...)
	} else if kindOf == drivers.Garbled {
		f.Raw = make([]byte, 9)
	}
	return f
}
