package forward

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api"
	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"
	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"millwarden/internal/link"
)

// Store is the time-series store.
type Store struct {
	Name         string                 // as boards wait for it; "": "store"
	Address      string                 // http:// or https://
	Org, Bucket  string                 // as named there
	Token        func() (string, error) // asked anew for each try after a refusal; nil: none. InfluxDB 1.8 takes "user:password"
	Client       *http.Client           // see Client; nil: one that trusts the system's list. Redirects are never followed
	DurableAfter time.Duration          // how long its answer may come before its disk; 0: a store that syncs its log before it answers
	Metrics      string                 // address of its metrics page; "": /metrics at Address
}

const (
	writeLimit   = 30 * time.Second       // chosen: a slow store on a slow line; longer only hides that it is away
	firstPause   = 250 * time.Millisecond // chosen: a store that restarts is found at once
	longestPause = time.Minute            // standards: 60 to 120 s
	personPause  = time.Minute            // where a person must act first
	longestAsked = 15 * time.Minute       // Retry-After beyond is not believed
)

// probe is a write of nothing: a comment. A store that takes records answers it as it does a good write (seen with influxd 1.8.10 and
// victoria-metrics 1.79.5), and refuses it where the token or the bucket is wrong.
const probe = "# millwarden\n"

// writer writes lines until the store has them all, or will not have them. Several may write to one store.
type writer struct {
	turn    chan struct{} // one token for all writers of a store; who has it asks a store that did not take what came
	api     api.WriteAPIBlocking
	service influxhttp.Service
	token   func() (string, error)
	shown   bool // a token was set, and not refused since
	refused func(line []byte, cause string)
	trouble func(string) // "" when all is well
	sleep   func(context.Context, time.Duration) error
}

// newWriter takes of the client library what writes: its whole client would bring the administration of a store too, more than a megabyte of program.
func newWriter(s Store, client *http.Client, turn chan struct{}) *writer {
	options := write.DefaultOptions().SetPrecision(time.Millisecond).
		SetUseGZip(strings.HasPrefix(s.Address, "https://")) // over a paid line it is worth the work; on the same machine not
	service := influxhttp.NewService(strings.TrimSuffix(s.Address, "/")+"/", "", influxhttp.DefaultOptions().SetHTTPClient(client))
	return &writer{turn: turn, api: api.NewWriteAPIBlocking(s.Org, s.Bucket, service, options), service: service, token: s.Token, sleep: sleep}
}

func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

// verdict is what an answer of the store means.
type verdict uint8

const (
	stored   verdict = iota
	refused          // something in it is wrong: split it
	tooLarge         // split it
	later            // try again
	person           // try again, but a person must act first
)

// judge reads an answer [reference: InfluxDB v2 write API; 1.8 answers 400 where v2 answers 422].
func judge(err error) (v verdict, wait time.Duration, say string) {
	var answer *influxhttp.Error
	if err == nil {
		return stored, 0, ""
	}
	if !errors.As(err, &answer) || answer.StatusCode == 0 {
		return later, 0, "store: " + err.Error()
	}
	asked := min(time.Duration(answer.RetryAfter)*time.Second, longestAsked)
	say = fmt.Sprintf("store: %d: %s", answer.StatusCode, oneLine(err.Error()))
	switch answer.StatusCode {
	case http.StatusBadRequest, http.StatusUnprocessableEntity:
		return refused, 0, say
	case http.StatusRequestEntityTooLarge:
		return tooLarge, 0, say
	case http.StatusUnauthorized, http.StatusForbidden:
		return person, personPause, say + ". The token is missing, wrong or may not write: check the credential of the store block"
	case http.StatusNotFound:
		return person, personPause, say + ". The store knows no such org or bucket: check the store block"
	}
	return later, asked, say // 429 and 503 say how long; all others pass by themselves
}

// oneLine bounds what a store says.
func oneLine(text string) string {
	const longest = 300 // chosen: two sentences
	text = strings.Join(strings.Fields(text), " ")
	if len(text) > longest {
		text = strings.ToValidUTF8(text[:longest], "") + "…"
	}
	return text
}

// put writes lines, each ended by a newline. It returns nil when each of them is stored or refused, and an error only when ctx ends. While one
// writer has trouble the others wait: a store in trouble is asked by one at a time.
func (w *writer) put(ctx context.Context, lines []byte) error {
	if len(lines) == 0 {
		return nil
	}
	if err := w.take(ctx); err != nil {
		return err
	}
	w.give()
	answer := w.try(ctx, string(lines))
	if answer == nil {
		w.trouble("")
		return nil
	}
	if err := w.take(ctx); err != nil {
		return err
	}
	defer w.give()
	return w.insist(ctx, lines, answer)
}

func (w *writer) take(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-w.turn:
		return nil
	}
}

func (w *writer) give() { w.turn <- struct{}{} }

// insist does what put does, from the store's answer to the first try on.
func (w *writer) insist(ctx context.Context, lines []byte, answer error) error {
	pause := firstPause
	for {
		v, wait, say := judge(answer)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		single := bytes.IndexByte(lines, '\n') == len(lines)-1
		switch {
		case v == stored:
			w.trouble("")
			return nil
		case v == refused && single || v == tooLarge && single:
			// Some stores answer a wrong token as they do a bad record. Only one that takes a write of nothing is believed.
			if pv, pwait, psay := judge(w.try(ctx, probe)); pv == stored {
				w.trouble("")
				w.refused(bytes.TrimSuffix(lines, []byte("\n")), say)
				return nil
			} else if pv != refused {
				wait, say = pwait, psay
			} else {
				wait, say = personPause, say+". The store refuses even a write without records: check address and credential of the store block"
			}
		case v == refused || v == tooLarge:
			half := halve(lines)
			if err := w.insist(ctx, lines[:half], w.try(ctx, string(lines[:half]))); err != nil {
				return err
			}
			return w.insist(ctx, lines[half:], w.try(ctx, string(lines[half:])))
		}
		w.trouble(say)
		if wait == 0 {
			wait = pause/2 + rand.N(pause/2+1)
			pause = min(2*pause, longestPause)
		}
		if err := w.sleep(ctx, wait); err != nil {
			return err
		}
		answer = w.try(ctx, string(lines))
	}
}

// halve finds the end of the line nearest to the middle. lines has at least two.
func halve(lines []byte) int {
	if end := bytes.LastIndexByte(lines[:len(lines)/2], '\n'); end >= 0 {
		return end + 1
	}
	return bytes.IndexByte(lines, '\n') + 1
}

// try is one request.
func (w *writer) try(ctx context.Context, lines string) error {
	ctx, cancel := context.WithTimeout(ctx, writeLimit)
	defer cancel()
	if w.token != nil && !w.shown {
		token, err := w.token()
		if err != nil {
			return fmt.Errorf("reading the credential: %w", err)
		}
		w.service.SetAuthorization("Token " + token)
		w.shown = true
	}
	err := w.api.WriteRecord(ctx, lines)
	if v, _, _ := judge(err); v == person {
		w.shown = false // it may have been repaired meanwhile
	}
	return err
}

// strict takes nothing for an answer but the write API's own: a sign-in page on the way answers 200 to everything, and a redirect turns the
// write into a read.
type strict struct{ next http.RoundTripper }

func (s strict) RoundTrip(req *http.Request) (*http.Response, error) {
	resp, err := s.next.RoundTrip(req)
	if err == nil && req.Method == http.MethodPost && resp.StatusCode/100 == 2 && resp.StatusCode != http.StatusNoContent {
		resp.Body.Close() //nolint:errcheck // not wanted
		return nil, fmt.Errorf("it answered %s, where the write API answers 204: something else stands at this address", resp.Status)
	}
	return resp, err
}

// Client is one for a store that is reached with a TLS configuration of its own.
func Client(config *tls.Config) *http.Client {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.TLSClientConfig = config
	return &http.Client{Transport: link.Explaining(t)}
}

// client of the store, and of its metrics page.
func (s Store) client() *http.Client {
	c := &http.Client{Transport: http.DefaultTransport}
	if s.Client != nil {
		copied := *s.Client
		c = &copied
		if c.Transport == nil {
			c.Transport = http.DefaultTransport
		}
	}
	c.Transport = strict{c.Transport}
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return c
}

func (s Store) check() error {
	u, err := url.Parse(s.Address)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" {
		return fmt.Errorf("store: address %q: needs http:// or https:// and a host", s.Address)
	}
	return nil
}
