package web

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	cryptorand "crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"millwarden/internal/clock/clocktest"
)

func newWeb(t testing.TB, f *fake) *Web {
	t.Helper()
	w, err := New(Config{Model: f, Acts: f, Health: f, Answers: f, Push: f, History: f, Books: f, Lots: f, Records: f, Open: true, Metrics: NewMetrics(prometheus.NewRegistry()),
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Names: []string{"mill.estate.example"}, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// request is one as the page itself sends it.
func request(method, path, body string) *http.Request {
	r := httptest.NewRequest(method, "http://127.0.0.1:8420"+path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if method == http.MethodPost {
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	return r
}

func ask(t testing.TB, w *Web, r *http.Request) *httptest.ResponseRecorder {
	t.Helper()
	got := httptest.NewRecorder()
	w.Handler().ServeHTTP(got, r)
	return got
}

func TestNew_needs(t *testing.T) {
	if _, err := New(Config{}); err == nil {
		t.Error("New() without a model succeeded")
	}
	f := newFake()
	if _, err := New(Config{Model: f, Acts: f, Health: f, Open: true, Listen: "nowhere"}); err == nil {
		t.Error("New() with an address without port succeeded")
	}
}

func TestRun_cannotListen(t *testing.T) {
	taken, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	must(t, err)
	defer taken.Close()
	f := newFake()
	w, err := New(Config{Model: f, Acts: f, Health: f, Open: true, Listen: taken.Addr().String()})
	must(t, err)
	if err := w.Run(t.Context()); err == nil || !strings.Contains(err.Error(), "web: listening on "+taken.Addr().String()) {
		t.Errorf("Run() = %v, want the address in the error", err)
	}
}

// Aim: with a certificate the page is served by HTTP/2 over TLS 1.2 or newer, from the one file that holds certificate and key.
func TestServe_certificate(t *testing.T) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), cryptorand.Reader)
	must(t, err)
	form := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(cryptorand.Reader, form, form, &key.PublicKey, key)
	must(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	must(t, err)
	path := filepath.Join(t.TempDir(), "page.pem")
	must(t, os.WriteFile(path, append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})...), 0o600))
	w := newWeb(t, newFake())
	w.config.Certificate = path
	l, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	must(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- w.Serve(ctx, l) }()
	trusted := x509.NewCertPool()
	own, err := x509.ParseCertificate(der)
	must(t, err)
	trusted.AddCert(own)
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trusted}, ForceAttemptHTTP2: true}}
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "https://"+l.Addr().String()+"/health", nil)
	must(t, err)
	answer, err := client.Do(r)
	must(t, err)
	_ = answer.Body.Close()
	if answer.StatusCode != http.StatusOK || answer.ProtoMajor != 2 || answer.TLS.Version < tls.VersionTLS12 {
		t.Errorf("status %d by %s", answer.StatusCode, answer.Proto)
	}
	client.CloseIdleConnections()
	cancel()
	if err := <-ended; err != nil {
		t.Errorf("Serve() = %v", err)
	}
}

// pipes is a listener of connections in memory, so that a server can run on synthetic time.
type pipes struct {
	coming chan net.Conn
	closed chan struct{}
}

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.coming:
		return c, nil
	case <-p.closed:
		return nil, net.ErrClosed
	}
}
func (p *pipes) Close() error   { close(p.closed); return nil }
func (p *pipes) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8420} }

// Aim: a client that sends half a header, and one that sends half a body, are let go; one with a stream stays; all end with the context.
func TestServe_timeouts(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		w, l := newWeb(t, newFake()), &pipes{coming: make(chan net.Conn), closed: make(chan struct{})}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- w.Serve(ctx, l) }()
		dial := func(say string) net.Conn {
			ours, theirs := net.Pipe()
			l.coming <- theirs
			_, err := io.WriteString(ours, say)
			must(t, err)
			return ours
		}
		until := func(c net.Conn) time.Duration {
			begun := time.Now()
			_, _ = io.Copy(io.Discard, c)
			return time.Since(begun)
		}
		half := "POST /api/acts HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 50\r\n\r\n{"
		// Many of the slow at once do not slow down who is quick: it is answered in the moment in which it asks.
		const crowd = 200
		var halfHeaders, halfBodies [crowd]net.Conn
		for i := range crowd {
			halfHeaders[i], halfBodies[i] = dial("GET / HTTP/1.1\r\nHost: loc"), dial(half)
			_ = dial("GET /api/live HTTP/1.1\r\nHost: localhost\r\n\r\n") // reads nothing
		}
		if took := until(dial("GET /api/overview HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")); took > 0 {
			t.Errorf("beside slow clients an answer took %v", took)
		}
		for i := range crowd {
			if took := until(halfHeaders[i]); took > readHeaderWait+time.Second {
				t.Errorf("half a header held the server for %v", took)
			}
		}
		for i := range crowd {
			if took := until(halfBodies[i]); took > readWait+readHeaderWait {
				t.Errorf("half a body held the server for %v", took)
			}
		}
		stream := dial("GET /api/live HTTP/1.1\r\nHost: localhost\r\n\r\n")
		read := make(chan int)
		go func() {
			n, _ := io.Copy(io.Discard, stream)
			read <- int(n)
		}()
		time.Sleep(5 * time.Minute)
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("Serve() = %v", err)
		}
		if n := <-read; n < 300*50 {
			t.Errorf("the stream gave %d bytes in 5 min: it did not stay", n)
		}
	})
}

// Aim: a phone that stops reading does not hold its handler for ever: writing has a deadline.
func TestServe_stuckReader(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		w, l := newWeb(t, newFake()), &pipes{coming: make(chan net.Conn), closed: make(chan struct{})}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- w.Serve(ctx, l) }()
		ours, theirs := net.Pipe()
		l.coming <- theirs
		_, err := io.WriteString(ours, "GET /api/live HTTP/1.1\r\nHost: localhost\r\n\r\n")
		must(t, err)
		time.Sleep(eventWait + 2*time.Second) // it reads nothing
		synctest.Wait()
		if n, err := ours.Read(make([]byte, 100)); err == nil {
			t.Errorf("its connection still gives %d bytes, want it closed", n)
		}
		w.live.mu.Lock()
		if n := len(w.live.clients); n != 0 {
			t.Errorf("%d clients are left, want none", n)
		}
		w.live.mu.Unlock()
		_ = ours.Close()
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("Serve() = %v", err)
		}
	})
}
