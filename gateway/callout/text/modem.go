package text

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"
)

// modem is the client of AT commands on one open port. One goroutine listens; one, the owner, asks. An answer that does not come in time closes the
// port: what the modem would still say could not be told from the answer to the next question.
type modem struct {
	port  io.ReadWriteCloser
	lines chan string   // closed when the port has ended
	gone  chan struct{} // closed by close
	once  sync.Once

	mail    bool     // something lies in the memory
	reports []string // status reports that came by themselves
	expects bool     // the next line is such a report
	drops   bool     // the next line belongs to something that is not wanted
	words   bool     // it refuses PDUs: text mode
}

const (
	// linesQueue is in lines. Chosen: more than a burst of notices between two looks.
	linesQueue = 64

	// Patience with a modem. [TS 27.005 and modem manuals: sending may take a minute and longer; the others are chosen.]
	patience     = 5 * time.Second
	sendPatience = 90 * time.Second
	listPatience = 20 * time.Second
	pinPatience  = 15 * time.Second
	wakePatience = time.Second
	wakeTries    = 5
)

var (
	errGone   = errors.New("the modem is gone")
	errSilent = errors.New("the modem does not answer")
)

func newModem(port io.ReadWriteCloser) *modem {
	m := &modem{port: port, lines: make(chan string, linesQueue), gone: make(chan struct{})}
	go m.listen()
	return m
}

// listen reads until the port ends.
func (m *modem) listen() {
	defer close(m.lines)
	var s splitter
	buffer := make([]byte, 512)
	for {
		n, err := m.port.Read(buffer)
		open := true
		s.feed(buffer[:n], func(line string) {
			select {
			case m.lines <- line:
			case <-m.gone:
				open = false
			}
		})
		if err != nil || n == 0 || !open { // a serial port that was pulled out reads nothing for ever
			return
		}
	}
}

func (m *modem) close() {
	m.once.Do(func() {
		close(m.gone)
		_ = m.port.Close() // there is nothing left to lose
	})
}

// within gives a context that closes the port when its time is over, so that no read and no write outlasts it.
func (m *modem) within(ctx context.Context, d time.Duration) (context.Context, func()) {
	asking, cancel := context.WithTimeoutCause(ctx, d, errSilent)
	stop := context.AfterFunc(asking, m.close)
	return asking, func() { stop(); cancel() }
}

func (m *modem) write(ctx context.Context, text string) error {
	if _, err := io.WriteString(m.port, text); err != nil {
		return m.ended(ctx, err)
	}
	return nil
}

// ended tells why nothing more comes: the time was over, or the modem is gone.
func (m *modem) ended(ctx context.Context, err error) error {
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	if err == nil || errors.Is(err, io.EOF) || errors.Is(err, io.ErrClosedPipe) {
		return errGone
	}
	return fmt.Errorf("%w: %w", errGone, err)
}

// next gives the next line that is no notice.
func (m *modem) next(ctx context.Context) (string, error) {
	for {
		select {
		case <-ctx.Done():
			return "", context.Cause(ctx)
		case line, open := <-m.lines:
			if !open {
				return "", m.ended(ctx, nil)
			}
			if !m.notice(line) {
				return line, nil
			}
		}
	}
}

// notice takes what a modem says by itself [TS 27.005 sections 3.4.1 and 3.4.2]. It may stand between any two lines of an answer.
func (m *modem) notice(line string) bool {
	switch {
	case m.expects:
		m.expects = false
		m.reports = append(m.reports, line)
	case m.drops:
		m.drops = false
	case strings.HasPrefix(line, "+CDS:") && m.words:
		m.reports = append(m.reports, line)
	case strings.HasPrefix(line, "+CDS:"):
		m.expects = true
	case strings.HasPrefix(line, "+CMT:"), strings.HasPrefix(line, "+CBM:"): // a message shown instead of stored; not asked for
		m.drops = true
	case strings.HasPrefix(line, "+CMTI:"), strings.HasPrefix(line, "+CDSI:"):
		m.mail = true
	default:
		return false
	}
	return true
}

// ask gives one command and collects what begins with prefix until the result. Where follows says so, such a line is followed by one more: a
// message; nil: none is.
func (m *modem) ask(ctx context.Context, d time.Duration, command, prefix string, follows func(line string) bool) ([]string, error) {
	asking, done := m.within(ctx, d)
	defer done()
	if err := m.write(asking, command+"\r"); err != nil {
		return nil, err
	}
	var found []string
	wanted := false
	for {
		line, err := m.next(asking)
		if err != nil {
			return nil, err
		}
		if wanted {
			found, wanted = append(found, line), false
			continue
		}
		if ends, err := result(line); ends {
			return found, err
		}
		if prefix != "" && strings.HasPrefix(line, prefix) {
			found, wanted = append(found, line), follows != nil && follows(line)
		}
	}
}

// tell gives a command that answers with its result alone.
func (m *modem) tell(ctx context.Context, command string) error {
	_, err := m.ask(ctx, patience, command, "", nil)
	return err
}

// query gives the fields of the one line that answers a command.
func (m *modem) query(ctx context.Context, command, prefix string) ([]string, error) {
	lines, err := m.ask(ctx, patience, command, prefix, nil)
	if err != nil {
		return nil, err
	}
	if len(lines) == 0 {
		return nil, fmt.Errorf("the modem said nothing to %s", command)
	}
	return fields(lines[0]), nil
}

// wake finds out whether a modem listens. It may be in the middle of a message that a program before us began, and it may first have to find the speed.
func (m *modem) wake(ctx context.Context) error {
	asking, done := m.within(ctx, wakeTries*wakePatience)
	defer done()
	for {
		if err := m.write(asking, "\x1b\rAT\r"); err != nil {
			return err
		}
		ok, err := m.wakened(asking)
		if err != nil {
			return err
		}
		if ok {
			return m.hush(asking)
		}
	}
}

// hush drops what a slow modem still says to earlier questions, until it has been quiet for a while.
func (m *modem) hush(ctx context.Context) error {
	const quiet = 200 * time.Millisecond // chosen
	for {
		select {
		case line, open := <-m.lines:
			if !open {
				return m.ended(ctx, nil)
			}
			m.notice(line)
		case <-time.After(quiet):
			return nil
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

func (m *modem) wakened(ctx context.Context) (bool, error) {
	timer := time.NewTimer(wakePatience)
	defer timer.Stop()
	for {
		select {
		case line, open := <-m.lines:
			if !open {
				return false, m.ended(ctx, nil)
			}
			if !m.notice(line) && line == "OK" {
				return true, nil
			}
		case <-timer.C:
			return false, nil
		case <-ctx.Done():
			return false, context.Cause(ctx)
		}
	}
}

// send hands one message over by its command and gives its reference [TS 27.005 sections 3.5.1 and 4.3].
func (m *modem) send(ctx context.Context, command, message string) (reference byte, err error) {
	asking, done := m.within(ctx, sendPatience)
	defer done()
	if err := m.write(asking, command+"\r"); err != nil {
		return 0, err
	}
	for {
		line, err := m.next(asking)
		if err != nil {
			return 0, err
		}
		if line == prompt {
			break
		}
		if ends, err := result(line); ends {
			return 0, orUnexpected(err)
		}
	}
	if err := m.write(asking, message+"\x1a"); err != nil {
		return 0, err
	}
	for {
		line, err := m.next(asking)
		if err != nil {
			return 0, err
		}
		if strings.HasPrefix(line, "+CMGS:") {
			reference = byte(number(fields(line), 0))
		} else if ends, err := result(line); ends {
			return reference, err
		}
	}
}

func orUnexpected(err error) error {
	if err == nil {
		return errors.New("the modem did not ask for the message")
	}
	return err
}
