// Package hx711test is the double of the kernel's industrial input devices with one HX711 among them: the text of its files as the kernel's driver writes
// it, and a load cell behind it.
//
// Concurrency: safe for use by several goroutines.
package hx711test

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"sync"
	"testing/fstest"

	"millwarden/drivers/drivertest"
)

// Tree is /sys/bus/iio/devices.
type Tree struct {
	drivertest.Turns

	mu      sync.Mutex // guards all below
	present bool
	number  int
	second  bool
	counts  float64 // signed, at the load
	text    func(string) string
}

// The cell: counts when empty, and counts a kilogram. Chosen: 2 mV/V at 500 kg with a heavy platform.
const (
	Empty       = 412345.0
	PerKilogram = 350.0
)

// New is a board with another device and a scale that is empty.
func New() *Tree { return &Tree{present: true, number: 1, counts: Empty} }

// Load puts a mass on, in kg.
func (t *Tree) Load(kg float64) { t.with(func() { t.counts = Empty + PerKilogram*kg }) }

// SetCounts makes the converter give this number, -8,388,608 to 8,388,607.
func (t *Tree) SetCounts(n float64) { t.with(func() { t.counts = n }) }

// Present takes the device away or brings it back.
func (t *Tree) Present(present bool) { t.with(func() { t.present = present }) }

// Renumber gives the device another number, as the next start of a board may.
func (t *Tree) Renumber(n int) { t.with(func() { t.number = n }) }

// AddSecond adds another such device.
func (t *Tree) AddSecond() { t.with(func() { t.second = true }) }

// Alter passes the text of the raw file through f; nil ends it.
func (t *Tree) Alter(f func(string) string) { t.with(func() { t.text = f }) }

func (t *Tree) with(f func()) {
	t.mu.Lock()
	defer t.mu.Unlock()
	f()
}

// Open implements fs.FS.
func (t *Tree) Open(name string) (fs.File, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.Take() {
		return nil, &fs.PathError{Op: "read", Path: name, Err: errors.New("input/output error")}
	}
	files := fstest.MapFS{"iio:device0/name": {Data: []byte("ads1015\n")}, "iio:device0/in_voltage0_raw": {Data: []byte("77\n")}}
	if t.present {
		t.put(files, t.number)
	}
	if t.second {
		t.put(files, t.number+1)
	}
	return files.Open(name)
}

// put lays out a device. The kernel gives the distance from the lowest input, and a scale that is that of 5 V and a gain of 128.
func (t *Tree) put(files fstest.MapFS, number int) {
	folder := fmt.Sprintf("iio:device%d/", number)
	distance := math.Max(0, math.Min(16777215, math.Round(t.counts)+8388608))
	text := fmt.Sprintf("%.0f\n", distance)
	if t.text != nil {
		text = t.text(text)
	}
	files[folder+"name"] = &fstest.MapFile{Data: []byte("hx711\n")}
	files[folder+"in_voltage0_raw"] = &fstest.MapFile{Data: []byte(text)}
	files[folder+"in_voltage_scale"] = &fstest.MapFile{Data: []byte("0.000002327\n")}
}

// Write implements drivers.Tree; nothing here is written.
func (t *Tree) Write(name string, _ []byte) error {
	return &fs.PathError{Op: "write", Path: name, Err: fs.ErrPermission}
}
