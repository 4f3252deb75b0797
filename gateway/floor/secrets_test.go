package floor_test

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/link"
	"millwarden/internal/peers"
)

const secretsRules = `site small-mill
    timezone        UTC
    altitude        1450 m

station bin-1 is bin

probe bin-1-stick
    part            radio on topic sticks/bin-1
    form            number
    gives           temperature at bin-1
    every           5 s

broker
    listen          LISTEN
    credential      broker
store
    address         http://DEAD
    credential      store
    org             mill
    bucket          mill
channel mail
    server          DEAD
    sender          mill@estate.example
    credential      mail
channel webhook
    address         http://DEAD/hook
    credential      hook
outside-watcher
    address         http://DEAD/alive
page
    listen          PAGE

person ana
    mail            ana@estate.example
    rights          owner
watch night
    hours           00:00-24:00 every day
    call            ana by mail, webhook
`

// logLines is a log that many goroutines write.
type logLines struct {
	mu   sync.Mutex // guards text
	text bytes.Buffer
}

func (l *logLines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logLines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// Aim: with broker, store, mail, webhook and outside watcher all failing, so that each has something to tell, no secret of theirs is in the log at its
// finest, on any page, in a metric, or in any file of the data folder, plain or in base64. The control is a name that does stand there.
func TestSecrets_nowhere(t *testing.T) {
	secrets := map[string]string{"broker": "brokeruser:swordfish-broker", "store": "swordfish-store", "mail": "mailuser:swordfish-mail",
		"hook": "whsec_" + base64.StdEncoding.EncodeToString([]byte("swordfish-hook-swordfish-hook-32"))}
	dead, page, listen := peers.FreeAddress(t), peers.FreeAddress(t), peers.FreeAddress(t)
	text := strings.NewReplacer("DEAD", dead, "PAGE", page, "LISTEN", listen).Replace(secretsRules)
	plan, said := load(t, fstest.MapFS{"demo.rules": {Data: []byte(text)}})
	if plan == nil {
		t.Fatal(said)
	}
	log, folder := &logLines{}, t.TempDir()
	asked := sync.Map{}
	b := &bench{}
	var err error
	code := ""
	b.Floor, err = floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), Clock: func(boot uint32) clock.Clock { return &clock.System{Boot: boot, Trust: true} },
		Log: slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug})), FirstCode: func(c string) { code = c },
		Credential: func(name string) (string, error) { asked.Store(name, true); return secrets[name], nil }})
	if err != nil {
		t.Fatal(err)
	}
	stop := b.run(t)
	must(t, b.Act(t.Context(), web.Act{Do: web.DoDrill, Person: "ana", By: "ana", Via: "page"})) // both channels are tried
	knocking, leave := context.WithCancel(t.Context())
	knocks := make(chan error, 1)
	go func() { // somebody outside, who guesses
		knocks <- link.Keep(knocking, link.Options{Dial: link.Dialer(listen, nil), ClientID: "knock", Presence: "knock/state",
			Credential: func() (string, string, error) { return "brokeruser", "swordfisk", nil }}, func(ctx context.Context, _ *link.Conn) error { <-ctx.Done(); return nil })
	}()
	seen := pagesOf(t, folder)
	for begun := time.Now(); ; time.Sleep(200 * time.Millisecond) {
		waits := ""
		for name := range secrets {
			if _, was := asked.Load(name); !was {
				waits = name
			}
		}
		if waits == "" && strings.Contains(log.String(), "client of the broker refused") && strings.Contains(log.String(), "part=forward") {
			break
		}
		if time.Since(begun) > 90*time.Second {
			t.Fatalf("nobody asked for %q; log:\n%s", waits, log)
		}
	}
	seen += pagesOf(t, folder)
	leave()
	must(t, <-knocks)
	stop()
	places := map[string]string{"the log": log.String(), "the pages": seen}
	must(t, filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		content, err := os.ReadFile(path)
		places["the file "+d.Name()] = string(content)
		return err
	}))
	words := []string{"swordfish", strings.TrimPrefix(secrets["hook"], "whsec_")[:24], code}
	for _, s := range secrets { // headers carry them so
		words = append(words, base64.StdEncoding.EncodeToString([]byte(s)))
	}
	control := false
	for where, text := range places {
		for i, word := range words {
			if word == "" || strings.Contains(text, word) {
				t.Errorf("%s holds secret %d", where, i)
			}
		}
		control = control || strings.Contains(where, "logbook") && strings.Contains(text, "ana")
	}
	if !control {
		t.Error("not even a name stands in the logbook: the test looks at nothing")
	}
}

// pagesOf is what the gateway answers at every address that is worth reading, by the socket of the commands, which may read all.
func pagesOf(t *testing.T, folder string) string {
	t.Helper()
	var all strings.Builder
	client := &http.Client{Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "unix", web.Socket(folder))
	}}}
	defer client.CloseIdleConnections()
	for _, path := range []string{"/health", "/api/overview", "/api/logbook", "/api/rules", "/api/watches", "/api/register", "/api/probes", "/metrics", "/login", "/people", "/"} {
		for begun := time.Now(); ; time.Sleep(100 * time.Millisecond) {
			r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://localhost"+path, nil)
			must(t, err)
			answer, err := client.Do(r)
			if err != nil && time.Since(begun) < time.Minute { // it is not open yet
				continue
			}
			must(t, err)
			body, err := io.ReadAll(answer.Body)
			must(t, err)
			must(t, answer.Body.Close())
			fmt.Fprintln(&all, path, answer.Status, answer.Header, string(body))
			break
		}
	}
	return all.String()
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
