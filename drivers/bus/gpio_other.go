//go:build !linux

package bus

import "errors"

func (o *Opened) openGPIO(_, _ string) error { return errors.New("input lines need Linux") }

// SwitchedLine is an output line.
type SwitchedLine struct{}

// Output needs Linux.
func Output(_ string, _ int, _ bool, _ Options) (*SwitchedLine, error) {
	return nil, errors.New("output lines need Linux")
}

// Set never succeeds.
func (*SwitchedLine) Set(bool) error { return errors.New("output lines need Linux") }

// Close does nothing.
func (*SwitchedLine) Close() error { return nil }
