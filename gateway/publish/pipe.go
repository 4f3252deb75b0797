package publish

import (
	"bytes"
	"io"
	"net"
	"os"
	"sync"
	"time"
)

// pipeRoom is how much one end of a pipe writes before the other has to read; chosen: the longest packet fits.
const pipeRoom = maxPacket

// newPipe connects two ends within the process as a socket does: what is written waits until it is read, and can still be read after its writer has closed. net.Pipe has
// no room at all, so that a broker and a client who both write wait for each other. Waits are on conditions, which fake time counts as rest.
func newPipe() (near, far net.Conn) {
	there, back := newLane(), newLane()
	return &pipeEnd{in: back, out: there}, &pipeEnd{in: there, out: back}
}

// pipeEnd is one end of a pipe.
//
// Concurrency: any goroutine.
type pipeEnd struct{ in, out *lane }

func (e *pipeEnd) Read(p []byte) (int, error)  { return e.in.read(p) }
func (e *pipeEnd) Write(p []byte) (int, error) { return e.out.write(p) }

func (e *pipeEnd) Close() error {
	e.out.end()
	e.in.leave()
	return nil
}

func (e *pipeEnd) LocalAddr() net.Addr  { return pipeAddr{} }
func (e *pipeEnd) RemoteAddr() net.Addr { return pipeAddr{} }

func (e *pipeEnd) SetDeadline(t time.Time) error {
	e.in.late(&e.in.reader, t)
	e.out.late(&e.out.writer, t)
	return nil
}

func (e *pipeEnd) SetReadDeadline(t time.Time) error  { e.in.late(&e.in.reader, t); return nil }
func (e *pipeEnd) SetWriteDeadline(t time.Time) error { e.out.late(&e.out.writer, t); return nil }

type pipeAddr struct{}

func (pipeAddr) Network() string { return inside }
func (pipeAddr) String() string  { return inside }

// lane is one direction of a pipe.
type lane struct {
	mu     sync.Mutex // guards all below
	moved  sync.Cond  // something was written, read or closed, or a deadline passed
	held   bytes.Buffer
	ended  bool // its writer has closed: what is held is the last
	left   bool // its reader has closed: nobody takes more
	reader deadline
	writer deadline
}

// deadline is when one side stops waiting.
type deadline struct {
	timer  *time.Timer
	passed bool
}

func newLane() *lane {
	s := &lane{}
	s.moved.L = &s.mu
	return s
}

func (s *lane) read(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for {
		switch {
		case s.left:
			return 0, io.ErrClosedPipe
		case s.reader.passed:
			return 0, os.ErrDeadlineExceeded
		case s.held.Len() > 0:
			s.moved.Broadcast()
			return s.held.Read(p)
		case s.ended:
			return 0, io.EOF
		case len(p) == 0:
			return 0, nil
		}
		s.moved.Wait()
	}
}

func (s *lane) write(p []byte) (written int, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for {
		switch {
		case s.ended || s.left:
			return written, io.ErrClosedPipe
		case s.writer.passed:
			return written, os.ErrDeadlineExceeded
		case len(p) == 0:
			return written, nil
		}
		if n := min(len(p), pipeRoom-s.held.Len()); n > 0 {
			s.held.Write(p[:n])
			written, p = written+n, p[n:]
			s.moved.Broadcast()
			continue
		}
		s.moved.Wait()
	}
}

func (s *lane) end() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended = true
	s.writer.stop()
	s.moved.Broadcast()
}

func (s *lane) leave() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.left = true
	s.held = bytes.Buffer{}
	s.reader.stop()
	s.moved.Broadcast()
}

// late sets when d passes; the zero time: never.
func (s *lane) late(d *deadline, t time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	d.stop()
	if t.IsZero() || s.ended || s.left { // where one side has closed nobody waits any more
		return
	}
	if left := time.Until(t); left > 0 {
		var own *time.Timer
		own = time.AfterFunc(left, func() {
			s.mu.Lock()
			defer s.mu.Unlock()
			if d.timer == own { // else another was set while this one went off
				d.passed = true
				s.moved.Broadcast()
			}
		})
		d.timer = own
		return
	}
	d.passed = true
	s.moved.Broadcast()
}

func (d *deadline) stop() {
	if d.timer != nil {
		d.timer.Stop()
	}
	*d = deadline{}
}
