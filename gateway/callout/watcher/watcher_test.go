package watcher

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"millwarden/internal/clock"
)

// A real server of the standard library hears the call while all is well, and nothing once it is not: its silence is the message.
func TestWatcher_callsOnlyWhileAllIsWell(t *testing.T) {
	var heard atomic.Int32
	var status atomic.Int32
	status.Store(http.StatusNoContent)
	server := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet || r.URL.Path != "/mill/secret-word" {
			t.Errorf("%s %s", r.Method, r.URL.Path)
		}
		heard.Add(1)
		if status.Load() == http.StatusFound {
			rw.Header().Set("Location", "/elsewhere")
		}
		rw.WriteHeader(int(status.Load()))
	}))
	defer server.Close()
	trouble := ""
	w, err := New(Options{Address: server.URL + "/mill/secret-word", Every: 5 * time.Minute, Well: func() string { return trouble }, Clock: &clock.System{Boot: 1}})
	if err != nil {
		t.Fatal(err)
	}
	if next := w.once(t.Context()); next != 5*time.Minute || heard.Load() != 1 || w.Status().Trouble != "" || w.Status().Heard.Mono == 0 {
		t.Errorf("all well: next after %v, heard %d, %+v", next, heard.Load(), w.Status())
	}
	trouble = "bus i2c-1 stands still"
	if w.once(t.Context()); heard.Load() != 1 || !w.Status().Kept || w.Status().Trouble != trouble {
		t.Errorf("not well: heard %d, %+v", heard.Load(), w.Status())
	}
	trouble = ""
	for _, refused := range []int32{http.StatusInternalServerError, http.StatusFound} {
		status.Store(refused)
		if next := w.once(t.Context()); next != againAfter || w.Status().Trouble == "" || w.Status().Kept {
			t.Errorf("status %d: next after %v, %+v", refused, next, w.Status())
		}
	}
	server.Close()
	w.once(t.Context())
	if said := w.Status().Trouble; said == "" || strings.Contains(said, "secret-word") {
		t.Errorf("nobody listens: %q; it must say so without the address", said)
	}
	ended, stop := context.WithCancel(t.Context())
	stop()
	if err := w.Run(ended); err != nil {
		t.Errorf("Run() = %v", err)
	}
}

func TestNew_refuses(t *testing.T) {
	for _, address := range []string{"", "watcher.example/mill", "ftp://watcher.example"} {
		if _, err := New(Options{Address: address}); err == nil {
			t.Errorf("New(%q) = nil", address)
		}
	}
}
