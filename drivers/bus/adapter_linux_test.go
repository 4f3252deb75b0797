package bus

import (
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// answering answers every request with the register that is asked for, and some more.
func answering(t *testing.T, more byte) (hangUp func(), path string) {
	t.Helper()
	file, path := terminal(t)
	respond(t, file, func(request []byte, _ int, line io.Writer) {
		_, _ = line.Write(sealed(request[0], request[1], 2, request[2], request[3]+more))
	})
	return func() { file.Close() }, path
}

func relink(t *testing.T, link, to string) {
	t.Helper()
	_ = os.Remove(link)
	if err := os.Symlink(to, link); err != nil {
		t.Fatal(err)
	}
}

// Aim: an adapter that is pulled comes back under another path, while another one has taken its own: the line goes on with the adapter it began with, and
// never asks the other, which would answer with other values. The control is a system that keeps no links: there the other answers.
func TestRTU_adapterReturnsUnderAnotherName(t *testing.T) {
	for name, linked := range map[string]bool{"links": true, "no links": false} {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			path, links := filepath.Join(folder, "ttyUSB0"), filepath.Join(folder, "by-id")
			if err := os.Mkdir(links, 0o750); err != nil {
				t.Fatal(err)
			}
			adapter := filepath.Join(links, "usb-adapter-A1")
			pull, first := answering(t, 0)
			relink(t, path, first)
			if linked {
				relink(t, adapter, first)
			}
			line, err := NewRTU(serialLines(path, 115200))
			if err != nil {
				t.Fatal(err)
			}
			line.adapters = links
			t.Cleanup(func() { line.Close() })
			if got, err := line.answered(t, 1, 7); err != nil || got != 7 {
				t.Fatalf("before: %d, %v", got, err)
			}
			pull()
			_, other := answering(t, 100)
			relink(t, path, other)
			_ = os.Remove(adapter)
			for range 3 {
				if got, err := line.one(t, 1, 7); err == nil && linked {
					t.Fatalf("pulled: %d, want an error", got)
				}
				clear(line.resting)
				line.failed = nil // as if time had passed
			}
			_, again := answering(t, 0)
			if linked {
				relink(t, adapter, again)
			}
			want := map[bool]uint16{true: 7, false: 107}[linked]
			var got uint16
			for deadline := time.Now().Add(time.Minute); time.Now().Before(deadline); {
				clear(line.resting)
				line.failed = nil
				if got, err = line.one(t, 1, 7); err == nil {
					break
				}
			}
			if err != nil || got != want {
				t.Errorf("after: %d, %v, want %d", got, err, want)
			}
		})
	}
}
