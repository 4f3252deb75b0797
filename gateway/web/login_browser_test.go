package web

import (
	"context"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
)

// servedGated runs the page with logins, with its live stream.
func servedGated(t *testing.T, g *gated) string {
	t.Helper()
	go g.live.run(t.Context())
	s := httptest.NewServer(g.Handler())
	t.Cleanup(func() { end(s) })
	return s.URL
}

// fill types into the fields of the form on the page and sends it.
func fill(tab context.Context, t *testing.T, fields map[string]string) {
	t.Helper()
	for id, text := range fields {
		browser.Type(tab, t, "#"+id, text)
	}
	browser.Press(tab, t, "form > button:last-child")
}

// Aim: the first start, as a person lives through it: the page leads to the code, the owner sets a password and sees the mill, gives the crew a code, acts,
// logs out, and the page leads to the login. Every page on the way is free of findings of axe-core and of sideways scrolling.
func TestLogin_browser(t *testing.T) {
	tab := browser.Open(t, index)
	g := newGated(t, false, func(c *Config) { c.Names = []string{"mill.example"} })
	code, address := g.book.FirstCode(), servedGated(t, g)
	goTo := func(path string) {
		t.Helper()
		_, err := chromedp.Run(tab, chromedp.Navigate(address+path))
		must(t, err)
	}
	check := func(name string) {
		t.Helper()
		browser.See(tab, t, noSideways)
		checkAxe(tab, t)
		shoot(tab, t, name)
	}
	must(t, light(tab, "light"))
	goTo("/")
	browser.See(tab, t, `location.pathname == "/code" && !!document.querySelector("#code")`)
	check("first-start")
	fill(tab, t, map[string]string{"code": strings.ToLower(code), "name": "Ana", "password": secretWords + "ana"})
	browser.See(tab, t, `location.pathname == "/" && document.body.innerText.includes("You are Ana")`)
	if seen, err := chromedp.Run(tab, chromedp.Evaluate[string]("document.cookie")); err != nil || seen != "" {
		t.Errorf("a script sees the cookie %q (%v)", seen, err)
	}
	browser.See(tab, t, `[...document.querySelectorAll("button.main")].some(b => b.innerText.includes("I am on it"))`)
	browser.Press(tab, t, "button.main")
	browser.See(tab, t, `document.body.innerText.includes("Ana is on it")`)
	if acts := g.fake.done(); len(acts) != 1 || acts[0].By != "ana" || acts[0].Via != "page" {
		t.Errorf("acts %+v", acts)
	}
	goTo("/people")
	browser.Press(tab, t, "section:nth-of-type(2) button")
	browser.See(tab, t, `!!document.querySelector("p.code")`)
	check("people")
	goTo("/password")
	check("password")
	goTo("/passkeys")
	browser.See(tab, t, `document.querySelector("#passkey").hidden === false`)
	check("passkeys")
	goTo("/")
	browser.See(tab, t, `localStorage.getItem("last") !== null`)
	browser.Press(tab, t, "//button[text()='Log out']")
	browser.See(tab, t, `location.pathname == "/login"`)
	browser.See(tab, t, `localStorage.getItem("last") === null`) // what the mill looked like stays on no shared phone
	check("login")
	goTo("/station/tank-1")
	browser.See(tab, t, `location.pathname == "/login"`)
	fill(tab, t, map[string]string{"name": "ana", "password": "wrong"})
	browser.See(tab, t, `!!document.querySelector("[role=alert]")`)
	fill(tab, t, map[string]string{"password": secretWords + "ana"})
	browser.See(tab, t, `location.pathname == "/station/tank-1" && document.body.innerText.includes("You are Ana")`)
	must(t, g.book.EndAll("ana")) // the stream ends, and the page leads to the login by itself
	browser.See(tab, t, `location.pathname == "/login"`)
}
