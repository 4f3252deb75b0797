package floor_test

import (
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/leaks"
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
	log, folder := &leaks.Log{}, leaks.Folder(t)
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
	places := leaks.Files(t, folder)
	places["the log"], places["the pages"] = log.String(), seen
	words := []string{"swordfish", strings.TrimPrefix(secrets["hook"], "whsec_")[:24], code}
	for _, s := range secrets {
		words = append(words, s)
	}
	control := false
	for where, text := range places {
		if found := leaks.In(text, words...); found != nil {
			t.Errorf("%s holds secrets: %q", where, found)
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
