package text

import (
	"fmt"
	"io"

	"go.bug.st/serial"
)

// Port opens a serial port: eight bits, no parity, one stop bit, the lines for "ready" set. The path should be one below /dev/serial/by-id, which stays
// the same when a modem is plugged in again.
func Port(path string, speed int) func() (io.ReadWriteCloser, error) {
	return func() (io.ReadWriteCloser, error) {
		port, err := serial.Open(path, &serial.Mode{BaudRate: speed})
		if err != nil {
			return nil, fmt.Errorf("opening %s: %w", path, err)
		}
		return port, nil
	}
}
