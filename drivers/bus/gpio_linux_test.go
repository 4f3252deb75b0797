package bus

import (
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"millwarden/drivers"
)

// The sizes are those in the numbers of the requests, which golang.org/x/sys takes from the kernel's header: bits 16 to 29 [ioctl(2)].
func TestGPIO_layoutIsTheKernels(t *testing.T) {
	for _, test := range []struct {
		what    string
		request uint
		size    uintptr
	}{
		{"gpio_v2_line_request", unix.GPIO_V2_GET_LINE_IOCTL, unsafe.Sizeof(lineRequest{})},
		{"gpio_v2_line_values", unix.GPIO_V2_LINE_GET_VALUES_IOCTL, unsafe.Sizeof(lineValues{})},
	} {
		if want := uintptr(test.request >> 16 & 0x3FFF); test.size != want {
			t.Errorf("%s has %d bytes here, %d in the kernel", test.what, test.size, want)
		}
	}
	if at := unsafe.Offsetof(lineRequest{}.config); at != 288 { // 64 offsets of 4 bytes and a name of 32
		t.Errorf("the configuration lies at %d, want 288", at)
	}
}

// A file that is no GPIO chip refuses the request; nothing is left open.
func TestGPIO_noChip(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "gpiochip0"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	opened, err := Open(drivers.GPIO, "gpiochip0", Options{Devices: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer opened.Close()
	refused := func(err error) bool {
		return errors.Is(err, unix.ENOTTY) || errors.Is(err, unix.ENOSYS) // the second from an emulated processor [qemu, user mode: it knows no requests of GPIO]
	}
	if _, err := opened.GPIO.Input(1, time.Millisecond); !refused(err) {
		t.Errorf("Input() = %v, want ENOTTY", err)
	}
	if _, err := opened.GPIO.Counter(1, time.Millisecond); !refused(err) {
		t.Errorf("Counter() = %v, want ENOTTY", err)
	}
}

// Events come through a pipe as they come from the kernel. Dropped ones show by the number of the next; after 32 bits it begins anew.
func TestCounterLine_countsByTheKernelsNumbers(t *testing.T) {
	var fds [2]int
	if err := unix.Pipe2(fds[:], unix.O_NONBLOCK); err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fds[1])
	line := &counterLine{fd: fds[0]}
	defer line.Close()
	happen := func(seqnos ...uint32) {
		for _, n := range seqnos {
			event := make([]byte, eventSize)
			binary.NativeEndian.PutUint32(event[seqnoAt:], n)
			if _, err := unix.Write(fds[1], event); err != nil {
				t.Fatal(err)
			}
		}
	}
	expect := func(want uint64) {
		t.Helper()
		if got, err := line.Falls(); err != nil || got != want {
			t.Errorf("Falls() = %d, %v, want %d", got, err, want)
		}
	}
	expect(0)
	happen(1, 2, 3)
	expect(3)
	happen(40, 41) // 36 between were dropped for lack of room
	expect(41)
	line.seqno = 0xFFFFFFFE
	happen(0xFFFFFFFF, 0, 1)
	expect(44)
	for n := uint32(2); n < 52; n++ { // more than one buffer
		happen(n)
	}
	expect(94)
}
