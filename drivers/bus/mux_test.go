package bus

import (
	"errors"
	"strings"
	"sync"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/internal/phrase"
)

const muxAt = 0x70

// wired is a bus with a multiplexer of the TCA9548A kind: a control register at its address, and eight branches of which several may be open. Where two
// parts of one address can be reached at once, they answer over each other: that is the fault to be found.
type wired struct {
	mu       sync.Mutex
	control  byte
	deaf     bool // the multiplexer does not acknowledge
	closed   bool
	parts    map[uint16]byte // on the bus itself: what the part answers
	branches [8]map[uint16]byte
}

func (w *wired) Tx(addr uint16, out, in []byte) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if addr == muxAt {
		if w.deaf {
			return errors.New("no such device or address")
		}
		for _, b := range out {
			w.control = b
		}
		for i := range in {
			in[i] = w.control
		}
		return nil
	}
	var answers []byte
	if b, ok := w.parts[addr]; ok {
		answers = append(answers, b)
	}
	for i, branch := range w.branches {
		if b, ok := branch[addr]; ok && w.control>>i&1 == 1 {
			answers = append(answers, b)
		}
	}
	if len(answers) == 0 {
		return errors.New("no such device or address")
	}
	for i := range in {
		in[i] = 0xFF
		for _, b := range answers {
			in[i] &= b // a low bit wins on the wire
		}
	}
	return nil
}

func (w *wired) Close() error                    { w.closed = true; return nil }
func (w *wired) SetSpeed(physic.Frequency) error { return nil }
func (w *wired) String() string                  { return "wired" }

func muxLines(behind string, at, branch float64) phrase.Lines {
	return phrase.Lines{{Key: "behind", Slots: []phrase.Slot{drivertest.Word(behind), drivertest.Number(at)}},
		{Key: "branch", Slots: []phrase.Slot{drivertest.Number(branch)}}}
}

func hostOf(w *wired) *Host {
	h := NewHost(Options{})
	h.openI2C = func(int) (i2c.BusCloser, error) { return w, nil }
	return h
}

func ask(t *testing.T, o *Opened, addr uint16) (byte, error) {
	t.Helper()
	var r [1]byte
	err := o.I2C.Tx(addr, []byte{0xFD}, r[:])
	return r[0], err
}

// One address on two branches, and another on the bus itself and on a branch. Were a branch left open after its exchange, the others would read the
// overlay of two parts. (What stands on the bus itself is heard with every branch: no branch can have a part that is asked at that address.)
func TestMux_oneAddressOnTwoBranches(t *testing.T) {
	w := &wired{parts: map[uint16]byte{0x45: 0x33}}
	w.branches[0] = map[uint16]byte{0x44: 0x55, 0x45: 0x50}
	w.branches[2] = map[uint16]byte{0x44: 0x66}
	h := hostOf(w)
	var opened [3]*Opened
	var err error
	for i, lines := range []phrase.Lines{nil, muxLines("i2c-1", muxAt, 0), muxLines("i2c-1", muxAt, 2)} {
		name := "i2c-1"
		if lines != nil {
			name = "side"
		}
		if opened[i], err = h.Open(drivers.I2C, name, lines); err != nil {
			t.Fatal(err)
		}
	}
	var group sync.WaitGroup
	for i, want := range []byte{0x33, 0x55, 0x66} {
		addr := uint16(0x44)
		if i == 0 {
			addr = 0x45
		}
		group.Go(func() {
			for range 500 {
				if got, err := ask(t, opened[i], addr); err != nil || got != want {
					t.Errorf("bus %d: %02X, %v, want %02X", i, got, err, want)
					return
				}
			}
		})
	}
	group.Wait()
	if _, err := ask(t, opened[1], 0x44); err != nil || w.control != 0 {
		t.Errorf("after an exchange: %v, branches %02X open, want none: the kernel may ask on this bus too", err, w.control)
	}
	if err := opened[0].Close(); err != nil || w.closed {
		t.Errorf("closing the bus itself: %v, closed %t, want it open for its branches", err, w.closed)
	}
	opened[1].Close()
	if got, err := ask(t, opened[2], 0x44); err != nil || got != 0x66 {
		t.Errorf("the last branch: %02X, %v, want 66", got, err)
	}
	if opened[2].Close(); !w.closed {
		t.Error("the last user closed, the bus is still open")
	}
}

// A branch that could not be closed is closed before anything else is asked.
func TestMux_aBranchThatStaysOpen(t *testing.T) {
	w := &wired{parts: map[uint16]byte{0x44: 0x33}}
	w.branches[0] = map[uint16]byte{0x44: 0x55}
	h := hostOf(w)
	bus, err := h.Open(drivers.I2C, "i2c-1", nil)
	if err != nil {
		t.Fatal(err)
	}
	defer bus.Close()
	side, err := h.Open(drivers.I2C, "side", muxLines("i2c-1", muxAt, 0))
	if err != nil {
		t.Fatal(err)
	}
	defer side.Close()
	side.I2C.(*branch).through, w.control = muxAt, 1 // as after a closing that failed
	w.deaf = true
	if got, err := ask(t, bus, 0x44); err == nil {
		t.Errorf("a branch stays open: the bus gives %02X, want an error", got)
	}
	w.deaf = false
	if got, err := ask(t, bus, 0x44); err != nil || got != 0x33 {
		t.Errorf("the multiplexer is back: %02X, %v, want 33", got, err)
	}
	w.deaf = true
	if _, err := ask(t, side, 0x44); err == nil || !strings.Contains(err.Error(), "multiplexer 0x70") {
		t.Errorf("no multiplexer: %v, want that it is named", err)
	}
}

func TestMux_refuses(t *testing.T) {
	for says, lines := range map[string]phrase.Lines{
		"named like i2c-1": muxLines("deck-side", muxAt, 0),
		"no branch 9":      muxLines("i2c-1", muxAt, 9),
		"multiplexer 0x71": muxLines("i2c-1", 0x71, 0),
		"its address":      {{Key: "behind"}},
	} {
		if _, err := hostOf(&wired{}).Open(drivers.I2C, "side", lines); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("Open() = %v, want an error that says %q", err, says)
		}
	}
	// a part that acknowledges and keeps nothing is no multiplexer
	if _, err := hostOf(&wired{parts: map[uint16]byte{0x71: 0}}).Open(drivers.I2C, "side", muxLines("i2c-1", 0x71, 0)); err == nil || !strings.Contains(err.Error(), "no multiplexer") {
		t.Errorf("Open() = %v, want that it is no multiplexer", err)
	}
}
