package drivertest

import (
	"errors"
	"sync"
	"time"

	"millwarden/drivers"
)

// GPIO is a chip of input lines in memory, with a dry contact to ground on each: the double of a switch, a fan's proving contact, a rain gauge.
//
// Concurrency: safe for use by several goroutines.
type GPIO struct {
	Turns

	mu      sync.Mutex // guards all below
	closed  map[int]bool
	falls   map[int]uint64
	taken   map[int]bool
	settles map[int]time.Duration
	absent  bool
}

var _ drivers.GPIOChip = (*GPIO)(nil)

// NewGPIO is a chip whose contacts are all open.
func NewGPIO() *GPIO {
	return &GPIO{closed: map[int]bool{}, falls: map[int]uint64{}, taken: map[int]bool{}, settles: map[int]time.Duration{}}
}

// SetClosed closes or opens the contact on a line.
func (g *GPIO) SetClosed(line int, closed bool) {
	g.with(func() {
		if closed && !g.closed[line] {
			g.falls[line]++
		}
		g.closed[line] = closed
	})
}

// Pulse closes and opens the contact n times.
func (g *GPIO) Pulse(line int, n uint64) { g.with(func() { g.falls[line] += n }) }

// Settle is what was asked for when the line was taken.
func (g *GPIO) Settle(line int) (d time.Duration) {
	g.with(func() { d = g.settles[line] })
	return d
}

// Absent takes the whole chip away, or brings it back.
func (g *GPIO) Absent(absent bool) { g.with(func() { g.absent = absent }) }

// Taken tells whether somebody holds a line.
func (g *GPIO) Taken(line int) (taken bool) {
	g.with(func() { taken = g.taken[line] })
	return taken
}

func (g *GPIO) with(f func()) {
	g.mu.Lock()
	defer g.mu.Unlock()
	f()
}

// answer counts a call and says whether it fails. The caller holds mu.
func (g *GPIO) answer() error {
	if g.Take() || g.absent {
		return errors.New("no such device")
	}
	return nil
}

func (g *GPIO) take(line int, settle time.Duration) (*gpioLine, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if err := g.answer(); err != nil {
		return nil, err
	}
	if g.taken[line] {
		return nil, errors.New("device or resource busy")
	}
	g.taken[line], g.settles[line] = true, settle
	return &gpioLine{g, line, g.falls[line]}, nil
}

// Input implements drivers.GPIOChip.
func (g *GPIO) Input(line int, settle time.Duration) (drivers.InputLine, error) {
	return g.take(line, settle)
}

// Counter implements drivers.GPIOChip.
func (g *GPIO) Counter(line int, settle time.Duration) (drivers.CounterLine, error) {
	return g.take(line, settle)
}

type gpioLine struct {
	chip *GPIO
	line int
	from uint64
}

func (l *gpioLine) Low() (bool, error) {
	l.chip.mu.Lock()
	defer l.chip.mu.Unlock()
	return l.chip.closed[l.line], l.chip.answer()
}

func (l *gpioLine) Falls() (uint64, error) {
	l.chip.mu.Lock()
	defer l.chip.mu.Unlock()
	return l.chip.falls[l.line] - l.from, l.chip.answer()
}

func (l *gpioLine) Close() error {
	l.chip.with(func() { delete(l.chip.taken, l.line) })
	return nil
}
