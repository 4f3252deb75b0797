package bus

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"millwarden/drivers"
)

// What the kernel's GPIO character device of version 2 takes and gives [Linux 5.10 and later, include/uapi/linux/gpio.h]. The layout is the same on
// 32 and 64 bits: every 64-bit field lies on a multiple of eight.
type (
	lineAttribute struct {
		id      uint32
		_       uint32
		period  uint32 // of a debounce, in µs; the union is 64 bits wide
		padding uint32
		mask    uint64
	}
	lineConfig struct {
		flags      uint64
		attributes uint32
		_          [5]uint32
		attribute  [10]lineAttribute
	}
	lineRequest struct {
		offsets  [64]uint32
		consumer [32]byte
		config   lineConfig
		lines    uint32
		buffer   uint32
		_        [5]uint32
		fd       int32
	}
	lineValues struct {
		bits, mask uint64
	}
)

const (
	flagActiveLow = 1 << 1
	flagInput     = 1 << 2
	flagOutput    = 1 << 3
	flagFalling   = 1 << 5
	flagPullUp    = 1 << 8

	eventSize = 48 // of struct gpio_v2_line_event
	seqnoAt   = 20 // of line_seqno in it: which edge of this line it was, from 1
)

// gpioChip is one GPIO chip.
type gpioChip struct{ file *os.File }

var _ drivers.GPIOChip = (*gpioChip)(nil)

func (o *Opened) openGPIO(devices, name string) error {
	file, err := os.OpenFile(filepath.Join(devices, name), os.O_RDWR, 0)
	if err != nil {
		return err
	}
	o.GPIO, o.close = &gpioChip{file}, file.Close
	return nil
}

// Input implements drivers.GPIOChip.
func (c *gpioChip) Input(line int, settle time.Duration) (drivers.InputLine, error) {
	fd, err := c.request(line, flagInput|flagPullUp, settle)
	if err != nil {
		return nil, err
	}
	return inputLine(fd), nil
}

// Counter implements drivers.GPIOChip.
func (c *gpioChip) Counter(line int, settle time.Duration) (drivers.CounterLine, error) {
	fd, err := c.request(line, flagInput|flagPullUp|flagFalling, settle)
	if err != nil {
		return nil, err
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, errors.Join(err, unix.Close(fd))
	}
	return &counterLine{fd: fd}, nil
}

func (c *gpioChip) request(line int, flags uint64, settle time.Duration) (int, error) {
	r := lineRequest{lines: 1}
	r.offsets[0] = uint32(line)
	copy(r.consumer[:], "millwarden")
	r.config.flags = flags
	if settle > 0 {
		r.config.attributes = 1
	}
	r.config.attribute[0] = lineAttribute{id: unix.GPIO_V2_LINE_ATTR_ID_DEBOUNCE, period: uint32(settle.Microseconds()), mask: 1}
	if err := ioctl(int(c.file.Fd()), unix.GPIO_V2_GET_LINE_IOCTL, unsafe.Pointer(&r)); err != nil {
		return 0, fmt.Errorf("asking for line %d: %w", line, err)
	}
	return int(r.fd), nil
}

func ioctl(fd int, request uint, argument unsafe.Pointer) error {
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), uintptr(request), uintptr(argument)); errno != 0 {
		return errno
	}
	return nil
}

// inputLine is the descriptor of a line that is looked at.
type inputLine int

func (l inputLine) Low() (bool, error) {
	v := lineValues{mask: 1}
	err := ioctl(int(l), unix.GPIO_V2_LINE_GET_VALUES_IOCTL, unsafe.Pointer(&v))
	return v.bits&1 == 0, err
}

func (l inputLine) Close() error { return unix.Close(int(l)) }

// counterLine is the descriptor of a line whose falling edges are counted.
type counterLine struct {
	fd     int
	falls  uint64
	seqno  uint32
	buffer [16 * eventSize]byte
}

// Falls reads what the kernel has queued. When its queue is full the kernel drops the oldest edges, but their numbers go on: the newest tells
// how many there were in all.
func (l *counterLine) Falls() (uint64, error) {
	for {
		n, err := unix.Read(l.fd, l.buffer[:])
		switch {
		case errors.Is(err, unix.EINTR):
			continue
		case errors.Is(err, unix.EAGAIN):
			return l.falls, nil
		case err != nil:
			return l.falls, err
		case n < eventSize:
			return l.falls, nil
		}
		l.take(l.buffer[:n])
	}
}

// take counts up to the newest of some events. The kernel's number has 32 bits and begins anew after them.
func (l *counterLine) take(events []byte) {
	newest := events[(len(events)/eventSize-1)*eventSize:]
	seqno := binary.NativeEndian.Uint32(newest[seqnoAt:])
	l.falls += uint64(seqno - l.seqno)
	l.seqno = seqno
}

func (l *counterLine) Close() error { return unix.Close(l.fd) }

// outputLine is the descriptor of a line that is switched.
type outputLine int

// Output asks for a line of a chip ("gpiochip0") that is switched, and switches it off. Nobody else can have it until it is closed.
func Output(chip string, line int, onWhenLow bool, o Options) (*SwitchedLine, error) {
	var flags uint64 = flagOutput // without a value: inactive from the first moment
	if onWhenLow {
		flags |= flagActiveLow
	}
	opened := &Opened{}
	if err := opened.openGPIO(orElse(o.Devices, DeviceRoot), chip); err != nil {
		return nil, fmt.Errorf("bus: open %s: %w", chip, err)
	}
	defer opened.Close() //nolint:errcheck // the line has a descriptor of its own
	fd, err := opened.GPIO.(*gpioChip).request(line, flags, 0)
	if err != nil {
		return nil, fmt.Errorf("bus: %s: %w", chip, err)
	}
	return &SwitchedLine{outputLine(fd)}, nil
}

// SwitchedLine is an output line. Concurrency: one goroutine at a time.
type SwitchedLine struct{ line outputLine }

// Set switches the line and reads back what it is.
func (s *SwitchedLine) Set(on bool) error {
	v := lineValues{mask: 1}
	if on {
		v.bits = 1
	}
	if err := ioctl(int(s.line), unix.GPIO_V2_LINE_SET_VALUES_IOCTL, unsafe.Pointer(&v)); err != nil {
		return fmt.Errorf("the line cannot be switched: %w", err)
	}
	back := lineValues{mask: 1}
	if err := ioctl(int(s.line), unix.GPIO_V2_LINE_GET_VALUES_IOCTL, unsafe.Pointer(&back)); err != nil {
		return fmt.Errorf("the line cannot be read back: %w", err)
	}
	if back.bits&1 != v.bits {
		return errors.New("the line does not follow: it is held by its wire")
	}
	return nil
}

// Close gives the line back to the kernel. Who wants it off switches it off before.
func (s *SwitchedLine) Close() error { return unix.Close(int(s.line)) }
