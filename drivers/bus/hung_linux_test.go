package bus

import (
	"errors"
	"fmt"
	"syscall"
	"testing"

	"periph.io/x/conn/v3/i2c"

	"millwarden/drivers"
)

// adapter is a bus whose adapter fails from some exchange on with the kernel's words, as the library hands them on, until it is opened anew.
type adapter struct {
	wired
	says   error
	closed *int
}

func (a *adapter) Tx(addr uint16, out, in []byte) error {
	if a.says != nil {
		return fmt.Errorf("sysfs-i2c: %v", a.says) //nolint:errorlint // as the library does
	}
	return a.wired.Tx(addr, out, in)
}

func (a *adapter) Close() error { *a.closed++; return nil }

// Aim: an adapter that hangs or was pulled is opened anew before the next exchange, as long as it is away with words that say so; a part that does not
// answer opens nothing. The words are the kernel's [Linux, Documentation/i2c/fault-codes.rst]: ENXIO says that a part did not acknowledge.
func TestI2C_adapterIsOpenedAnew(t *testing.T) {
	for _, c := range []struct {
		says  error
		anew  bool
		about string
	}{
		{syscall.ETIMEDOUT, true, "its lines hang, and the kernel gave up"},
		{syscall.ENODEV, true, "it was pulled"},
		{syscall.EBUSY, true, "its lines hang before the exchange"},
		{syscall.ENXIO, false, "a part is missing"},
		{syscall.EREMOTEIO, false, "a part is missing, by another kernel"},
	} {
		opened, closed := 0, 0
		var last *adapter
		away := error(nil)
		h := NewHost(Options{})
		h.openI2C = func(int) (i2c.BusCloser, error) {
			if away != nil {
				return nil, away
			}
			opened++
			last = &adapter{wired: wired{parts: map[uint16]byte{0x48: 0x5A}}, closed: &closed}
			return last, nil
		}
		o, err := h.Open(drivers.I2C, "i2c-1", nil)
		if err != nil {
			t.Fatal(err)
		}
		last.says = c.says
		if _, err := ask(t, o, 0x48); err == nil {
			t.Fatalf("%s: an answer", c.about)
		}
		if c.anew {
			away = errors.New("bus #1 is not configured")
			if _, err := ask(t, o, 0x48); !errors.Is(err, away) {
				t.Errorf("%s, and away: %v, want %v", c.about, err, away)
			}
			away = nil
		} else {
			last.says = nil
		}
		got, err := ask(t, o, 0x48)
		if err != nil || got != 0x5A {
			t.Errorf("%s, and back: %#x, %v", c.about, got, err)
		}
		if err := o.Close(); err != nil {
			t.Error(err)
		}
		if want := map[bool]int{true: 2, false: 1}[c.anew]; opened != want || closed != want {
			t.Errorf("%s: opened %d and closed %d times, want %d", c.about, opened, closed, want)
		}
	}
}
