package bus

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/host/v3/sysfs"

	"millwarden/drivers"
)

// spiSpeed is the clock. Chosen: every part here takes 5 MHz on a board and none a metre of wire at that speed; 32 bits take 32 µs at this one.
const spiSpeed = physic.MegaHertz

const bitsPerWord = 8

// spiBus is the kernel's SPI bus, one device file a select line. A line is opened when it is first used.
type spiBus struct {
	number int
	lines  map[int]*spiLine
}

type spiLine struct {
	port spi.PortCloser
	conn spi.Conn
	mode spi.Mode
}

var _ drivers.SPIBus = (*spiBus)(nil)

func (o *Opened) openSPI(name string) error {
	number, err := numbered(name, "spi-")
	if err != nil {
		return err
	}
	bus := &spiBus{number: number, lines: map[int]*spiLine{}}
	o.SPI, o.close = bus, bus.Close
	return nil
}

// Exchange implements drivers.SPIBus.
func (b *spiBus) Exchange(line int, mode spi.Mode, w, r []byte) error {
	l := b.lines[line]
	if l != nil && l.mode != mode { // another part stands there since the rules file was changed
		delete(b.lines, line)
		if err := l.port.Close(); err != nil {
			return err
		}
		l = nil
	}
	if l == nil {
		var err error
		if l, err = b.connect(line, mode); err != nil {
			return err
		}
		b.lines[line] = l
	}
	return l.conn.Tx(w, r)
}

func (b *spiBus) connect(line int, mode spi.Mode) (*spiLine, error) {
	port, err := sysfs.NewSPI(b.number, line)
	if err != nil {
		return nil, fmt.Errorf("spi-%d select %d: %w", b.number, line, err)
	}
	conn, err := port.Connect(spiSpeed, mode, bitsPerWord)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("spi-%d select %d: %w", b.number, line, err), port.Close())
	}
	return &spiLine{port, conn, mode}, nil
}

// Close closes all lines.
func (b *spiBus) Close() error {
	var faults []error
	for _, l := range b.lines {
		faults = append(faults, l.port.Close())
	}
	clear(b.lines)
	return errors.Join(faults...)
}
