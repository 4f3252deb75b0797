package history

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"time"

	"millwarden/internal/reading"
)

// A row, as it lies in the file:
//
//	byte     layout, 1
//	byte     1 if the wall clock of the base stamp was set
//	uvarint  number of readings
//	varint   wall time of the base stamp, Unix milliseconds
//	varint   its monotonic time, milliseconds
//	uvarint  its boot
//	readings
//	uint32   CRC32C over the position of the first reading (8 bytes) and all of the above, little endian
//
// A reading:
//
//	uvarint  zigzag of (point - point of the reading before), times two, plus one if a flag byte follows
//	byte     flags, as below; without it: good, coded, stamp of the reading before (of the first: the base)
//	varint   wall time, then monotonic time, each against the base, where flagged
//	uvarint  boot, where flagged
//	uvarint  number of the cause, where flagged; 0: its length and text follow
//	varint   value in steps; or 8 bytes where flagged raw; or nothing where missing
const layout = 1

const (
	flagQuality = 0x03
	flagMissing = 0x04
	flagCause   = 0x08
	flagStamp   = 0x10
	flagSet     = 0x20
	flagBoot    = 0x40
	flagRaw     = 0x80
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

var (
	errSum    = errors.New("checksum does not fit")
	errLayout = errors.New("layout is not known")
	errShort  = errors.New("ends too early")
)

// stamp is a reading.Stamp in milliseconds.
type stamp struct {
	wall, mono int64
	boot       uint32
	set        bool
}

func stampOf(s reading.Stamp) stamp {
	return stamp{wall: s.Wall.UnixMilli(), mono: s.Mono.Milliseconds(), boot: s.Boot, set: s.Set}
}

func (s stamp) reading() reading.Stamp {
	return reading.Stamp{Wall: time.UnixMilli(s.wall).UTC(), Mono: time.Duration(s.mono) * time.Millisecond, Boot: s.boot, Set: s.set}
}

// after tells the order in which stamps were taken.
func (s stamp) after(other stamp) bool {
	return s.boot > other.boot || (s.boot == other.boot && s.mono > other.mono)
}

// form is how a value is kept.
type form uint8

const (
	coded   form = iota // number is the value in steps
	raw                 // number is the bits of the value: it is too large to be counted in steps, or infinite
	missing             // NaN
)

// packed is a reading as a row keeps it, with names as numbers.
type packed struct {
	stamp
	point   int
	number  int64
	form    form
	quality reading.Quality
	cause   int    // number in the dictionary; 0: text
	text    string // a cause that is not in the dictionary
}

// mostSteps is the largest value counted in steps: up to there float64 holds every whole number, so that a value comes back as it went in.
const mostSteps = 1 << 52

// pack gives value as it is kept.
func pack(value, steps float64) (form, int64) {
	if math.IsNaN(value) {
		return missing, 0
	}
	code := math.RoundToEven(value * steps)
	if math.Abs(code) <= mostSteps { // false for infinite ones
		return coded, int64(code)
	}
	return raw, int64(math.Float64bits(value))
}

// unpack is the value again.
func unpack(f form, number int64, steps float64) float64 {
	switch f {
	case missing:
		return math.NaN()
	case raw:
		return math.Float64frombits(uint64(number))
	}
	return float64(number) / steps
}

// Round gives a reading as it will be read back: value to the step of its quantity, times to the millisecond, wall time in UTC.
func Round(r reading.Reading) reading.Reading {
	round(&r)
	return r
}

func round(r *reading.Reading) {
	steps := r.Quantity.StepsPerUnit()
	f, number := pack(r.Value, steps)
	r.Value = unpack(f, number, steps)
	r.Stamp = stampOf(r.Stamp).reading()
}

func zigzag(v int64) uint64   { return uint64(v<<1) ^ uint64(v>>63) }
func unzigzag(v uint64) int64 { return int64(v>>1) ^ -int64(v&1) }

// encodeRow appends the row of rs, whose first has position first, to b.
func encodeRow(b []byte, first uint64, rs []packed) []byte {
	start := len(b)
	base := rs[0].stamp
	for i := range rs {
		if rs[i].after(base) {
			base = rs[i].stamp // the newest: Recent rests on it
		}
	}
	b = append(b, layout, 0)
	if base.set {
		b[len(b)-1] = 1
	}
	b = binary.AppendUvarint(b, uint64(len(rs)))
	b = binary.AppendVarint(b, base.wall)
	b = binary.AppendVarint(b, base.mono)
	b = binary.AppendUvarint(b, uint64(base.boot))
	before, point := base, 0
	for i := range rs {
		b = encodeReading(b, &rs[i], base, before, point)
		before, point = rs[i].stamp, rs[i].point
	}
	return binary.LittleEndian.AppendUint32(b, sum(first, b[start:]))
}

func encodeReading(b []byte, r *packed, base, before stamp, point int) []byte {
	flags := byte(r.quality) & flagQuality
	if r.form == missing {
		flags |= flagMissing
	}
	if r.form == raw {
		flags |= flagRaw
	}
	if r.cause != 0 || r.text != "" {
		flags |= flagCause
	}
	if r.wall != before.wall || r.mono != before.mono {
		flags |= flagStamp
	}
	if r.boot != before.boot {
		flags |= flagBoot
	}
	head := zigzag(int64(r.point-point)) << 1
	if flags == 0 && r.set == before.set {
		b = binary.AppendUvarint(b, head)
		return binary.AppendVarint(b, r.number)
	}
	if r.set {
		flags |= flagSet
	}
	b = append(binary.AppendUvarint(b, head|1), flags)
	if flags&flagStamp != 0 {
		b = binary.AppendVarint(b, r.wall-base.wall)
		b = binary.AppendVarint(b, r.mono-base.mono)
	}
	if flags&flagBoot != 0 {
		b = binary.AppendUvarint(b, uint64(r.boot))
	}
	if flags&flagCause != 0 {
		b = binary.AppendUvarint(b, uint64(r.cause))
		if r.cause == 0 {
			b = append(binary.AppendUvarint(b, uint64(len(r.text))), r.text...)
		}
	}
	switch r.form {
	case coded:
		b = binary.AppendVarint(b, r.number)
	case raw:
		b = binary.LittleEndian.AppendUint64(b, uint64(r.number))
	case missing:
	}
	return b
}

func sum(first uint64, data []byte) uint32 {
	var key [8]byte
	binary.LittleEndian.PutUint64(key[:], first)
	return crc32.Update(crc32.Checksum(key[:], castagnoli), castagnoli, data)
}

// row reads the readings of a row one after the other. It keeps no memory of its own.
type row struct {
	first uint64
	count uint64
	base  stamp
	cursor
	at    stamp
	point int
	done  uint64
}

// openRow checks a row and reads its head. trusting leaves the checksum out: only the test that shows what the checksum is for does so.
func openRow(first uint64, data []byte, trusting bool) (row, error) {
	r := row{first: first}
	if len(data) < 4+2 {
		return r, errShort
	}
	body := data[:len(data)-4]
	if !trusting && sum(first, body) != binary.LittleEndian.Uint32(data[len(body):]) {
		return r, errSum
	}
	if body[0] != layout {
		return r, errLayout
	}
	r.base.set, r.data = body[1] == 1, body[2:]
	ok := r.uvarint(&r.count) && r.varint(&r.base.wall) && r.varint(&r.base.mono) && r.number(&r.base.boot)
	if !ok || r.count == 0 || r.count > uint64(len(r.data)) { // a reading takes a byte at least
		return r, errShort
	}
	r.at = r.base
	return r, nil
}

// next reads the next reading into p; false at the end, or where the row is not what it should be.
func (r *row) next(p *packed) (bool, error) {
	if r.done == r.count {
		return false, nil
	}
	var head uint64
	if !r.uvarint(&head) {
		return false, errShort
	}
	r.done++
	r.point += int(unzigzag(head >> 1))
	*p = packed{stamp: r.at, point: r.point}
	if head&1 == 0 {
		if !r.varint(&p.number) {
			return false, errShort
		}
		return true, nil
	}
	if !r.flagged(p) {
		return false, errShort
	}
	r.at = p.stamp
	return true, nil
}

func (r *row) flagged(p *packed) bool {
	if len(r.data) == 0 {
		return false
	}
	flags := r.data[0]
	r.data = r.data[1:]
	p.quality, p.set = min(reading.Quality(flags&flagQuality), reading.Bad), flags&flagSet != 0
	if flags&flagStamp != 0 {
		if !r.varint(&p.wall) || !r.varint(&p.mono) {
			return false
		}
		p.wall, p.mono = p.wall+r.base.wall, p.mono+r.base.mono
	}
	if flags&flagBoot != 0 && !r.number(&p.boot) {
		return false
	}
	if flags&flagCause != 0 && !r.because(p) {
		return false
	}
	switch {
	case flags&flagMissing != 0:
		p.form = missing
	case flags&flagRaw != 0:
		p.form = raw
		if len(r.data) < 8 {
			return false
		}
		p.number, r.data = int64(binary.LittleEndian.Uint64(r.data)), r.data[8:]
	default:
		return r.varint(&p.number)
	}
	return true
}

// cursor is bytes that are read from the front.
type cursor struct {
	data []byte // what is left
}

func (c *cursor) because(p *packed) bool {
	var number, length uint64
	if !c.uvarint(&number) || number > math.MaxInt32 {
		return false
	}
	if p.cause = int(number); number != 0 {
		return true
	}
	if !c.uvarint(&length) || length > uint64(len(c.data)) {
		return false
	}
	p.text, c.data = string(c.data[:length]), c.data[length:]
	return true
}

func (c *cursor) uvarint(to *uint64) bool {
	v, n := binary.Uvarint(c.data)
	if n <= 0 {
		return false
	}
	*to, c.data = v, c.data[n:]
	return true
}

func (c *cursor) varint(to *int64) bool {
	v, n := binary.Varint(c.data)
	if n <= 0 {
		return false
	}
	*to, c.data = v, c.data[n:]
	return true
}

func (c *cursor) number(to *uint32) bool {
	var v uint64
	if !c.uvarint(&v) || v > math.MaxUint32 {
		return false
	}
	*to = uint32(v)
	return true
}
