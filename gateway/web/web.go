// Package web is the live page, its JSON interface, the answer link of messages, the metrics page and the health page. It shows what a Model
// gives and hands what people do to Acts; it decides nothing, and knows neither drivers nor channels.
//
// Concurrency: a Web may be used by many goroutines. One goroutine, in Run, asks the Model once a second, encodes once for all clients and
// gives the same bytes to each; a client that does not take them is disconnected.
//
// It is larger than other packages, because what stands, the form in which it is sent and the routes are one contract, which openapi.json
// describes and tests hold as a whole. The page's own sources are in ui.
package web

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync/atomic"
	"time"

	"millwarden/gateway/people"

	"github.com/prometheus/client_golang/prometheus"
)

// Config is what a Web needs. Model, Acts and Health are needed, the rest is not.
type Config struct {
	Model   Model
	Acts    Acts
	Health  Health
	Answers Answers // nil: links of messages are not known
	Push    Push    // nil: no push messages
	History History // nil: no curves
	Books   Books   // nil: no record, no lists
	Lots    Lots    // nil: no book of lots
	Records Records // nil: no documents
	// Metrics is what the parts count; nil: NewMetrics of a registry of its own.
	Metrics *Metrics
	Log     *slog.Logger // nil: slog.Default
	Listen  string       // host:port; default 127.0.0.1:8420
	// Certificate is a file with certificate and key; "" serves without TLS.
	Certificate string
	People      *people.Book           // who may log in; needed unless Open
	Socket      string                 // where the commands on this board come in, see Socket; "": nowhere
	Open        bool                   // nobody logs in: the demo, on this machine alone
	Note        func(who, what string) // what was done with logins, for the logbook; nil: nowhere
	Names       []string               // host names by which the page may be asked for, beside this machine's own and that of Listen; passkeys are bound to the first
	Base        string                 // address of the page in messages; "": unknown. A passkey counts for it too
	Version     string
}

// DefaultListen is where the page is served unless the rules say otherwise.
const DefaultListen = "127.0.0.1:8420"

// Web serves the page.
type Web struct {
	config  Config
	hosts   hosts
	live    *live
	handler http.Handler
	drawn   atomic.Pointer[drawn]
	shown   *shown // set by Serve; nil: no TLS
	// passkeys: nil where the page has no name of its own.
	passkeys *people.Passkeys
}

// New makes a Web; nothing runs and nothing listens until Run.
func New(c Config) (*Web, error) {
	if c.Model == nil || c.Acts == nil || c.Health == nil {
		return nil, errors.New("web: Model, Acts and Health are needed")
	}
	if c.People == nil && !c.Open {
		return nil, errors.New("web: without logins it must be said that the page is open to everybody")
	}
	if c.Listen == "" {
		c.Listen = DefaultListen
	}
	if err := c.bounds(); err != nil {
		return nil, err
	}
	if c.Log == nil {
		c.Log = slog.Default()
	}
	if c.Metrics == nil {
		c.Metrics = NewMetrics(prometheus.NewRegistry())
	}
	known, err := knownHosts(c.Listen, c.Names)
	if err != nil {
		return nil, err
	}
	w := &Web{config: c, hosts: known, live: newLive(c.Model, c.Version), passkeys: openPasskeys(&c)}
	w.handler = w.routes()
	if err := c.Metrics.show(w.live, c.Version); err != nil {
		return nil, fmt.Errorf("web: registering metrics: %w", err)
	}
	return w, nil
}

// Handler answers every request: for tests, and for Run.
func (w *Web) Handler() http.Handler { return w.handler }

// Run listens and serves until ctx ends. It fails at once where it cannot listen or has no certificate.
func (w *Web) Run(ctx context.Context) error {
	if err := w.mayListen(); err != nil {
		return err
	}
	l, err := new(net.ListenConfig).Listen(ctx, "tcp", w.config.Listen)
	if err != nil {
		return fmt.Errorf("web: listening on %s: %w", w.config.Listen, err)
	}
	return w.Serve(ctx, l)
}

// bounds refuses what would be open to the whole network.
func (c *Config) bounds() error {
	switch {
	case onlyHere(c.Listen):
		return nil
	case c.Open:
		return fmt.Errorf("web: without logins the page is served on this machine alone, not at %s: listen on %s", c.Listen, DefaultListen)
	case c.Certificate == "":
		return fmt.Errorf("web: beyond this machine the page is served with a certificate alone, not at %s: give one in the block page of the rules file, or listen on %s", c.Listen, DefaultListen)
	}
	return nil
}

// onlyHere tells whether an address is reached from this machine alone.
func onlyHere(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return true // it cannot be listened on at all, which is told with its own words
	}
	ip, err := netip.ParseAddr(host)
	return strings.EqualFold(host, "localhost") || err == nil && ip.Unmap().IsLoopback()
}

// ErrNobody says that the page is not served beyond this machine, since nobody could log in but who comes first.
var ErrNobody = errors.New("nobody can log in yet")

func (w *Web) mayListen() error {
	if w.config.Open || onlyHere(w.config.Listen) {
		return nil
	}
	some, err := w.config.People.Any()
	if err == nil && !some {
		err = fmt.Errorf("web: not listening at %s: %w; on this board run: millwarden people add NAME, with the name of an owner of the rules file", w.config.Listen, ErrNobody)
	}
	return err
}

// Serve is Run on a listener that is open already; it closes it.
func (w *Web) Serve(ctx context.Context, l net.Listener) error {
	server := w.server(ctx)
	if file := w.config.Certificate; file != "" {
		var err error
		if w.shown, err = showing(file, w.config.Log); err != nil {
			return errors.Join(err, l.Close())
		}
		server.TLSConfig.GetCertificate = w.shown.get
	}
	ticking, stop := context.WithCancel(ctx)
	defer stop()
	go w.live.run(ticking)
	if w.config.Socket != "" {
		go w.serveSocket(ticking)
	}
	failed := make(chan error, 1)
	go func() {
		if w.shown != nil {
			failed <- server.ServeTLS(l, "", "") // the certificate comes from shown
			return
		}
		failed <- server.Serve(l)
	}()
	select {
	case err := <-failed:
		return fmt.Errorf("web: serving: %w", err)
	case <-ctx.Done():
	}
	closing, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownWait)
	defer cancel()
	if err := server.Shutdown(closing); err != nil {
		return errors.Join(fmt.Errorf("web: closing: %w", err), server.Close())
	}
	return nil
}

// server is one with its bounds; all that it serves ends with ctx.
func (w *Web) server(ctx context.Context) *http.Server {
	return &http.Server{
		Handler:           w.handler,
		ReadHeaderTimeout: readHeaderWait,
		ReadTimeout:       readWait,
		IdleTimeout:       idleWait,
		MaxHeaderBytes:    maxHeader,
		TLSConfig:         &tls.Config{MinVersion: tls.VersionTLS12},
		BaseContext:       func(net.Listener) context.Context { return ctx },
		ErrorLog:          slog.NewLogLogger(w.config.Log.Handler(), slog.LevelDebug),
	}
}

// Bounds of the server. Chosen: a phone at the edge of the network may take seconds for a header; nothing it sends is larger than an act.
const (
	readHeaderWait = 10 * time.Second
	readWait       = 20 * time.Second
	idleWait       = 2 * time.Minute
	shutdownWait   = 2 * time.Second
	maxHeader      = 16 << 10
	maxBody        = 8 << 10
	writeWait      = 30 * time.Second // of everything but the live stream, which sets its own at each event
)
