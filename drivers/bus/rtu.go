package bus

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"go.bug.st/serial"

	"millwarden/drivers"
	"millwarden/internal/phrase"
)

// RTU is a serial line of Modbus devices.
//
// A frame on such a line carries no number of the request it answers. If one request goes unanswered in time and its answer comes late, it fits the
// next request as well (unit, function and length match), and from then on every register has the value of the one before. So the line is made
// empty before each request, and after a request that failed it is listened to until an answer that is late can have come
// (TestRTU_lateAnswersNeverShift).
//
// Source: Modbus Organization, "MODBUS over Serial Line Specification and Implementation Guide V1.02" (2006): frame 2.5.1, silence 2.5.1.1, checksum
// 2.5.1.2 and appendix B; "MODBUS Application Protocol Specification V1.1b3".
//
// Concurrency: one worker at a time.
type RTU struct {
	name string
	mode serial.Mode
	gap  time.Duration // silence before a request
	// within and late are rtuWithin and lateWithin, but for tests.
	within, late time.Duration
	open         func(path string) (port, error)
	adapters     string // folder of links named for adapters

	port     port   // nil: not open
	adapter  string // the link to the adapter that was opened; "": it has none, or was not open yet
	failed   error
	failedAt time.Time // monotonic, as all times here
	last     time.Time // when the line last carried something
	clearAt  time.Time // until then a late answer may come
	resting  map[uint8]rest
	nextTry  time.Time // before that no resting device is asked
	request  [8]byte
	buffer   [260]byte
}

// port is what is needed of a serial port.
type port interface {
	Read([]byte) (int, error) // no bytes and no error: the timeout ended
	Write([]byte) (int, error)
	SetReadTimeout(time.Duration) error
	ResetInputBuffer() error
	Close() error
}

var _ drivers.ModbusLine = (*RTU)(nil)

const (
	bitsOfCharacter = 11 // start, eight, parity or a second stop, stop [2.5.1]
	fastSpeed       = 19200
	fastGap         = 1750 * time.Microsecond // above fastSpeed, whatever the speed [2.5.1.1]

	// rtuWithin is how long an answer may take to begin and end. Chosen: the slowest probes for mills take up to 300 ms.
	rtuWithin = 500 * time.Millisecond
	// lateWithin is how long after that an answer may still come. Chosen: as long again.
	lateWithin = 500 * time.Millisecond
	// slice is how long one look at the port may block, so that the end of a context is seen. Chosen.
	slice = 20 * time.Millisecond
)

// rest is a device that did not answer and is left alone for a while, so that it does not take the time of the others.
type rest struct {
	failures int
	until    time.Time
}

const (
	restAfter   = 2                // unanswered requests; chosen: each reading asks twice
	firstRest   = time.Second      // chosen
	longestRest = 30 * time.Second // chosen: a device that is plugged in again is seen within that
	// betweenTries keeps tries of several silent devices apart, so that within the two seconds of a quick probe at most one second is lost.
	// Chosen.
	betweenTries = 5 * time.Second
)

var (
	errUnanswered = errors.New("nobody answered in time")
	errResting    = errors.New("left alone for a while after unanswered requests")
)

// NewRTU is the line of a block `bus NAME is serial`. The port is opened when first asked, and anew after it failed.
func NewRTU(lines phrase.Lines) (*RTU, error) {
	at, ok := lines.Find("port")
	if !ok || len(at.Slots) == 0 || at.Slots[0].Text == "" {
		return nil, errors.New("a serial line needs its port")
	}
	r := &RTU{name: at.Slots[0].Text, resting: map[uint8]rest{}, within: rtuWithin, late: lateWithin}
	r.mode = serial.Mode{BaudRate: int(numberOf(lines, "speed", 9600)), DataBits: 8, Parity: serial.NoParity, StopBits: serial.OneStopBit}
	switch wordOf(lines, "parity") {
	case "even":
		r.mode.Parity = serial.EvenParity
	case "odd":
		r.mode.Parity = serial.OddParity
	}
	if wordOf(lines, "stop-bits") == "2" {
		r.mode.StopBits = serial.TwoStopBits
	}
	quiet := time.Duration(numberOf(lines, "quiet", 0.004) * float64(time.Second))
	r.gap = max(quiet, silence(r.mode.BaudRate))
	r.open = func(path string) (port, error) { return serial.Open(path, &r.mode) }
	r.adapters = adapterLinks
	return r, nil
}

// silence is 3.5 characters, and a fixed time above fastSpeed [2.5.1.1].
func silence(speed int) time.Duration {
	if speed > fastSpeed {
		return fastGap
	}
	return 7 * bitsOfCharacter * time.Second / time.Duration(2*speed)
}

func numberOf(lines phrase.Lines, key string, otherwise float64) float64 {
	if l, ok := lines.Find(key); ok && len(l.Slots) > 0 && l.Slots[0].Amount.Value > 0 {
		return l.Slots[0].Amount.Value
	}
	return otherwise
}

func wordOf(lines phrase.Lines, key string) string {
	if l, ok := lines.Find(key); ok && len(l.Slots) > 0 {
		return l.Slots[0].Text
	}
	return ""
}

// Ask implements drivers.ModbusLine.
func (r *RTU) Ask(ctx context.Context, unit uint8, table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	if err := context.Cause(ctx); err != nil {
		return into, err
	}
	if left := r.resting[unit]; left.failures >= restAfter && (time.Now().Before(left.until) || time.Now().Before(r.nextTry)) {
		return into, errResting
	}
	if err := r.connect(); err != nil {
		return into, err
	}
	into, err := r.exchange(ctx, unit, table, address, count, into)
	r.judge(unit, err)
	return into, err
}

// judge keeps account of devices that do not answer.
func (r *RTU) judge(unit uint8, err error) {
	if !errors.Is(err, errUnanswered) {
		if err == nil {
			delete(r.resting, unit)
		}
		return
	}
	left := r.resting[unit]
	left.failures++
	if left.failures >= restAfter {
		pause := min(firstRest<<min(left.failures-restAfter, 10), longestRest)
		left.until = time.Now().Add(pause)
		r.nextTry = time.Now().Add(betweenTries)
	}
	r.resting[unit] = left
}

func (r *RTU) connect() error {
	if r.port != nil {
		return nil
	}
	if r.failed != nil && time.Since(r.failedAt) < connectPause {
		return r.failed
	}
	opened, err := r.open(cmp.Or(r.adapter, r.name))
	if err != nil {
		r.failed, r.failedAt = fmt.Errorf("serial port %s: %w", cmp.Or(r.adapter, r.name), err), time.Now()
		return r.failed
	}
	r.port, r.failed = opened, nil
	if r.adapter == "" {
		r.adapter = adapterOf(r.adapters, r.name)
	}
	r.last = time.Now()
	return nil
}

// adapterLinks is where the system keeps a link for each USB adapter, named for its maker and serial number [systemd, rules.d/60-serial.rules].
const adapterLinks = "/dev/serial/by-id"

// adapterOf is the link to the adapter that stands at a path now; "" if there is none. An adapter that is pulled and plugged in again may come back
// under another path, and another adapter under its own: from then on only the link tells which is which.
func adapterOf(links, path string) string {
	device, err := filepath.EvalSymlinks(path)
	if err != nil {
		return ""
	}
	list, err := os.ReadDir(links)
	if err != nil {
		return ""
	}
	for _, l := range list {
		link := filepath.Join(links, l.Name())
		if at, err := filepath.EvalSymlinks(link); err == nil && at == device {
			return link
		}
	}
	return ""
}

// exchange empties the line, sends one request and reads one answer.
func (r *RTU) exchange(ctx context.Context, unit uint8, table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	function := functionOf(table)
	if function == 0 {
		return into, fmt.Errorf("there is no table %d", table)
	}
	if err := r.clear(ctx); err != nil {
		return into, r.broken(ctx, err)
	}
	r.request = [8]byte{unit, function}
	binary.BigEndian.PutUint16(r.request[2:], address)
	binary.BigEndian.PutUint16(r.request[4:], count)
	binary.LittleEndian.PutUint16(r.request[6:], crc16(r.request[:6]))
	if _, err := r.port.Write(r.request[:]); err != nil {
		return into, r.broken(ctx, err)
	}
	frame, err := r.answer(ctx)
	if err != nil {
		return into, r.broken(ctx, err)
	}
	into, err = r.decode(frame, table, count, into)
	if errors.Is(err, drivers.ErrGarbled) {
		r.clearAt = time.Now().Add(r.late)
	}
	return into, err
}

// broken notes that an answer may still come, and gives a port that failed back. The end of ctx is no fault of the line, but the answer is
// owed all the same.
func (r *RTU) broken(ctx context.Context, err error) error {
	r.clearAt = time.Now().Add(r.late)
	if over := context.Cause(ctx); over != nil {
		r.clearAt = r.clearAt.Add(r.within) // it may have been cut short right after the request
		return over
	}
	if !errors.Is(err, errUnanswered) && !errors.Is(err, drivers.ErrGarbled) {
		_ = r.Close() // err says why
	}
	return err
}

// clear waits until nothing more can come of the request before, throws away what came, and leaves the silence between frames.
func (r *RTU) clear(ctx context.Context) error {
	for {
		wait := max(time.Until(r.clearAt), time.Until(r.last.Add(r.gap)))
		if err := drivers.Wait(ctx, min(wait, slice)); err != nil {
			return err
		}
		if wait <= slice {
			break
		}
	}
	return r.port.ResetInputBuffer()
}

// answer reads until a whole frame is there. Pieces may come apart: adapters on USB hold characters back for up to 16 ms. Some adapters give back what
// is sent, first of all; a request is never the answer to itself, so that is passed over.
func (r *RTU) answer(ctx context.Context) ([]byte, error) {
	deadline := time.Now().Add(r.within)
	have, echoed := 0, false
	for {
		if err := context.Cause(ctx); err != nil {
			return nil, err
		}
		left := time.Until(deadline)
		if left <= 0 {
			return nil, unfinished(have)
		}
		if err := r.port.SetReadTimeout(min(left, slice)); err != nil {
			return nil, err
		}
		n, err := r.port.Read(r.buffer[have:])
		if err != nil {
			return nil, err
		}
		if n == 0 {
			continue
		}
		have += n
		r.last = time.Now()
		if !echoed && have >= len(r.request) && string(r.buffer[:len(r.request)]) == string(r.request[:]) {
			echoed = true
			have = copy(r.buffer[:], r.buffer[len(r.request):have])
		}
		if !echoed && have < len(r.request) && string(r.buffer[:have]) == string(r.request[:have]) {
			continue // it may be the beginning of the request given back
		}
		want, err := frameLength(r.buffer[:have], r.request[0], r.request[1])
		if err != nil {
			return nil, err
		}
		if want > 0 && have > want {
			return nil, fmt.Errorf("%w: %d bytes too many", drivers.ErrGarbled, have-want)
		}
		if have == want {
			return r.buffer[:have], nil
		}
	}
}

func unfinished(have int) error {
	if have > 0 {
		return fmt.Errorf("%w: it stops after %d bytes", drivers.ErrGarbled, have)
	}
	return errUnanswered
}

// frameLength is how long the answer will be whose beginning is there, 0 if that cannot be told yet. Whatever cannot be the beginning of the answer
// due is garbled.
func frameLength(have []byte, unit, function byte) (int, error) {
	switch {
	case len(have) > 0 && have[0] != unit:
		return 0, fmt.Errorf("%w: unit %d answers instead of %d", drivers.ErrGarbled, have[0], unit)
	case len(have) > 1 && have[1]&^0x80 != function:
		return 0, fmt.Errorf("%w: function %d answers instead of %d", drivers.ErrGarbled, have[1], function)
	case len(have) < 3:
		return 0, nil
	case have[1]&0x80 != 0:
		return 5, nil // unit, function, exception, checksum
	}
	return 5 + int(have[2]), nil
}

// decode reads the words of a whole frame. The length must be that of the request: a late answer of another length is found out here.
func (r *RTU) decode(frame []byte, table drivers.ModbusTable, count uint16, into []uint16) ([]uint16, error) {
	body, sum := frame[:len(frame)-2], binary.LittleEndian.Uint16(frame[len(frame)-2:])
	if want := crc16(body); sum != want {
		return into, fmt.Errorf("%w: checksum %04X, want %04X", drivers.ErrGarbled, sum, want)
	}
	if body[1]&0x80 != 0 {
		return into, drivers.ModbusException(body[2])
	}
	data := body[3:]
	isBits := table == drivers.Coils || table == drivers.DiscreteInputs
	want := 2 * int(count)
	if isBits {
		want = (int(count) + 7) / 8
	}
	if len(data) != want {
		return into, fmt.Errorf("%w: %d bytes, want %d", drivers.ErrGarbled, len(data), want)
	}
	for i := range int(count) {
		if isBits { // eight to a byte, the first lowest [application protocol 6.1]
			into = append(into, uint16(data[i/8]>>(i%8)&1))
		} else {
			into = append(into, binary.BigEndian.Uint16(data[2*i:]))
		}
	}
	return into, nil
}

// functionOf is the function that reads a table [application protocol 6.1 to 6.4].
func functionOf(table drivers.ModbusTable) byte {
	switch table {
	case drivers.Coils:
		return 1
	case drivers.DiscreteInputs:
		return 2
	case drivers.HoldingRegisters:
		return 3
	case drivers.InputRegisters:
		return 4
	}
	return 0
}

// crc16 is the checksum of a frame: polynomial A001h, reflected, begun with FFFFh; its low byte is sent first [2.5.1.2 and appendix B].
func crc16(data []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range data {
		crc ^= uint16(b)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0xA001
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}

// Close gives the port back; the next Ask opens it again.
func (r *RTU) Close() error {
	if r.port == nil {
		return nil
	}
	port := r.port
	r.port = nil
	return port.Close()
}
