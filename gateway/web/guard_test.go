package web

import (
	"net/http"
	"strings"
	"testing"
)

const acknowledgeBody = `{"alarm":"over-fermented@tank-1","occurrence":7,"by":"ana"}`

// Aim: a page elsewhere whose name is made to point here (DNS rebinding) gets nothing; addresses and the known names do.
func TestGuard_hosts(t *testing.T) {
	w := newWeb(t, newFake())
	for host, want := range map[string]int{
		"127.0.0.1:8420": 200, "localhost:8420": 200, "LOCALHOST": 200, "[::1]:8420": 200, "192.168.10.2": 200, "mill.estate.example": 200,
		"mill.estate.example.": 200, "evil.example": 421, "mill.estate.example.evil.example:8420": 421, "localhost.evil.example": 421, "127.0.0.1.evil.example": 421, "": 421,
	} {
		for _, path := range []string{"/api/overview", "/", "/metrics", "/a/tank1-ana"} {
			r := request("GET", path, "")
			r.Host = host
			if got := ask(t, w, r).Code; got != want {
				t.Errorf("%s as %q: status %d, want %d", path, host, got, want)
			}
		}
	}
}

// Aim: no other page can act in the name of a person's browser. Cases from the Fetch Metadata specification and from what browsers send in
// an Origin; the control is the page itself, and a tool without a browser.
func TestGuard_crossing(t *testing.T) {
	for _, c := range []struct {
		name    string
		headers map[string]string
		want    int
	}{
		{"the page itself", map[string]string{"Sec-Fetch-Site": "same-origin", "Origin": "http://127.0.0.1:8420"}, 200},
		{"an older browser", map[string]string{"Origin": "http://127.0.0.1:8420"}, 200},
		{"a tool", nil, 200},
		{"another site", map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://evil.example"}, 403},
		{"another service of this machine", map[string]string{"Sec-Fetch-Site": "same-site", "Origin": "http://127.0.0.1:9000"}, 403},
		{"an older browser elsewhere", map[string]string{"Origin": "https://evil.example"}, 403},
		{"a sandboxed frame", map[string]string{"Origin": "null"}, 403},
	} {
		for _, path := range []string{"/api/acknowledge", "/a/tank1-ana"} {
			f := newFake().night()
			r := request("POST", path, acknowledgeBody)
			r.Header.Del("Sec-Fetch-Site")
			for k, v := range c.headers {
				r.Header.Set(k, v)
			}
			if got := ask(t, newWeb(t, f), r); got.Code != c.want || len(f.done()) != map[int]int{200: 1, 403: 0}[c.want] {
				t.Errorf("%s to %s: status %d and %d acts, want %d", c.name, path, got.Code, len(f.done()), c.want)
			}
		}
	}
}

// Aim: what a browser is told about the answer, on every route. [ASVS 5.0.0 section 3.4]
func TestGuard_headers(t *testing.T) {
	w := newWeb(t, newFake())
	for _, path := range []string{"/", "/api/overview", "/api/none", "/a/tank1-ana", "/metrics", "/health", "/answer.css"} {
		h := ask(t, w, request("GET", path, "")).Header()
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cross-Origin-Opener-Policy": "same-origin"} {
			if got := h.Get(name); got != want {
				t.Errorf("%s: %s = %q, want %q", path, name, got, want)
			}
		}
		csp := h.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "base-uri 'none'", "frame-ancestors 'none'", "script-src 'self'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("%s: policy %q lacks %q", path, csp, want)
			}
		}
		if strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy %q allows what is unsafe", path, csp)
		}
		if h.Get("Content-Type") == "" {
			t.Errorf("%s: no Content-Type", path)
		}
	}
}

// Aim: a body is one JSON object of bounded size, and nothing else reaches the acts.
func TestGuard_bodies(t *testing.T) {
	for _, c := range []struct {
		name, kind, body string
		want             int
	}{
		{"right", "application/json", acknowledgeBody, 200},
		{"right, with a charset", "application/json; charset=utf-8", acknowledgeBody, 200},
		{"a form, as any page may send it", "application/x-www-form-urlencoded", acknowledgeBody, 415},
		{"plain text, as any page may send it", "text/plain", acknowledgeBody, 415},
		{"not JSON", "application/json", "alarm=1", 400},
		{"nothing", "application/json", "", 400},
		{"two objects", "application/json", acknowledgeBody + acknowledgeBody, 400},
		{"an unknown field", "application/json", `{"alarm":"a","occurrence":1,"by":"ana","also":1}`, 400},
		{"a wrong type", "application/json", `{"alarm":"a","occurrence":"7","by":"ana"}`, 400},
		{"too long", "application/json", `{"alarm":"` + strings.Repeat("a", maxBody) + `"}`, 413},
		{"no occurrence", "application/json", `{"alarm":"over-fermented@tank-1","by":"ana"}`, 422},
		{"nobody", "application/json", `{"alarm":"over-fermented@tank-1","occurrence":7}`, 422},
		{"a stranger", "application/json", `{"alarm":"over-fermented@tank-1","occurrence":7,"by":"zoe"}`, 404},
		{"one who may only look", "application/json", `{"alarm":"over-fermented@tank-1","occurrence":7,"by":"vera"}`, 403},
	} {
		f := newFake().night()
		r := request("POST", "/api/acknowledge", c.body)
		r.Header.Set("Content-Type", c.kind)
		got := ask(t, newWeb(t, f), r)
		if acts := len(f.done()); got.Code != c.want || acts != map[bool]int{true: 1}[c.want == http.StatusOK] {
			t.Errorf("%s: status %d and %d acts, want %d; %s", c.name, got.Code, acts, c.want, got.Body)
		}
	}
}
