package webhook

import (
	"bytes"
	"context"
	"crypto/hmac"
	"encoding/base64"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/reading"
)

type fixed struct{ stamp reading.Stamp }

func (f fixed) Now() reading.Stamp                 { return f.stamp }
func (f fixed) Real(d time.Duration) time.Duration { return d }

var at = reading.Stamp{Wall: time.Unix(1767225600, 0).UTC(), Mono: time.Hour, Boot: 1, Set: true}

// testSecret is the bytes 00 to 1f, that of the check value.
var testSecret = "whsec_" + base64.StdEncoding.EncodeToString([]byte("\x00\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e\x0f\x10\x11\x12\x13\x14\x15\x16\x17\x18\x19\x1a\x1b\x1c\x1d\x1e\x1f"))

// The check value was worked out beforehand from the text of the specification Standard Webhooks ("Signature scheme") with another program:
// secret bytes 00..1f, id evt_0001, timestamp 1767225600.
func TestSign_checkValue(t *testing.T) {
	const body = `{"type":"alarm.annunciated","timestamp":"2026-01-01T00:00:00Z","data":{"alarm":"dryer.air.high","occurrence":1}}`
	secret, err := parseSecret(testSecret)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := sign(secret, "evt_0001", 1767225600, []byte(body)), "v1,AoqPgOo7MBg013rRyjxN4cpEWQCIy/m20L2zrRhLon0="; got != want {
		t.Errorf("sign() = %s, want %s", got, want)
	}
}

func message() callout.Message {
	return callout.Message{ID: "q3ZbX0e9", To: callout.Person{Name: "ana", Title: "Ana", Phone: "+51 900 000 001", Mail: "ana@fern-hollow.example"},
		Subject: "DRYER 1: dryer hot", Text: "DRYER 1 air temperature 51.0 °C, limit 45.0 °C, since 02:14. Cut the heat.", Body: "…", Link: "https://mill.example/a/x",
		Alarm: "dryer-hot@dryer-1", Occurrence: 412, Title: "dryer hot", Place: "dryer-1", Area: "deck", Priority: 2, Class: 0, Since: at.Wall.Add(-time.Minute), At: at}
}

func open(t *testing.T, address, secret string) *Webhook {
	t.Helper()
	w, err := New(Options{Address: address, Secret: secret, Clock: fixed{at}})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// The receiver checks as the specification tells it to: the signed text is id, timestamp and body as they came.
func TestSend_receiverChecks(t *testing.T) {
	old := "whsec_" + base64.StdEncoding.EncodeToString(bytes.Repeat([]byte("x"), 24))
	var got event
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		id, stamp := r.Header.Get("webhook-id"), r.Header.Get("webhook-timestamp")
		signatures := strings.Split(r.Header.Get("webhook-signature"), " ")
		if r.Method != http.MethodPost || r.Header.Get("Content-Type") != "application/json" || id != "q3ZbX0e9" || stamp != "1767225600" || len(signatures) != 2 || len(body) > 20000 {
			t.Errorf("%s %v, %d bytes", r.Method, r.Header, len(body))
		}
		for i, text := range []string{testSecret, old} {
			secret, _ := parseSecret(text)
			if want := sign(secret, id, 1767225600, body); i >= len(signatures) || !hmac.Equal([]byte(signatures[i]), []byte(want)) {
				t.Errorf("signature %d of %v, want %s", i, signatures, want)
			}
		}
		if err := json.Unmarshal(body, &got); err != nil {
			t.Error(err)
		}
		if bytes.Contains(body, []byte("900 000")) || bytes.Contains(body, []byte("ana@")) {
			t.Errorf("the body tells telephone or mail: %s", body)
		}
		w.WriteHeader(http.StatusNoContent)
	}))
	defer receiver.Close()
	if err := open(t, receiver.URL, testSecret+"\n"+old+"\n").Send(t.Context(), message()); err != nil {
		t.Fatal(err)
	}
	want := event{Type: "alarm.annunciated", Timestamp: "2026-01-01T00:00:00Z", Data: data{Alarm: "dryer-hot@dryer-1", Occurrence: 412, Title: "dryer hot",
		Place: "dryer-1", Area: "deck", Priority: "high", Class: "safety", Since: "2025-12-31T23:59:00Z", To: "ana", ToTitle: "Ana", Subject: "DRYER 1: dryer hot",
		Text: message().Text, Body: "…", Link: "https://mill.example/a/x"}}
	if got != want {
		t.Errorf("body %+v\nwant %+v", got, want)
	}
}

func TestEventOf_kinds(t *testing.T) {
	drill := callout.Message{Exercise: true}
	digest := callout.Message{Subject: "3 alarms"}
	if e := eventOf(&drill); e.Type != "drill.sent" || !e.Data.Exercise || e.Timestamp != "" {
		t.Errorf("drill: %+v", e)
	}
	if e := eventOf(&digest); e.Type != "alarms.standing" {
		t.Errorf("digest: %+v", e)
	}
}

// What each answer means [Standard Webhooks; RFC 9110 sections 10.2.3 and 15].
func TestSend_answers(t *testing.T) {
	for _, c := range []struct {
		status      int
		after       string
		ok          bool
		final, gone bool
		pause       time.Duration
	}{
		{status: 200, ok: true}, {status: 202, ok: true}, {status: 204, ok: true},
		{status: 301, final: true}, {status: 302, final: true}, {status: 307, final: true}, {status: 308, final: true},
		{status: 400, final: true}, {status: 401, final: true}, {status: 404, final: true}, {status: 413, final: true},
		{status: 410, gone: true},
		{status: 408}, {status: 429}, {status: 500}, {status: 502}, {status: 503}, {status: 504},
		{status: 429, after: "40", pause: 40 * time.Second},
		{status: 503, after: "Thu, 01 Jan 2026 00:00:30 GMT", pause: 30 * time.Second},
		{status: 502, after: "Wed, 31 Dec 2025 00:00:00 GMT"},
		{status: 502, after: "soon"}, {status: 502, after: "-5"},
		{status: 504, after: "4000000000", pause: 24 * time.Hour},
	} {
		var calls int
		receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			calls++
			w.Header().Set("Location", "/elsewhere")
			if c.after != "" {
				w.Header().Set("Retry-After", c.after)
			}
			w.WriteHeader(c.status)
		}))
		err := open(t, receiver.URL, testSecret).Send(t.Context(), message())
		receiver.Close()
		if calls != 1 {
			t.Errorf("%d: %d calls, want one: no redirect is followed, no try repeated", c.status, calls)
		}
		var f *callout.Failure
		if c.ok != (err == nil) || !c.ok && !errors.As(err, &f) {
			t.Errorf("%d: %v", c.status, err)
		} else if !c.ok && (f.Final != c.final || f.Gone != c.gone || f.After != c.pause) {
			t.Errorf("%d %q: %+v", c.status, c.after, f)
		}
	}
}

// An error of the network is worth another try, and tells no address.
func TestSend_nobodyThere(t *testing.T) {
	w, err := New(Options{Address: "https://hooks.example/secret-path", Secret: testSecret, Clock: fixed{at}, Transport: &http.Transport{
		DialContext: func(context.Context, string, string) (net.Conn, error) { return nil, errors.New("no route") }}})
	if err != nil {
		t.Fatal(err)
	}
	err = w.Send(t.Context(), message())
	var f *callout.Failure
	if err == nil || errors.As(err, &f) || strings.Contains(err.Error(), "secret-path") || !strings.Contains(err.Error(), "no route") {
		t.Errorf("Send() = %v", err)
	}
}

func TestNew_refuses(t *testing.T) {
	short := "whsec_" + base64.StdEncoding.EncodeToString(make([]byte, 23))
	long := "whsec_" + base64.StdEncoding.EncodeToString(make([]byte, 65))
	for name, o := range map[string]Options{
		"no address":     {Secret: testSecret},
		"other scheme":   {Address: "ftp://hooks.example/", Secret: testSecret},
		"file":           {Address: "file:///etc/passwd", Secret: testSecret},
		"password in it": {Address: "https://a:b@hooks.example/", Secret: testSecret},
		"no secret":      {Address: "https://hooks.example/"},
		"bare secret":    {Address: "https://hooks.example/", Secret: strings.TrimPrefix(testSecret, "whsec_")},
		"short secret":   {Address: "https://hooks.example/", Secret: short}, // [Standard Webhooks: 24 to 64 bytes]
		"long secret":    {Address: "https://hooks.example/", Secret: long},
		"three secrets":  {Address: "https://hooks.example/", Secret: testSecret + " " + testSecret + " " + testSecret},
		"not base64":     {Address: "https://hooks.example/", Secret: "whsec_!!!"},
	} {
		o.Clock = fixed{at}
		if w, err := New(o); err == nil || strings.Contains(err.Error(), strings.TrimPrefix(testSecret, "whsec_")) {
			t.Errorf("%s: %+v, %v", name, w, err)
		}
	}
}

func FuzzRetryAfter(f *testing.F) {
	for _, text := range []string{"40", "-1", "Thu, 01 Jan 2026 00:00:30 GMT", "1e9", "99999999999999999999"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if d := callout.RetryAfter(text, at.Wall); d < 0 || d > 24*time.Hour {
			t.Errorf("callout.RetryAfter(%q) = %v", text, d)
		}
	})
}
