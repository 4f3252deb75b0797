package siren

import (
	"fmt"
	"time"
)

// contact is one button and what was seen of it last.
type contact struct {
	name    string
	open    func() (Button, error) // nil: there is none
	opened  Button
	tried   time.Duration // when opening was tried last; 0: not yet
	pressed bool
	since   time.Duration // when it was pressed
	fault   error
}

// look tells whether it was pressed since it was looked at last, and if it was let go, how long it had been held; 0: it was not let go.
func (c *contact) look(now time.Duration) (down bool, held time.Duration) {
	if c.open == nil || c.opened == nil && c.tried > 0 && now-c.tried < setAgain {
		return false, 0
	}
	low, err := c.low(now)
	if err != nil {
		c.fault, c.pressed = fmt.Errorf("%s: %w", c.name, err), false // one that was not seen for a while was let go unseen: it answers nothing
		return false, 0
	}
	c.fault = nil
	switch {
	case low && !c.pressed:
		down, c.since = true, now
	case !low && c.pressed:
		held = now - c.since
	}
	if c.pressed = low; low && now-c.since > stuck {
		c.fault = fmt.Errorf("%s: pressed for longer than %v, it sticks or its wire is shorted", c.name, stuck)
	}
	return down, held
}

func (c *contact) low(now time.Duration) (bool, error) {
	if c.opened == nil {
		c.tried = max(now, 1)
		opened, err := c.open()
		if err != nil {
			return false, err
		}
		c.opened = opened
	}
	return c.opened.Low()
}

func (c *contact) close() {
	if c.opened != nil {
		_ = c.opened.Close() // nothing hangs on it any more
	}
	c.opened = nil
}
