//go:build !linux

package bus

import "errors"

// Wire is an I2C bus of the host; there is none here.
type Wire struct{ Name string }

// Wires opens no buses.
func Wires(string) ([]*Wire, error) { return nil, errors.New("bus: I2C needs Linux") }

// Held is false.
func (w *Wire) Held(uint16) bool { return false }

// Call fails.
func (w *Wire) Call(uint16) error { return errors.New("bus: I2C needs Linux") }

// Tx fails.
func (w *Wire) Tx(uint16, []byte, []byte) error { return errors.New("bus: I2C needs Linux") }

// Close does nothing.
func (w *Wire) Close() error { return nil }
