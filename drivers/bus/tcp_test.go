package bus

import (
	"encoding/binary"
	"errors"
	"io"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
)

// within is the patience of the lines here, on real time: only what never comes lets it pass, on a starved machine too.
const within = 2 * time.Second

// listen serves until the test ends, and gives the address.
func listen(t *testing.T, serve func(net.Listener) error) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- serve(l) }()
	t.Cleanup(func() {
		l.Close()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return l.Addr().String()
}

func dial(t *testing.T, address string) *TCP {
	t.Helper()
	line, err := newTCP(address, within)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { line.Close() })
	return line
}

func TestTCP_tables(t *testing.T) {
	device := modbustest.New()
	device.Set(7, drivers.InputRegisters, 0, 11, 12)
	device.Set(7, drivers.HoldingRegisters, 0, 21, 22)
	device.Set(7, drivers.Coils, 0, 1, 0, 1, 1, 0, 0, 0, 0, 1)
	device.Set(7, drivers.DiscreteInputs, 0, 0, 1)
	line := dial(t, listen(t, device.Serve))
	for table, want := range map[drivers.ModbusTable][]uint16{
		drivers.InputRegisters: {11, 12}, drivers.HoldingRegisters: {21, 22}, drivers.Coils: {1, 0, 1, 1, 0, 0, 0, 0, 1}, drivers.DiscreteInputs: {0, 1},
	} {
		got, err := line.Ask(t.Context(), 7, table, 0, uint16(len(want)), nil)
		if err != nil || len(got) != len(want) {
			t.Fatalf("table %d: %v, %v, want %v", table, got, err, want)
		}
		for i := range want {
			if got[i] != want[i] {
				t.Errorf("table %d: %v, want %v", table, got, want)
			}
		}
	}
}

// counting counts connections.
type counting struct {
	net.Listener
	n atomic.Int32
}

func (c *counting) Accept() (net.Conn, error) {
	conn, err := c.Listener.Accept()
	if err == nil {
		c.n.Add(1)
	}
	return conn, err
}

// lateGateway is a gateway to a serial line as cheap ones are: each answer goes out under the number of the request that waits, whichever
// that is. The first request on the first connection is answered late, so that its answer comes when the second one waits.
func lateGateway(l net.Listener) error {
	for first := true; ; first = false {
		conn, err := l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return nil
		}
		if err != nil {
			return err
		}
		serveLate(conn, first)
		conn.Close()
	}
}

// serveLate answers each request with its own address as the register's value; when late, with that of the request before.
func serveLate(conn net.Conn, late bool) {
	var before []byte
	for {
		request := make([]byte, 12)
		if _, err := io.ReadFull(conn, request); err != nil {
			return
		}
		address := request[8:10]
		if late {
			if before == nil {
				before = address
				continue
			}
			address, before = before, address
		}
		answer := append(append([]byte(nil), request[:4]...), 0, 5, request[6], request[7], 2)
		if _, err := conn.Write(append(answer, address...)); err != nil {
			return
		}
	}
}

// After one timeout the answers of a careless gateway are shifted by one for good: register 200 "has" what 100 has, 300 what 200 has, all
// without error. The line's cure is a new connection after every error. Without it this test reads 100, 200.
func TestTCP_lateAnswersNeverShift(t *testing.T) {
	line := dial(t, listen(t, lateGateway))
	if got, err := line.Ask(t.Context(), 1, drivers.InputRegisters, 100, 1, nil); err == nil {
		t.Fatalf("the late request gave %v", got)
	}
	for _, address := range []uint16{200, 300, 400} {
		got, err := line.Ask(t.Context(), 1, drivers.InputRegisters, address, 1, nil)
		if err != nil || got[0] != address {
			t.Errorf("register %d = %v, %v, want %d", address, got, err, address)
		}
	}
}

// The other half: on one connection, without the cure, the same gateway does shift. If it did not, the test above would prove nothing.
func TestTCP_theGatewayShiftsWithoutTheCure(t *testing.T) {
	conn, err := net.Dial("tcp", listen(t, lateGateway))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	ask := func(number, address uint16) {
		request := binary.BigEndian.AppendUint16(nil, number)
		request = append(request, 0, 0, 0, 6, 1, 4)
		request = binary.BigEndian.AppendUint16(request, address)
		if _, err := conn.Write(binary.BigEndian.AppendUint16(request, 1)); err != nil {
			t.Fatal(err)
		}
	}
	ask(1, 100)
	ask(2, 200)
	answer := make([]byte, 11)
	if _, err := io.ReadFull(conn, answer); err != nil {
		t.Fatal(err)
	}
	if number, value := binary.BigEndian.Uint16(answer), binary.BigEndian.Uint16(answer[9:]); number != 2 || value != 100 {
		t.Errorf("request 2 for register 200 got number %d, value %d, want it shifted: 2, 100", number, value)
	}
}

func TestTCP_errorsAndRecovery(t *testing.T) {
	device := modbustest.New()
	device.Set(7, drivers.InputRegisters, 0, 11)
	connections := &counting{}
	line := dial(t, listen(t, func(l net.Listener) error {
		connections.Listener = l
		return device.Serve(connections)
	}))
	ask := func() error {
		got, err := line.Ask(t.Context(), 7, drivers.InputRegisters, 0, 1, nil)
		if err == nil && got[0] != 11 {
			t.Errorf("register = %v, want 11", got)
		}
		return err
	}
	if err := ask(); err != nil {
		t.Fatal(err)
	}
	device.Refuse(6)
	var refusal drivers.ModbusException
	if err := ask(); !errors.As(err, &refusal) || refusal != 6 {
		t.Errorf("busy device: %v, want exception 6", err)
	}
	device.Refuse(0)
	if err := ask(); err != nil || connections.n.Load() != 1 {
		t.Errorf("after a refusal: %v on connection %d, want the first kept", err, connections.n.Load())
	}
	device.Garble(true)
	if err := ask(); !errors.Is(err, drivers.ErrGarbled) {
		t.Errorf("garbled answer: %v, want ErrGarbled", err)
	}
	device.Garble(false)
	if err := ask(); err != nil || connections.n.Load() != 2 {
		t.Errorf("after a garbled answer: %v on connection %d, want a new one", err, connections.n.Load())
	}
	device.Mute(true)
	if err := ask(); err == nil || errors.Is(err, drivers.ErrGarbled) {
		t.Errorf("silent device: %v, want another error", err)
	}
	device.Mute(false)
	if err := ask(); err != nil || connections.n.Load() != 3 {
		t.Errorf("after a mute device: %v on connection %d, want a new one", err, connections.n.Load())
	}
}

// A host that refuses costs one attempt, not one for every probe of the line.
func TestTCP_pausesAfterAFailedConnection(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	line := dial(t, address)
	_, first := line.Ask(t.Context(), 1, drivers.InputRegisters, 0, 1, nil)
	_, second := line.Ask(t.Context(), 2, drivers.InputRegisters, 0, 1, nil)
	if first == nil || !errors.Is(second, first) {
		t.Errorf("two probes on a dead host: %v, then %v, want the same error without a second attempt", first, second)
	}
}

func TestNewTCP_addresses(t *testing.T) {
	for address, ok := range map[string]bool{"192.0.2.20": true, "192.0.2.20:1502": true, "meter.estate.example": true, "[2001:db8::1]:502": true, "a:b:c": false} {
		if _, err := NewTCP(address); (err == nil) != ok {
			t.Errorf("NewTCP(%q) = %v, want ok %t", address, err, ok)
		}
	}
}
