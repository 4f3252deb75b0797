package web

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"time"
)

// hosts are the names by which the page may be asked for. An address is always good: a page that lures a browser here by a changed name server
// needs a name. [ASVS 5.0.0 3.5, DNS rebinding]
type hosts map[string]bool

func knownHosts(listen string, names []string) (hosts, error) {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return nil, fmt.Errorf("web: reading the address to listen on: %w", err)
	}
	known := hosts{"localhost": true, strings.ToLower(host): true}
	for _, n := range names {
		known[strings.ToLower(n)] = true
	}
	return known, nil
}

func (h hosts) allow(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.ToLower(host), ".")
	if _, err := netip.ParseAddr(strings.Trim(host, "[]")); err == nil {
		return true
	}
	return host != "" && h[host]
}

// policy lets the page load only what the gateway itself serves, and lets nobody frame it. [ASVS 5.0.0 3.4.3, 3.4.6]
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; manifest-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard stands before every route: who asks under which name, from where, and what the browser may do with the answer.
func (w *Web) guard(next http.Handler) http.Handler {
	crossing := http.NewCrossOriginProtection() // Sec-Fetch-Site, else Origin against Host, for everything but GET, HEAD and OPTIONS
	crossing.SetDenyHandler(http.HandlerFunc(func(rw http.ResponseWriter, _ *http.Request) {
		refuse(rw, http.StatusForbidden, RefusedRights, "This act came from another page. Do it from the mill's own page.")
	}))
	inner := crossing.Handler(next)
	return http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		h := rw.Header()
		h.Set("Content-Security-Policy", policy)
		if strings.HasPrefix(r.URL.Path, "/api/") {
			h.Set("Content-Language", w.language(r)) // of a refusal: what is no sentence takes it away again
		}
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		if r.TLS != nil { // browsers heed it only where they trust the certificate [RFC 6797 section 8.1]
			h.Set("Strict-Transport-Security", "max-age=31536000") // a year [ASVS 5.0.0 3.4.1]
		}
		if !w.hosts.allow(r.Host) {
			refuse(rw, http.StatusMisdirectedRequest, RefusedRights, "This gateway is not known by that name. Give the name in the block page of the rules file.")
			return
		}
		r.Body = &bounded{ReadCloser: http.MaxBytesReader(rw, r.Body, bodyBound(r)), over: w.config.Metrics.Oversized.WithLabelValues("page").Inc}
		// Recorders of tests have no deadline; real connections do.
		_ = http.NewResponseController(rw).SetWriteDeadline(time.Now().Add(writeWait))
		inner.ServeHTTP(rw, r)
	})
}

// bounded is a body that tells, once, that it was longer than what is read of it.
type bounded struct {
	io.ReadCloser
	over func()
	told bool
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if isOversized(err) && !b.told {
		b.told = true
		b.over()
	}
	return n, err
}

func isOversized(err error) bool {
	tooLarge := new(http.MaxBytesError)
	return errors.As(err, &tooLarge)
}

// saysOversized is what is answered to it.
func saysOversized(r *http.Request) string {
	return fmt.Sprintf("That is too long: %d kB at most.", bodyBound(r)>>10)
}

// isType tells whether the body of r is of the media type.
func isType(r *http.Request, want string) bool {
	got, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && got == want
}
