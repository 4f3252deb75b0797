package web

import (
	"context"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// servedGated runs the page with logins, with its live stream.
func servedGated(t *testing.T, g *gated) string {
	t.Helper()
	go g.live.run(t.Context())
	s := httptest.NewServer(g.Handler())
	t.Cleanup(s.Close)
	t.Cleanup(g.live.dropAll) // streams end before the server waits for them
	return s.URL
}

// fill types into the fields of the form on the page and sends it.
func fill(tab context.Context, t *testing.T, fields map[string]string) {
	t.Helper()
	for id, text := range fields {
		_, err := chromedp.Run(tab, chromedp.SendKeys("#"+id, text))
		must(t, err)
	}
	_, err := chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](`document.querySelector("form > button:last-child").click()`))
	must(t, err)
}

// arrive waits for a script to hold on whatever page the browser goes to: while it goes, there is none to ask.
func arrive(tab context.Context, t *testing.T, script string) {
	t.Helper()
	for begun := time.Now(); time.Since(begun) < 20*time.Second; time.Sleep(50 * time.Millisecond) {
		if holds, err := chromedp.Run(tab, chromedp.Evaluate[bool](script)); err == nil && holds {
			return
		}
	}
	text, _ := chromedp.Run(tab, chromedp.Evaluate[string]("location.href + document.body.innerText"))
	t.Fatalf("never came: %s\n%s", script, text)
}

// Aim: the first start, as a person lives through it: the page leads to the code, the owner sets a password and sees the mill, gives the crew a code, acts,
// logs out, and the page leads to the login. Every page on the way is free of findings of axe-core and of sideways scrolling.
func TestLogin_browser(t *testing.T) {
	tab := browser(t)
	g := newGated(t, false)
	code, address := g.book.FirstCode(), servedGated(t, g)
	goTo := func(path string) {
		t.Helper()
		_, err := chromedp.Run(tab, chromedp.Navigate(address+path))
		must(t, err)
	}
	check := func(name string) {
		t.Helper()
		see(tab, t, noSideways)
		checkAxe(tab, t)
		shoot(tab, t, name)
	}
	must(t, light(tab, "light"))
	goTo("/")
	arrive(tab, t, `location.pathname == "/code" && !!document.querySelector("#code")`)
	check("first-start")
	fill(tab, t, map[string]string{"code": strings.ToLower(code), "name": "Ana", "password": secretWords + "ana"})
	arrive(tab, t, `location.pathname == "/" && document.body.innerText.includes("You are Ana")`)
	if seen, err := chromedp.Run(tab, chromedp.Evaluate[string]("document.cookie")); err != nil || seen != "" {
		t.Errorf("a script sees the cookie %q (%v)", seen, err)
	}
	arrive(tab, t, `[...document.querySelectorAll("button.main")].some(b => b.innerText.includes("I am on it"))`)
	_, err := chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](`document.querySelector("button.main").click()`))
	must(t, err)
	arrive(tab, t, `document.body.innerText.includes("Ana is on it")`)
	if acts := g.fake.done(); len(acts) != 1 || acts[0].By != "ana" || acts[0].Via != "page" {
		t.Errorf("acts %+v", acts)
	}
	goTo("/people")
	_, err = chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("section button")[3].click()`)) // of the second person: Ana has three
	must(t, err)
	arrive(tab, t, `!!document.querySelector("p.code")`)
	check("people")
	goTo("/password")
	check("password")
	goTo("/")
	arrive(tab, t, `[...document.querySelectorAll("button")].some(b => b.innerText == "Log out")`)
	_, err = chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](`[...document.querySelectorAll("button")].find(b => b.innerText == "Log out").click()`))
	must(t, err)
	arrive(tab, t, `location.pathname == "/login"`)
	check("login")
	goTo("/station/tank-1")
	arrive(tab, t, `location.pathname == "/login"`)
	fill(tab, t, map[string]string{"name": "ana", "password": "wrong"})
	arrive(tab, t, `!!document.querySelector("[role=alert]")`)
	fill(tab, t, map[string]string{"password": secretWords + "ana"})
	arrive(tab, t, `location.pathname == "/station/tank-1" && document.body.innerText.includes("You are Ana")`)
	must(t, g.book.EndAll("ana")) // the stream ends, and the page leads to the login by itself
	arrive(tab, t, `location.pathname == "/login"`)
}
