package web

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"sync"
	"time"

	"millwarden/internal/certificate"
)

// shown is the certificate that the page shows. It is read again when its file changes, so that a renewed one needs no restart; one that cannot be read
// leaves the old one in place.
type shown struct {
	file string
	log  *slog.Logger

	mu   sync.Mutex // guards pair, at and size
	pair *tls.Certificate
	at   time.Time // when the file was written
	size int64
}

// soon is when a certificate that runs out is told of at each start and change. Chosen: time for a walk to the drawer.
const soon = 30 * 24 * time.Hour

func showing(file string, log *slog.Logger) (*shown, error) {
	s := &shown{file: file, log: log}
	return s, s.read()
}

func (s *shown) read() error {
	info, err := os.Stat(s.file)
	if err != nil {
		return fmt.Errorf("web: the page's certificate: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if info.ModTime().Equal(s.at) && info.Size() == s.size {
		return nil
	}
	s.at, s.size = info.ModTime(), info.Size()
	if info.Mode().Perm()&0o007 != 0 {
		return fmt.Errorf("web: the page's certificate: %s holds the key and others may read it: chmod 600", s.file)
	}
	pair, err := tls.LoadX509KeyPair(s.file, s.file)
	if err != nil {
		return fmt.Errorf("web: the page's certificate: %w", err)
	}
	s.pair = &pair
	s.judge(pair.Leaf, time.Now())
	return nil
}

// judge tells of a certificate that does not count now, and of a clock that may be why. The page is served all the same: who looks at a warning sees more
// than who looks at nothing.
func (s *shown) judge(leaf *x509.Certificate, now time.Time) {
	switch {
	case now.Before(leaf.NotBefore):
		s.log.Warn("clock fault: the page's certificate counts only later than the clock here says: set the clock, or look at its time server", "from", leaf.NotBefore, "clock", now)
	case now.After(leaf.NotAfter):
		s.log.Warn("the page's certificate has run out, unless the clock here is wrong: make another", "until", leaf.NotAfter, "clock", now)
	case now.Add(soon).After(leaf.NotAfter):
		s.log.Warn("the page's certificate runs out soon: make another", "until", leaf.NotAfter)
	}
}

// get gives it to a handshake.
func (s *shown) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	if err := s.read(); err != nil {
		s.log.Warn("the page goes on with the certificate it had", "cause", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.pair, nil
}

// root is the site's own that stands in the file, nil: there is none.
func (s *shown) root() *x509.Certificate {
	if s == nil {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return certificate.RootOf(s.pair.Certificate)
}

// The page helps to install the root: with a file for the phone, the fingerprint to compare, and the way through the settings. Both are for everybody:
// who installs it cannot log in safely yet, and neither is a secret.

func (w *Web) showTrust(rw http.ResponseWriter, r *http.Request) {
	w.showDoor(rw, r, http.StatusOK, loginView{Show: "trust"})
}

func (w *Web) serveRoot(rw http.ResponseWriter, r *http.Request) {
	root := w.shown.root()
	if root == nil {
		http.NotFound(rw, r)
		return
	}
	h := rw.Header()
	h.Set("Content-Type", "application/x-x509-ca-cert") // the type by which phones offer to install it
	h.Set("Content-Disposition", `attachment; filename="site-root.crt"`)
	h.Set("Cache-Control", "no-store")
	_, _ = rw.Write(certificate.PEM(root)) // the client has gone: nobody is left to be told
}
