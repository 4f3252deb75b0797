// Package modbustest is the double of Modbus devices: tables of registers by unit, as a line in memory or as a TCP server, with a second
// door for tests and for the simulated estate.
//
// Source: Modbus Organization, "MODBUS Application Protocol Specification V1.1b3" and "MODBUS Messaging on TCP/IP Implementation Guide V1.0b".
//
// Concurrency: safe for use by several goroutines.
package modbustest

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"math/big"
	"net"
	"sync"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
)

var errSilent = errors.New("request timed out")

type place struct {
	unit    uint8
	table   drivers.ModbusTable
	address uint16
}

// Device answers for all units that were given a register.
type Device struct {
	drivertest.Turns // a request that fails goes unanswered

	mu      sync.Mutex // guards all below
	words   map[place]uint16
	units   map[uint8]bool
	silent  bool
	refusal drivers.ModbusException
	garbled bool
	delay   time.Duration
}

// New is a line without devices.
func New() *Device { return &Device{words: map[place]uint16{}, units: map[uint8]bool{}} }

// Set puts words from an address on.
func (d *Device) Set(unit uint8, table drivers.ModbusTable, address uint16, words ...uint16) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.units[unit] = true
	for i, w := range words {
		d.words[place{unit, table, address + uint16(i)}] = w
	}
}

// SetInteger puts a number as two's complement of so many words, high word first.
func (d *Device) SetInteger(unit uint8, table drivers.ModbusTable, address uint16, count int, number int64) {
	size := new(big.Int).Lsh(big.NewInt(1), uint(16*count))
	n := new(big.Int).Mod(big.NewInt(number), size) // negative numbers count down from the top
	bytes := n.FillBytes(make([]byte, 2*count))
	words := make([]uint16, count)
	for i := range words {
		words[i] = uint16(bytes[2*i])*256 + uint16(bytes[2*i+1])
	}
	d.Set(unit, table, address, words...)
}

// SetFloat puts an IEEE 754 single, high word first, or the low one where swapped.
func (d *Device) SetFloat(unit uint8, table drivers.ModbusTable, address uint16, value float32, swapped bool) {
	fraction, exponent := math.Frexp(math.Abs(float64(value)))
	bits := uint32(0)
	if fraction != 0 {
		bits = uint32(exponent+126)<<23 | uint32(math.Ldexp(fraction, 24))&0x7FFFFF
	}
	if value < 0 {
		bits |= 1 << 31
	}
	high, low := uint16(bits>>16), uint16(bits)
	if swapped {
		high, low = low, high
	}
	d.Set(unit, table, address, high, low)
}

// Mute makes all units mute, or speak again.
func (d *Device) Mute(silent bool) { d.with(func() { d.silent = silent }) }

// Refuse makes every answer this exception; 0 ends it.
func (d *Device) Refuse(e drivers.ModbusException) { d.with(func() { d.refusal = e }) }

// Garble makes answers that are none, or ends it.
func (d *Device) Garble(garbled bool) { d.with(func() { d.garbled = garbled }) }

// Delay makes the TCP server answer so late.
func (d *Device) Delay(late time.Duration) { d.with(func() { d.delay = late }) }

func (d *Device) with(f func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f()
}

// Ask is the line in memory.
func (d *Device) Ask(_ context.Context, unit uint8, table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch fails := d.Take(); {
	case fails || d.silent || !d.units[unit]:
		return into, errSilent
	case d.garbled:
		return into, drivers.ErrGarbled
	case d.refusal != 0:
		return into, d.refusal
	}
	for i := range count {
		w, ok := d.words[place{unit, table, address + i}]
		if !ok {
			return into, drivers.ModbusException(2) // illegal data address
		}
		into = append(into, w)
	}
	return into, nil
}

var _ drivers.ModbusLine = (*Device)(nil)

// Serve answers Modbus TCP until the listener is closed, and then waits for its connections to end.
func (d *Device) Serve(l net.Listener) error {
	var connections sync.WaitGroup
	defer connections.Wait()
	for {
		conn, err := l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return nil
		}
		if err != nil {
			return err
		}
		connections.Go(func() {
			defer conn.Close() //nolint:errcheck // the other end has all it will get
			for d.answer(conn) == nil {
			}
		})
	}
}

var functions = map[byte]drivers.ModbusTable{1: drivers.Coils, 2: drivers.DiscreteInputs, 3: drivers.HoldingRegisters, 4: drivers.InputRegisters}

// answer reads one request and answers it: header of transaction, protocol 0, length, unit [Messaging guide 3.1.3], then function and data.
func (d *Device) answer(conn net.Conn) error {
	request := make([]byte, 12)
	if _, err := io.ReadFull(conn, request); err != nil {
		return err
	}
	unit, function := request[6], request[7]
	address, count := binary.BigEndian.Uint16(request[8:]), binary.BigEndian.Uint16(request[10:])
	var late time.Duration
	var garbled bool
	d.with(func() { late, garbled = d.delay, d.garbled })
	time.Sleep(late)
	if garbled {
		_, err := conn.Write(append(request[:4:4], 0xFF, 0xFF, unit, function))
		return err
	}
	words, err := d.Ask(context.Background(), unit, functions[function], address, count, nil)
	var refusal drivers.ModbusException
	switch {
	case errors.As(err, &refusal):
		return reply(conn, request, function|0x80, []byte{byte(refusal)})
	case err != nil:
		return nil // nobody answers
	case function <= 2:
		return reply(conn, request, function, counted(bits(words)))
	}
	data := make([]byte, 0, 2*len(words))
	for _, w := range words {
		data = binary.BigEndian.AppendUint16(data, w)
	}
	return reply(conn, request, function, counted(data))
}

func counted(data []byte) []byte { return append([]byte{byte(len(data))}, data...) }

// bits packs eight to a byte, the first lowest [6.1].
func bits(words []uint16) []byte {
	packed := make([]byte, (len(words)+7)/8)
	for i, w := range words {
		if w != 0 {
			packed[i/8] |= 1 << (i % 8)
		}
	}
	return packed
}

func reply(w io.Writer, request []byte, function byte, data []byte) error {
	frame := append([]byte(nil), request[:4]...)
	frame = binary.BigEndian.AppendUint16(frame, uint16(2+len(data)))
	frame = append(frame, request[6], function)
	_, err := w.Write(append(frame, data...))
	return err
}
