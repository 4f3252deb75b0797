// Package bus opens the host's buses for the drivers: I2C by the kernel's device files, 1-Wire by the kernel's folder, Modbus over TCP, and the
// broker for probes that report by themselves. It knows no part and no rule.
//
// Concurrency: Open may be called by several goroutines. An I2C bus, a folder and the feed may be shared; a TCP line is used by one worker.
package bus

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"periph.io/x/host/v3/sysfs"

	"millwarden/drivers"
)

// Declares are the buses that can be opened, in the form of the vocabulary. 1-Wire and the broker are named by no rule: parts that hang there
// say so by their kind.
const Declares = `hostbus i2c-[0-9]+ I2C
`

// OneWireRoot is where the kernel shows 1-Wire devices [kernel documentation, sysfs-bus-w1].
const OneWireRoot = "/sys/bus/w1/devices"

// Options say where the buses of this host are. The zero value is right for a real board without a broker.
type Options struct {
	OneWire string       // folder of 1-Wire devices; default OneWireRoot
	Feed    drivers.Feed // of the broker; without it there are no radio probes
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

// Open opens a bus by its kind and the name that drivers.Driver.BusName gives: "i2c-1", "onewire", "tcp 192.0.2.20:502", "broker".
func Open(kind drivers.BusKind, name string, o Options) (*Opened, error) {
	opened := &Opened{Bus: drivers.Bus{Name: name}}
	var err error
	switch kind {
	case drivers.I2C:
		err = opened.openI2C(name)
	case drivers.OneWire:
		err = opened.openOneWire(o.OneWire)
	case drivers.Modbus:
		err = opened.openModbus(name)
	case drivers.Radio:
		if o.Feed == nil {
			err = fmt.Errorf("there is no broker")
		}
		opened.Radio = o.Feed
	default:
		err = fmt.Errorf("%q is no kind of bus", kind)
	}
	if err != nil {
		return nil, fmt.Errorf("bus: open %s: %w", name, err)
	}
	return opened, nil
}

func (o *Opened) openI2C(name string) error {
	digits, ok := strings.CutPrefix(name, "i2c-")
	number, err := strconv.Atoi(digits)
	if !ok || err != nil || number < 0 {
		return fmt.Errorf("an i2c bus is named like i2c-1")
	}
	bus, err := sysfs.NewI2C(number)
	if err != nil {
		return err
	}
	o.I2C, o.close = bus, bus.Close
	return nil
}

func (o *Opened) openOneWire(root string) error {
	if root == "" {
		root = OneWireRoot
	}
	if _, err := os.Stat(root); err != nil {
		return fmt.Errorf("the kernel shows no 1-wire bus; is its driver loaded? %w", err)
	}
	o.OneWire = Folder(root)
	return nil
}

func (o *Opened) openModbus(name string) error {
	address, ok := strings.CutPrefix(name, "tcp ")
	if !ok {
		return fmt.Errorf("a modbus line is named like tcp 192.0.2.20:502")
	}
	line, err := NewTCP(address)
	if err != nil {
		return err
	}
	o.Modbus, o.close = line, line.Close
	return nil
}

// Folder is a folder of the kernel's file interface. It follows symbolic links, of which such folders consist.
type Folder string

var _ drivers.Tree = Folder("")

// Open implements fs.FS.
func (f Folder) Open(name string) (fs.File, error) {
	if !fs.ValidPath(name) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
	}
	return os.Open(filepath.Join(string(f), filepath.FromSlash(name)))
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
