package push

import (
	"bytes"
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"math/big"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

func decoded(t *testing.T, text string) []byte {
	t.Helper()
	raw, err := base64url.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// The worked example of RFC 8291, section 5 and appendix A. Its body is 144 bytes; the Content-Length of 145 printed there is not its own.
func TestSeal_workedExample(t *testing.T) {
	sender, err := ecdh.P256().NewPrivateKey(decoded(t, "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"))
	if err != nil {
		t.Fatal(err)
	}
	s := &Subscription{Auth: decoded(t, "BTBZMqHH6r4Tts7J_aSIgg"),
		P256DH: decoded(t, "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4")}
	receiver, err := ecdh.P256().NewPublicKey(s.P256DH)
	if err != nil {
		t.Fatal(err)
	}
	salt := [saltSize]byte(decoded(t, "DGv6ra1nlYgDCS1FRnbzlw"))
	shared, err := sender.ECDH(receiver)
	if err != nil || base64url.EncodeToString(shared) != "kyrL1jIIOHEzg3sM2ZWRHDRB62YACZhhSlknJ672kSs" {
		t.Errorf("shared secret %s, %v", base64url.EncodeToString(shared), err)
	}
	key, nonce, err := derive(shared, s.Auth, s.P256DH, sender.PublicKey().Bytes(), salt[:])
	if err != nil || base64url.EncodeToString(key) != "oIhVW04MRdy2XN9CiKLxTg" || base64url.EncodeToString(nonce) != "4h_95klXJ5E_qnoN" {
		t.Errorf("key %s, nonce %s, %v", base64url.EncodeToString(key), base64url.EncodeToString(nonce), err)
	}
	body, err := sealWith(s, []byte("When I grow up, I want to be a watermelon"), sender, salt)
	if err != nil {
		t.Fatal(err)
	}
	if sum := sha256.Sum256(body); len(body) != 144 || hex.EncodeToString(sum[:]) != "f976e174457c5111a0b05234e648bc012cb1e2b37949afce4d7b1e84752953c7" {
		t.Errorf("body of %d bytes: %s", len(body), base64url.EncodeToString(body))
	}
	if _, err := seal(s, make([]byte, 3994)); err == nil { // [RFC 8291 section 4: 3993 bytes]
		t.Error("a text past one record was taken")
	}
	if body, err := seal(s, make([]byte, 3993)); err != nil || len(body) != 4096 {
		t.Errorf("the longest text: %d bytes, %v", len(body), err)
	}
	s.P256DH[10] ^= 1
	if _, err := seal(s, []byte("x")); err == nil {
		t.Error("a key beside the curve was taken")
	}
}

// The token of RFC 8292, section 2.4: its printed signature verifies as ours are verified, and ours is of the same form.
func TestSign_workedExample(t *testing.T) {
	const printed = "eyJ0eXAiOiJKV1QiLCJhbGciOiJFUzI1NiJ9.eyJhdWQiOiJodHRwczovL3B1c2guZXhhbXBsZS5uZXQiLCJleHAiOjE0NTM1MjM3NjgsInN1YiI6Im1haWx0bzpwdXNoQGV4YW1wbGUuY29tIn0." +
		"i3CYb7t4xfxCDquptFOepC9GAu_HLGkMlMuCGSK2rpiUfnK9ojFwDXb1JrErtmysazNjjvW2L9OkSSHzvoD1oA"
	raw := decoded(t, "BA1Hxzyi1RUM1b5wjxsn7nGxAszw2u61m164i3MrAIxHF6YK5h4SDYic-dRuU_RCPCfA5aq9ojSwk5Y2EmClBPs")
	if !verifies(t, printed, raw) {
		t.Error("the printed token does not verify: the check proves nothing")
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	public, err := key.PublicKey.ECDH()
	if err != nil {
		t.Fatal(err)
	}
	at := &still{time.Unix(1453523768, 0).Add(-tokenLife)}
	s := newSigner(key, "push@example.com", at)
	ours, err := s.token("https://push.example.net/p/JzLQ3raZJfFBR0aqvOMsLrt54w4rJUsV")
	if err != nil || !verifies(t, ours, public.Bytes()) || verifies(t, ours, raw) {
		t.Errorf("token %s, %v", ours, err)
	}
	var want, got map[string]any
	_ = json.Unmarshal(decoded(t, strings.Split(printed, ".")[1]), &want)
	_ = json.Unmarshal(decoded(t, strings.Split(ours, ".")[1]), &got)
	if len(got) != 3 || got["aud"] != want["aud"] || got["exp"] != want["exp"] || got["sub"] != want["sub"] {
		t.Errorf("claims %v, want %v", got, want)
	}
	again, _ := s.token("https://push.example.net/p/other")
	other, _ := s.token("https://elsewhere.example/p")
	at.wall = at.wall.Add(11 * time.Hour)
	anew, _ := s.token("https://push.example.net/p/other")
	if again != ours || other == ours || anew == ours {
		t.Error("a token serves one service, for ten hours")
	}
}

func verifies(t *testing.T, token string, public []byte) bool {
	t.Helper()
	head, signature, _ := strings.Cut(token, ".")
	claims, signature, _ := strings.Cut(signature, ".")
	key, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), public)
	if err != nil {
		t.Fatal(err)
	}
	sum, raw := sha256.Sum256([]byte(head+"."+claims)), decoded(t, signature)
	return len(raw) == 2*half && ecdsa.Verify(key, sum[:], new(big.Int).SetBytes(raw[:half]), new(big.Int).SetBytes(raw[half:]))
}

// still is a clock that stands.
type still struct{ wall time.Time }

func (s *still) Now() reading.Stamp               { return reading.Stamp{Wall: s.wall, Boot: 1, Set: true} }
func (*still) Real(d time.Duration) time.Duration { return d }

// service is a push service.
type service struct {
	status  int
	header  http.Header
	got     []*http.Request
	bodies  [][]byte
	refuses map[string]int // by path
}

func (s *service) RoundTrip(r *http.Request) (*http.Response, error) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, err
	}
	s.got, s.bodies = append(s.got, r), append(s.bodies, body)
	status := s.status
	if own, given := s.refuses[r.URL.Path]; given {
		status = own
	}
	return &http.Response{StatusCode: status, Header: s.header, Body: io.NopCloser(bytes.NewReader(nil)), Request: r}, nil
}

type rig struct {
	*Push
	store     *Store
	service   *service
	telephone *ecdh.PrivateKey
	gone      []string
}

func newRig(t *testing.T, paths ...string) *rig {
	t.Helper()
	store, err := OpenStore(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{store: store, service: &service{status: http.StatusCreated, refuses: map[string]int{}}}
	if r.telephone, err = ecdh.P256().GenerateKey(rand.Reader); err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		if err := store.Add(Subscription{Person: "ana", Endpoint: "https://push.example.net" + path, P256DH: r.telephone.PublicKey().Bytes(), Auth: bytes.Repeat([]byte{7}, 16)}); err != nil {
			t.Fatal(err)
		}
	}
	r.Push, err = New(Options{Contact: "mill@estate.example", Store: store, Clock: &still{time.Date(2026, 3, 4, 2, 20, 0, 0, time.UTC)}, Transport: r.service,
		Gone: func(person, _ string) { r.gone = append(r.gone, person) }})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

var sour = callout.Message{ID: "x", Thread: "0123456789abcdef", To: callout.Person{Name: "ana", Title: "Ana"}, Subject: "TANK 1: over-fermented", Text: "TANK 1 pH 4.05, límite 4.20.",
	Button: callout.Button{Label: "Voy yo", Done: "Anotado.", Failed: "No."}, Link: "https://mill.estate.example/a/s3cret", Alarm: "over-fermented@tank-1", Occurrence: 412, Priority: engine.High, Class: engine.Quality}

// What goes out is what a push service asks for (RFC 8030), and a reader and a verifier we did not write take it: npm http_ece decrypts the message,
// node:crypto verifies the token.
func TestSend_readByOthers(t *testing.T) {
	if _, err := os.Stat("testdata/node_modules/http_ece"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("http_ece is not installed: run npm ci in gateway/callout/push/testdata")
		}
		t.Skip("http_ece is not installed (npm ci in gateway/callout/push/testdata)")
	}
	r := newRig(t, "/p/1")
	if err := r.Send(t.Context(), sour); err != nil {
		t.Fatal(err)
	}
	h := r.service.got[0].Header
	for name, want := range map[string]string{"TTL": "3600", "Urgency": "high", "Topic": sour.Thread, "Content-Encoding": "aes128gcm"} {
		if h.Get(name) != want {
			t.Errorf("%s: %q, want %q", name, h.Get(name), want)
		}
	}
	authorization, _ := strings.CutPrefix(h.Get("Authorization"), "vapid t=")
	token, key, _ := strings.Cut(authorization, ", k=")
	given, err := json.Marshal(map[string]string{"body": base64.StdEncoding.EncodeToString(r.service.bodies[0]), "private": base64.StdEncoding.EncodeToString(r.telephone.Bytes()),
		"auth": base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{7}, 16)), "token": token, "key": key})
	if err != nil {
		t.Fatal(err)
	}
	judge := exec.CommandContext(t.Context(), "node", "judge.js")
	judge.Dir, judge.Stdin, judge.Stderr = "testdata", bytes.NewReader(given), os.Stderr
	said, err := judge.Output()
	if err != nil {
		t.Fatal(err)
	}
	var read struct {
		Text   string
		Holds  bool
		Head   map[string]string
		Claims struct {
			Aud, Sub string
			Exp      int64
		}
	}
	if err := json.Unmarshal(said, &read); err != nil {
		t.Fatal(err)
	}
	if !read.Holds || read.Head["alg"] != "ES256" || read.Claims.Aud != "https://push.example.net" || read.Claims.Sub != "mailto:mill@estate.example" ||
		read.Claims.Exp != time.Date(2026, 3, 4, 14, 20, 0, 0, time.UTC).Unix() {
		t.Errorf("the token: %+v", read)
	}
	want := content{Title: sour.Subject, Body: sour.Text, Tag: sour.Thread, Link: "/a/s3cret", Answer: "Voy yo", Done: "Anotado.", Failed: "No.", Urgent: true}
	var got content
	if err := json.Unmarshal([]byte(read.Text), &got); err != nil || got != want {
		t.Errorf("the telephone reads %+v, want %+v", got, want)
	}
	if strings.Contains(string(r.service.bodies[0]), "TANK") {
		t.Error("the message can be read on its way")
	}
}

// Each answer of a service, and what to do then. [RFC 8030 sections 5, 7.3, 8.4; RFC 8292 section 4.2]
func TestSend_answers(t *testing.T) {
	for _, c := range []struct {
		status int
		final  bool
		after  time.Duration
		kept   int
	}{
		{201, false, 0, 1}, {202, false, 0, 1}, {400, true, 0, 1}, {401, true, 0, 1}, {403, true, 0, 1}, {404, true, 0, 0}, {410, true, 0, 0}, {413, true, 0, 1},
		{301, true, 0, 1}, {429, false, 40 * time.Second, 1}, {500, false, 40 * time.Second, 1}, {503, false, 40 * time.Second, 1},
	} {
		r := newRig(t, "/p/1")
		r.service.status, r.service.header = c.status, http.Header{"Retry-After": {"40"}, "Location": {"https://elsewhere.example/"}}
		err := r.Send(t.Context(), sour)
		var f *callout.Failure
		if ok := c.status == 201 || c.status == 202; ok != (err == nil) {
			t.Errorf("%d: %v", c.status, err)
		} else if !ok && (!errors.As(err, &f) || f.Final != c.final || f.After != c.after || strings.Contains(err.Error(), "/p/1")) {
			t.Errorf("%d: %+v", c.status, err)
		}
		if got := len(r.store.Of("ana")); got != c.kept || len(r.service.got) != 1 {
			t.Errorf("%d: %d subscriptions kept, want %d; %d requests", c.status, got, c.kept, len(r.service.got))
		}
		if told := len(r.gone) == 1; told != (c.kept == 0) || r.Health().Works == (c.kept == 0) {
			t.Errorf("%d: told %v, health %+v", c.status, r.gone, r.Health())
		}
	}
}

// Of two telephones one has ended: the other rings, and the ended one is forgotten for good.
func TestSend_twoTelephones(t *testing.T) {
	r := newRig(t, "/p/old", "/p/new")
	r.service.refuses["/p/old"] = http.StatusGone
	for range 2 {
		if err := r.Send(t.Context(), sour); err != nil {
			t.Fatal(err)
		}
	}
	if len(r.service.got) != 3 || !r.Health().Works || !r.Reaches(&callout.Person{Name: "ana"}) || r.Reaches(&callout.Person{Name: "ben"}) {
		t.Errorf("%d requests, health %+v", len(r.service.got), r.Health())
	}
	again, err := OpenStore(r.store.folder)
	if err != nil || len(again.Of("ana")) != 1 || again.Key() != r.store.Key() {
		t.Errorf("after a restart: %v, %v", again.Of("ana"), err)
	}
}

// Files of the store are their owner's alone; what is no subscription is refused, and a person's oldest goes when there are too many.
func TestStore(t *testing.T) {
	r := newRig(t, "/1", "/2", "/3", "/4", "/5", "/6", "/7")
	if own := r.store.Of("ana"); len(own) != perPerson || !strings.HasSuffix(own[0].Endpoint, "/2") {
		t.Errorf("%v", own)
	}
	good := r.store.Of("ana")[0]
	for name, edit := range map[string]func(*Subscription){
		"not encrypted": func(s *Subscription) { s.Endpoint = "http://push.example.net/p" },
		"a file":        func(s *Subscription) { s.Endpoint = "file:///etc/passwd" },
		"too long":      func(s *Subscription) { s.Endpoint += strings.Repeat("x", endpointMax) },
		"short secret":  func(s *Subscription) { s.Auth = s.Auth[1:] },
		"no key":        func(s *Subscription) { s.P256DH = nil },
		"nobody":        func(s *Subscription) { s.Person = "" },
	} {
		bad := good
		edit(&bad)
		if err := r.store.Add(bad); !errors.Is(err, ErrSubscription) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, name := range []string{keyFile, subscriptionsFile} {
		path := filepath.Join(r.store.folder, name)
		info, err := os.Stat(path)
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", name, info.Mode(), err)
		}
		if err := os.Chmod(path, 0o644); err != nil { //nolint:gosec // that is the fault looked for
			t.Fatal(err)
		}
		if _, err := OpenStore(r.store.folder); err == nil || !strings.Contains(err.Error(), "chmod 600") {
			t.Errorf("%s readable by all: %v", name, err)
		}
		_ = os.Chmod(path, 0o600)
	}
}

// A subscription that leads to this machine or to the mill's own network is not followed; the same request to the double is.
func TestPublicOnly(t *testing.T) {
	for _, address := range []string{"127.0.0.1:443", "10.0.0.7:443", "192.168.1.1:443", "169.254.169.254:80", "[::1]:443", "[fd00::1]:443", "[::ffff:127.0.0.1]:443"} {
		request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "https://"+address+"/", nil)
		if err != nil {
			t.Fatal(err)
		}
		answer, err := publicOnly().RoundTrip(request)
		if err == nil {
			_ = answer.Body.Close()
		}
		if err == nil || !strings.Contains(err.Error(), "no public address") {
			t.Errorf("%s: %v", address, err)
		}
	}
}

func TestDeclares(t *testing.T) {
	if _, err := phrase.Parse(Declares); err != nil {
		t.Error(err)
	}
}
