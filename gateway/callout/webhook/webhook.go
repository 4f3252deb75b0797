// Package webhook tells an address of the site about an alarm, signed after the open specification Standard Webhooks, so that the other end can check
// with a few lines that the message is the mill's and is new.
//
// The address comes from the rules file alone; a redirect is a failure and is not followed, so nobody can send the board elsewhere.
//
// Concurrency: a Webhook is used by one goroutine at a time, the worker of its channel.
package webhook

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/clock"
)

// Declares is what the rules file may say of the channel.
const Declares = `channel webhook
    phrase address URL
    phrase credential CREDENTIAL
    needs address
    needs credential
`

// Options of a Webhook; all but Transport are needed.
type Options struct {
	Address string
	// Secret is the credential's text: whsec_ and 24 to 64 bytes in base64. While a secret is being changed the old one may stand behind it, parted by
	// white space: then both sign.
	Secret    string
	Clock     clock.Clock
	Transport http.RoundTripper // nil: the system's
}

// Webhook is the channel.
type Webhook struct {
	address string
	secrets [][]byte
	clock   clock.Clock
	client  *http.Client
}

var _ callout.Channel = (*Webhook)(nil)

const (
	secretPrefix = "whsec_"
	// [Standard Webhooks, "Signature scheme": 24 to 64 bytes]
	secretLeast, secretMost = 24, 64
	secretsMost             = 2
	// patience for the whole exchange. [Standard Webhooks: 15 to 30 s]
	patience = 20 * time.Second
	// answerMost is how much of an answer is read, so that the connection can be used again. Chosen.
	answerMost = 4096
)

// New checks address and secret; nothing is sent yet.
func New(o Options) (*Webhook, error) {
	u, err := url.Parse(o.Address)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
		return nil, errors.New("webhook: the address is no http or https address")
	}
	if u.User != nil {
		return nil, errors.New("webhook: the address holds a password; secrets stand in the credential")
	}
	w := &Webhook{address: u.String(), clock: o.Clock, client: &http.Client{Timeout: patience, Transport: o.Transport, CheckRedirect: stay}}
	for _, text := range strings.Fields(o.Secret) {
		secret, err := parseSecret(text)
		if err != nil {
			return nil, err
		}
		w.secrets = append(w.secrets, secret)
	}
	if n := len(w.secrets); n == 0 || n > secretsMost {
		return nil, fmt.Errorf("webhook: the credential holds %d secrets, one is needed and two are taken while it is being changed", n)
	}
	return w, nil
}

// stay makes a redirect an answer like any other.
func stay(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }

func parseSecret(text string) ([]byte, error) {
	encoded, ok := strings.CutPrefix(text, secretPrefix)
	secret, err := base64.StdEncoding.DecodeString(encoded)
	if !ok || err != nil || len(secret) < secretLeast || len(secret) > secretMost {
		return nil, fmt.Errorf("webhook: the secret is not %s and %d to %d bytes in base64", secretPrefix, secretLeast, secretMost)
	}
	return secret, nil
}

// event is the body; its form is that of Standard Webhooks, its data are ours. Fields may be added, none changes its meaning.
type event struct {
	Type      string `json:"type"`
	Timestamp string `json:"timestamp,omitempty"` // when it was decided, the same over all tries; left out while the clock was not set
	Data      data   `json:"data"`
}

type data struct {
	Alarm      string `json:"alarm,omitempty"`
	Occurrence int64  `json:"occurrence,omitempty"`
	Title      string `json:"title,omitempty"`
	Place      string `json:"place,omitempty"`
	Area       string `json:"area,omitempty"`
	Priority   string `json:"priority"`
	Class      string `json:"class,omitempty"`
	Since      string `json:"since,omitempty"`
	To         string `json:"to"`
	ToTitle    string `json:"to_title"`
	Subject    string `json:"subject"`
	Text       string `json:"text"`
	Body       string `json:"body"`
	Link       string `json:"link,omitempty"`
	Exercise   bool   `json:"exercise"`
}

// kinds of events: dotted names of letters, digits and underscores [Standard Webhooks].
const (
	annunciated = "alarm.annunciated"
	digested    = "alarms.standing"
	drilled     = "drill.sent"
)

func eventOf(m *callout.Message) event {
	e := event{Type: annunciated, Data: data{Alarm: m.Alarm, Occurrence: m.Occurrence, Title: m.Title, Place: m.Place, Area: m.Area,
		Priority: m.Priority.String(), To: m.To.Name, ToTitle: m.To.Title, Subject: m.Subject, Text: m.Text, Body: m.Body, Link: m.Link, Exercise: m.Exercise}}
	switch {
	case m.Exercise:
		e.Type = drilled
	case m.Alarm == "":
		e.Type = digested
	default:
		e.Data.Class = m.Class.String()
	}
	if m.At.Set {
		e.Timestamp = m.At.Wall.UTC().Format(time.RFC3339)
	}
	if !m.Since.IsZero() {
		e.Data.Since = m.Since.UTC().Format(time.RFC3339)
	}
	return e
}

// Send makes one try.
func (w *Webhook) Send(ctx context.Context, m callout.Message) error {
	body, err := json.Marshal(eventOf(&m))
	if err != nil {
		return &callout.Failure{Final: true, Err: fmt.Errorf("webhook: write message: %w", err)}
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, w.address, bytes.NewReader(body))
	if err != nil {
		return &callout.Failure{Final: true, Err: errors.New("webhook: the address cannot be used")}
	}
	now := w.clock.Now().Wall.Unix() // of this try: the receiver refuses what is old
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", "Millwarden")
	request.Header.Set("Webhook-Id", m.ID)
	request.Header.Set("Webhook-Timestamp", strconv.FormatInt(now, 10))
	request.Header.Set("Webhook-Signature", w.signatures(m.ID, now, body))
	answer, err := w.client.Do(request)
	if err != nil {
		return fmt.Errorf("webhook: %w", withoutAddress(err))
	}
	defer answer.Body.Close() //nolint:errcheck // it was read
	_, _ = io.CopyN(io.Discard, answer.Body, answerMost)
	return judge(answer, w.clock.Now().Wall)
}

// withoutAddress takes the address out of an error: it may hold a key, and errors go into the logbook.
func withoutAddress(err error) error {
	var inner *url.Error
	if errors.As(err, &inner) {
		return inner.Err
	}
	return err
}

// signatures are those of all secrets over id.timestamp.body, parted by spaces [Standard Webhooks, "Signature scheme"].
func (w *Webhook) signatures(id string, timestamp int64, body []byte) string {
	var all []string
	for _, secret := range w.secrets {
		all = append(all, sign(secret, id, timestamp, body))
	}
	return strings.Join(all, " ")
}

func sign(secret []byte, id string, timestamp int64, body []byte) string {
	mac := hmac.New(sha256.New, secret)
	fmt.Fprintf(mac, "%s.%d.", id, timestamp)
	mac.Write(body)
	return "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
}

// judge turns the answer's status into what to do. [Standard Webhooks: 2xx is success, redirects are failures, 410 disables, 429, 502 and 504 ask for a
// pause.]
func judge(answer *http.Response, now time.Time) error {
	status := answer.StatusCode
	if status >= 200 && status <= 299 {
		return nil
	}
	f := &callout.Failure{Err: fmt.Errorf("webhook: the other end answered %d %s", status, http.StatusText(status))}
	switch {
	case status == http.StatusGone:
		f.Gone = true
	case status >= 300 && status <= 399:
		f.Final, f.Err = true, fmt.Errorf("webhook: the other end answered %d: redirects are not followed; write the address it moved to", status)
	case status == http.StatusRequestTimeout, status == http.StatusTooEarly, status == http.StatusTooManyRequests, status >= 500:
		f.After = callout.RetryAfter(answer.Header.Get("Retry-After"), now)
	default:
		f.Final = true
	}
	return f
}
