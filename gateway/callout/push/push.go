// Package push calls people by Web Push: the browser of a telephone keeps a subscription at the push service of its maker, and shows a message though
// no page is open. It needs the internet, and on the side of the page a name, a certificate that the telephone trusts, and the person's consent; so it is
// one channel among others and never the only one.
//
// A message is encrypted for the one telephone (RFC 8291, RFC 8188), signed by this board (RFC 8292), sent with high urgency and with a topic for each
// occurrence, so that a newer message about it replaces one that was not delivered yet (RFC 8030). That the service took it does not mean that it reached
// the telephone, and is no answer. A subscription that the service no longer knows is forgotten and told.
//
// Keys and subscriptions stand in two files that only the gateway's user may read. With another key every telephone must subscribe again.
//
// Concurrency: Send is called by one goroutine, the worker of the channel; everything else by any.
package push

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/clock"
)

// Declares is what the rules file may say of the channel.
const Declares = `channel push
    phrase contact MAIL
    needs contact
`

const (
	// life is how long the service keeps a message for a telephone that is off. Chosen: an alarm of last night that arrives at noon misleads.
	life = time.Hour
	// patience for the whole exchange. Chosen, as for other addresses outside.
	patience   = 20 * time.Second
	answerMost = 4096
	// bodyMost keeps the encrypted message below what every service takes. [RFC 8030 section 7.2: 4096 bytes; RFC 8291 section 4: 3993 of text]
	bodyMost  = 2000
	titleMost = 300
)

// Options of a Push. All but Transport and Gone are needed.
type Options struct {
	Contact   string // mail address at which a push service reaches whoever runs this board [RFC 8292 section 2.1]
	Store     *Store
	Clock     clock.Clock
	Transport http.RoundTripper            // nil: the system's, to public addresses alone
	Gone      func(person, because string) // a subscription was forgotten
}

// Push is the channel.
type Push struct {
	o      Options
	signer *signer
	client *http.Client
}

var (
	_ callout.Channel = (*Push)(nil)
	_ callout.Watched = (*Push)(nil)
)

// New builds the channel.
func New(o Options) (*Push, error) {
	if o.Contact == "" || o.Store == nil {
		return nil, errors.New("push: contact and store are needed")
	}
	if o.Transport == nil {
		o.Transport = publicOnly()
	}
	return &Push{o: o, signer: newSigner(o.Store.key, o.Contact, o.Clock), client: &http.Client{Timeout: patience, Transport: o.Transport,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}, nil
}

// Reaches tells whether a person has a telephone that takes push messages.
func (p *Push) Reaches(person *callout.Person) bool { return len(p.o.Store.Of(person.Name)) > 0 }

// Health tells of subscriptions that ended and were not renewed.
func (p *Push) Health() callout.Health { return p.o.Store.health() }

// content is what the service worker of the page gets; it shows it and knows nothing else.
type content struct {
	Title  string `json:"title"`
	Body   string `json:"body"`
	Tag    string `json:"tag"`              // one for each occurrence: a newer notice takes the place of the older
	Link   string `json:"link,omitempty"`   // path that acknowledges when posted to
	Answer string `json:"answer,omitempty"` // what the button says
	Done   string `json:"done,omitempty"`   // what is shown once the answer was written down
	Failed string `json:"failed,omitempty"` // and if it was not
	Urgent bool   `json:"urgent"`           // it stays until it is touched
}

func contentOf(m *callout.Message) content {
	c := content{Title: cut(m.Subject, titleMost), Body: cut(m.Text, bodyMost), Tag: m.Thread, Urgent: urgent(m)}
	if u, err := url.Parse(m.Link); err == nil && m.Link != "" {
		c.Link, c.Answer, c.Done, c.Failed = u.Path, m.Button.Label, m.Button.Done, m.Button.Failed
	}
	return c
}

// urgent: a telephone that saves its battery shows it all the same [RFC 8030 section 5.3].
func urgent(m *callout.Message) bool { return m.Occurrence != 0 || len(m.Flood) > 0 }

// cut keeps at most n bytes, and no half letter.
func cut(text string, n int) string {
	if len(text) <= n {
		return text
	}
	for n > 0 && text[n]&0xc0 == 0x80 {
		n--
	}
	return text[:n]
}

// Send hands the message to the service of each telephone of the person. It got through if one of them took it.
func (p *Push) Send(ctx context.Context, m callout.Message) error {
	text, err := json.Marshal(contentOf(&m))
	if err != nil {
		return &callout.Failure{Final: true, Err: fmt.Errorf("push: write message: %w", err)}
	}
	subscriptions := p.o.Store.Of(m.To.Name)
	if len(subscriptions) == 0 {
		return &callout.Failure{Final: true, Err: errors.New("push: no telephone of this person takes push messages; subscribe on the page")}
	}
	var failures []error
	for i := range subscriptions {
		if err := p.one(ctx, &subscriptions[i], &m, text); err != nil {
			failures = append(failures, err)
		}
	}
	if len(failures) < len(subscriptions) {
		return nil
	}
	for _, err := range failures { // one that may be tried again is worth it
		var f *callout.Failure
		if !errors.As(err, &f) || !f.Final {
			return err
		}
	}
	return failures[0]
}

// one makes one try to one telephone.
func (p *Push) one(ctx context.Context, s *Subscription, m *callout.Message, text []byte) error {
	request, err := p.request(ctx, s, m, text)
	if err != nil {
		return &callout.Failure{Final: true, Err: err}
	}
	answer, err := p.client.Do(request)
	if err != nil {
		return fmt.Errorf("push: %w", withoutAddress(err))
	}
	defer answer.Body.Close() //nolint:errcheck // it was read
	_, _ = io.CopyN(io.Discard, answer.Body, answerMost)
	return p.judge(s, answer)
}

func (p *Push) request(ctx context.Context, s *Subscription, m *callout.Message, text []byte) (*http.Request, error) {
	body, err := seal(s, text)
	if err != nil {
		return nil, err
	}
	token, err := p.signer.token(s.Endpoint)
	if err != nil {
		return nil, err
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, s.Endpoint, bytes.NewReader(body))
	if err != nil {
		return nil, errors.New("push: the address of the subscription cannot be used")
	}
	h := request.Header
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Content-Encoding", "aes128gcm")                          // [RFC 8291 section 4]
	h.Set("Ttl", strconv.Itoa(int(life.Seconds())))                 // needed [RFC 8030 section 5.2]
	h.Set("Topic", m.Thread)                                        // at most 32 letters of base64url [RFC 8030 section 5.4]
	h.Set("Authorization", "vapid t="+token+", k="+p.o.Store.Key()) // [RFC 8292 section 3]
	h.Set("Urgency", "normal")
	if urgent(m) {
		h.Set("Urgency", "high")
	}
	return request, nil
}

// judge turns the answer's status into what to do [RFC 8030 sections 5, 7.3 and 8.4; RFC 8292 section 4.2].
func (p *Push) judge(s *Subscription, answer *http.Response) error {
	status := answer.StatusCode
	if status >= 200 && status <= 299 {
		p.o.Store.taken(s)
		return nil
	}
	f := &callout.Failure{Final: true, Err: fmt.Errorf("push: the push service answered %d %s", status, http.StatusText(status))}
	switch {
	case status == http.StatusNotFound, status == http.StatusGone:
		f.Err = errors.New("push: the subscription of this telephone has ended; subscribe again on the page")
		if err := p.o.Store.gone(s); err != nil {
			f.Err = errors.Join(f.Err, err)
		}
		if p.o.Gone != nil {
			p.o.Gone(s.Person, f.Err.Error())
		}
	case status == http.StatusUnauthorized, status == http.StatusForbidden:
		f.Err = fmt.Errorf("push: the push service refuses this board's signature (%d): is the clock right, and the key that of the subscription?", status)
	case status == http.StatusTooManyRequests, status >= 500:
		f.Final = false
		f.After = callout.RetryAfter(answer.Header.Get("Retry-After"), p.o.Clock.Now().Wall)
	}
	return f
}

// withoutAddress takes the address out of an error: it is a secret of the telephone, and errors go into the logbook.
func withoutAddress(err error) error {
	var inner *url.Error
	if errors.As(err, &inner) {
		return inner.Err
	}
	return err
}
