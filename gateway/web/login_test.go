package web

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"millwarden/gateway/people"
	"millwarden/internal/leaks"
)

// gated is a page with logins: ana (owner), ben (crew), caro (technician), vera (auditor) and wall (reader) have passwords, zoe is in no rules file.
type gated struct {
	*Web
	book  *people.Book
	fake  *fake
	log   *leaks.Log
	notes *leaks.Log
	dir   string
}

const (
	secretWords = "ladder and sieve "
	benSecret   = secretWords + "ben"
)

func newGated(t testing.TB, somebody bool, change ...func(*Config)) *gated {
	t.Helper()
	dir := leaks.Folder(t)
	g := &gated{fake: newFake().night(), log: &leaks.Log{}, notes: &leaks.Log{}, dir: dir}
	g.fake.change(func(s *Snapshot) { s.People = append(s.People, Person{"wall", "Wall screen", "reader"}) })
	var err error
	g.book, err = people.Open(dir, people.Options{Cost: people.Cost{Passes: 1, Memory: 64, Threads: 1}})
	must(t, err)
	t.Cleanup(func() { _ = g.book.Close() })
	if somebody {
		for _, name := range []string{"ana", "ben", "caro", "vera", "wall", "zoe"} {
			must(t, g.book.Set(context.Background(), name, secretWords+name))
		}
	}
	c := Config{Model: g.fake, Acts: g.fake, Health: g.fake, Answers: g.fake, History: g.fake, Books: g.fake, Lots: g.fake, Records: g.fake, People: g.book, Metrics: NewMetrics(prometheus.NewRegistry()),
		Log: slog.New(slog.NewTextHandler(g.log, &slog.HandlerOptions{Level: slog.LevelDebug})), Note: func(who, what string) { _, _ = io.WriteString(g.notes, who+": "+what+"\n") }, Version: "test"}
	for _, do := range change {
		do(&c)
	}
	g.Web, err = New(c)
	must(t, err)
	return g
}

// form is one as the page's own form sends it.
func form(path string, fields ...string) *http.Request {
	v := url.Values{}
	for i := 0; i < len(fields); i += 2 {
		v.Set(fields[i], fields[i+1])
	}
	r := request("POST", path, v.Encode())
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return r
}

// login logs in and gives the cookie.
func (g *gated) login(t testing.TB, name string) *http.Cookie {
	t.Helper()
	got := ask(t, g.Web, form("/login", "name", name, "password", secretWords+name))
	cookies := got.Result().Cookies()
	if got.Code != http.StatusSeeOther || len(cookies) != 1 {
		t.Fatalf("login of %s: status %d, cookies %v: %s", name, got.Code, cookies, got.Body)
	}
	return cookies[0]
}

// as sends a request with a cookie; nil: without.
func (g *gated) as(t testing.TB, c *http.Cookie, r *http.Request) *httptest.ResponseRecorder {
	t.Helper()
	if c != nil {
		r.AddCookie(&http.Cookie{Name: c.Name, Value: c.Value})
	}
	return ask(t, g.Web, r)
}

// everyRoute is what each role may ask for, written out: "-" nobody logged in, o owner, t technician, c crew, r reader, a auditor. A route that is not
// here, or is here and not served, fails.
var everyRoute = map[string]string{
	"GET /api/openapi.json":             "otcra",
	"GET /api/me":                       "otcra",
	"GET /api/live":                     "otcra",
	"GET /api/overview":                 "otcra",
	"GET /api/points":                   "otcra",
	"GET /api/points/{station}/{point}": "otcra",
	"GET /api/readings":                 "otcra",
	"GET /api/courses":                  "otcra",
	"GET /api/alarms":                   "otcra",
	"GET /api/way":                      "otca",
	"GET /api/logbook":                  "otca",
	"GET /api/closing":                  "otca",
	"GET /api/register":                 "otca",
	"GET /api/rates":                    "otca",
	"GET /api/watches":                  "otcra",
	"GET /api/swaps":                    "otcra",
	"POST /api/swaps":                   "otc",
	"GET /api/probes":                   "otca",
	"POST /api/probes":                  "ot",
	"POST /api/probes/check":            "ot",
	"POST /api/scan":                    "ot",
	"GET /api/rules":                    "ot",
	"POST /api/rules":                   "ot",
	"POST /api/rules/check":             "ot",
	"GET /api/calibration":              "otca",
	"POST /api/calibration":             "ot",
	"GET /api/lots":                     "otca",
	"POST /api/lots":                    "otc",
	"GET /api/lots/{lot}":               "otca",
	"GET /book":                         "otca",
	"POST /book":                        "otc",
	"GET /book/{lot}":                   "otca",
	"POST /book/{lot}":                  "otc",
	"GET /api/season":                   "otca",
	"GET /api/season.csv":               "otca",
	"GET /api/lots/{lot}/record":        "otca",
	"GET /api/lots/{lot}/record.csv":    "otca",
	"POST /api/acknowledge":             "otc",
	"POST /api/acts":                    "otc",
	"GET /api/push":                     "otc",
	"POST /api/push":                    "otc",
	"GET /a/{token}":                    "-otcra",
	"POST /a/{token}":                   "-otcra",
	"GET /metrics":                      "otcra",
	"GET /health":                       "-otcra",
	"GET /login":                        "-otcra",
	"POST /login":                       "-otcra",
	"GET /code":                         "-otcra",
	"POST /code":                        "-otcra",
	"GET /trust":                        "-otcra",
	"GET /site-root.crt":                "-otcra",
	"POST /logout":                      "otcra",
	"GET /password":                     "otcra",
	"POST /password":                    "otcra",
	"GET /passkeys":                     "otcra",
	"POST /passkeys":                    "otcra",
	"POST /passkeys/offer":              "otcra",
	"POST /passkeys/remove":             "otcra",
	"POST /login/passkey/ask":           "-otcra",
	"POST /login/passkey":               "-otcra",
	"GET /people":                       "o",
	"POST /people":                      "o",
}

// everyAct is the same for acts.
var everyAct = map[string]string{
	DoAcknowledge: "otc", DoReset: "otc", DoShelve: "otc", DoUnshelve: "otc", DoRemove: "ot", DoReturn: "ot", DoLoad: "otc", DoEmpty: "otc", DoCloseOut: "otc", DoNote: "otc", DoMark: "otc", DoDrill: "otc", DoEnter: "otc",
}

var roles = map[byte]string{'-': "", 'o': "ana", 't': "caro", 'c': "ben", 'r': "wall", 'a': "vera"}

// Aim: every route asks for its right at the server, and each role gets what the table above says, no more and no less.
func TestRights_routes(t *testing.T) {
	g := newGated(t, true)
	cookies := map[byte]*http.Cookie{}
	for letter, name := range roles {
		if name != "" {
			cookies[letter] = g.login(t, name)
		}
	}
	served := map[string]bool{}
	for _, r := range slices.Concat(g.table(), g.doors()) {
		route := r.method + " " + r.path
		served[route] = true
		may, known := everyRoute[route]
		if !known {
			t.Errorf("%s is served and in no table of rights", route)
			continue
		}
		for letter := range roles {
			cookie := cookies[letter]
			if cookie != nil && route == "POST /logout" { // it ends the session that it is tried with
				cookie = g.login(t, roles[letter])
			}
			got := g.try(t, cookie, r)
			allowed := got != http.StatusUnauthorized && got != http.StatusForbidden
			if want := strings.IndexByte(may, letter) >= 0; allowed != want {
				t.Errorf("%s as %q: status %d, want it allowed: %v", route, roles[letter], got, want)
			}
			if letter == '-' && !allowed && got != http.StatusUnauthorized {
				t.Errorf("%s without a login: status %d, want 401", route, got)
			}
		}
	}
	for route := range everyRoute {
		if !served[route] {
			t.Errorf("%s is in the table and not served", route)
		}
	}
}

// try asks for a route with nothing in it, and gives the status.
func (g *gated) try(t testing.TB, c *http.Cookie, rt route) int {
	t.Helper()
	path := strings.NewReplacer("{station}", "tank-1", "{point}", "ph", "{token}", "guess", "{lot}", "143").Replace(rt.path)
	body := ""
	if rt.method == http.MethodPost {
		body = "{}"
	}
	r := request(rt.method, path, body)
	ended, cancel := context.WithCancel(t.Context()) // the stream ends after its first event
	cancel()
	return g.as(t, c, r.WithContext(ended)).Code
}

// Aim: every act asks for its right, by the role of who is logged in; nobody acts in another's name; what was done is handed on with the name.
func TestRights_acts(t *testing.T) {
	g := newGated(t, true)
	bodies := map[string]string{
		DoAcknowledge: `{"do":"acknowledge","alarm":"over-fermented@tank-1","occurrence":7`, DoReset: `{"do":"reset","alarm":"x@y"`,
		DoShelve: `{"do":"shelve","alarm":"x@y","for":"2 h","why":"cleaning"`, DoUnshelve: `{"do":"unshelve","alarm":"x@y"`,
		DoRemove: `{"do":"remove","alarm":"x@y","why":"broken"`, DoReturn: `{"do":"return","alarm":"x@y"`,
		DoLoad: `{"do":"load","station":"tank-1","lot":"144"`, DoEmpty: `{"do":"empty","station":"tank-1"`,
		DoCloseOut: `{"do":"close-out","alarm":"x@y","occurrence":3,"what":"a stone"`, DoNote: `{"do":"note","station":"tank-1","why":"smells of wine"`, DoMark: `{"do":"mark","station":"tank-1","what":"stirred"`,
		DoDrill: `{"do":"drill","person":"ana"`, DoEnter: `{"do":"enter","point":"deck-1/moisture","value":"11.8 %wb"`,
	}
	for do := range actRights {
		if everyAct[do] == "" || bodies[do] == "" {
			t.Errorf("act %s is in no table of this test", do)
		}
	}
	for letter, name := range roles {
		if name == "" {
			continue
		}
		c := g.login(t, name)
		for do, body := range bodies {
			before := len(g.fake.done())
			got := g.as(t, c, request("POST", "/api/acts", body+"}"))
			acts := g.fake.done()[before:]
			allowed := strings.IndexByte(everyAct[do], letter) >= 0
			if allowed != (got.Code == http.StatusOK) || allowed != (len(acts) == 1) || !allowed && got.Code != http.StatusForbidden {
				t.Errorf("%s by %s: status %d, %d acts, want it allowed: %v", do, name, got.Code, len(acts), allowed)
			}
			if len(acts) == 1 && (acts[0].By != name || acts[0].Via != "page") {
				t.Errorf("%s by %s was handed on as by %s via %s", do, name, acts[0].By, acts[0].Via)
			}
			if got := g.as(t, c, request("POST", "/api/acts", body+`,"by":"caro"}`)); name != "caro" && got.Code != http.StatusForbidden {
				t.Errorf("%s by %s in caro's name: status %d, want 403", do, name, got.Code)
			}
		}
	}
}

// Aim: on an open page every route is served too, so that the demo shows the same program.
func TestRights_tables(t *testing.T) {
	for role, want := range map[string]bool{"owner": true, "": false, "Owner": false, "root": false} {
		if May(role, Manage) != want {
			t.Errorf("May(%q, Manage) = %v", role, !want)
		}
	}
	if May("owner", Right("other")) || May("owner", RightOf("open the gate")) || !May("", Anyone) {
		t.Error("a right or an act that is in no table is somebody's")
	}
}

// Aim: the cookie as ASVS 5.0.0 3.3 asks for it, a new session at each login, over TLS with the prefix.
func TestLogin_cookie(t *testing.T) {
	g := newGated(t, true)
	a := g.login(t, "ben")
	if !a.HttpOnly || a.SameSite != http.SameSiteLaxMode || a.Path != "/" || a.Domain != "" || a.Name != cookieName || a.Secure || a.MaxAge <= 0 {
		t.Errorf("cookie %+v", a)
	}
	again := form("/login", "name", "Ben", "password", benSecret) // by title, and with the old cookie
	got := g.as(t, a, again)
	b := got.Result().Cookies()[0]
	if b.Value == a.Value {
		t.Error("the session of before the login goes on after it")
	}
	if got := g.as(t, a, request("GET", "/api/me", "")); got.Code != http.StatusUnauthorized {
		t.Errorf("the session of before the login: status %d", got.Code)
	}
	if got := g.as(t, b, request("GET", "/api/me", "")); !strings.Contains(got.Body.String(), `"name":"ben"`) {
		t.Errorf("me = %s", got.Body)
	}
	over := form("/login", "name", "ben", "password", benSecret)
	over.TLS = tlsState()
	c := ask(t, g.Web, over).Result().Cookies()[0]
	if !c.Secure || c.Name != "__Host-millwarden" || c.Path != "/" || c.Domain != "" {
		t.Errorf("cookie over TLS %+v", c)
	}
	plain := request("GET", "/api/me", "") // over plain HTTP that name counts for nothing, nor the plain name over TLS
	if got := g.as(t, c, plain); got.Code != http.StatusUnauthorized {
		t.Errorf("the TLS cookie without TLS: status %d", got.Code)
	}
	secure := request("GET", "/api/me", "")
	secure.TLS = tlsState()
	if got := g.as(t, b, secure); got.Code != http.StatusUnauthorized {
		t.Errorf("the plain cookie over TLS: status %d", got.Code)
	}
}

// Aim: logging out, taking a login away, and a person who leaves the rules file end it at the server; a foreign token and an old one are nobody's.
func TestLogin_ends(t *testing.T) {
	g := newGated(t, true)
	me := func(c *http.Cookie) int { return g.as(t, c, request("GET", "/api/overview", "")).Code }
	c := g.login(t, "ben")
	if me(c) != 200 {
		t.Fatal("not logged in")
	}
	if got := g.as(t, c, form("/logout")); got.Code != http.StatusSeeOther || got.Result().Cookies()[0].MaxAge >= 0 {
		t.Errorf("logout: %d %v", got.Code, got.Result().Cookies())
	}
	if me(c) != http.StatusUnauthorized {
		t.Error("the cookie works after logging out: replayed")
	}
	owner, c := g.login(t, "ana"), g.login(t, "ben")
	if got := g.as(t, owner, form("/people", "do", "end", "name", "ben")); got.Code != 200 || me(c) != http.StatusUnauthorized {
		t.Errorf("ended by the owner: %d, then %d", got.Code, me(c))
	}
	c = g.login(t, "ben")
	if got := g.as(t, owner, form("/people", "do", "remove", "name", "ben")); got.Code != 200 || me(c) != http.StatusUnauthorized {
		t.Errorf("taken away by the owner: %d, then %d", got.Code, me(c))
	}
	if got := g.as(t, owner, form("/people", "do", "remove", "name", "ana")); got.Code != http.StatusConflict || me(owner) != 200 {
		t.Error("the owner could lock himself out")
	}
	if got := ask(t, g.Web, form("/login", "name", "zoe", "password", secretWords+"zoe")); got.Code != http.StatusForbidden {
		t.Errorf("zoe, who is in no rules file: status %d", got.Code)
	}
	caro := g.login(t, "caro")
	g.fake.change(func(s *Snapshot) {
		s.People = slices.DeleteFunc(slices.Clone(s.People), func(p Person) bool { return p.Name == "caro" })
	})
	g.live.feedNow()
	if me(caro) != http.StatusUnauthorized {
		t.Error("caro left the rules file and still sees")
	}
	for _, token := range []string{"", "x", strings.Repeat("A", 43), owner.Value + "A", owner.Value[1:]} {
		if me(&http.Cookie{Name: cookieName, Value: token}) != http.StatusUnauthorized {
			t.Errorf("token %q lets in", token)
		}
	}
}

// Aim: the rights are those of the rules file now, not those at the login.
func TestLogin_rightsChange(t *testing.T) {
	g := newGated(t, true)
	c := g.login(t, "caro")
	act := func() int {
		return g.as(t, c, request("POST", "/api/acts", `{"do":"load","station":"tank-1","lot":"144"}`)).Code
	}
	if act() != 200 {
		t.Fatal("the technician cannot act")
	}
	g.fake.change(func(s *Snapshot) {
		s.People = slices.Clone(s.People)
		for i := range s.People {
			if s.People[i].Name == "caro" {
				s.People[i].Rights = "auditor"
			}
		}
	})
	g.live.feedNow()
	if got := act(); got != http.StatusForbidden {
		t.Errorf("an auditor by now: status %d", got)
	}
}

// Aim: the first start. Nothing is served before; the code works for an owner alone, once; then everybody else needs a code of his own.
func TestFirstStart(t *testing.T) {
	g := newGated(t, false)
	code := g.book.FirstCode()
	if got := ask(t, g.Web, request("GET", "/", "")); got.Code != http.StatusSeeOther || got.Header().Get("Location") != "/code" {
		t.Errorf("the page: %d to %s", got.Code, got.Header().Get("Location"))
	}
	for _, path := range []string{"/api/overview", "/api/live", "/metrics", "/people"} {
		if got := ask(t, g.Web, request("GET", path, "")); got.Code != http.StatusUnauthorized || strings.Contains(got.Body.String(), "tank") {
			t.Errorf("%s before the first login: %d %s", path, got.Code, got.Body)
		}
	}
	set := func(code, name string) int {
		return ask(t, g.Web, form("/code", "code", code, "name", name, "password", secretWords+name)).Code
	}
	for _, c := range [][2]string{{"AAAA-AAAA-AAAA-AAAA", "ana"}, {code, "ben"}, {code, "nobody"}, {"", "ana"}} {
		if got := set(c[0], c[1]); got != http.StatusForbidden {
			t.Errorf("%s with code %q: status %d", c[1], c[0], got)
		}
	}
	if got := set(code, "ana"); got != http.StatusSeeOther {
		t.Fatalf("the owner with the code: status %d", got)
	}
	if got := set(code, "ana"); got != http.StatusForbidden {
		t.Errorf("the code a second time: status %d", got)
	}
	owner := g.login(t, "ana")
	page := g.as(t, owner, form("/people", "do", "code", "name", "ben")).Body.String()
	_, rest, _ := strings.Cut(page, `<p class="code">`)
	given, _, found := strings.Cut(rest, "</p>")
	if !found {
		t.Fatalf("no code on %s", page)
	}
	if strings.Contains(g.as(t, owner, request("GET", "/people", "")).Body.String(), given) {
		t.Error("the code is shown a second time")
	}
	if got := set(given, "caro"); got != http.StatusForbidden {
		t.Errorf("ben's code for caro: status %d", got)
	}
	if got := set(given, "ben"); got != http.StatusSeeOther {
		t.Errorf("ben with the code: status %d", got)
	}
	g.login(t, "ben")
	if notes := g.notes.String(); !strings.Contains(notes, "ana: gave ben a code") || !strings.Contains(notes, "ben: set a password by a code") || !strings.Contains(notes, "ana: logged in") {
		t.Errorf("notes are %q", notes)
	}
}

// Aim: beyond this machine nothing is listened on without a certificate, without logins, or before anybody can log in; and it is said what to do.
func TestRun_beyond(t *testing.T) {
	f := newFake()
	base := Config{Model: f, Acts: f, Health: f, Listen: "0.0.0.0:0"}
	for want, change := range map[string]func(*Config, *gated){
		"with a certificate alone": func(c *Config, g *gated) { c.People = g.book },
		"on this machine alone":    func(c *Config, _ *gated) { c.Open, c.Certificate = true, "x.pem" },
	} {
		c, g := base, newGated(t, true)
		change(&c, g)
		if _, err := New(c); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("New() = %v, want %q", err, want)
		}
	}
	c, g := base, newGated(t, false)
	c.People, c.Certificate = g.book, "x.pem"
	w, err := New(c)
	must(t, err)
	if err := w.Run(t.Context()); err == nil || !strings.Contains(err.Error(), "millwarden people add") {
		t.Errorf("Run() with nobody who can log in = %v", err)
	}
	if _, err := New(Config{Model: f, Acts: f, Health: f}); err == nil {
		t.Error("New() without logins and without saying so succeeded")
	}
	for listen, want := range map[string]bool{"127.0.0.1:1": true, "localhost:1": true, "[::1]:1": true, "127.9.9.9:1": true, "0.0.0.0:1": false, ":1": false,
		"[::]:1": false, "192.168.10.2:1": false, "localhost.evil.example:1": false, "mill:1": false, "[::ffff:127.0.0.1]:1": true} {
		if got := onlyHere(listen); got != want {
			t.Errorf("onlyHere(%q) = %v", listen, got)
		}
	}
}

// Aim: guessing at the login is slowed down, told with a time, and does not reach the links of messages or who is logged in already.
func TestLogin_guessing(t *testing.T) {
	g := newGated(t, true)
	c := g.login(t, "ben")
	status := map[int]int{}
	for range 200 {
		got := ask(t, g.Web, form("/login", "name", "ben", "password", "guess"))
		status[got.Code]++
		if got.Code == http.StatusTooManyRequests && got.Header().Get("Retry-After") == "" {
			t.Error("no Retry-After")
		}
	}
	if status[http.StatusForbidden] > 6 || status[http.StatusTooManyRequests] < 190 {
		t.Errorf("statuses of 200 guesses: %v", status)
	}
	if got := g.as(t, c, request("GET", "/api/overview", "")); got.Code != 200 {
		t.Errorf("who is logged in: status %d", got.Code)
	}
	if got := ask(t, g.Web, request("POST", "/a/tank1-ana", "")); got.Code != 200 || len(g.fake.done()) != 1 {
		t.Errorf("the link of a message: status %d, %d acts", got.Code, len(g.fake.done()))
	}
	if n := strings.Count(g.notes.String(), "refused"); n > 6 || n == 0 {
		t.Errorf("%d of 200 guesses were written into the logbook", n)
	}
	// Known and unknown names are told apart by nothing that is shown.
	a := newGated(t, true)
	known, unknown := ask(t, a.Web, form("/login", "name", "ana", "password", "guess")), ask(t, a.Web, form("/login", "name", "ann", "password", "guess"))
	if strings.Replace(known.Body.String(), `value="ana"`, "", 1) != strings.Replace(unknown.Body.String(), `value="ann"`, "", 1) || known.Code != unknown.Code {
		t.Error("the answer tells who is known")
	}
}

// Aim: a session is used from the page alone: an act with the cookie that comes from elsewhere, or that does not say from where, is refused; and so is
// a login that another page sends. The control is the page's own.
func TestLogin_crossing(t *testing.T) {
	for name, c := range map[string]struct {
		set  map[string]string
		want bool
	}{
		"the page":             {map[string]string{"Sec-Fetch-Site": "same-origin"}, true},
		"an older browser":     {map[string]string{"Origin": "http://127.0.0.1:8420"}, true},
		"says nothing":         {nil, false},
		"another site":         {map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://evil.example"}, false},
		"another port":         {map[string]string{"Sec-Fetch-Site": "same-site", "Origin": "http://127.0.0.1:9000"}, false},
		"older, another site":  {map[string]string{"Origin": "https://evil.example"}, false},
		"a frame in a sandbox": {map[string]string{"Origin": "null"}, false},
	} {
		g := newGated(t, true)
		cookie := g.login(t, "ana")
		for _, r := range []*http.Request{request("POST", "/api/acknowledge", acknowledgeBody), form("/people", "do", "remove", "name", "ben"), form("/logout")} {
			r.Header.Del("Sec-Fetch-Site")
			for k, v := range c.set {
				r.Header.Set(k, v)
			}
			got := g.as(t, cookie, r)
			if done := got.Code == 200 || got.Code == http.StatusSeeOther; done != c.want {
				t.Errorf("%s to %s: status %d, want it done: %v", name, r.URL.Path, got.Code, c.want)
			}
		}
	}
	for _, r := range newGated(t, true).doors() {
		if r.method == "GET" && (r.path == "/logout" || strings.HasPrefix(r.path, "/api/ac")) {
			t.Errorf("%s changes something by GET", r.path)
		}
	}
}

// Aim: a login leads to a page of this gateway and nowhere else.
func TestLocal(t *testing.T) {
	for to, want := range map[string]string{"/": "/", "/station/tank-1": "/station/tank-1", "": "/", "https://evil.example/": "/", "//evil.example": "/", "/\\evil.example": "/",
		"javascript:alert(1)": "/", "/x\r\nSet-Cookie: a=b": "/", "///evil.example": "/", "/%2f/evil.example": "/", "/a?b=//evil.example": "/a", "evil": "/"} {
		if got := local(to); got != want {
			t.Errorf("local(%q) = %q, want %q", to, got, want)
		}
	}
}

// Aim: names with markup in them, typed or of the rules file, are text on every page around the login.
func TestLogin_markup(t *testing.T) {
	g := newGated(t, true)
	const evil = `"><script>alert(1)</script>`
	g.fake.change(func(s *Snapshot) { s.People = append(slices.Clone(s.People), Person{"eve", evil, evil}) })
	owner := g.login(t, "ana")
	for what, got := range map[string]*httptest.ResponseRecorder{
		"login": ask(t, g.Web, form("/login", "name", evil, "password", "x", "to", evil)), "code": ask(t, g.Web, form("/code", "name", evil, "password", secretWords, "code", evil)),
		"people": g.as(t, owner, request("GET", "/people", "")), "code given": g.as(t, owner, form("/people", "do", "code", "name", "eve")),
		"to": ask(t, g.Web, request("GET", "/login?to=/"+url.QueryEscape(evil), "")),
	} {
		if strings.Contains(got.Body.String(), "<script") {
			t.Errorf("%s: %s", what, got.Body)
		}
	}
}

// Aim: no secret is in a log, in the logbook, or on a page, whatever is done with it: passwords right and wrong, codes, sessions.
func TestLogin_secrets(t *testing.T) {
	g := newGated(t, true)
	owner := g.login(t, "ana")
	var pages strings.Builder
	keep := func(r *httptest.ResponseRecorder) *httptest.ResponseRecorder {
		pages.WriteString(r.Body.String() + r.Header().Get("Location"))
		return r
	}
	keep(ask(t, g.Web, form("/login", "name", "ben", "password", "a wrong secret")))
	keep(ask(t, g.Web, form("/login", "name", "a wrong secret", "password", "a wrong secret"))) // typed into the wrong field
	keep(ask(t, g.Web, form("/code", "name", "ben", "password", "a wrong secret", "code", "WRON-GCOD-E222-2222")))
	keep(g.as(t, owner, form("/password", "old", "a wrong secret", "password", "another fine secret")))
	keep(g.as(t, owner, form("/password", "old", secretWords+"ana", "password", "another fine secret")))
	again := ask(t, g.Web, form("/login", "name", "ana", "password", "another fine secret")).Result().Cookies()[0]
	code, _, err := g.book.GiveCode("ben")
	must(t, err)
	for _, path := range []string{"/", "/people", "/password", "/api/me", "/api/overview", "/metrics", "/health", "/login", "/code"} {
		keep(g.as(t, again, request("GET", path, "")))
	}
	must(t, g.book.Close()) // everything fails from here, with whatever words
	keep(ask(t, g.Web, form("/login", "name", "ben", "password", benSecret)))
	keep(ask(t, g.Web, form("/code", "name", "ben", "password", benSecret, "code", code)))
	if keep(g.as(t, again, request("GET", "/api/overview", ""))).Code != http.StatusUnauthorized {
		t.Error("a file that cannot be read lets in")
	}
	texts := map[string]string{"log": g.log.String(), "logbook": g.notes.String(), "a page": pages.String()}
	for where, text := range texts {
		if found := leaks.In(text, "another fine secret", secretWords, code, owner.Value, again.Value); found != nil {
			t.Errorf("%s holds secrets: %q", where, found)
		}
	}
	if strings.Contains(texts["log"]+texts["logbook"], "a wrong secret") {
		t.Error("what was typed wrong is written down")
	}
	if !strings.Contains(texts["log"], "login not possible") || !strings.Contains(texts["logbook"], "refused") {
		t.Errorf("nothing was written: the test looks at nothing: %q", texts)
	}
}

// Aim: paths that try to leave the page's own files get nothing of the data folder, logged in or not.
func TestPage_traversal(t *testing.T) {
	g := newGated(t, true)
	owner := g.login(t, "ana")
	must(t, os.WriteFile(filepath.Join(g.dir, "secret.txt"), []byte("kept back"), 0o600))
	for _, path := range []string{"/../secret.txt", "/..%2fsecret.txt", "/%2e%2e/secret.txt", "/....//secret.txt", "/a/../../secret.txt", "/a/..%2f..%2fsecret.txt", "/api/points/..%2f../secret",
		g.dir + "/secret.txt", "/" + url.PathEscape(g.dir+"/secret.txt"), "/%00secret.txt", "/people.db", "/..\\secret.txt"} {
		for _, c := range []*http.Cookie{nil, owner} {
			r := request("GET", "/", "")
			r.URL.Path, r.URL.RawPath = "", ""
			u, err := url.Parse("http://127.0.0.1:8420" + path)
			if err != nil {
				continue
			}
			r.URL = u
			if got := g.as(t, c, r); strings.Contains(got.Body.String(), "kept back") || strings.Contains(got.Body.String(), "SQLite") {
				t.Errorf("%s: %d %s", path, got.Code, got.Body)
			}
		}
	}
}

// Aim: forms of any size and kind do no harm.
func TestLogin_oversized(t *testing.T) {
	g := newGated(t, true)
	owner := g.login(t, "ana")
	long := strings.Repeat("x", maxBody)
	all := []*http.Request{form("/login", "name", "ben", "password", long), form("/code", "name", long, "password", "y", "code", "z"),
		form("/people", "do", long), form("/password", "old", long, "password", long), form("/book", "act", "intake", "lot", long), request("POST", "/api/acts", `{"do":"`+long+`"}`),
		request("POST", "/api/rules/check", `{"name":"`+strings.Repeat("x", maxRules)+`"}`)}
	for _, r := range all {
		if got := g.as(t, owner, r); got.Code != http.StatusRequestEntityTooLarge || got.Body.Len() > 16<<10 || !strings.Contains(got.Body.String(), "too long: ") {
			t.Errorf("%s: status %d, %d bytes back", r.URL.Path, got.Code, got.Body.Len())
		}
	}
	if counted := g.as(t, owner, request("GET", "/metrics", "")).Body.String(); !strings.Contains(counted, fmt.Sprintf("millwarden_oversized_refused_total{part=\"page\"} %d\n", len(all))) {
		t.Errorf("%d were refused, counted is\n%s", len(all), counted)
	}
	for _, kind := range []string{"", "text/plain", "multipart/form-data; boundary=x", "application/json"} {
		r := form("/login", "name", "ben", "password", benSecret)
		r.Header.Set("Content-Type", kind)
		if got := ask(t, g.Web, r); got.Code != http.StatusBadRequest {
			t.Errorf("login as %q: status %d", kind, got.Code)
		}
	}
}

// Aim: the stream of who logs out ends; that of another goes on.
func TestLive_loggedOut(t *testing.T) {
	g := newGated(t, true)
	go g.live.run(t.Context())
	s := httptest.NewServer(g.Handler())
	t.Cleanup(func() { end(s) })
	stream := func(name string) (ended chan error, c *http.Cookie) {
		c = g.login(t, name)
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.URL+"/api/live", nil)
		must(t, err)
		r.AddCookie(c)
		answer, err := http.DefaultClient.Do(r) //nolint:bodyclose // below, when it has ended
		must(t, err)
		if answer.StatusCode != 200 {
			t.Fatalf("stream of %s: status %d", name, answer.StatusCode)
		}
		ended = make(chan error, 1)
		go func() {
			_, err := io.Copy(io.Discard, answer.Body)
			_ = answer.Body.Close()
			ended <- err
		}()
		return ended, c
	}
	gone, c := stream("ben")
	stays, _ := stream("ana")
	must(t, g.book.End(c.Value))
	select {
	case <-gone:
	case <-time.After((lookAgain + 60) * time.Second):
		t.Error("the stream goes on after logging out")
	}
	select {
	case err := <-stays:
		t.Errorf("the other stream ended: %v", err)
	default:
	}
}

// Aim: a command that reaches the socket acts for whom it names, with that person's rights; the socket is for the owner of the folder alone, and comes
// again after a kill.
func TestSocket(t *testing.T) {
	g := newGated(t, true)
	g.config.Socket = Socket(g.dir)
	must(t, os.MkdirAll(filepath.Dir(g.config.Socket), 0o755))
	must(t, os.WriteFile(g.config.Socket, nil, 0o600)) // as a killed gateway leaves one
	l, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	must(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- g.Serve(ctx, l) }()
	client := &http.Client{Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "unix", g.config.Socket)
	}}}
	post := func(to *http.Client, base, body string) int {
		var answer *http.Response
		for begun := time.Now(); time.Since(begun) < time.Minute; time.Sleep(20 * time.Millisecond) {
			r, err := http.NewRequestWithContext(ctx, http.MethodPost, base+"/api/acknowledge", strings.NewReader(body))
			must(t, err)
			r.Header.Set("Content-Type", "application/json")
			if answer, err = to.Do(r); err == nil {
				_ = answer.Body.Close()
				return answer.StatusCode
			}
		}
		t.Fatal("no answer")
		return 0
	}
	if got := post(client, "http://localhost", acknowledgeBody); got != 200 {
		t.Errorf("by the socket: status %d", got)
	}
	if acts := g.fake.done(); len(acts) != 1 || acts[0].By != "ana" || acts[0].Via != "command" {
		t.Errorf("acts %+v", acts)
	}
	if got := post(client, "http://localhost", strings.Replace(acknowledgeBody, "ana", "vera", 1)); got != 403 {
		t.Errorf("by the socket for the auditor: status %d", got)
	}
	if got := post(http.DefaultClient, "http://"+l.Addr().String(), acknowledgeBody); got != 401 {
		t.Errorf("by the network: status %d", got)
	}
	info, err := os.Stat(filepath.Dir(g.config.Socket))
	must(t, err)
	if info.Mode().Perm() != 0o700 {
		t.Errorf("the socket's folder has mode %04o", info.Mode().Perm())
	}
	client.CloseIdleConnections()
	cancel()
	must(t, <-ended)
}

func tlsState() *tls.ConnectionState { return &tls.ConnectionState{HandshakeComplete: true} }

// feedNow makes the next question see the Model as it is.
func (l *live) feedNow() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.step()
}
