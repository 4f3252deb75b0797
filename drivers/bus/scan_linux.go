package bus

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unsafe"

	"golang.org/x/sys/unix"
)

// What the kernel's I2C device file takes [Linux, include/uapi/linux/i2c-dev.h and i2c.h].
const (
	i2cSlave    = 0x0703
	i2cReadWrit = 0x0707
	i2cSMBus    = 0x0720

	smbusWrite = 0
	smbusQuick = 0

	messageRead = 1
)

type smbusData struct {
	readWrite uint8
	command   uint8
	size      uint32
	data      unsafe.Pointer
}

type i2cMessage struct {
	address uint16
	flags   uint16
	length  uint16
	_       uint16
	buffer  unsafe.Pointer
}

type i2cTransaction struct {
	messages unsafe.Pointer
	count    uint32
}

// Wire is an I2C bus of the host for those who look for parts: it can call an address without sending data, which parts are not asked by.
//
// Concurrency: one goroutine.
type Wire struct {
	Name string
	file *os.File
}

// Wires opens all I2C buses of the host. Those that cannot be opened are told in the error, beside the others.
func Wires(devices string) ([]*Wire, error) {
	files, err := filepath.Glob(filepath.Join(orElse(devices, DeviceRoot), "i2c-*"))
	if err != nil {
		return nil, err
	}
	slices.Sort(files)
	var list []*Wire
	var failed []string
	for _, name := range files {
		file, err := os.OpenFile(name, os.O_RDWR, 0)
		if err != nil {
			failed = append(failed, err.Error())
			continue
		}
		list = append(list, &Wire{filepath.Base(name), file})
	}
	if len(failed) > 0 {
		return list, fmt.Errorf("bus: %s", strings.Join(failed, "; "))
	}
	return list, nil
}

// Held tells that the address belongs to a driver of the kernel.
func (w *Wire) Held(address uint16) bool {
	_, _, errno := unix.Syscall(unix.SYS_IOCTL, w.file.Fd(), i2cSlave, uintptr(address))
	return errno == unix.EBUSY
}

// Call calls an address and sends no data.
func (w *Wire) Call(address uint16) error {
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, w.file.Fd(), i2cSlave, uintptr(address)); errno != 0 {
		return errno
	}
	quick := smbusData{readWrite: smbusWrite, size: smbusQuick}
	return ioctl(int(w.file.Fd()), i2cSMBus, unsafe.Pointer(&quick))
}

// Tx writes w and reads r in one transaction.
func (w *Wire) Tx(address uint16, out, in []byte) error {
	var messages [2]i2cMessage
	n := 0
	if len(out) > 0 {
		messages[n] = i2cMessage{address: address, length: uint16(len(out)), buffer: unsafe.Pointer(&out[0])}
		n++
	}
	if len(in) > 0 {
		messages[n] = i2cMessage{address: address, flags: messageRead, length: uint16(len(in)), buffer: unsafe.Pointer(&in[0])}
		n++
	}
	if n == 0 {
		return nil
	}
	t := i2cTransaction{messages: unsafe.Pointer(&messages[0]), count: uint32(n)}
	return ioctl(int(w.file.Fd()), i2cReadWrit, unsafe.Pointer(&t))
}

// Close closes the device file.
func (w *Wire) Close() error { return w.file.Close() }
