package command

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/people"
	"millwarden/internal/browser"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
	"millwarden/internal/leaks"
	"millwarden/internal/peers"
)

// guarded is the demo's estate with logins and everything that is secret about it: who asks gets what his role may see, and no secret ever.
type guarded struct {
	address, broker, data string
	mill                  *floor.Floor
	book                  *people.Book
	tokens                map[string]string // sessions by person
	secrets               []string
	log                   *leaks.Log
}

const (
	guardedPassword = "twelve sacks by the gate"
	brokerSecret    = "nine-herons-broker"
	stickSecret     = "four-herons-stick"
	mailSecret      = "seven-herons-mail"
	guardedPhone    = "+51 900 123 456"
)

// guardedPeople are who may ask, by role; "" is nobody.
var guardedPeople = []string{"", "ben", "caro", "ana", "wall", "vera"}

// openGuarded runs the estate, its rules file changed by edit.
func openGuarded(t testing.TB, edit func(string) string) *guarded {
	t.Helper()
	folder := leaks.Folder(t)
	g := &guarded{address: peers.FreeAddress(t), broker: peers.FreeAddress(t), data: folder, tokens: map[string]string{}, log: &leaks.Log{}}
	text, err := fs.ReadFile(estate.Files, estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	rules := strings.Replace(string(text), "person ana\n", "person ana\n    phone           \""+guardedPhone+"\"\n    rights          crew\n", 1) +
		"    credential      mail-login\n\nbroker\n    listen          " + g.broker + "\n    credential      broker-login\n\nchannel push\n    contact         mill@fern-hollow.example\n" +
		"\nperson caro\n    rights          technician\n\nperson vera\n    rights          auditor\n\nperson wall\n    rights          reader\n"
	file := filepath.Join(folder, "fern-hollow.rules")
	if err := os.WriteFile(file, []byte(edit(rules)), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := loadRules(file)
	if err != nil {
		t.Fatal(err)
	}
	if l.hideNotes(); l.said.HasErrors() {
		_ = l.said.Print(t.Output(), l.sources)
		t.FailNow()
	}
	// The engine of fuzzing ends what takes ten seconds, and an instrumented hash of a password does on a busy machine.
	usual := people.DefaultCost
	people.DefaultCost = people.Cost{Passes: 1, Memory: 64, Threads: 1}
	t.Cleanup(func() { people.DefaultCost = usual })
	c := clock.Scaled{Start: demoBegins, Begun: time.Now(), Speed: 1}
	world := estate.New(c, estate.NewTruth(18, 1), nil)
	if err := estate.Begin(folder, demoBegins); err != nil {
		t.Fatal(err)
	}
	g.mill, err = floor.Open(floor.Options{Plan: l.plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Wires: world.Wires, Listen: g.address,
		Log: slog.New(slog.NewTextHandler(g.log, &slog.HandlerOptions{Level: slog.LevelDebug})), Version: Version, Channels: map[string]callout.Channel{"mail": phones{IO{Out: io.Discard}}},
		Credential: func(name string) (string, error) {
			return map[string]string{"mail-login": "mill:" + mailSecret, "broker-login": "mill:" + brokerSecret + "\nbin-1-stick:" + stickSecret}[name], nil
		},
		Clock: func(boot uint32) clock.Clock { c.Boot = boot; return c }, Rules: watch(file, l.plan)})
	if err != nil {
		t.Fatal(err)
	}
	if g.book, err = people.Open(folder, people.Options{Cost: people.Cost{Passes: 1, Memory: 64, Threads: 1}}); err != nil {
		t.Fatal(err)
	}
	g.secrets = []string{guardedPassword, brokerSecret, stickSecret, mailSecret, "$argon2id$", "BEGIN PRIVATE KEY"}
	for _, name := range guardedPeople[1:] {
		if err := g.book.Set(t.Context(), name, guardedPassword); err != nil {
			t.Fatal(err)
		}
		g.enter(t, name)
	}
	ctx, stop := context.WithCancel(context.Background())
	var lives sync.WaitGroup
	lives.Go(func() { _ = world.Run(ctx) })
	lives.Go(func() {
		if err := g.mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
	})
	t.Cleanup(func() {
		stop()
		lives.Wait()
		if err := errors.Join(g.mill.Close(), g.book.Close()); err != nil {
			t.Error(err)
		}
		g.searchFiles(t)
	})
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		if _, err := g.ask(&asking{method: "GET", path: "/health"}); err == nil {
			return g
		}
		if time.Since(begun) > browser.Patience {
			t.Fatal("the page is not served")
		}
	}
}

// enter begins a session of a person.
func (g *guarded) enter(t testing.TB, name string) {
	t.Helper()
	token, err := g.book.Begin(name, people.PersonLife)
	if err != nil {
		t.Fatal(err)
	}
	g.tokens[name] = token
	g.secrets = append(g.secrets, token)
}

// asking is one request.
type asking struct{ method, path, query, who, kind, body string }

// replied is the answer to it: all of what was sent back, but for a session that was begun.
type replied struct {
	status int
	text   string
}

// ask sends it over a connection of its own. Of a stream its beginning is read.
func (g *guarded) ask(a *asking) (replied, error) {
	conn, err := net.DialTimeout("tcp", g.address, browser.Patience)
	if err != nil {
		return replied{}, err
	}
	defer conn.Close()
	_ = conn.(*net.TCPConn).SetLinger(0) // no port stays taken: fuzzing asks for more than there are
	_ = conn.SetDeadline(time.Now().Add(2 * browser.Patience))
	r, err := http.NewRequest(a.method, "http://"+g.address, nil) //nolint:noctx // the deadline is the connection's
	if err != nil {
		return replied{}, err
	}
	r.URL.Opaque, r.URL.RawQuery = a.path, a.query
	if a.body != "" {
		r.Body, r.ContentLength = io.NopCloser(strings.NewReader(a.body)), int64(len(a.body))
	}
	if a.kind != "" {
		r.Header.Set("Content-Type", a.kind)
	}
	if token := g.tokens[a.who]; token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	_ = r.Write(conn)                                          // one that is too long is answered before it was read
	answer, err := http.ReadResponse(bufio.NewReader(conn), r) //nolint:bodyclose // closing would wait for the end of a stream; the connection is closed
	if err != nil {
		return replied{}, err
	}
	most := int64(16 << 20)
	if strings.HasPrefix(answer.Header.Get("Content-Type"), "text/event-stream") {
		most = 200
	}
	body, err := io.ReadAll(io.LimitReader(answer.Body, most))
	answer.Header.Del("Set-Cookie")
	return replied{answer.StatusCode, fmt.Sprint(answer.Header) + string(body)}, err
}

// searchFiles looks for secrets in all that the gateway wrote. Hashes of passwords belong into people.db and the key into its file, tokens and passwords nowhere.
func (g *guarded) searchFiles(t testing.TB) {
	t.Helper()
	looked := 0
	for name, text := range leaks.Files(t, g.data) {
		for _, s := range leaks.In(text, g.secrets...) {
			if s == "$argon2id$" && strings.HasPrefix(name, "people.db") || s == "BEGIN PRIVATE KEY" && name == "push-key.pem" {
				looked++
				continue
			}
			t.Errorf("%s holds a secret: %q", name, s)
		}
	}
	if looked < 2 {
		t.Error("the hashes and the key were not found where they belong: the search sees nothing")
	}
}

// routes asks the program what it serves, and adds the doors, which its document leaves out.
func (g *guarded) routes(t testing.TB) (list []asking) {
	t.Helper()
	got, err := g.ask(&asking{method: "GET", path: "/api/openapi.json", who: "ben"})
	if err != nil {
		t.Fatal(err)
	}
	var document struct {
		Paths map[string]map[string]json.RawMessage `json:"paths"`
	}
	_, body, _ := strings.Cut(got.text, "]{") // behind the headers
	if err := json.Unmarshal([]byte("{"+body), &document); err != nil {
		t.Fatal(err)
	}
	for path, methods := range document.Paths {
		for method := range methods {
			list = append(list, asking{method: strings.ToUpper(method), path: path})
		}
	}
	for _, path := range []string{"/login", "/code", "/trust", "/site-root.crt", "/logout", "/password", "/passkeys", "/passkeys/offer", "/passkeys/remove", "/login/passkey/ask", "/login/passkey",
		"/people", "/", "/{one}", "/station/{one}", "/point/{one}/{two}", "/lot/{one}", "/book", "/book/{one}", "/roster", "/sw.js"} {
		list = append(list, asking{method: "GET", path: path}, asking{method: "POST", path: path})
	}
	slices.SortFunc(list, func(a, b asking) int { return strings.Compare(a.path+a.method, b.path+b.method) })
	return list
}

// escaped is a part of a path as any bytes may stand in it.
func escaped(text string) string { return strings.ReplaceAll(url.PathEscape(text), "..", "%2e%2e") }

// Aim: whatever is asked, of any route, by any method, by anybody, with any parameters and any body: the gateway answers, never with a fault of its own,
// and no secret stands in an answer or in what it logs. What it wrote is searched at the end. Telephone numbers are for those who write the rules.
func FuzzAPI(f *testing.F) {
	g := openGuarded(f, func(rules string) string { return rules })
	routes := g.routes(f)
	methods := []string{"", "GET", "POST", "PUT", "DELETE", "PATCH", "HEAD", "OPTIONS"}
	kinds := []string{"application/json", "application/x-www-form-urlencoded", "text/plain", ""}
	for i := range routes {
		f.Add(uint8(i), uint8(0), uint8(i), "tank-1", "ph", "", uint8(0), "{}")
	}
	for body, path := range map[string]string{`{"do":"acknowledge","alarm":"over-fermented@tank-1","occurrence":1}`: "/api/acts", `{"do":"drill","person":"ana"}`: "/api/acts",
		`{"do":"shelve","alarm":"over-fermented@tank-1","for":"2 h","why":"x"}`: "/api/acts", `{"do":"note","station":"tank-1","why":"<b>"}`: "/api/acts",
		`{"do":"load","lot":"150","station":"tank-2","kg":3}`: "/api/lots", `{"away":"ana","stands":"ben","from":"2026-06-11 18:00","to":"2026-06-12 06:00"}`: "/api/swaps",
		`{"block":"probe x\n part ds18b20 28-0316a2795c21\n gives temperature at tank-1\n every 5 s\n"}`: "/api/probes/check", `{"name":"fern-hollow.rules","text":"site x\n"}`: "/api/rules/check",
		`{"name":"fern-hollow.rules","was":"","text":"site x\n"}`: "/api/rules", `{"probe":"none","points":[{"reference":7,"read":1}]}`: "/api/calibration",
		`{"endpoint":"https://push.example/1","p256dh":"AA","auth":"AA"}`: "/api/push", `{"credential":{"id":"AA","response":{}}}`: "/login/passkey"} {
		at := slices.IndexFunc(routes, func(a asking) bool { return a.path == path && a.method == "POST" })
		f.Add(uint8(at), uint8(0), uint8(1), "", "", "", uint8(0), body)
		f.Add(uint8(at), uint8(0), uint8(2), "", "", "", uint8(0), body)
	}
	for path, query := range map[string]string{"/api/readings": "point=tank-1/ph&from=2026-06-10T18:00:00Z&columns=600", "/api/logbook": "text=x&from=0&place=tank-1&kind=act&lot=1", "/api/rates": "days=30",
		"/api/way": "from=0&to=99999999999999", "/api/live": "begin=changes", "/api/calibration": "probe=tank-1-electrode&channel=ph", "/api/season": "from=2026&to=2027", "/login": "to=//evil.example"} {
		at := slices.IndexFunc(routes, func(a asking) bool { return a.path == path && a.method == "GET" })
		f.Add(uint8(at), uint8(0), uint8(1), "", "", query, uint8(0), "")
	}
	for path, body := range map[string]string{"/login": "name=ben&password=guess&to=/", "/code": "name=ben&code=AAAA&password=a+fine+password", "/people": "do=code&name=ana", "/password": "old=x&password=y", "/book": "act=intake&lot=150&kg=1&by=ben"} {
		at := slices.IndexFunc(routes, func(a asking) bool { return a.path == path && a.method == "POST" })
		f.Add(uint8(at), uint8(0), uint8(1), "", "", "", uint8(1), body)
	}
	f.Fuzz(func(t *testing.T, route, method, who uint8, one, two, query string, kind uint8, body string) {
		a := routes[int(route)%len(routes)]
		if m := methods[int(method)%len(methods)]; m != "" {
			a.method = m
		}
		a.path = strings.NewReplacer("{station}", escaped(one), "{point}", escaped(two), "{token}", escaped(one), "{lot}", escaped(one), "{one}", escaped(one), "{two}", escaped(two)).Replace(a.path)
		a.query, a.who, a.kind, a.body = (&url.URL{Path: query}).EscapedPath(), guardedPeople[int(who)%len(guardedPeople)], kinds[int(kind)%len(kinds)], body
		a.query = strings.NewReplacer("%3D", "=", "%26", "&", "%25", "%").Replace(a.query)
		if a.who != "" {
			if _, stands := g.book.Session(g.tokens[a.who]); !stands { // ended by what was asked before
				g.enter(t, a.who)
			}
		}
		got, err := g.ask(&a)
		if err != nil {
			t.Fatalf("%+v: %v; the log says %s", a, err, g.log.Take())
		}
		if got.status >= 500 {
			t.Errorf("%+v: status %d: %s; the log says %s", a, got.status, got.text, g.log.Take())
		}
		logged := g.log.Take()
		if s := leaks.In(got.text+logged, g.secrets...); s != nil {
			t.Errorf("%+v: secrets %q in the answer or in the log", a, s)
		}
		if strings.Contains(got.text, guardedPhone) && a.who != "ben" && a.who != "caro" {
			t.Errorf("%+v: a telephone number is shown: %s", a, got.text)
		}
		if strings.Contains(logged, "panic") {
			t.Errorf("%+v: %s", a, logged)
		}
	})
}
