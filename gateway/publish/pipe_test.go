package publish

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/nettest"

	"millwarden/internal/clock/clocktest"
)

// Aim: both ends behave as net.Conn says, judged by the conformance test of golang.org/x/net.
func TestPipe_asAConnection(t *testing.T) {
	nettest.TestConn(t, func() (c1, c2 net.Conn, stop func(), err error) {
		c1, c2 = newPipe()
		return c1, c2, func() { c1.Close(); c2.Close() }, nil
	})
}

// Aim: what was written is read after its writer has closed; then comes the end. So a farewell arrives.
func TestPipe_lastWords(t *testing.T) {
	near, far := newPipe()
	if n, err := near.Write([]byte("farewell")); n != 8 || err != nil {
		t.Fatal(n, err)
	}
	near.Close()
	if got, err := io.ReadAll(far); string(got) != "farewell" || err != nil {
		t.Errorf("read %q, %v", got, err)
	}
	if _, err := far.Write([]byte("late")); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("writing to who has closed: %v", err)
	}
}

// Aim: a writer waits at the bound of what is held, so that no client costs more memory than that, and nothing is torn.
func TestPipe_full(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		near, far := newPipe()
		long := bytes.Repeat([]byte("0123456789abcde"), pipeRoom/10)
		near.SetWriteDeadline(time.Now().Add(time.Minute))
		n, err := near.Write(long)
		if n != pipeRoom || !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Fatalf("wrote %d of %d with nobody reading: %v", n, len(long), err)
		}
		near.SetWriteDeadline(time.Time{})
		go func() {
			near.Write(long[n:])
			near.Close()
		}()
		if got, err := io.ReadAll(far); !bytes.Equal(got, long) || err != nil {
			t.Errorf("read %d bytes of %d, %v", len(got), len(long), err)
		}
	})
}

// Aim: a client may write all it has before it reads an answer, as over a socket: MQTT asks for no turns. Over a pipe without room the broker would
// wait to write the first PUBACK while this client writes its second PUBLISH.
func TestBroker_writesBeforeItReads(t *testing.T) {
	b, err := NewBroker(BrokerOptions{})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	defer func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	<-b.Ready()
	conn, err := b.Dial(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	conn.SetDeadline(time.Now().Add(time.Minute))
	// MQTT 3.1.1: 3.1 CONNECT as "a", clean; 3.8 SUBSCRIBE to x at QoS 1; 3.3 PUBLISH to x at QoS 1.
	said := []byte("\x10\x0d\x00\x04MQTT\x04\x02\x00\x3c\x00\x01a" + "\x82\x06\x00\x01\x00\x01x\x01")
	const count, long = 200, 100 // more than the broker takes in at once
	for i := range count {
		said = append(said, 0x32, 5+long, 0, 1, 'x', 0, byte(i+1))
		said = append(said, strings.Repeat("!", long)...)
	}
	if n, err := conn.Write(said); err != nil {
		t.Fatalf("wrote %d of %d bytes: %v", n, len(said), err)
	}
	// 3.2 CONNACK 4 bytes, 3.9 SUBACK 5, each PUBACK 4, and each message comes back.
	if _, err := io.ReadFull(conn, make([]byte, 4+5+count*(4+7+long))); err != nil {
		t.Errorf("not all was answered: %v", err)
	}
}
