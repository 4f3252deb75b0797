// Package watcher tells an address outside, every few minutes and only while all is well, that the gateway lives. Whoever watches that address calls
// people when it falls silent: nothing on the board can tell that the board is dead.
//
// A call is a plain GET; a status of 2xx counts as heard. The address may hold a secret, so it stands in no error and no log. Redirects are not
// followed.
//
// Concurrency: Status may be called by any goroutine.
package watcher

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"sync"
	"time"

	"millwarden/internal/clock"
	"millwarden/internal/reading"
)

// Options of a Watcher; all but Transport are needed.
type Options struct {
	Address   string
	Every     time.Duration
	Well      func() (trouble string) // "": all is well
	Clock     clock.Clock
	Transport http.RoundTripper // nil: the system's
}

// Watcher makes the calls.
type Watcher struct {
	o      Options
	client *http.Client

	mu     sync.Mutex // guards status
	status Status
}

// Status is how the last call went.
type Status struct {
	Heard   reading.Stamp // when a call was last answered; zero: never
	Trouble string        // why the last call was not made, or not answered; "": it was
	Kept    bool          // it was not made, since not all is well
}

const (
	// patience for one call. Chosen: well below the shortest time between two.
	patience = 20 * time.Second
	// againAfter a call that was not answered; chosen: an outside watcher waits for two or three missed ones.
	againAfter = 30 * time.Second
	// answerMost is how much of an answer is read, so that the connection can be used again. Chosen.
	answerMost = 4096
)

// New checks the address; nothing is called yet.
func New(o Options) (*Watcher, error) {
	u, err := url.Parse(o.Address)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
		return nil, errors.New("outside watcher: its address is no http or https address")
	}
	stay := func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return &Watcher{o: o, client: &http.Client{Timeout: patience, Transport: o.Transport, CheckRedirect: stay}}, nil
}

// Status is how the last call went.
func (w *Watcher) Status() Status {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.status
}

// Run calls until ctx ends.
func (w *Watcher) Run(ctx context.Context) error {
	for {
		pause := w.o.Clock.Real(w.once(ctx))
		timer := time.NewTimer(max(pause, time.Second))
		select {
		case <-ctx.Done():
			timer.Stop()
			return nil
		case <-timer.C:
		}
	}
}

// once makes one call if all is well, and gives the time until the next.
func (w *Watcher) once(ctx context.Context) time.Duration {
	trouble := w.o.Well()
	kept := trouble != ""
	if !kept {
		if err := w.call(ctx); err != nil {
			trouble = err.Error()
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.status.Trouble, w.status.Kept = trouble, kept
	if trouble == "" {
		w.status.Heard = w.o.Clock.Now()
		return w.o.Every
	}
	return min(againAfter, w.o.Every)
}

func (w *Watcher) call(ctx context.Context) error {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, w.o.Address, nil)
	if err != nil {
		return errors.New("the address cannot be asked")
	}
	request.Header.Set("User-Agent", "Millwarden")
	answer, err := w.client.Do(request)
	if err != nil {
		if inner := new(url.Error); errors.As(err, &inner) {
			err = inner.Err // without the address
		}
		return fmt.Errorf("no answer: %w", err)
	}
	defer answer.Body.Close() //nolint:errcheck // read as far as it matters
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, answerMost))
	if answer.StatusCode/100 != 2 {
		return fmt.Errorf("it answered with status %d", answer.StatusCode)
	}
	return nil
}
