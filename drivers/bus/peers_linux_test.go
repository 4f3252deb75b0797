package bus

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
)

// wanted skips the test where something is missing that deploy/test.sh installs; in CI that is a failure.
func wanted(t *testing.T, what string, missing error) {
	t.Helper()
	switch {
	case missing == nil:
	case os.Getenv("CI") == "true":
		t.Fatalf("%s is needed here: %v", what, missing)
	default:
		t.Skipf("%s is not installed: %v", what, missing)
	}
}

// libmodbusExamples is where Debian's libmodbus-dev keeps the server that libmodbus itself is tested with, as source.
const libmodbusExamples = "/usr/share/doc/libmodbus-dev/examples"

// libmodbusServer builds that server for a port and starts it.
func libmodbusServer(t *testing.T, port string) {
	t.Helper()
	source, err := os.ReadFile(filepath.Join(libmodbusExamples, "unit-test-server.c"))
	wanted(t, "the package libmodbus-dev with its examples", err)
	_, err = exec.LookPath("gcc")
	wanted(t, "gcc", err)
	folder := t.TempDir()
	file, program := filepath.Join(folder, "server.c"), filepath.Join(folder, "server")
	if err := os.WriteFile(file, bytes.Replace(source, []byte("/dev/ttyUSB0"), []byte(port), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.CommandContext(t.Context(), "gcc", "-I", libmodbusExamples, "-I", "/usr/include/modbus", "-o", program, file, "-lmodbus").CombinedOutput(); err != nil {
		t.Fatalf("gcc: %v\n%s", err, out)
	}
	server := exec.CommandContext(t.Context(), program, "rtu")
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = server.Process.Kill()
		_ = server.Wait()
	})
	for until := time.Now().Add(time.Minute); !holds(server.Process.Pid, port); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(until) {
			t.Fatal("the server of libmodbus does not open its port")
		}
	}
}

// holds is whether a process has a file open.
func holds(pid int, path string) bool {
	links, _ := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
	for _, l := range links {
		if at, err := os.Readlink(l); err == nil && at == path {
			return true
		}
	}
	return false
}

// arrives waits until so many bytes that nobody read yet stand at an end of a line.
func arrives(t *testing.T, path string, count int) {
	t.Helper()
	file, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for until := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		switch have, err := unix.IoctlGetInt(int(file.Fd()), unix.TIOCINQ); {
		case err != nil:
			t.Fatal(err)
		case have >= count:
			return
		case time.Now().After(until):
			t.Fatalf("%d bytes came, want %d", have, count)
		}
	}
}

// Aim: the server by which libmodbus 3.1 is tested, and its rudeness. Addresses and values are those of its unit-test.h; what it does at which register stands in its unit-test-server.c.
func TestRTU_libmodbus(t *testing.T) {
	theirs, ours := serialLine(t)
	libmodbusServer(t, theirs)
	line, err := NewRTU(serialLines(ours, 115200))
	if err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	line.within = 30 * time.Second // on the slowest machine
	const unit, calm, busy, foreign, slow = 17, 0x160, 0x170, 0x171, 0x172
	ask := func(table drivers.ModbusTable, address, count uint16) (string, error) {
		words, err := line.Ask(t.Context(), unit, table, address, count, nil)
		return fmt.Sprint(words), err
	}
	for range 3 {
		if got, err := ask(drivers.InputRegisters, 0x108, 1); err != nil || got != "[10]" { // 000A
			t.Errorf("input register: %s, %v, want [10]", got, err)
		}
		if got, err := ask(drivers.DiscreteInputs, 0x1C4, 22); err != nil || got != "[0 0 1 1 0 1 0 1 1 1 0 1 1 0 1 1 1 0 1 0 1 1]" { // AC DB 35, the lowest bit first
			t.Errorf("contacts: %s, %v", got, err)
		}
		if got, err := ask(drivers.HoldingRegisters, calm, 3); err != nil || got != "[0 0 0]" {
			t.Errorf("holding registers: %s, %v", got, err)
		}
	}
	for address, want := range map[uint16]drivers.ModbusException{busy: 6, 0x2000: 2} {
		var refusal drivers.ModbusException
		if _, err := ask(drivers.HoldingRegisters, address, 1); !errors.As(err, &refusal) || refusal != want {
			t.Errorf("register %Xh: %v, want exception %d", address, err, want)
		}
	}
	if _, err := ask(drivers.HoldingRegisters, foreign, 1); !errors.Is(err, drivers.ErrGarbled) { // unit 18 answers
		t.Errorf("another unit answers: %v, want ErrGarbled", err)
	}
	if _, err := ask(drivers.HoldingRegisters, calm, 2); !errors.Is(err, drivers.ErrGarbled) { // it gives one
		t.Errorf("a register too few: %v, want ErrGarbled", err)
	}
	line.within = 100 * time.Millisecond // it answers after 500 ms
	if _, err := ask(drivers.HoldingRegisters, slow, 1); !errors.Is(err, errUnanswered) {
		t.Errorf("a late answer: %v, want errUnanswered", err)
	}
	line.within = 30 * time.Second
	arrives(t, ours, 7)
	if got, err := ask(drivers.InputRegisters, 0x108, 1); err != nil || got != "[10]" {
		t.Errorf("after a late answer: %s, %v, want [10]", got, err)
	}
}

// double answers on a serial line what the double of package modbustest answers in memory.
func double(d *modbustest.Device) reply {
	return func(request []byte, _ int, line io.Writer) {
		table := map[byte]drivers.ModbusTable{1: drivers.Coils, 2: drivers.DiscreteInputs, 3: drivers.HoldingRegisters, 4: drivers.InputRegisters}[request[1]]
		count := uint16(request[4])<<8 | uint16(request[5])
		words, err := d.Ask(context.Background(), request[0], table, uint16(request[2])<<8|uint16(request[3]), count, nil)
		var refusal drivers.ModbusException
		switch {
		case errors.As(err, &refusal):
			_, _ = line.Write(sealed(request[0], request[1]|0x80, byte(refusal)))
			return
		case err != nil:
			return // silence
		}
		var data []byte
		for i, w := range words {
			switch {
			case request[1] > 2:
				data = append(data, byte(w>>8), byte(w))
			case i%8 == 0:
				data = append(data, byte(w))
			default:
				data[i/8] |= byte(w) << (i % 8)
			}
		}
		_, _ = line.Write(sealed(append([]byte{request[0], request[1], byte(len(data))}, data...)...))
	}
}

// Aim: the double that our client is tested against is a device to a master that others wrote, mbpoll 1.4, on a serial line and over TCP.
func TestDouble_mbpoll(t *testing.T) {
	program, err := exec.LookPath("mbpoll")
	wanted(t, "mbpoll", err)
	device := modbustest.New()
	device.Set(7, drivers.InputRegisters, 0, 215, 480, 65486)
	device.SetInteger(7, drivers.InputRegisters, 10, 2, -70000)
	device.SetFloat(7, drivers.HoldingRegisters, 20, 123.456, false)
	device.SetFloat(7, drivers.HoldingRegisters, 30, 750.25, true)
	device.Set(7, drivers.DiscreteInputs, 0, 0, 1, 1)
	device.Set(7, drivers.Coils, 2, 1, 0, 1, 1, 0, 0, 0, 0, 1)

	file, path := terminal(t)
	respond(t, file, double(device))
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- device.Serve(listener) }()
	t.Cleanup(func() {
		listener.Close()
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	_, port, _ := net.SplitHostPort(listener.Addr().String())
	for name, to := range map[string][]string{"serial": {"-m", "rtu", "-b", "19200", "-P", "even", path}, "TCP": {"-m", "tcp", "-p", port, "127.0.0.1"}} {
		for asked, want := range map[string]string{
			"-t 3 -r 0 -c 3":         "[0]: 215 [1]: 480 [2]: 65486 (-50)",
			"-t 3:int -B -r 10 -c 1": "[10]: -70000",
			"-t 4:float -B -r 20":    "[20]: 123.456",
			"-t 4:float -r 30":       "[30]: 750.25", // the low word first
			"-t 1 -r 0 -c 3":         "[0]: 0 [1]: 1 [2]: 1",
			"-t 0 -r 2 -c 9":         "[2]: 1 [3]: 0 [4]: 1 [5]: 1 [6]: 0 [7]: 0 [8]: 0 [9]: 0 [10]: 1",
			"-t 4 -r 900":            "Illegal data address",
		} {
			arguments := append(append(strings.Fields(asked), "-0", "-1", "-o", "10", "-a", "7"), to...)
			out, _ := exec.CommandContext(t.Context(), program, arguments...).CombinedOutput() // a refusal is its failure
			if got := strings.Join(strings.Fields(string(out)), " "); !strings.Contains(got, want) {
				t.Errorf("%s, mbpoll %s:\n%s\nwant %q", name, strings.Join(arguments, " "), out, want)
			}
		}
	}
}
