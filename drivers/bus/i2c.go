package bus

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"syscall"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"millwarden/internal/phrase"
)

// sharedI2C is one I2C bus of the host, with those behind its multiplexers. A branch is open only for the exchange that needs it: parts with the same
// address may stand on the bus itself and on several branches.
//
// Concurrency: safe for use by several goroutines.
type sharedI2C struct {
	users int // guarded by Host.mu

	anew func() (i2c.BusCloser, error) // opens the bus

	mu      sync.Mutex // guards the bus during an exchange, and what follows
	bus     i2c.BusCloser
	gone    bool   // the adapter must be opened anew before the next exchange
	through uint16 // address of a multiplexer that may still have a branch open; 0 none
}

var _ i2c.Bus = (*sharedI2C)(nil)

// Tx implements i2c.Bus for parts on the bus itself.
func (s *sharedI2C) Tx(addr uint16, w, r []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.shut(); err != nil {
		return err
	}
	return s.tx(addr, w, r)
}

// adapterFaults are what the kernel says where the adapter failed, not a part: it was pulled, or its lines hang and it gave up waiting [Linux,
// Documentation/i2c/fault-codes.rst]. The library hands its errors on as text.
var adapterFaults = []syscall.Errno{syscall.ENODEV, syscall.ESHUTDOWN, syscall.EBADF, syscall.ETIMEDOUT, syscall.EBUSY}

// tx makes an exchange, on an adapter that was opened anew if it failed before: one on USB that was pulled and plugged in answers on no old file. The caller
// holds mu.
func (s *sharedI2C) tx(addr uint16, w, r []byte) error {
	if s.gone {
		if err := s.reopen(); err != nil {
			return err
		}
	}
	err := s.bus.Tx(addr, w, r)
	if err != nil {
		s.gone = slices.ContainsFunc(adapterFaults, func(e syscall.Errno) bool { return strings.HasSuffix(err.Error(), e.Error()) })
	}
	return err
}

func (s *sharedI2C) reopen() error {
	bus, err := s.anew()
	if err != nil {
		return fmt.Errorf("the adapter is away: %w", err)
	}
	_ = s.bus.Close() // it has failed before
	s.bus, s.gone = bus, false
	return nil
}

// shut closes the branch that may still be open. While that fails nothing may be asked: a part of the wrong branch could answer.
func (s *sharedI2C) shut() error {
	if s.through == 0 {
		return nil
	}
	if err := s.tx(s.through, []byte{0}, nil); err != nil {
		return fmt.Errorf("closing the branches of multiplexer 0x%02x: %w", s.through, err)
	}
	s.through = 0
	return nil
}

func (s *sharedI2C) SetSpeed(f physic.Frequency) error { return s.bus.SetSpeed(f) }

func (s *sharedI2C) String() string { return s.bus.String() }

// branch is one branch of a multiplexer of the TCA9548A kind: the byte that is written is a mask of the open branches, and reads back
// [Texas Instruments, TCA9548A, SCPS207, 8.5 and 8.6].
type branch struct {
	*sharedI2C
	mux  uint16
	mask byte
}

var _ i2c.Bus = (*branch)(nil)

// Tx opens the branch, makes the exchange, and closes the branch. Where the closing fails the exchange stands; the next one tries again first.
func (b *branch) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.shut(); err != nil {
		return err
	}
	if err := b.open(); err != nil {
		return err
	}
	err := b.tx(addr, w, r)
	_ = b.shut() // it stays noted as open
	return err
}

func (b *branch) open() error {
	b.through = b.mux
	if err := b.tx(b.mux, []byte{b.mask}, nil); err != nil {
		return fmt.Errorf("multiplexer 0x%02x: %w", b.mux, err)
	}
	return nil
}

// check writes the mask and reads it back: no other part on these addresses keeps it.
func (b *branch) check() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.open(); err != nil {
		return err
	}
	var got [1]byte
	if err := b.tx(b.mux, nil, got[:]); err != nil {
		return fmt.Errorf("multiplexer 0x%02x: %w", b.mux, err)
	}
	if got[0] != b.mask {
		return fmt.Errorf("at 0x%02x is no multiplexer: branch mask %02X comes back as %02X", b.mux, b.mask, got[0])
	}
	return b.shut()
}

// i2c opens a bus of the host, or with lines the branch of a multiplexer behind one.
func (h *Host) i2c(o *Opened, lines phrase.Lines) error {
	behind, isBranch := lines.Find("behind")
	if !isBranch {
		shared, release, err := h.share(o.Name)
		if err != nil {
			return err
		}
		o.I2C, o.close = shared, release
		return nil
	}
	at, ok := lines.Find("branch")
	if len(behind.Slots) < 2 || !ok || len(at.Slots) == 0 {
		return errors.New("a multiplexer needs its bus, its address and a branch")
	}
	number := at.Slots[0].Amount.Value
	if number < 0 || number > 7 {
		return fmt.Errorf("there is no branch %g", number)
	}
	shared, release, err := h.share(behind.Slots[0].Text)
	if err != nil {
		return err
	}
	b := &branch{sharedI2C: shared, mux: uint16(behind.Slots[1].Amount.Value), mask: 1 << uint(number)}
	if err := b.check(); err != nil {
		return errors.Join(err, release())
	}
	o.I2C, o.close = b, release
	return nil
}

// share gives a bus of the host, opened once for all that need it.
func (h *Host) share(name string) (*sharedI2C, func() error, error) {
	number, err := numbered(name, "i2c-")
	if err != nil {
		return nil, nil, err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	s := h.shared[number]
	if s == nil {
		anew := func() (i2c.BusCloser, error) { return h.openI2C(number) }
		bus, err := anew()
		if err != nil {
			return nil, nil, err
		}
		s = &sharedI2C{bus: bus, anew: anew}
		h.shared[number] = s
	}
	s.users++
	return s, func() error { return h.release(number, s) }, nil
}

func (h *Host) release(number int, s *sharedI2C) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if s.users--; s.users > 0 {
		return nil
	}
	delete(h.shared, number)
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.bus.Close()
}
