package bus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"strings"
	"time"

	"github.com/simonvetter/modbus"

	"millwarden/drivers"
)

const (
	modbusPort = "502" // [Modbus messaging on TCP/IP 4.2.1]

	// answerWithin is how long an answer may take. Chosen: probes behind a gateway on a serial line take up to half a second.
	answerWithin = time.Second

	// connectPause is how long a line that could not be connected refuses at once. Chosen: connecting to an absent host blocks for five
	// seconds in the library, and the other probes of the line would each wait as long.
	connectPause = 5 * time.Second
)

// TCP is a line of Modbus devices behind one TCP address. It connects when first asked, and anew after every error: an answer that comes
// too late then has nowhere to come. (The refusal of a device is an answer in time, and no such error.)
//
// Concurrency: one worker at a time. An Ask that waits ends after answerWithin at the latest, not with its context: the library cannot.
type TCP struct {
	client    *modbus.ModbusClient
	connected bool
	failed    error     // of the last attempt to connect
	failedAt  time.Time // monotonic
}

var _ drivers.ModbusLine = (*TCP)(nil)

// NewTCP is a line to host:port; without a port it is 502. It does not connect yet.
func NewTCP(address string) (*TCP, error) { return newTCP(address, answerWithin) }

func newTCP(address string, within time.Duration) (*TCP, error) {
	if _, _, err := net.SplitHostPort(address); err != nil {
		if strings.Contains(address, ":") && net.ParseIP(address) == nil {
			return nil, err
		}
		address = net.JoinHostPort(address, modbusPort)
	}
	client, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "tcp://" + address, Timeout: within, Logger: log.New(io.Discard, "", 0)})
	if err != nil {
		return nil, err
	}
	return &TCP{client: client}, nil
}

// Ask implements drivers.ModbusLine.
func (t *TCP) Ask(ctx context.Context, unit uint8, table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	if err := context.Cause(ctx); err != nil {
		return into, err
	}
	if err := t.connect(); err != nil {
		return into, err
	}
	if err := t.client.SetUnitId(unit); err != nil {
		return into, err
	}
	into, err := t.ask(table, address, count, into)
	if err == nil {
		return into, nil
	}
	err = meaning(err)
	var refusal drivers.ModbusException
	if !errors.As(err, &refusal) {
		_ = t.Close() // what it says of a broken connection is told already
	}
	return into, err
}

func (t *TCP) connect() error {
	if t.connected {
		return nil
	}
	if t.failed != nil && time.Since(t.failedAt) < connectPause {
		return t.failed
	}
	if t.failed = t.client.Open(); t.failed != nil {
		t.failedAt = time.Now()
		return t.failed
	}
	t.connected = true
	return nil
}

func (t *TCP) ask(table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	switch table {
	case drivers.InputRegisters, drivers.HoldingRegisters:
		kind := modbus.INPUT_REGISTER
		if table == drivers.HoldingRegisters {
			kind = modbus.HOLDING_REGISTER
		}
		words, err := t.client.ReadRegisters(address, count, kind)
		return append(into, words...), err
	case drivers.Coils:
		return bits(t.client.ReadCoils, address, count, into)
	case drivers.DiscreteInputs:
		return bits(t.client.ReadDiscreteInputs, address, count, into)
	}
	return into, fmt.Errorf("there is no table %d", table)
}

func bits(read func(address, count uint16) ([]bool, error), address, count uint16, into []uint16) ([]uint16, error) {
	list, err := read(address, count)
	for _, on := range list {
		word := uint16(0)
		if on {
			word = 1
		}
		into = append(into, word)
	}
	return into, err
}

// Close ends the connection; the next Ask connects again.
func (t *TCP) Close() error {
	if !t.connected {
		return nil
	}
	t.connected = false
	return t.client.Close()
}

var refusals = map[error]drivers.ModbusException{
	modbus.ErrIllegalFunction: 1, modbus.ErrIllegalDataAddress: 2, modbus.ErrIllegalDataValue: 3, modbus.ErrServerDeviceFailure: 4,
	modbus.ErrAcknowledge: 5, modbus.ErrServerDeviceBusy: 6, modbus.ErrMemoryParityError: 8, modbus.ErrGWPathUnavailable: 10,
	modbus.ErrGWTargetFailedToRespond: 11,
}

// meaning turns the library's errors into the contract's.
func meaning(err error) error {
	for known, code := range refusals {
		if errors.Is(err, known) {
			return code
		}
	}
	for _, known := range []error{modbus.ErrProtocolError, modbus.ErrShortFrame, modbus.ErrBadUnitId, modbus.ErrBadTransactionId, modbus.ErrUnknownProtocolId} {
		if errors.Is(err, known) {
			return fmt.Errorf("%w: %w", drivers.ErrGarbled, err)
		}
	}
	return err
}
