package floor

import (
	"context"
	"fmt"
	"io"
	"net"
	"syscall"
	"testing"
	"time"

	"millwarden/gateway/web"
	"millwarden/internal/reading"
)

// Aim: errors as the system and the standard library write them are told in words; one that says itself what to do, or that nobody knows, stays as it is.
func TestInWords_tellsWhatThePersonCanLookAt(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	gone := l.Addr().String()
	l.Close()
	_, refused := net.Dial("tcp", gone)
	for _, c := range []struct {
		cause error
		want  string
	}{
		{fmt.Errorf("broker: connecting: %w", refused), "nothing answers at its address"},
		{&net.DNSError{Err: "no such host", Name: "broker.estate.example", IsNotFound: true}, "its name is not known"},
		{&net.OpError{Op: "dial", Net: "tcp", Err: syscall.ENETUNREACH}, "the network is away"},
		{&net.OpError{Op: "dial", Net: "tcp", Err: syscall.EHOSTUNREACH}, "the network is away"},
		{&net.OpError{Op: "read", Net: "tcp", Err: syscall.ETIMEDOUT}, "no answer in time"},
		{context.DeadlineExceeded, "no answer in time"},
		{syscall.ECONNRESET, "it ended the connection"},
		{io.ErrUnexpectedEOF, "it ended the connection"},
		{fmt.Errorf("the certificate is not valid yet: set the clock (%w)", io.EOF), "the certificate is not valid yet: set the clock (EOF)"},
	} {
		if got := inWords(c.cause.Error()); got != c.want {
			t.Errorf("%v is told as %q, want %q", c.cause, got, c.want)
		}
	}
}

// Aim: the beginning of an outage stays while it lasts, and is forgotten with its end.
func TestOutages_keepTheBeginning(t *testing.T) {
	var o outages
	at := func(minute int) reading.Stamp {
		return reading.Stamp{Mono: time.Duration(minute) * time.Minute, Boot: 1, Set: true}
	}
	for minute, c := range []struct {
		works bool
		since int // minute; -1: none
	}{{true, -1}, {false, 1}, {false, 1}, {true, -1}, {false, 4}} {
		l := o.note(web.Link{Name: "broker", Works: c.works}, at(minute))
		want := reading.Stamp{}
		if c.since >= 0 {
			want = at(c.since)
		}
		if l.Since != want {
			t.Errorf("minute %d: since %+v, want %+v", minute, l.Since, want)
		}
	}
}

// Aim: a clock that somebody set is told by how much and since when, until it is put right or a day has passed.
func TestWall_standsUntilItIsPutRight(t *testing.T) {
	noon := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
	at := func(mono, off time.Duration) reading.Stamp {
		return reading.Stamp{Wall: noon.Add(mono + off), Mono: mono, Boot: 1, Set: true}
	}
	var w wall
	for _, c := range []struct {
		now    reading.Stamp
		step   time.Duration
		stands bool
	}{
		{at(0, 0), 0, false},
		{at(time.Minute, 0), 0, false},
		{at(2*time.Minute, -time.Hour), -time.Hour, true},
		{at(3*time.Minute, -time.Hour), -time.Hour, true},
		{at(4*time.Minute, 0), 0, false},
		{at(5*time.Minute, 2*time.Minute), 2 * time.Minute, true},
		{at(25*time.Hour, 2*time.Minute), 2 * time.Minute, false},
	} {
		w.look(c.now)
		if step, _, stands := w.stands(c.now); step != c.step || stands != c.stands {
			t.Errorf("at %v: %v, %v, want %v, %v", c.now.Mono, step, stands, c.step, c.stands)
		}
	}
}
