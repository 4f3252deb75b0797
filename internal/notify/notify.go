// Package notify tells the service manager how the program does: that it is ready, what it is doing, that it stops, and that it is alive. A manager
// that wants to hear none of it is told nothing.
//
// Source: sd_notify(3) and sd_watchdog_enabled(3) of systemd 252: one datagram of NAME=VALUE lines to the socket named by NOTIFY_SOCKET, where a
// leading @ stands for the abstract name space; WATCHDOG_USEC is the time within which WATCHDOG=1 has to come again, for the process WATCHDOG_PID.
//
// Concurrency: a Manager may be used by many goroutines.
package notify

import (
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"
)

// What the manager can be told [sd_notify(3), Well-known assignments].
const (
	Ready    = "READY=1"
	Stopping = "STOPPING=1"
	Alive    = "WATCHDOG=1"
)

// Status is a line for a person who asks the manager how the service does. A line end would begin another assignment.
func Status(text string) string { return "STATUS=" + strings.ReplaceAll(text, "\n", " ") }

// Manager is who started the program. The zero value is a manager that wants to hear nothing.
type Manager struct {
	address string
	within  time.Duration
}

// From takes the manager out of the environment; getenv is os.Getenv, pid this process. An environment that makes no sense is an error, and the
// Manager then tells nobody: the program runs all the same.
func From(getenv func(string) string, pid int) (*Manager, error) {
	m := &Manager{}
	address := getenv("NOTIFY_SOCKET")
	if address == "" {
		return m, nil
	}
	if address[0] != '/' && address[0] != '@' {
		return m, fmt.Errorf("notify: NOTIFY_SOCKET is %q, want a path or a name that begins with @", address)
	}
	m.address = address
	text := getenv("WATCHDOG_USEC")
	if of := getenv("WATCHDOG_PID"); text == "" || of != "" && of != strconv.Itoa(pid) {
		return m, nil
	}
	microseconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil || microseconds <= 0 || microseconds > int64(24*time.Hour/time.Microsecond) {
		return m, fmt.Errorf("notify: WATCHDOG_USEC is %q, want microseconds up to a day", text)
	}
	m.within = time.Duration(microseconds) * time.Microsecond
	return m, nil
}

// Listens tells whether anybody wants to hear.
func (m *Manager) Listens() bool { return m.address != "" }

// Within is the time after which a silent program counts as hung; 0: nobody watches.
func (m *Manager) Within() time.Duration { return m.within }

// patience is how long the manager may take to accept a datagram; chosen: its socket holds some, and a manager that hangs must not hang us.
const patience = time.Second

// Tell sends assignments in one datagram. What fails can only be logged: the manager will find out.
func (m *Manager) Tell(assignments ...string) error {
	if m.address == "" {
		return nil
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: m.address, Net: "unixgram"})
	if err != nil {
		return fmt.Errorf("notify: %w", err)
	}
	err = conn.SetWriteDeadline(time.Now().Add(patience))
	if err == nil {
		_, err = conn.Write([]byte(strings.Join(assignments, "\n") + "\n"))
	}
	if err = errors.Join(err, conn.Close()); err != nil {
		return fmt.Errorf("notify: %w", err)
	}
	return nil
}
