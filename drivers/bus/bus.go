// Package bus opens the host's buses for the drivers: I2C and SPI by the kernel's device files, what lies behind an I2C multiplexer, 1-Wire and
// industrial input devices by the kernel's folders, GPIO by its character device, Modbus over TCP and over serial lines, and the broker for probes
// that report by themselves. It knows no part and no rule.
//
// Concurrency: a Host may be used by several goroutines. An I2C bus, a folder and the feed may be shared; an SPI bus, a TCP line and a serial line
// are used by one worker.
package bus

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/host/v3/sysfs"

	"millwarden/drivers"
	"millwarden/internal/phrase"
)

// Declares are the buses that can be opened, in the form of the vocabulary. 1-Wire and the broker are named by no rule: parts that hang there
// say so by their kind.
const Declares = `hostbus i2c-[0-9]+ I2C
hostbus spi-[0-9]+ SPI
hostbus gpiochip[0-9]+ GPIO
hostbus iio IIO
hostbus hwmon HWMON
bus serial BUS
    phrase port PATH
    phrase speed NUMBER 300 .. 921600 default 9600
    phrase parity (none|even|odd)
    phrase stop-bits (1|2)
    phrase quiet DURATION 1 ms .. 500 ms default 4 ms
    needs port
bus i2c-mux I2C
    phrase behind I2C at ADDRESS 0x70 .. 0x77
    phrase branch NUMBER 0 .. 7
    needs behind
    needs branch
`

// Where the kernel shows its devices.
const (
	OneWireRoot = "/sys/bus/w1/devices"  // [kernel documentation, sysfs-bus-w1]
	IIORoot     = "/sys/bus/iio/devices" // [kernel documentation, sysfs-bus-iio]
	HWMonRoot   = "/sys/class/hwmon"     // [kernel documentation, hwmon/sysfs-interface]
	DeviceRoot  = "/dev"
)

// Options say where the buses of this host are. The zero value is right for a real board without a broker.
type Options struct {
	OneWire string       // folder of 1-Wire devices; default OneWireRoot
	IIO     string       // folder of industrial input devices; default IIORoot
	HWMon   string       // folder of hardware monitoring chips; default HWMonRoot
	Devices string       // folder of the GPIO chips' device files; default DeviceRoot
	Feed    drivers.Feed // of the broker; without it there are no radio probes
}

// Host opens buses, and lets what hangs behind one I2C bus share it.
type Host struct {
	o       Options
	openI2C func(number int) (i2c.BusCloser, error)

	mu     sync.Mutex // guards shared and the users of each
	shared map[int]*sharedI2C
}

// NewHost is a host none of whose buses is open yet.
func NewHost(o Options) *Host {
	open := func(number int) (i2c.BusCloser, error) { return sysfs.NewI2C(number) }
	return &Host{o: o, openI2C: open, shared: map[int]*sharedI2C{}}
}

// Opened is an open bus and what closes it.
type Opened struct {
	drivers.Bus
	close func() error
}

// Close closes the bus. It is not safe to call twice.
func (o *Opened) Close() error {
	if o.close == nil {
		return nil
	}
	return o.close()
}

// Open opens one bus of a host of its own: for whoever needs no other beside it.
func Open(kind drivers.BusKind, name string, o Options) (*Opened, error) {
	return NewHost(o).Open(kind, name, nil)
}

// Open opens a bus by its kind and the name that drivers.Driver.BusName gives: "i2c-1", "onewire", "tcp 192.0.2.20:502", "broker". A bus that
// has a block in the rules file needs the lines of the block.
func (h *Host) Open(kind drivers.BusKind, name string, lines phrase.Lines) (*Opened, error) {
	opened := &Opened{Bus: drivers.Bus{Name: name}}
	var err error
	switch kind {
	case drivers.I2C:
		err = h.i2c(opened, lines)
	case drivers.SPI:
		err = opened.openSPI(name)
	case drivers.OneWire:
		opened.OneWire, err = folder(h.o.OneWire, OneWireRoot, "1-wire bus")
	case drivers.IIO:
		opened.IIO, err = folder(h.o.IIO, IIORoot, "industrial input devices")
	case drivers.HWMon:
		opened.HWMon, err = folder(h.o.HWMon, HWMonRoot, "hardware monitoring")
	case drivers.GPIO:
		err = opened.openGPIO(orElse(h.o.Devices, DeviceRoot), name)
	case drivers.Modbus:
		err = opened.openModbus(name, lines)
	case drivers.Radio:
		if h.o.Feed == nil {
			err = fmt.Errorf("there is no broker")
		}
		opened.Radio = h.o.Feed
	default:
		err = fmt.Errorf("%q is no kind of bus", kind)
	}
	if err != nil {
		return nil, fmt.Errorf("bus: open %s: %w", name, err)
	}
	return opened, nil
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// numbered reads the number of a bus that is named like "i2c-1".
func numbered(name, prefix string) (int, error) {
	digits, ok := strings.CutPrefix(name, prefix)
	number, err := strconv.Atoi(digits)
	if !ok || err != nil || number < 0 {
		return 0, fmt.Errorf("such a bus is named like %s1", prefix)
	}
	return number, nil
}

func folder(root, usual, what string) (drivers.Tree, error) {
	root = orElse(root, usual)
	if _, err := os.Stat(root); err != nil {
		return nil, fmt.Errorf("the kernel shows no %s; is its driver loaded? %w", what, err)
	}
	return Folder(root), nil
}

func (o *Opened) openModbus(name string, lines phrase.Lines) error {
	if address, ok := strings.CutPrefix(name, "tcp "); ok {
		line, err := NewTCP(address)
		if err != nil {
			return err
		}
		o.Modbus, o.close = line, line.Close
		return nil
	}
	line, err := NewRTU(lines)
	if err != nil {
		return err
	}
	o.Modbus, o.close = line, line.Close
	return nil
}

// Folder is a folder of the kernel's file interface. It follows symbolic links, of which such folders consist.
type Folder string

var (
	_ drivers.Tree  = Folder("")
	_ fs.ReadLinkFS = Folder("")
)

// Open implements fs.FS.
func (f Folder) Open(name string) (fs.File, error) {
	if !fs.ValidPath(name) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
	}
	return os.Open(filepath.Join(string(f), filepath.FromSlash(name)))
}

// ReadLink implements fs.ReadLinkFS: where a link of the folder leads.
func (f Folder) ReadLink(name string) (string, error) {
	if !fs.ValidPath(name) {
		return "", &fs.PathError{Op: "readlink", Path: name, Err: fs.ErrInvalid}
	}
	return os.Readlink(filepath.Join(string(f), filepath.FromSlash(name)))
}

// Lstat implements fs.ReadLinkFS.
func (f Folder) Lstat(name string) (fs.FileInfo, error) {
	if !fs.ValidPath(name) {
		return nil, &fs.PathError{Op: "lstat", Path: name, Err: fs.ErrInvalid}
	}
	return os.Lstat(filepath.Join(string(f), filepath.FromSlash(name)))
}

// Write implements drivers.Tree.
func (f Folder) Write(name string, content []byte) error {
	if !fs.ValidPath(name) {
		return &fs.PathError{Op: "write", Path: name, Err: fs.ErrInvalid}
	}
	file, err := os.OpenFile(filepath.Join(string(f), filepath.FromSlash(name)), os.O_WRONLY|os.O_TRUNC, 0)
	if err != nil {
		return err
	}
	_, err = file.Write(content)
	if closed := file.Close(); err == nil {
		err = closed
	}
	return err
}
