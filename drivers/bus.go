package drivers

import (
	"context"
	"fmt"
	"io/fs"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"
)

// Bus is an opened bus. Only the field of its kind is set. Who opened it closes it; drivers never do.
type Bus struct {
	Name    string     // as in the rules file: "i2c-1"
	I2C     i2c.Bus    // kind I2C
	OneWire Tree       // kind OneWire: what lies in /sys/bus/w1/devices
	SPI     SPIBus     // kind SPI
	GPIO    GPIOChip   // kind GPIO
	IIO     Tree       // kind IIO: what lies in /sys/bus/iio/devices
	HWMon   Tree       // kind HWMon: what lies in /sys/class/hwmon
	Modbus  ModbusLine // kind Modbus
	Radio   Feed       // kind Radio
}

// Tree is a folder of the kernel's file interface. Names are slash-separated and relative, as of io/fs.
type Tree interface {
	fs.FS
	// Write replaces the content of an existing file, in one write.
	Write(name string, content []byte) error
}

// SPIBus is an SPI bus with its select lines.
type SPIBus interface {
	// Exchange selects the part on a line, sends w while it fills r, and releases the part. Both are of one length. The bus has no way to
	// notice that nobody is there: then r is all ones or all zeros.
	Exchange(line int, mode spi.Mode, w, r []byte) error
}

// GPIOChip is a chip of input lines. Every line is pulled up, so that a dry contact to ground can hang on it.
type GPIOChip interface {
	// Input asks for a line whose level counts once it has stood for settle. Nobody else can have the line until it is closed.
	Input(line int, settle time.Duration) (InputLine, error)
	// Counter asks for a line whose pulses are counted, each low for settle at least.
	Counter(line int, settle time.Duration) (CounterLine, error)
}

// InputLine is a line that is looked at.
type InputLine interface {
	// Low tells whether the line is low: a contact to ground is closed.
	Low() (bool, error)
	Close() error
}

// CounterLine is a line whose pulses are counted by the kernel, also while nobody asks.
type CounterLine interface {
	// Falls is how often the line went low since it was asked for.
	Falls() (uint64, error)
	Close() error
}

// ModbusTable is one of the four tables of a Modbus device [Modbus application protocol V1.1b3, 4.3].
type ModbusTable uint8

// The tables. An address in one is not the same as in another.
const (
	InputRegisters   ModbusTable = iota // function 4
	HoldingRegisters                    // function 3
	Coils                               // function 1
	DiscreteInputs                      // function 2
)

// ModbusLine is a line of Modbus devices: a TCP connection or a serial line.
type ModbusLine interface {
	// Ask reads count registers or bits (as 0 and 1) from address of a table of the device with that unit id, appended to into. It blocks
	// until the answer, the line's own timeout or, where the line can, the end of ctx. After any error the line has already made sure
	// that a late answer can never be taken for the next one. Errors: a ModbusException if the device refused; an error for which
	// errors.Is(err, ErrGarbled) holds if an answer came that is none; else nobody answered.
	Ask(ctx context.Context, unit uint8, table ModbusTable, address, count uint16, into []uint16) ([]uint16, error)
}

// ModbusException is the refusal of a device [Modbus application protocol V1.1b3, 7].
type ModbusException uint8 //nolint:errname // "exception" is the word of the protocol

var exceptions = map[ModbusException]string{
	1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "device failure", 5: "acknowledged, not done yet",
	6: "device busy", 8: "memory parity error", 10: "gateway has no path", 11: "gateway's target is silent",
}

func (e ModbusException) Error() string {
	return fmt.Sprintf("exception %d, %s", uint8(e), exceptions[e])
}

type garbledError struct{}

func (garbledError) Error() string { return "answer is none" }

// ErrGarbled is in errors of a line whose answer cannot be read.
var ErrGarbled error = garbledError{}

// Feed hands out what probes report by themselves.
//
// Concurrency: safe for use by several goroutines.
type Feed interface {
	// Listen begins to keep the newest frame of a topic, until the Topic is closed. It does not wait for the broker.
	Listen(topic string) (Topic, error)
}

// Topic is one topic listened to.
type Topic interface {
	// Newest gives the newest frame that came since listening began, and false if none came. It never blocks. The frame's Payload is
	// never changed afterwards.
	Newest() (Frame, bool)
	Close() error
}

// Frame is one message of a probe.
type Frame struct {
	Number   uint64 // counts the frames of the topic from 1
	Payload  []byte
	Ago      time.Duration // how long ago it arrived
	Retained bool          // the broker kept it from an unknown time before
}
