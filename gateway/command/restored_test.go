package command

import (
	"context"
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/callout/push"
	"millwarden/internal/browser"
	"millwarden/internal/clock"
	"millwarden/internal/peers"
)

const restoredRules = `site small-mill
    timezone        UTC
    altitude        1450 m

page
    listen          ADDRESS

channel push
    contact         mill@estate.example

person ana
    rights          owner

person ben
    rights          crew
`

// running is a gateway on a data folder, as its page is seen by programs.
type running struct {
	t   *testing.T
	url string
	end func()
}

func runOn(t *testing.T, data string) *running {
	t.Helper()
	address := peers.FreeAddress(t)
	file := filepath.Join(t.TempDir(), "site.rules")
	if err := os.WriteFile(file, []byte(strings.Replace(restoredRules, "ADDRESS", address, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		ended <- run(ctx, IO{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard}, []string{"--rules", file, "--data", data, "--trust-clock"})
	}()
	r := &running{t: t, url: "http://" + address}
	r.end = func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the gateway ended with %v", err)
		}
		ended <- nil
	}
	t.Cleanup(r.end)
	for begun := time.Now(); ; time.Sleep(100 * time.Millisecond) {
		if status, _, _ := r.ask(http.MethodGet, "/health", "", "", nil); status != 0 {
			return r
		}
		if time.Since(begun) > browser.Patience {
			t.Fatal("the gateway does not answer")
		}
	}
}

// ask asks as a program on the page's own origin does; status 0: nobody answers.
func (r *running) ask(method, path, kind, body string, session *http.Cookie) (status int, text string, given *http.Cookie) {
	r.t.Helper()
	q, err := http.NewRequestWithContext(r.t.Context(), method, r.url+path, strings.NewReader(body))
	if err != nil {
		r.t.Fatal(err)
	}
	q.Header.Set("Content-Type", kind)
	q.Header.Set("Origin", r.url)
	if session != nil {
		q.AddCookie(session)
	}
	answer, err := http.DefaultTransport.RoundTrip(q)
	if err != nil {
		return 0, err.Error(), nil
	}
	defer answer.Body.Close()
	all, err := io.ReadAll(answer.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	for _, c := range answer.Cookies() {
		given = c
	}
	return answer.StatusCode, string(all), given
}

func (r *running) login(name, password string) *http.Cookie {
	r.t.Helper()
	status, text, session := r.ask(http.MethodPost, "/login", "application/x-www-form-urlencoded", url.Values{"name": {name}, "password": {password}}.Encode(), nil)
	if status != http.StatusSeeOther || session == nil {
		r.t.Fatalf("%s logs in: status %d, %s", name, status, text)
	}
	return session
}

// postbox is a push service that takes everything.
type postbox struct{ got []*http.Request }

func (p *postbox) RoundTrip(r *http.Request) (*http.Response, error) {
	p.got = append(p.got, r)
	return &http.Response{StatusCode: http.StatusCreated, Body: http.NoBody, Request: r}, nil
}

// Aim: a backup taken while the gateway runs, restored into an empty folder on another board, lets the same people in by the same passwords and reaches
// the same telephones by the same key; sessions, and codes that were handed out, are not in it. The files are for their owner alone.
func TestRestore_logsInAndPushes(t *testing.T) {
	home := t.TempDir()
	data, copied, again := filepath.Join(home, "data"), filepath.Join(home, "copy"), filepath.Join(home, "again")
	const password = "ladder and sieve of ana"
	if err := peopleCommand(t.Context(), IO{In: strings.NewReader(password + "\n"), Out: io.Discard, Err: io.Discard}, []string{"add", "ana", "--data", data}); err == nil {
		t.Fatal("people add made a data folder: it should be there")
	}
	if err := os.Mkdir(data, 0o750); err != nil {
		t.Fatal(err)
	}
	if err := peopleCommand(t.Context(), IO{In: strings.NewReader(password + "\n"), Out: io.Discard, Err: io.Discard}, []string{"add", "ana", "--data", data}); err != nil {
		t.Fatal(err)
	}
	first := runOn(t, data)
	session := first.login("ana", password)
	_, key, _ := first.ask(http.MethodGet, "/api/push", "", "", session)
	telephone, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	const endpoint = "https://push.example.net/telephone-of-ana"
	code, _ := must(t, "people", "code", "ben", "--data", data)
	_, code, _ = strings.Cut(code, "Code for ben: ")
	code, _, _ = strings.Cut(code, "\n")
	subscription, err := json.Marshal(map[string]string{"endpoint": endpoint, "p256dh": base64.RawURLEncoding.EncodeToString(telephone.PublicKey().Bytes()), "auth": base64.RawURLEncoding.EncodeToString(make([]byte, 16))})
	if err != nil {
		t.Fatal(err)
	}
	if status, text, _ := first.ask(http.MethodPost, "/api/push", "application/json", string(subscription), session); status != http.StatusOK {
		t.Fatalf("subscribing: %d %s", status, text)
	}
	out, said := must(t, "backup", copied, "--data", data)
	if !strings.Contains(out, "logins: 1, telephones for push messages: 1;") || said != "" {
		t.Errorf("backup says %q, %q", out, said)
	}
	if out, _ = must(t, "logbook", "--data", data); !strings.Contains(out, "a backup was taken") {
		t.Errorf("the logbook does not tell of the backup: %s", out)
	}
	first.end()
	for name, text := range folderBytes(t, copied) {
		info, err := os.Stat(filepath.Join(copied, name))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s of the backup: mode %v, %v, want 0600", name, info.Mode(), err)
		}
		if strings.Contains(text, password) || strings.Contains(text, session.Value) {
			t.Errorf("%s of the backup holds a password or what a browser holds", name)
		}
	}

	out, _ = must(t, "restore", copied, "--data", again)
	if !strings.Contains(out, "Everybody is logged out") {
		t.Errorf("restore says %q", out)
	}
	second := runOn(t, again)
	if status, _, _ := second.ask(http.MethodGet, "/api/me", "", "", session); status != http.StatusUnauthorized {
		t.Errorf("the session of before the backup: status %d", status)
	}
	form := url.Values{"name": {"ben"}, "code": {code}, "password": {"ladder and sieve of ben"}}.Encode()
	if status, _, _ := second.ask(http.MethodPost, "/code", "application/x-www-form-urlencoded", form, nil); status != http.StatusForbidden || code == "" {
		t.Errorf("the code %q of before the backup: status %d", code, status)
	}
	session = second.login("ana", password)
	if _, got, _ := second.ask(http.MethodGet, "/api/push", "", "", session); got != key || len(key) < 80 {
		t.Errorf("the key for push messages is %s, before it was %s", got, key)
	}
	second.end()
	pushesBy(t, again, endpoint, key)
}

// pushesBy sends Ana a message with what a folder holds: it goes to the telephone that subscribed, signed by the key it subscribed with.
func pushesBy(t *testing.T, folder, endpoint, key string) {
	t.Helper()
	store, err := push.OpenStore(folder)
	if err != nil {
		t.Fatal(err)
	}
	box := &postbox{}
	channel, err := push.New(push.Options{Contact: "mill@estate.example", Store: store, Clock: &clock.System{Boot: 1, Trust: true}, Transport: box})
	if err != nil {
		t.Fatal(err)
	}
	if err := channel.Send(t.Context(), callout.Message{To: callout.Person{Name: "ana"}, Subject: "Tank 1", Text: "pH 4.1", Occurrence: 7, Thread: "seven"}); err != nil {
		t.Fatal(err)
	}
	if len(box.got) != 1 || box.got[0].URL.String() != endpoint {
		t.Fatalf("%d messages, the first to %+v", len(box.got), box.got)
	}
	_, signed, found := strings.Cut(box.got[0].Header.Get("Authorization"), "k=") // [RFC 8292 section 3]
	if !found || !strings.Contains(key, signed) {
		t.Errorf("signed with %q, subscribed with %s", signed, key)
	}
}

// Aim: what the folder has is set aside together; a backup of before there were logins takes none away; what root restores is the folder's owner's.
func TestRestore_loginsSetAside(t *testing.T) {
	home := t.TempDir()
	data, old, copied := filepath.Join(home, "data"), filepath.Join(home, "old"), filepath.Join(home, "copy")
	b := newBoard(t, data)
	b.add(1)
	must(t, "backup", old, "--data", data)
	b.close()
	set := func(name string) {
		t.Helper()
		if err := peopleCommand(t.Context(), IO{In: strings.NewReader("ladder and sieve\n"), Out: io.Discard, Err: io.Discard}, []string{"add", name, "--data", data}); err != nil {
			t.Fatal(err)
		}
	}
	set("ana")
	must(t, "backup", copied, "--data", data)
	set("eve")
	if _, err := push.OpenStore(data); err != nil { // begins a key
		t.Fatal(err)
	}
	list := func() string {
		out, _ := must(t, "people", "--data", data)
		return out
	}
	must(t, "restore", old, "--data", data, "--replace")
	if got := list(); !strings.Contains(got, "eve") || !push.Exists(data) {
		t.Errorf("a backup without logins took them away: %s", got)
	}
	if os.Geteuid() == 0 {
		if err := os.Chown(data, 65534, 65534); err != nil {
			t.Fatal(err)
		}
	}
	out, _ := must(t, "restore", copied, "--data", data, "--replace")
	if got := list(); strings.Contains(got, "eve") || !strings.Contains(got, "ana") || !strings.Contains(out, "people.db.replaced-1") {
		t.Errorf("after restoring: %s\n%s", got, out)
	}
	entries, err := os.ReadDir(data)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		if of := info.Sys().(*syscall.Stat_t); os.Geteuid() == 0 && of.Uid != 65534 {
			t.Errorf("%s belongs to %d: the gateway of that folder cannot open it", e.Name(), of.Uid)
		}
	}
}

// Aim: a file system that keeps no rights is said, since the backup holds secrets. The control is TestRestore_logsInAndPushes, where nothing is said.
func TestBackup_openToOthers(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "people.db"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(dir, "people.db"), 0o755); err != nil { // as FAT shows every file
		t.Fatal(err)
	}
	var said strings.Builder
	if err := warnOpen(IO{Err: &said}, dir); err != nil || !strings.Contains(said.String(), "Keep it locked up") {
		t.Errorf("said %q, %v", said.String(), err)
	}
}
