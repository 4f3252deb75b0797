//go:build !linux

package bus

import "errors"

func (o *Opened) openGPIO(_, _ string) error { return errors.New("input lines need Linux") }
