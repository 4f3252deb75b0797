// Package ds18b20test is the double of the kernel's 1-Wire files with DS18B20 parts behind them: text, timing and oddities as the kernel
// documentation of w1_therm and the datasheet tell them, with a second door for tests and for the simulated estate.
//
// Concurrency: safe for use by several goroutines.
package ds18b20test

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"millwarden/drivers/drivertest"
)

// Tree is /sys/bus/w1/devices with parts in it.
type Tree struct {
	// Conversion is how long a conversion of 12 bits takes. Zero, as it is at first, answers at once.
	Conversion time.Duration

	drivertest.Turns

	mu       sync.Mutex // guards all below
	parts    map[string]*Part
	text     func(name, text string) string
	master   bool
	triggers int
}

// NewTree is a bus without parts.
func NewTree() *Tree { return &Tree{parts: map[string]*Part{}} }

// Bulk makes it a kernel that can start all parts at once, by the master w1_bus_master1.
func (t *Tree) Bulk() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.master = true
}

// Triggers counts how often all parts were started at once.
func (t *Tree) Triggers() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.triggers
}

// Part is one DS18B20 on the bus.
type Part struct {
	tree        *Tree
	temperature float64
	bits        int
	fixedBits   bool
	lostSupply  bool
	clone       bool
	shorted     bool
	silent      bool
	flip        int
	retained    [9]byte // of the last conversion with a right checksum; the kernel keeps it
	register    uint16
	converted   *float64 // by a bulk conversion, until it is read
}

// Add puts a part of 20 °C on the bus, or gives the one that is there.
func (t *Tree) Add(id string) *Part {
	t.mu.Lock()
	defer t.mu.Unlock()
	if p := t.parts[id]; p != nil {
		return p
	}
	p := &Part{tree: t, temperature: 20, bits: 12, flip: -1}
	t.parts[id] = p
	return p
}

// Remove takes a part off, and the kernel has noticed: its folder is gone.
func (t *Tree) Remove(id string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.parts, id)
}

// Rewrite passes every text that is read through f; nil ends it.
func (t *Tree) Rewrite(f func(name, text string) string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.text = f
}

// Set sets the true temperature in °C.
func (p *Part) Set(temperature float64) {
	p.with(func() { p.temperature = temperature })
}

// LoseSupply makes the next conversions fail until Restore: the register keeps its power-on value. A clone leaves byte 6 as it is, so
// that nothing tells.
func (p *Part) LoseSupply(clone bool) { p.with(func() { p.lostSupply, p.clone = true, clone }) }

// Short shorts the bus to ground at this part: every bit reads 0.
func (p *Part) Short() { p.with(func() { p.shorted = true }) }

// Unplug disconnects the part before the kernel has noticed: every bit reads 1.
func (p *Part) Unplug() { p.with(func() { p.silent = true }) }

// Restore ends all of these.
func (p *Part) Restore() {
	p.with(func() { p.lostSupply, p.clone, p.shorted, p.silent, p.flip = false, false, false, false, -1 })
}

// FlipBit turns over one of the 72 bits of the next scratchpad, counted as sent.
func (p *Part) FlipBit(n int) { p.with(func() { p.flip = n }) }

// FixBits makes it a clone that ignores the resolution.
func (p *Part) FixBits() { p.with(func() { p.fixedBits = true }) }

func (p *Part) with(f func()) {
	p.tree.mu.Lock()
	defer p.tree.mu.Unlock()
	f()
}

// Open reads a file as it is at this moment, or the folder.
func (t *Tree) Open(name string) (fs.File, error) {
	id, file, _ := strings.Cut(name, "/")
	t.mu.Lock()
	if name == "." {
		defer t.mu.Unlock()
		return t.folder(), nil
	}
	if t.master && id == master {
		defer t.mu.Unlock()
		return t.masterFile(name, file)
	}
	part := t.parts[id]
	err := t.count()
	wait := time.Duration(0)
	if part != nil && file == "w1_slave" && part.converted == nil {
		wait = t.Conversion >> (12 - part.bits)
	}
	t.mu.Unlock()
	if part == nil || (file != "w1_slave" && file != "resolution" && file != "") {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	if wait > 0 {
		time.Sleep(wait)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	text := strconv.Itoa(part.bits) + "\n"
	if file == "w1_slave" {
		text = part.convert()
	}
	if t.text != nil {
		text = t.text(name, text)
	}
	return &memFile{name: file, Reader: bytes.NewReader([]byte(text))}, nil
}

const master = "w1_bus_master1"

// masterFile is a file in the master's folder: a part's own, or therm_bulk_read.
func (t *Tree) masterFile(name, file string) (fs.File, error) {
	if err := t.count(); err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	if t.parts[file] == nil && file != "therm_bulk_read" && file != "" {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return &memFile{name: file, Reader: bytes.NewReader([]byte("0\n"))}, nil
}

// Write sets the resolution, or starts all parts at once: then it blocks for as long as the slowest takes.
func (t *Tree) Write(name string, content []byte) error {
	id, file, _ := strings.Cut(name, "/")
	if t.master && name == master+"/therm_bulk_read" {
		return t.convertAll(name, content)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	part := t.parts[id]
	if part == nil || file != "resolution" {
		return &fs.PathError{Op: "write", Path: name, Err: fs.ErrNotExist}
	}
	if err := t.count(); err != nil {
		return &fs.PathError{Op: "write", Path: name, Err: err}
	}
	bits, err := strconv.Atoi(strings.TrimSpace(string(content)))
	if err != nil || bits < 9 || bits > 12 {
		return &fs.PathError{Op: "write", Path: name, Err: fs.ErrInvalid}
	}
	if !part.fixedBits {
		part.bits = bits
	}
	return nil
}

func (t *Tree) convertAll(name string, content []byte) error {
	t.mu.Lock()
	err := t.count()
	t.mu.Unlock()
	if err != nil {
		return &fs.PathError{Op: "write", Path: name, Err: err}
	}
	if strings.TrimSpace(string(content)) != "trigger" {
		return &fs.PathError{Op: "write", Path: name, Err: fs.ErrInvalid}
	}
	time.Sleep(t.Conversion)
	t.mu.Lock()
	defer t.mu.Unlock()
	t.triggers++
	for _, p := range t.parts {
		then := p.temperature
		p.converted = &then
	}
	return nil
}

func (t *Tree) count() error {
	if t.Take() {
		return fmt.Errorf("input/output error")
	}
	return nil
}

// convert measures and gives the two lines of w1_slave. The bytes of the second are those of the last conversion that went well.
func (p *Part) convert() string {
	pad := p.scratchpad()
	verdict := "NO"
	if sum(pad[:8]) == pad[8] {
		verdict, p.retained = "YES", pad
	}
	first := fmt.Sprintf("% x : crc=%02x %s", pad[:], sum(pad[:8]), verdict)
	word := int16(uint16(p.retained[1])<<8 | uint16(p.retained[0]))
	return fmt.Sprintf("%s\n% x t=%d\n", first, p.retained[:], int(word)*1000/16)
}

func (p *Part) scratchpad() (pad [9]byte) {
	if p.silent {
		return [9]byte(bytes.Repeat([]byte{0xFF}, 9))
	}
	if p.shorted {
		return pad
	}
	truth := p.temperature
	if p.converted != nil {
		truth, p.converted = *p.converted, nil
	}
	if p.register = sixteenths(truth, p.bits); p.lostSupply {
		p.register = 0x0550
	}
	pad = [9]byte{byte(p.register), byte(p.register >> 8), 0x4B, 0x46, byte(p.bits-9)<<5 | 0x1F, 0xFF, 16 - byte(p.register)&0x0F, 0x10}
	if p.lostSupply && !p.clone {
		pad[6] = 0x0C
	}
	pad[8] = sum(pad[:8])
	if p.flip >= 0 {
		pad[p.flip/8] ^= 1 << (p.flip % 8)
		p.flip = -1
	}
	return pad
}

// sixteenths counts steps of 1/16 °C. At lower resolution the undefined low bits are left set, as some parts do.
func sixteenths(celsius float64, bits int) uint16 {
	n := int(math.Floor(celsius*16 + 0.5))
	n = max(-32768, min(32767, n))
	undefined := 1<<(12-bits) - 1
	return uint16(int16(n)) | uint16(undefined)
}

// sum divides by the polynomial bit by bit as the generator of the datasheet's figure does: eight stages, bits entering in the order sent.
func sum(data []byte) byte {
	var stage [8]bool // stage[7] is the last, whose output is fed back
	for i := range len(data) * 8 {
		in := data[i/8]>>(i%8)&1 == 1
		feed := in != stage[7]
		copy(stage[1:], stage[:7])
		stage[0] = feed
		stage[4] = stage[4] != feed
		stage[5] = stage[5] != feed
	}
	var crc byte
	for i, set := range stage {
		if set {
			crc |= 0x80 >> i
		}
	}
	return crc
}

func (t *Tree) folder() fs.ReadDirFile {
	ids := make([]string, 0, len(t.parts))
	for id := range t.parts {
		ids = append(ids, id)
	}
	if t.master {
		ids = append(ids, master)
	}
	slices.Sort(ids)
	return &memFolder{ids: ids}
}

type memFile struct {
	name string
	*bytes.Reader
}

func (f *memFile) Stat() (fs.FileInfo, error) { return info{f.name, f.Size(), 0o644}, nil }
func (f *memFile) Close() error               { return nil }

type memFolder struct {
	ids []string
}

func (f *memFolder) Stat() (fs.FileInfo, error) { return info{".", 0, fs.ModeDir | 0o755}, nil }
func (f *memFolder) Read([]byte) (int, error)   { return 0, io.EOF }
func (f *memFolder) Close() error               { return nil }

func (f *memFolder) ReadDir(n int) ([]fs.DirEntry, error) {
	var list []fs.DirEntry
	for len(f.ids) > 0 && (n <= 0 || len(list) < n) {
		list = append(list, fs.FileInfoToDirEntry(info{f.ids[0], 0, fs.ModeDir | 0o755}))
		f.ids = f.ids[1:]
	}
	if n > 0 && len(list) == 0 {
		return nil, io.EOF
	}
	return list, nil
}

type info struct {
	name string
	size int64
	mode fs.FileMode
}

func (i info) Name() string       { return i.name }
func (i info) Size() int64        { return i.size }
func (i info) Mode() fs.FileMode  { return i.mode }
func (i info) ModTime() time.Time { return time.Time{} }
func (i info) IsDir() bool        { return i.mode.IsDir() }
func (i info) Sys() any           { return nil }
