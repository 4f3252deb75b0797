package notify

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// listen is the manager's end: a real socket.
func listen(t *testing.T, name string) *net.UnixConn {
	t.Helper()
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	if err := conn.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	return conn
}

func environment(values map[string]string) func(string) string {
	return func(name string) string { return values[name] }
}

// The forms of sd_notify(3): a path or an abstract name, assignments separated by line ends.
func TestTell_reachesTheSocket(t *testing.T) {
	for _, name := range []string{filepath.Join(t.TempDir(), "notify"), fmt.Sprint("@millwarden-notify-test-", os.Getpid())} {
		conn := listen(t, name)
		m, err := From(environment(map[string]string{"NOTIFY_SOCKET": name}), 1)
		if err != nil || !m.Listens() || m.Within() != 0 {
			t.Fatalf("From() = %+v, %v", m, err)
		}
		if err := m.Tell(Ready, Status("watching\nover 3 probes")); err != nil {
			t.Fatal(err)
		}
		buffer := make([]byte, 1000)
		n, err := conn.Read(buffer)
		if want := "READY=1\nSTATUS=watching over 3 probes\n"; err != nil || string(buffer[:n]) != want {
			t.Errorf("%s heard %q, %v, want %q", name, buffer[:n], err, want)
		}
	}
}

// A manager that is gone is an error, and one that never was is none.
func TestTell_nobodyThere(t *testing.T) {
	m := &Manager{address: filepath.Join(t.TempDir(), "gone")}
	if err := m.Tell(Ready); err == nil {
		t.Error("nobody listens, and Tell says nothing")
	}
	if err := new(Manager).Tell(Ready); err != nil {
		t.Errorf("Tell() to no manager = %v", err)
	}
}

// The rules of sd_watchdog_enabled(3): the time in microseconds counts for the process named, or for any where none is.
func TestFrom_watchdog(t *testing.T) {
	for name, c := range map[string]struct {
		usec, pid string
		want      time.Duration
		faulty    bool
	}{
		"asked":          {"30000000", "7", 30 * time.Second, false},
		"no process":     {"30000000", "", 30 * time.Second, false},
		"another":        {"30000000", "8", 0, false},
		"not asked":      {"", "7", 0, false},
		"no number":      {"soon", "7", 0, true},
		"nothing":        {"0", "7", 0, true},
		"longer than us": {"99999999999999999", "7", 0, true},
	} {
		m, err := From(environment(map[string]string{"NOTIFY_SOCKET": "/run/notify", "WATCHDOG_USEC": c.usec, "WATCHDOG_PID": c.pid}), 7)
		if m.Within() != c.want || (err != nil) != c.faulty {
			t.Errorf("%s: %v, %v, want %v", name, m.Within(), err, c.want)
		}
	}
	if m, err := From(environment(map[string]string{"NOTIFY_SOCKET": "tcp:1"}), 7); err == nil || m.Listens() {
		t.Errorf("a socket of another kind: %+v, %v", m, err)
	}
}
