package bus

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/measured"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

// These tests run on pseudo-terminals, on real time: the other end of the line is theirs.

// terminal opens a pair of pseudo-terminal ends: a file for the test, and the path of the end that looks like a serial port.
func terminal(t *testing.T) (*os.File, string) {
	t.Helper()
	file, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	defer file.Close() // the copy below is the only one: to close it is to hang up
	fd := int(file.Fd())
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	number, err := unix.IoctlGetUint32(fd, unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	settings, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	settings.Lflag &^= unix.ECHO | unix.ICANON | unix.ISIG // as a wire: what is sent does not come back
	settings.Iflag, settings.Oflag = 0, 0
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, settings); err != nil {
		t.Fatal(err)
	}
	if err := unix.SetNonblock(fd, true); err != nil { // so that Close ends a Read
		t.Fatal(err)
	}
	return os.NewFile(uintptr(mustDup(t, file)), "line"), fmt.Sprintf("/dev/pts/%d", number)
}

// mustDup gives a descriptor that the runtime can wait on.
func mustDup(t *testing.T, file *os.File) int {
	t.Helper()
	fd, err := unix.Dup(int(file.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		t.Fatal(err)
	}
	return fd
}

func serialLines(path string, speed float64) phrase.Lines {
	return phrase.Lines{{Key: "port", Slots: []phrase.Slot{drivertest.Word(path)}}, {Key: "speed", Slots: []phrase.Slot{drivertest.Number(speed)}},
		{Key: "parity", Slots: []phrase.Slot{drivertest.Word("even")}}, {Key: "stop-bits", Slots: []phrase.Slot{drivertest.Word("1")}},
		{Key: "quiet", Slots: []phrase.Slot{{Given: true, Amount: units.Amount{Value: 0.002, Quantity: units.Duration}}}}}
}

// reply is what a responder does with one request.
type reply func(request []byte, n int, line io.Writer)

// respond answers requests until the test ends; n counts them from 1.
func respond(t *testing.T, file *os.File, answer reply) {
	t.Helper()
	var running sync.WaitGroup
	running.Go(func() {
		buffer := make([]byte, 8)
		for n := 1; ; n++ {
			_, err := io.ReadFull(file, buffer)
			for errors.Is(err, unix.EIO) { // nobody has the other end open
				time.Sleep(time.Millisecond)
				_, err = io.ReadFull(file, buffer)
			}
			if err != nil {
				return
			}
			answer(bytes.Clone(buffer), n, file)
		}
	})
	t.Cleanup(func() {
		file.Close()
		running.Wait()
	})
}

// sealed puts the checksum behind a frame, by a table of one bit at a time; the driver's is by bytes.
func sealed(frame ...byte) []byte {
	sum := uint32(0xFFFF)
	for _, b := range frame {
		for bit := range 8 {
			out := sum&1 ^ uint32(b>>bit)&1
			sum >>= 1
			if out == 1 {
				sum ^= 0xA001
			}
		}
	}
	return append(frame, byte(sum), byte(sum>>8))
}

// own answers with the number of the register asked for, as its value: so a shift shows.
func own(request []byte) []byte { return sealed(request[0], request[1], 2, request[2], request[3]) }

// lineTo is a client with little patience on a responder.
func lineTo(t *testing.T, answer reply) *RTU {
	t.Helper()
	file, path := terminal(t)
	respond(t, file, answer)
	line, err := NewRTU(serialLines(path, 115200))
	if err != nil {
		t.Fatal(err)
	}
	line.within, line.late = 500*time.Millisecond, 500*time.Millisecond // far from what the responder waits, on a busy machine too
	t.Cleanup(func() { line.Close() })
	return line
}

func (r *RTU) one(t *testing.T, unit uint8, address uint16) (uint16, error) {
	t.Helper()
	got, err := r.Ask(t.Context(), unit, drivers.InputRegisters, address, 1, nil)
	if err != nil {
		return 0, err
	}
	return got[0], nil
}

// answered asks until somebody answers in time: on a starved machine an answer may come later than the line waits. What comes is judged by the caller.
func (r *RTU) answered(t *testing.T, unit uint8, address uint16) (uint16, error) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); ; clear(r.resting) {
		got, err := r.one(t, unit, address)
		if !errors.Is(err, errUnanswered) || time.Now().After(deadline) {
			return got, err
		}
	}
}

// late answers the first request too late: when nobody waits for it any more, and the second could already wait.
func late(given <-chan struct{}) reply {
	return func(request []byte, n int, line io.Writer) {
		if n == 1 {
			<-given
		}
		time.Sleep(60 * time.Millisecond)
		_, _ = line.Write(own(request))
	}
}

// After one timeout the answers of a line shift by one for good: register 200 "has" what 100 has, 300 what 200 has, all without error. The cure is to
// listen until a late answer can have come, and to empty the line before each request. Without it this test reads 100, 200, 300.
func TestRTU_lateAnswersNeverShift(t *testing.T) {
	given := make(chan struct{})
	line := lineTo(t, late(given))
	line.late = 5 * time.Second // the late answer comes well before, on a busy machine too
	_, err := line.one(t, 1, 100)
	close(given)
	if !errors.Is(err, errUnanswered) {
		t.Fatalf("the late request: %v", err)
	}
	for _, address := range []uint16{200, 300, 400} {
		if got, err := line.answered(t, 1, address); err != nil || got != address {
			t.Errorf("register %d = %d, %v, want %d", address, got, err, address)
		}
	}
}

// The other half: the same responder does shift a client that does nothing about it. If it did not, the test above would prove nothing. A starved machine may answer later still, so it is tried
// until it has been in time once.
func TestRTU_theResponderShiftsWithoutTheCure(t *testing.T) {
	var got [3]uint16
	for deadline := time.Now().Add(time.Minute); got != [3]uint16{100, 200, 300}; {
		if time.Now().After(deadline) {
			t.Fatalf("registers 200, 300 and 400 = %v, want them shifted: 100, 200 and 300", got)
		}
		given := make(chan struct{})
		line := lineTo(t, late(given))
		line.late = 0
		if err := line.connect(); err != nil {
			t.Fatal(err)
		}
		line.port = unflushed{line.port}
		_, err := line.one(t, 1, 100)
		close(given)
		if !errors.Is(err, errUnanswered) {
			t.Fatalf("the late request: %v", err)
		}
		for i, address := range []uint16{200, 300, 400} {
			got[i], _ = line.one(t, 1, address)
		}
	}
}

type unflushed struct{ port }

func (unflushed) ResetInputBuffer() error { return nil }

func TestRTU_tornAndEchoed(t *testing.T) {
	for name, answer := range map[string]reply{
		"in pieces": func(request []byte, _ int, line io.Writer) {
			for _, b := range own(request) {
				_, _ = line.Write([]byte{b})
				time.Sleep(5 * time.Millisecond)
			}
		},
		"echoed": func(request []byte, _ int, line io.Writer) { _, _ = line.Write(append(request, own(request)...)) },
		"echoed in pieces": func(request []byte, _ int, line io.Writer) {
			all := append(bytes.Clone(request), own(request)...)
			for len(all) > 0 {
				n := min(3, len(all))
				_, _ = line.Write(all[:n])
				all = all[n:]
				time.Sleep(5 * time.Millisecond)
			}
		},
	} {
		t.Run(strings.ReplaceAll(name, " ", "-"), func(t *testing.T) {
			line := lineTo(t, answer)
			line.within = 30 * time.Second // it ends with the answer, on the slowest machine
			for address := uint16(40); address < 44; address++ {
				if got, err := line.one(t, 1, address); err != nil || got != address {
					t.Errorf("register %d = %d, %v", address, got, err)
				}
			}
		})
	}
}

// What is no answer is garbled, and the next request is answered right.
func TestRTU_whatIsNoAnswer(t *testing.T) {
	for name, bad := range map[string]func(request []byte) []byte{
		"another unit":     func(r []byte) []byte { return sealed(r[0]+1, r[1], 2, r[2], r[3]) },
		"another function": func(r []byte) []byte { return sealed(r[0], 3, 2, r[2], r[3]) },
		"another length":   func(r []byte) []byte { return sealed(r[0], r[1], 4, 0, 1, 0, 2) },
		"a wrong checksum": func(r []byte) []byte { f := own(r); f[4] ^= 1; return f },
		"cut off":          func(r []byte) []byte { return own(r)[:5] },
		"too long":         func(r []byte) []byte { return append(own(r), 0x55) },
		"two answers":      func(r []byte) []byte { return append(own(r), own(r)...) },
		"all zeros":        func([]byte) []byte { return make([]byte, 9) },
		"all ones":         func([]byte) []byte { return bytes.Repeat([]byte{0xFF}, 9) },
	} {
		t.Run(strings.ReplaceAll(name, " ", "-"), func(t *testing.T) {
			var mended atomic.Bool
			line := lineTo(t, func(request []byte, _ int, w io.Writer) {
				if mended.Load() {
					_, _ = w.Write(own(request))
					return
				}
				_, _ = w.Write(bad(request))
			})
			if got, err := line.answered(t, 1, 7); !errors.Is(err, drivers.ErrGarbled) {
				t.Errorf("%d, %v, want ErrGarbled", got, err)
			}
			mended.Store(true)
			if got, err := line.answered(t, 1, 8); err != nil || got != 8 {
				t.Errorf("after it: %d, %v, want 8", got, err)
			}
		})
	}
}

func TestRTU_refusalAndBits(t *testing.T) {
	line := lineTo(t, func(request []byte, _ int, w io.Writer) {
		switch request[1] {
		case 4:
			_, _ = w.Write(sealed(request[0], 0x84, 2))
		default: // 12 bits: 1000 0100 0011 from the first on [application protocol 6.1: the first lowest]
			_, _ = w.Write(sealed(request[0], request[1], 2, 0x21, 0x0C))
		}
	})
	line.within, line.late = 30*time.Second, 30*time.Second // what is answered ends before, on the slowest machine
	var refusal drivers.ModbusException
	begin := time.Now()
	if _, err := line.one(t, 1, 7); !errors.As(err, &refusal) || refusal != 2 { // check value M51: 01 83 02 to function 3, and its like to function 4
		t.Errorf("refused: %v, want exception 2", err)
	}
	got, err := line.Ask(t.Context(), 1, drivers.Coils, 0, 12, nil)
	if fmt.Sprint(got) != "[1 0 0 0 0 1 0 0 0 0 1 1]" || err != nil {
		t.Errorf("coils = %v, %v", got, err)
	}
	if took := time.Since(begin); took > line.late {
		t.Errorf("a refusal is an answer in time; the next request waited %s", took)
	}
	if _, err := line.Ask(t.Context(), 1, 99, 0, 1, nil); err == nil {
		t.Error("a table that is none was asked")
	}
}

// A device that does not answer is left alone for growing pauses, so that the others keep their time; when it answers it is at once one of them.
func TestRTU_aSilentDeviceStarvesNobody(t *testing.T) {
	var dead atomic.Bool
	var asked atomic.Int32 // the silent one
	dead.Store(true)
	line := lineTo(t, func(request []byte, _ int, w io.Writer) {
		if request[0] == 9 {
			asked.Add(1)
		}
		if request[0] != 9 || !dead.Load() {
			_, _ = w.Write(own(request))
		}
	})
	for range restAfter {
		if _, err := line.one(t, 9, 1); !errors.Is(err, errUnanswered) {
			t.Errorf("silent: %v, want errUnanswered", err)
		}
	}
	line.within = 30 * time.Second // the others answer, on the slowest machine too
	if _, err := line.one(t, 1, 1); err != nil {
		t.Errorf("its neighbour: %v", err)
	}
	left := line.resting[9]
	left.until, line.nextTry = time.Now().Add(time.Minute), time.Now().Add(time.Minute)
	line.resting[9] = left
	begin := time.Now()
	if _, err := line.one(t, 9, 1); !errors.Is(err, errResting) || time.Since(begin) > line.within {
		t.Errorf("again: %v after %s, want errResting at once", err, time.Since(begin))
	}
	if _, err := line.one(t, 1, 1); err != nil || asked.Load() != restAfter { // the responder takes one request after the other
		t.Errorf("its neighbour again: %v; the silent one was asked %d times, want %d", err, asked.Load(), restAfter)
	}
	dead.Store(false)
	left.until, line.nextTry = time.Now(), time.Now()
	line.resting[9] = left
	if got, err := line.one(t, 9, 5); err != nil || got != 5 || len(line.resting) != 0 {
		t.Errorf("it speaks again: %d, %v, resting %v", got, err, line.resting)
	}
}

// simulated is a port with many devices on fake time: each answers after 5 ms and the time that its characters take, or never.
type simulated struct {
	dead    map[byte]bool
	timeout time.Duration
	answer  []byte
	at      time.Time
}

func (s *simulated) Write(b []byte) (int, error) {
	s.answer = nil
	if !s.dead[b[0]] {
		s.answer, s.at = own(b), time.Now().Add(5*time.Millisecond+15*11*time.Second/9600)
	}
	return len(b), nil
}

func (s *simulated) Read(b []byte) (int, error) {
	if wait := time.Until(s.at); s.answer == nil || wait > s.timeout {
		time.Sleep(s.timeout)
		return 0, nil
	} else if wait > 0 {
		time.Sleep(wait)
	}
	n := copy(b, s.answer)
	s.answer = nil
	return n, nil
}

func (s *simulated) SetReadTimeout(d time.Duration) error { s.timeout = d; return nil }
func (s *simulated) ResetInputBuffer() error              { s.answer = nil; return nil }
func (s *simulated) Close() error                         { return nil }

// Aim: 32 devices on one line at 9600, two of them dead, each asked every two seconds for an hour: the live ones keep their time in all rounds but the
// first, in which the dead ones are found out. Once the dead are plugged in again they are seen within a minute.
func TestRTU_thirtyTwoDevicesTwoDead(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		line, err := NewRTU(serialLines("line", 9600))
		if err != nil {
			t.Fatal(err)
		}
		s := &simulated{dead: map[byte]bool{5: true, 20: true}}
		line.open = func(string) (port, error) { return s, nil }
		round := func() (took time.Duration, failed int) {
			begin := time.Now()
			for unit := uint8(1); unit <= 32; unit++ {
				got, err := line.one(t, unit, 7)
				if err != nil {
					got, err = line.one(t, unit, 7) // as each reading does
				}
				switch {
				case err != nil && !s.dead[unit] && line.resting[unit].failures == 0:
					t.Errorf("unit %d, which lives: %v", unit, err)
				case err != nil:
					failed++
				case got != 7:
					t.Errorf("unit %d: %d", unit, got)
				}
			}
			return time.Since(begin), failed
		}
		var worst time.Duration
		for n := range 1800 {
			took, failed := round()
			if failed != 2 {
				t.Fatalf("round %d: %d devices failed, want the two dead", n, failed)
			}
			if n > 0 {
				worst = max(worst, took)
			}
			time.Sleep(2*time.Second - took)
		}
		t.Logf("longest round after the first: %s", worst)
		if worst > 2*time.Second {
			t.Errorf("a round took %s, want 2 s at most", worst)
		}
		s.dead = nil
		for begin := time.Now(); ; time.Sleep(2 * time.Second) {
			if _, failed := round(); failed == 0 {
				break
			}
			if time.Since(begin) > time.Minute {
				t.Fatal("the dead were plugged in a minute ago and are still left alone")
			}
		}
	})
}

func TestRTU_context(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		line, err := NewRTU(serialLines("line", 9600))
		if err != nil {
			t.Fatal(err)
		}
		line.open = func(string) (port, error) { return &simulated{dead: map[byte]bool{1: true}}, nil }
		over, cancel := context.WithCancel(t.Context())
		cancel()
		if _, err := line.Ask(over, 1, drivers.Coils, 0, 1, nil); !errors.Is(err, context.Canceled) || line.port != nil {
			t.Errorf("cancelled before: %v, want context.Canceled and the port not opened", err)
		}
		short, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
		defer cancel()
		begin := time.Now()
		if _, err := line.Ask(short, 1, drivers.Coils, 0, 1, nil); !errors.Is(err, context.DeadlineExceeded) || time.Since(begin) > 30*time.Millisecond+slice {
			t.Errorf("cut short: %v after %s, want DeadlineExceeded after 30ms and one slice at most", err, time.Since(begin))
		}
	})
}

// An adapter that is pulled and plugged in again works again, without a start of the program.
func TestRTU_thePortVanishes(t *testing.T) {
	file, path := terminal(t)
	respond(t, file, func(request []byte, _ int, w io.Writer) { _, _ = w.Write(own(request)) })
	line, err := NewRTU(serialLines(path, 9600))
	if err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	line.within = 30 * time.Second // it ends with the answer, on the slowest machine
	working, tries := line.open, 0
	line.open = func(path string) (port, error) {
		tries++
		if tries == 2 {
			return nil, os.ErrNotExist
		}
		return working(path)
	}
	if _, err := line.one(t, 1, 3); err != nil {
		t.Fatal(err)
	}
	line.port.Close() // as if it were pulled
	if _, err := line.one(t, 1, 3); err == nil || errors.Is(err, errUnanswered) || line.port != nil {
		t.Errorf("pulled: %v, want an error of the port, and the port given back", err)
	}
	_, first := line.one(t, 1, 3)
	_, second := line.one(t, 1, 3)
	if !errors.Is(first, os.ErrNotExist) || !errors.Is(second, first) || tries != 2 {
		t.Errorf("still pulled: %v, %v after %d tries, want one try", first, second, tries)
	}
	line.failedAt = time.Now().Add(-connectPause)
	if got, err := line.one(t, 1, 3); err != nil || got != 3 {
		t.Errorf("plugged in: %d, %v, want 3", got, err)
	}
}

func TestNewRTU_settings(t *testing.T) {
	if _, err := NewRTU(nil); err == nil {
		t.Error("a line without a port")
	}
	line, err := NewRTU(serialLines("/dev/ttyUSB0", 9600))
	if err != nil || line.gap != 7*11*time.Second/19200 { // 3.5 characters of 11 bits
		t.Errorf("gap = %s, %v, want 3.5 characters", line.gap, err)
	}
	if silence(115200) != 1750*time.Microsecond { // [serial line guide 2.5.1.1]
		t.Errorf("silence(115200) = %s, want 1.75ms", silence(115200))
	}
	if _, err := line.Ask(t.Context(), 1, drivers.Coils, 0, 1, nil); err == nil || !strings.Contains(err.Error(), "/dev/ttyUSB0") {
		t.Errorf("no such port: %v, want it named", err)
	}
}

// Checksums: the serial line guide's example (check value M49) and the others of the measurement tables (M51 and M52 among them), low byte first.
func TestCRC16_publishedExamples(t *testing.T) {
	seen := 0
	for _, row := range append(measured.Rows(t, "../../testdata/vectors/checksums.csv", 14), []string{"Modbus CRC-16", "01 04 02 FF CE", "79 54"}) {
		if !strings.HasPrefix(row[0], "Modbus") {
			continue
		}
		seen++
		if crc := crc16(measured.Bytes(t, row[1])); fmt.Sprintf("%02X %02X", byte(crc), byte(crc>>8)) != row[2] {
			t.Errorf("crc16(%s) = %04X, want %s, low byte first", row[1], crc, row[2])
		}
	}
	if seen != 6 {
		t.Errorf("%d examples, want 6", seen)
	}
}

// pipe is a port whose answer is known beforehand.
type pipe struct {
	answer []byte
	pieces int
}

func (p *pipe) Read(b []byte) (int, error) {
	n := min(len(b), len(p.answer), max(1, p.pieces))
	copy(b, p.answer[:n])
	p.answer = p.answer[n:]
	return n, nil
}
func (p *pipe) Write(b []byte) (int, error)        { return len(b), nil }
func (p *pipe) SetReadTimeout(time.Duration) error { return nil }
func (p *pipe) ResetInputBuffer() error            { return nil }
func (p *pipe) Close() error                       { return nil }

// Whatever comes, there is no panic, and words only from a frame whose checksum is right. What comes after a whole frame, in a piece of its own, is not waited for: it is thrown
// away before the next request.
func FuzzRTU(f *testing.F) {
	f.Add(sealed(1, 4, 2, 0, 7), uint8(3))
	f.Add(sealed(1, 0x84, 2), uint8(9))
	f.Add([]byte{1, 4, 255}, uint8(1))
	f.Add(append(sealed(1, 4, 2, 0, 7), 0, 7, 2), uint8(1))
	f.Fuzz(func(t *testing.T, answer []byte, pieces uint8) {
		line, err := NewRTU(serialLines("pipe", 115200))
		if err != nil {
			t.Fatal(err)
		}
		line.within = time.Millisecond
		line.open = func(string) (port, error) { return &pipe{bytes.Clone(answer), int(pieces)}, nil }
		got, err := line.Ask(t.Context(), 1, drivers.InputRegisters, 0, 1, nil)
		if err != nil {
			return
		}
		frame, whole := bytes.TrimPrefix(answer, []byte{1, 4, 0, 0, 0, 1, 0x31, 0xCA}), sealed(1, 4, 2, byte(got[0]>>8), byte(got[0]))
		after, begins := bytes.CutPrefix(frame, whole)
		if len(got) != 1 || !begins || len(after) > 0 && int(pieces) >= len(answer) {
			t.Errorf("% X gives %v", answer, got)
		}
	})
}

// serialLine gives the two ends of a line, as paths.
func serialLine(t *testing.T) (one, other string) {
	t.Helper()
	left, one := terminal(t)
	right, other := terminal(t)
	var wires sync.WaitGroup
	for _, ends := range [][2]*os.File{{left, right}, {right, left}} {
		wires.Go(func() { carry(ends[0], ends[1]) })
	}
	t.Cleanup(func() {
		left.Close()
		right.Close()
		wires.Wait()
	})
	return one, other
}

// carry takes what comes at one end to the other until they are closed, and while nobody has the end open.
func carry(to io.Writer, from io.Reader) {
	for {
		_, err := io.Copy(to, from)
		if !errors.Is(err, unix.EIO) { // nobody has the other end open
			return
		}
		time.Sleep(time.Millisecond)
	}
}

// python is the system's: another one that stands earlier on the path has other packages.
const python = "/usr/bin/python3"

// Aim: frames, tables and refusals against a server of a serial line that was written by others.
func TestRTU_pymodbus(t *testing.T) {
	if out, err := exec.Command(python, "-c", "import pymodbus.server.async_io, serial_asyncio").CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("python3-pymodbus and python3-serial-asyncio are needed here: %v\n%s", err, out)
		}
		t.Skip("python3-pymodbus or python3-serial-asyncio is not installed")
	}
	theirPath, ourPath := serialLine(t)
	server := exec.CommandContext(t.Context(), python, "testdata/rtu.py", theirPath)
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
	defer func() {
		stdin.Close() // the server ends with its input
		_ = server.Wait()
	}()
	if said, err := bufio.NewReader(stdout).ReadString('\n'); strings.TrimSpace(said) != "ready" {
		t.Fatalf("pymodbus does not start: %v\n%s", err, complaints.String())
	}
	line, err := NewRTU(serialLines(ourPath, 19200))
	if err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	line.within = 30 * time.Second // on the slowest machine
	for range 3 {
		for table, want := range map[drivers.ModbusTable]string{drivers.InputRegisters: "[215 480 65486]", drivers.HoldingRegisters: "[1 2 3]", drivers.Coils: "[1 0 1]", drivers.DiscreteInputs: "[0 1 1]"} {
			got, err := line.Ask(t.Context(), 7, table, 0, 3, nil)
			if err != nil || fmt.Sprint(got) != want {
				t.Errorf("table %d: %v, %v, want %s", table, got, err, want)
			}
		}
	}
	long, err := line.Ask(t.Context(), 7, drivers.HoldingRegisters, 0, 125, nil) // the most that one answer holds [application protocol 6.3]
	if err != nil || len(long) != 125 || long[124] != 125 {
		t.Errorf("125 registers: %v, %v", long, err)
	}
	var refusal drivers.ModbusException
	if _, err := line.Ask(t.Context(), 7, drivers.InputRegisters, 900, 1, nil); !errors.As(err, &refusal) || refusal != 2 {
		t.Errorf("register that is not there: %v, want exception 2", err)
	}
	line.within = rtuWithin
	if _, err := line.one(t, 8, 0); !errors.Is(err, errUnanswered) {
		t.Errorf("unit that is not there: %v, want errUnanswered", err)
	}
	if got, err := line.answered(t, 7, 1); err != nil || got != 480 {
		t.Errorf("after it: %d, %v, want 480", got, err)
	}
}
