package modbus_test

import (
	"bufio"
	"bytes"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/bus"
	"millwarden/drivers/modbus"
	"millwarden/internal/peers"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// python is the system's: another one that stands earlier on the path has other packages.
const python = "/usr/bin/python3"

// serve starts testdata/server.py, a pymodbus server, and gives its address. Where pymodbus is missing the test is skipped, but not in CI.
func serve(t *testing.T) string {
	t.Helper()
	if out, err := exec.Command(python, "-c", "import pymodbus.server.async_io").CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("python3-pymodbus is needed here: %v\n%s", err, out)
		}
		t.Skip("python3-pymodbus is not installed")
	}
	address := peers.FreeAddress(t)
	_, port, _ := strings.Cut(address, ":")
	server := exec.CommandContext(t.Context(), python, "testdata/server.py", port)
	var complaints bytes.Buffer
	server.Stderr = &complaints
	stdin, err := server.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	stdout, err := server.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		stdin.Close() // the server ends with its input
		_ = server.Wait()
	})
	if line, err := bufio.NewReader(stdout).ReadString('\n'); strings.TrimSpace(line) != "ready" {
		stdin.Close()
		_ = server.Wait()
		t.Fatalf("pymodbus does not start: %v\n%s", err, complaints.String())
	}
	return address
}

func slot(text string) phrase.Slot { return phrase.Slot{Given: true, Text: text} }

func count(n float64) phrase.Slot {
	return phrase.Slot{Given: true, Amount: units.Amount{Value: n, Quantity: units.Count}}
}

func line(table string, address float64, form string, swapped bool, channel string) phrase.Line {
	return phrase.Line{Key: "register", Slots: []phrase.Slot{slot(table), count(address), slot(form), {Given: swapped}, {}, slot(channel)}}
}

// Aim: every form, table and refusal against a server that was written by others. The values stand in testdata/server.py, encoded by Python's
// struct module.
func TestRead_pymodbus(t *testing.T) {
	opened, err := bus.Open(drivers.Modbus, "tcp "+serve(t), bus.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { opened.Close() })
	site := drivers.Site{Bus: opened.Bus, Place: phrase.Line{Slots: []phrase.Slot{slot("tcp server"), slot("server"), {}, count(7)}}, Lines: phrase.Lines{
		line("input", 0, "int16", false, "a"), line("input", 1, "uint16", false, "b"), line("input", 2, "int16", false, "c"),
		line("input", 3, "int16", false, "no-value"), line("input", 4, "uint16", false, "no-value-either"), line("input", 5, "int32", false, "d"),
		line("input", 7, "uint32", false, "e"), line("input", 9, "float32", false, "f"), line("holding", 12, "float32", true, "g"),
		line("holding", 14, "int32", true, "h"),
		{Key: "contact", Slots: []phrase.Slot{slot("coil"), count(2), {}, slot("i")}},
		{Key: "contact", Slots: []phrase.Slot{slot("input"), count(0), {}, slot("j")}},
	}}
	probe, err := modbus.Driver.Open(t.Context(), site)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{"a": 215, "b": 480, "c": -50, "d": -70000, "e": 70000, "f": 123.456, "g": 750.25, "h": -70000, "i": 1, "j": 0}
	for range 3 {
		s, err := probe.Read(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range s.Values {
			expected, isValue := want[v.Channel]
			if !isValue {
				if v.Fault == nil || v.Fault.Kind != drivers.OutOfRange {
					t.Errorf("%s = %+v, want Fault OutOfRange", v.Channel, v)
				}
				continue
			}
			if v.Quality != reading.Good || !(math.Abs(v.Value-expected) <= 1e-5) {
				t.Errorf("%s = %v %s %q, want %v", v.Channel, v.Value, v.Quality, v.Cause, expected)
			}
		}
	}
	site.Lines = phrase.Lines{line("input", 900, "int16", false, "a")}
	if _, err := modbus.Driver.Open(t.Context(), site); drivers.KindOf(err) != drivers.Settings || !strings.Contains(err.Error(), "illegal data address") {
		t.Errorf("register that is not there: Open() = %v, want Fault Settings with the exception", err)
	}
	if s, err := probe.Read(t.Context()); err != nil || s.Values[0].Value != 215 {
		t.Errorf("after the refusal: %v, %v", s.Values, err)
	}
}
