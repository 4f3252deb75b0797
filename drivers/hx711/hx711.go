// Package hx711 reads a scale of load cells by the AVIA HX711 and the kernel's driver for it.
//
// Sources: AVIA Semiconductor, "24-Bit Analog-to-Digital Converter for Weigh Scales HX711": output coding, saturation. Linux kernel,
// drivers/iio/adc/hx711.c and the documentation of sysfs-bus-iio: the raw file gives the word with its sign bit turned over, so that 0 is the lowest
// input and 800000h none at all.
//
// The chip is clocked by the kernel: its clock must not stand high for 60 µs or the chip resets, which a program that is put aside cannot promise.
//
// A load cell says nothing of kilograms by itself. Until it is calibrated, empty and with a known mass, its value is bad and says so; the word stands
// in Raw. Load cells creep: after weeks under load trust changes over hours, not the sum.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package hx711

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strconv"
	"strings"

	"millwarden/drivers"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const kind = "hx711"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.IIO, Declares: declares, Open: open}

const declares = `part hx711
    place on IIO
    reads mass mass 0 .. 20000
`

const (
	greatestWord = 1<<24 - 1
	zeroWord     = 1 << 23 // the sign bit that the kernel turns over

	greatestMass = 20000.0 // kg

	// below is how far under nothing an empty scale may read, as a share of the calibrated span. Chosen: creep and wind.
	below = 0.01
	// crooked is the residual, as a share of the span, beyond which a calibration of three points and more is uncertain. Chosen: cells are linear
	// to 0.05 %, platforms that touch something are not.
	crooked = 0.002
)

type probe struct {
	tree       drivers.Tree
	bus        string
	folder     string
	line       line
	calibrated bool
	quality    reading.Quality
	why        string
	raw        [4]byte
	values     [1]drivers.Value
}

// line is kg = slope * counts + offset, tried up to span kg.
type line struct{ slope, offset, span float64 }

var (
	_ drivers.Probe      = (*probe)(nil)
	_ drivers.Calibrated = (*probe)(nil)

	errUncalibrated = errors.New("not calibrated: it needs an empty scale and a known mass")
)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p := &probe{tree: site.Bus.IIO, bus: site.Bus.Name}
	if p.tree == nil {
		return nil, p.fault(drivers.Settings, nil, errors.New("needs the kernel's industrial input devices"))
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	if err := p.find(); err != nil {
		return nil, err
	}
	if _, err := p.word(); err != nil {
		return nil, err
	}
	return p, nil
}

// find looks for the device by its name: its number changes from one start of the board to the next.
func (p *probe) find() error {
	folders, err := fs.ReadDir(p.tree, ".")
	if err != nil {
		return p.fault(drivers.NoAnswer, nil, err)
	}
	found := ""
	for _, f := range folders {
		name, err := fs.ReadFile(p.tree, f.Name()+"/name")
		if errors.Is(err, fs.ErrNotExist) {
			continue // no device
		}
		if err != nil {
			return p.fault(drivers.NoAnswer, nil, err)
		}
		if strings.TrimSpace(string(name)) != kind {
			continue
		}
		if found != "" {
			return p.fault(drivers.Settings, nil, fmt.Errorf("there are two of them, %s and %s, and nothing tells which", found, f.Name()))
		}
		found = f.Name()
	}
	if found == "" {
		return p.fault(drivers.NoAnswer, nil, errors.New("the kernel shows none; is its driver loaded and the wiring described to it?"))
	}
	p.folder = found
	return nil
}

func (p *probe) String() string { return kind + " on " + p.bus }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := context.Cause(ctx); err != nil {
		return drivers.Sample{}, err
	}
	word, err := p.word()
	if err != nil {
		return drivers.Sample{}, err
	}
	p.values[0] = p.value(word)
	return drivers.Sample{Values: p.values[:], Raw: p.raw[:]}, nil
}

// word reads the kernel's text. A device that has gone is looked for under another number.
func (p *probe) word() (int64, error) {
	text, err := fs.ReadFile(p.tree, p.folder+"/in_voltage0_raw")
	if errors.Is(err, fs.ErrNotExist) {
		if err := p.find(); err != nil {
			return 0, err
		}
		text, err = fs.ReadFile(p.tree, p.folder+"/in_voltage0_raw")
	}
	if err != nil {
		return 0, p.fault(drivers.NoAnswer, nil, err)
	}
	word, err := parse(string(text))
	if err != nil {
		return 0, p.fault(drivers.Garbled, text, err)
	}
	binary.BigEndian.PutUint32(p.raw[:], uint32(word))
	return word, nil
}

// parse reads the text of the raw file: one number of 24 bits.
func parse(text string) (int64, error) {
	word, err := strconv.ParseInt(strings.TrimSpace(text), 10, 64)
	if err != nil || word < 0 || word > greatestWord {
		return 0, errors.New("no word of 24 bits")
	}
	return word, nil
}

// value weighs a word. The two end words are saturation, never a mass.
func (p *probe) value(word int64) drivers.Value {
	counts := float64(word - zeroWord)
	kg := p.line.slope*counts + p.line.offset
	var v drivers.Value
	switch {
	case word == 0 || word == greatestWord:
		v = p.failed(drivers.OutOfRange, errors.New("saturated: overloaded, or a wire is off"))
	case !p.calibrated:
		v = p.failed(drivers.NotReady, errUncalibrated)
	case math.IsNaN(kg) || kg > greatestMass || kg < -below*p.line.span:
		v = p.failed(drivers.OutOfRange, fmt.Errorf("%.1f kg", kg))
	default:
		v = drivers.Value{Channel: "mass", Quantity: units.Mass, Value: max(kg, 0), Quality: p.quality, Cause: p.why}
		if kg < 0 {
			v.Note = fmt.Sprintf("%.2f kg below empty", -kg)
		}
	}
	v.Raw = counts
	return v
}

// Calibrate fits a line through the points; Raw is in counts.
func (p *probe) Calibrate(c drivers.Calibration) (drivers.Judgement, error) {
	n := float64(len(c.Points))
	var x, y, xx, xy, span float64
	for _, pt := range c.Points {
		x, y, xx, xy = x+pt.Raw, y+pt.True, xx+pt.Raw*pt.Raw, xy+pt.Raw*pt.True
		span = math.Max(span, pt.True)
	}
	spread := n*xx - x*x
	if len(c.Points) < 2 || !(spread > 0) || !(span > 0) || math.IsInf(spread, 0) {
		return drivers.Judgement{}, p.fault(drivers.Settings, nil, errors.New("a calibration needs an empty scale and a known mass that reads otherwise"))
	}
	l := line{slope: (n*xy - x*y) / spread, span: span}
	l.offset = (y - l.slope*x) / n
	j := drivers.Judgement{Slope: 1}
	for _, pt := range c.Points {
		j.Residual = math.Max(j.Residual, math.Abs((pt.True-l.offset)/l.slope-pt.Raw))
	}
	if !(l.slope != 0) || math.IsInf(1/l.slope, 0) || math.IsNaN(j.Residual) {
		return drivers.Judgement{}, p.fault(drivers.Settings, nil, errors.New("the masses do not change the reading"))
	}
	j.Offset = -l.offset / l.slope
	p.quality, p.why = reading.Good, ""
	if off := j.Residual * math.Abs(l.slope) / span; off > crooked {
		p.quality, p.why = reading.Uncertain, "scale is not straight"
		j.Quality, j.Warning = reading.Uncertain, fmt.Sprintf("the points lie up to %.1f %% of the span off a line: does the platform touch something?", off*100)
	}
	p.line, p.calibrated = l, true
	return j, nil
}

func (p *probe) failed(of drivers.FaultKind, cause error) drivers.Value {
	return drivers.Failed("mass", units.Mass, p.fault(of, p.raw[:], cause))
}

func (p *probe) fault(of drivers.FaultKind, raw []byte, cause error) *drivers.Fault {
	return &drivers.Fault{Kind: of, Part: kind, Place: p.bus, Raw: append([]byte(nil), raw...), Cause: cause}
}
