package history

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"sync"

	"millwarden/internal/reading"
)

// A chunk, as it lies in the file: readings of one point in the order of their wall times.
//
//	byte     layout, 1
//	uvarint  position of the last reading
//	varint   wall time of the first, Unix milliseconds
//	uvarint  boot of the newest stamp, as of a row
//	varint   its monotonic time, milliseconds
//	uvarint  bytes of times, of values, of states, of raw values
//	these    by deflate, Huffman codes only
//	uint32   CRC32C over key, hours and count (8 bytes each) and all of the above, little endian
//
// Times are differences of the difference between one time and the next, values differences from the value before; both are mostly zero, and written
// as tokens. States are runs of equal quality, cause, boot and monotonic clock. Values that are not counted in steps stand in the last part.
// Huffman codes alone make it as small as a search for repetitions does, in a tenth of the time [measured-store 4].
const chunkLayout = 1

// slack is how far the monotonic time of a reading in a chunk may be from what it was, in milliseconds. Wall and monotonic clock are read one after
// the other and rounded, and the wall clock is slewed: to keep each difference would take more room than the values. Chosen: a window of the engine
// does not notice.
const slack = 20

// mostInChunk bounds what a damaged count can ask for. Chosen: 100 readings a second for a day.
const mostInChunk = 100 * 86400

// chunk is a row of the table.
type chunk struct {
	key   int64
	hours int64
	count int64
	data  []byte
}

// head is what stands at the beginning of a chunk's data.
type head struct {
	position uint64 // of the last reading
	wall     int64  // of the first
	newest   stamp  // boot and mono only
	sizes    [4]int // of the parts: times, values, states, raw values
}

func (c *chunk) sum(data []byte) uint32 {
	var b [24]byte
	for i, n := range []int64{c.key, c.hours, c.count} {
		binary.LittleEndian.PutUint64(b[8*i:], uint64(n))
	}
	return crc32.Update(crc32.Checksum(b[:], castagnoli), castagnoli, data)
}

// encoder makes one chunk after another, of readings that are added in the order of their wall times; it keeps its memory for the next, and of a reading
// no more than what its successor is told by.
type encoder struct {
	times, values tokens
	states, raws  []byte
	deflate       *flate.Writer
	out           bytes.Buffer

	count      int64
	first      int64  // wall time
	newest     stamp  // of all
	wall, step int64  // of the last one, and from the one before it
	number     int64  // the last one counted in steps
	run        packed // the first of those of equal state
	equal      int    // how many they are
}

// encode gives c its count and data: of rs, in the order of wall times, the last of which has position.
func (e *encoder) encode(c *chunk, position uint64, rs []packed) error {
	e.begin()
	for i := range rs {
		_ = e.add(&rs[i])
	}
	return e.end(c, position)
}

func (e *encoder) begin() {
	e.times.empty()
	e.values.empty()
	e.states, e.raws = e.states[:0], e.raws[:0]
	e.count, e.step, e.number = 0, 0, 0
}

// add puts a reading behind those that were added; it never fails.
func (e *encoder) add(r *packed) error {
	if e.count == 0 {
		e.first, e.newest, e.run, e.equal = r.wall, r.stamp, *r, 0
	} else {
		next := r.wall - e.wall
		e.times.add(next - e.step)
		e.step = next
	}
	e.wall = r.wall
	switch r.form {
	case coded:
		e.values.add(r.number - e.number)
		e.number = r.number
	case raw:
		e.values.add(0)
		e.raws = binary.LittleEndian.AppendUint64(e.raws, uint64(r.number))
	case missing:
		e.values.add(0)
	}
	if !sameState(&e.run, r) {
		e.state(&e.run, e.equal)
		e.run, e.equal = *r, 0
	}
	e.equal++
	e.count++
	if r.after(e.newest) {
		e.newest = r.stamp
	}
	return nil
}

// end gives c count and data of what was added, at least one reading.
func (e *encoder) end(c *chunk, position uint64) error {
	e.state(&e.run, e.equal)
	e.times.flush()
	e.values.flush()
	c.count = e.count
	b := binary.AppendUvarint([]byte{chunkLayout}, position)
	b = binary.AppendVarint(b, e.first)
	b = binary.AppendUvarint(b, uint64(e.newest.boot))
	b = binary.AppendVarint(b, e.newest.mono)
	parts := [4][]byte{e.times.b, e.values.b, e.states, e.raws}
	for _, part := range parts {
		b = binary.AppendUvarint(b, uint64(len(part)))
	}
	e.out.Reset()
	e.out.Write(b)
	if err := e.squeeze(parts[:]); err != nil {
		return fmt.Errorf("making a chunk: %w", err)
	}
	c.data = binary.LittleEndian.AppendUint32(bytes.Clone(e.out.Bytes()), c.sum(e.out.Bytes()))
	return nil
}

func (e *encoder) squeeze(parts [][]byte) (err error) {
	if e.deflate == nil {
		if e.deflate, err = flate.NewWriter(&e.out, flate.HuffmanOnly); err != nil {
			return err
		}
	} else {
		e.deflate.Reset(&e.out)
	}
	for _, part := range parts {
		if _, err := e.deflate.Write(part); err != nil {
			return err
		}
	}
	return e.deflate.Close()
}

func sameState(a, b *packed) bool {
	drift := (a.wall - a.mono) - (b.wall - b.mono)
	return a.quality == b.quality && a.form == b.form && a.cause == b.cause && a.text == b.text && a.boot == b.boot && -slack <= drift && drift <= slack
}

// state writes a run of n readings of equal state, the flags as of a reading in a row.
func (e *encoder) state(r *packed, n int) {
	flags := byte(r.quality) & flagQuality
	switch r.form {
	case raw:
		flags |= flagRaw
	case missing:
		flags |= flagMissing
	case coded:
	}
	if r.cause != 0 || r.text != "" {
		flags |= flagCause
	}
	b := append(binary.AppendUvarint(e.states, uint64(n)), flags)
	b = binary.AppendUvarint(b, uint64(r.boot))
	b = binary.AppendVarint(b, r.wall-r.mono)
	if flags&flagCause != 0 {
		b = binary.AppendUvarint(b, uint64(r.cause))
		if r.cause == 0 {
			b = append(binary.AppendUvarint(b, uint64(len(r.text))), r.text...)
		}
	}
	e.states = b
}

// tokens is whole numbers of which most are zero. A number is one more than its zigzag form, as a uvarint; the byte 0 is a run of zeros, whose
// length follows.
type tokens struct {
	b     []byte
	zeros uint64
}

// shortestRun is where a run takes less room than as many zeros, which take a bit each at best. Chosen by trial on the data of BenchmarkChunk.
const shortestRun = 16

func (t *tokens) empty() { t.b, t.zeros = t.b[:0], 0 }

func (t *tokens) add(v int64) {
	if v == 0 {
		t.zeros++
		return
	}
	t.flush()
	t.b = binary.AppendUvarint(t.b, zigzag(v)+1)
}

func (t *tokens) flush() {
	if t.zeros >= shortestRun {
		t.b = binary.AppendUvarint(append(t.b, 0), t.zeros)
		t.zeros = 0
	}
	for ; t.zeros > 0; t.zeros-- {
		t.b = append(t.b, 1)
	}
}

// untokens reads tokens again.
type untokens struct {
	cursor
	zeros uint64
}

func (t *untokens) next(v *int64) bool {
	if t.zeros > 0 {
		t.zeros--
		*v = 0
		return true
	}
	if len(t.data) > 0 && t.data[0]-1 < 0x7f { // most are one byte
		*v, t.data = unzigzag(uint64(t.data[0]-1)), t.data[1:]
		return true
	}
	var token uint64
	if !t.uvarint(&token) {
		return false
	}
	if token > 0 {
		*v = unzigzag(token - 1)
		return true
	}
	if !t.uvarint(&t.zeros) || t.zeros == 0 {
		return false
	}
	t.zeros--
	*v = 0
	return true
}

// chunkReader reads the readings of a chunk one after the other.
type chunkReader struct {
	head
	key           int64
	point         int
	times, values untokens
	states, raws  cursor
	left          int64 // readings to come
	first         bool
	at, step      int64
	number        int64
	run           uint64 // readings left of the run
	state         packed // that all of the run have
	offset        int64  // of the monotonic clock in the run
	plain         []byte
}

// open checks a chunk and reads its head. Its memory is used again from one chunk to the next.
func (r *chunkReader) open(c *chunk, trusting bool) error {
	if len(c.data) < 4+8 {
		return errShort
	}
	body := c.data[:len(c.data)-4]
	if !trusting && c.sum(body) != binary.LittleEndian.Uint32(c.data[len(body):]) {
		return errSum
	}
	if body[0] != chunkLayout {
		return errLayout
	}
	plain := r.plain
	*r = chunkReader{key: c.key, point: pointOf(c.key), left: c.count, first: true}
	at := cursor{body[1:]}
	total, err := r.readHead(&at)
	if err != nil {
		return err
	}
	if c.count < 1 || c.count > mostInChunk {
		return errShort
	}
	if r.plain, err = inflate(at.data, total, plain); err != nil {
		return err
	}
	rest := r.plain
	for i, part := range []*[]byte{&r.times.data, &r.values.data, &r.states.data, &r.raws.data} {
		*part, rest = rest[:r.sizes[i]], rest[r.sizes[i]:]
	}
	r.at = r.wall
	return nil
}

func (r *chunkReader) readHead(at *cursor) (total int, err error) {
	if !at.uvarint(&r.position) || !at.varint(&r.wall) || !at.number(&r.newest.boot) || !at.varint(&r.newest.mono) {
		return 0, errShort
	}
	for i := range r.sizes {
		var n uint64
		if !at.uvarint(&n) || n > 64*mostInChunk {
			return 0, errShort
		}
		r.sizes[i] = int(n)
		total += int(n)
	}
	if total > 1100*len(at.data) { // deflate makes nothing smaller than 1 to 1032 [zlib, technical details]
		return 0, errShort
	}
	return total, nil
}

var inflaters = sync.Pool{New: func() any { return flate.NewReader(bytes.NewReader(nil)) }}

// inflate gives the total bytes that data holds, in the memory of into where that is enough.
func inflate(data []byte, total int, into []byte) ([]byte, error) {
	if cap(into) < total {
		into = make([]byte, total)
	}
	f := inflaters.Get().(io.ReadCloser)
	defer inflaters.Put(f)
	if err := f.(flate.Resetter).Reset(bytes.NewReader(data), nil); err != nil {
		return nil, err
	}
	if _, err := io.ReadFull(f, into[:total]); err != nil {
		return nil, errShort
	}
	return into[:total], nil
}

// next reads the next reading into p; false at the end, or where the chunk is not what it should be.
func (r *chunkReader) next(p *packed) (bool, error) {
	if r.left == 0 {
		return false, nil
	}
	r.left--
	var change int64
	if !r.first {
		if !r.times.next(&change) {
			return false, errShort
		}
		r.step += change
		r.at += r.step
	}
	r.first = false
	if !r.values.next(&change) || r.run == 0 && !r.nextRun() {
		return false, errShort
	}
	r.run--
	r.number += change
	*p = r.state
	p.wall, p.mono = r.at, r.at-r.offset
	switch p.form {
	case coded:
		p.number = r.number
	case raw:
		if len(r.raws.data) < 8 {
			return false, errShort
		}
		p.number, r.raws.data = int64(binary.LittleEndian.Uint64(r.raws.data)), r.raws.data[8:]
	case missing:
	}
	return true, nil
}

func (r *chunkReader) nextRun() bool {
	s := &r.states
	r.state = packed{point: r.point, stamp: stamp{set: true}}
	if !s.uvarint(&r.run) || r.run == 0 || len(s.data) == 0 {
		return false
	}
	flags := s.data[0]
	s.data = s.data[1:]
	r.state.quality = min(reading.Quality(flags&flagQuality), reading.Bad)
	switch {
	case flags&flagMissing != 0:
		r.state.form = missing
	case flags&flagRaw != 0:
		r.state.form = raw
	}
	if !s.number(&r.state.boot) || !s.varint(&r.offset) {
		return false
	}
	return flags&flagCause == 0 || s.because(&r.state)
}

// decodeChunk gives all readings of a chunk.
func decodeChunk(c *chunk, trusting bool) (into []packed, _ head, _ error) {
	var r chunkReader
	err := visitChunk(&r, c, trusting, func(p *packed) error {
		into = append(into, *p)
		return nil
	})
	return into, r.head, err
}

const hourMilli = 3600 * 1000

// hourOf is the hour since 1970 in which a time lies, and dayOf the hour at which its day begins.
func hourOf(wall int64) int64 {
	hour := wall / hourMilli
	if wall%hourMilli < 0 {
		hour--
	}
	return hour
}

func dayOf(hour int64) int64 { return hour - ((hour%24)+24)%24 }

// chunkKey is the key of a chunk of a point that begins at an hour; hours beyond what a key holds are not rolled up, see canRoll.
func chunkKey(point int, hour int64) int64 { return int64(point)<<32 | (hour - math.MinInt32) }

func pointOf(key int64) int         { return int(key >> 32) }
func (c *chunk) firstHour() int64   { return (c.key & math.MaxUint32) + math.MinInt32 }
func (c *chunk) endHour() int64     { return c.firstHour() + c.hours }
func (c *chunk) holds(h int64) bool { return c.firstHour() <= h && h < c.endHour() }
