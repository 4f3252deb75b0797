package publish

import (
	"net"
	"sync"
	"time"
)

const (
	// connectWait is how long who connects may take to say who it is: the library sets no bound before that. Chosen, as the handshake of package link.
	connectWait = 10 * time.Second
	// maxWaiting is how many connections may be open at once, known clients and others: each costs a file descriptor, which the alarms need too. Chosen.
	maxWaiting = maxClients + 64
)

// hall is the listener for those outside, with its bounds. One that is too many is sent away at once.
type hall struct {
	net.Listener
	wait time.Duration
	room chan struct{}
}

func newHall(l net.Listener, wait time.Duration, room int) *hall {
	return &hall{l, wait, make(chan struct{}, room)}
}

// Accept gives the next connection for which there is room.
func (h *hall) Accept() (net.Conn, error) {
	for {
		conn, err := h.Listener.Accept()
		if err != nil {
			return nil, err
		}
		select {
		case h.room <- struct{}{}:
		default:
			conn.Close() //nolint:errcheck // it is sent away
			continue
		}
		_ = conn.SetDeadline(time.Now().Add(h.wait)) // once it has said who it is the library sets another; a connection that cannot have one is closed already
		return &guest{Conn: conn, leave: sync.OnceFunc(func() { <-h.room })}, nil
	}
}

// guest is a connection that gives its room back when it is closed.
type guest struct {
	net.Conn
	leave func()
}

func (g *guest) Close() error {
	g.leave()
	return g.Conn.Close()
}
