package command

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
)

// markup is text as an attacker would send it: an element that is seen if it is ever made of the text, and scripts in the forms that run in browsers.
const markup = `'><xss-mark></xss-mark><img src=x onerror='window.hit=1'><script>window.hit=1</script><svg onload='window.hit=1'></svg>`

// shortMarkup is the same where at most 40 letters may stand.
const shortMarkup = `<img src=x onerror=hit=1><xss-mark>`

// Aim: markup that a stick sends in the names, units and texts of its SenML, to the broker inside and through the whole gateway, and markup in names of the
// rules file, notes and lots, is text on every page of the running program, and is text in the lot's record: the browser makes no element of it and runs
// nothing. The control puts the same text in as markup, and is seen.
func TestPages_markup(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	g := openGuarded(t, func(rules string) string {
		rules = strings.ReplaceAll(rules, "every           60 s", "every           1 s")
		return titled(t, strings.Replace(rules, "person caro\n", "person caro\n    title           \""+shortMarkup+"\"\n", 1), "station bin-1 is bin\n", "station tank-1 is tank\n")
	})
	g.sends(t, fmt.Sprintf(`[{"n":"temperature","u":%[1]s,"v":21},{"n":"humidity","u":"%%RH","vs":%[1]s},{"n":"moisture","u":"%%","v":%[1]s}]`, inJSON(markup)),
		fmt.Sprintf(`[{"n":"temperature","u":%s,"v":21}]`, inJSON(markup)), fmt.Sprintf(`[{"n":%[1]s,"u":"Cel","v":21},{"bn":%[1]s,"n":"temperature","u":"Cel","vs":%[1]s}]`, inJSON(markup)))
	g.waitsFor(t, "bin-1/temperature", "xss-mark") // the page tells the cause in the stick's own words: the way is open
	for _, act := range []string{`{"do":"note","station":"bin-1","why":%s}`, `{"do":"empty","station":"tank-1","why":%s}`, `{"do":"load","station":"tank-1","lot":"150","why":%s}`} {
		if got, err := g.ask(&asking{method: "POST", path: "/api/acts", who: "ben", kind: "application/json", body: fmt.Sprintf(act, inJSON(markup))}); err != nil || got.status != 200 {
			t.Fatalf("%s: %+v, %v", act, got, err)
		}
	}
	v := visitor{t, browser.Open(t, index), &mill{url: "http://" + g.address}}
	v.open("/login")
	browser.Type(v.tab, t, "#name", "ben")
	browser.Type(v.tab, t, "#password", guardedPassword)
	browser.Press(v.tab, t, "form button")
	v.sees(`location.pathname === "/"`)
	marked := `document.querySelector("xss-mark, main script, main img, svg[onload]") !== null || window.hit === 1`
	for path, shows := range map[string]string{"/": "xss-mark", "/station/bin-1": "xss-mark", "/station/tank-1": "xss-mark", "/point/bin-1/temperature": "xss-mark", "/alarms": "", "/lots": "xss-mark", "/lot/150": "",
		"/logbook": "xss-mark", "/register": "xss-mark", "/roster": "", "/probes": "", "/links": "", "/book": "", "/book/150": "", "/people": "xss-mark", "/api/lots/150/record": "xss-mark"} {
		v.open(path)
		v.sees(`document.body && document.body.innerText.length > 50`)
		if shows != "" {
			v.sees(`document.body.innerText.toLowerCase().includes("<` + shows + `>")`)
		}
		hit, err := chromedp.Run(v.tab, chromedp.Evaluate[bool](marked))
		v.must(err)
		if hit {
			t.Errorf("%s makes an element of text", path)
		}
	}
	v.run("document.body.insertAdjacentHTML('beforeend', " + inJSON(markup) + ")")
	if hit, err := chromedp.Run(v.tab, chromedp.Evaluate[bool](marked)); err != nil || !hit {
		t.Errorf("the control is not seen: %v", err)
	}
}

// titled gives blocks the markup as their title.
func titled(t *testing.T, rules string, headers ...string) string {
	t.Helper()
	for _, header := range headers {
		before, after, found := strings.Cut(rules, header)
		if !found {
			t.Fatalf("the rules hold no %q", header)
		}
		block, rest, _ := strings.Cut(after, "\n\n")
		var lines []string
		for line := range strings.Lines(block) {
			if !strings.HasPrefix(strings.TrimSpace(line), "title") {
				lines = append(lines, strings.TrimRight(line, "\n"))
			}
		}
		rules = before + header + "    title           \"" + shortMarkup + "\"\n" + strings.Join(lines, "\n") + "\n\n" + rest
	}
	return rules
}

func inJSON(text string) string {
	raw, err := json.Marshal(text)
	if err != nil {
		panic(err) // a string has a JSON form
	}
	return string(raw)
}

// sends publishes frames as the stick of bin 1, by somebody else's client, one after the other until the test ends.
func (g *guarded) sends(t *testing.T, frames ...string) {
	t.Helper()
	if _, err := exec.LookPath("mosquitto_pub"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("mosquitto_pub is not installed")
		}
		t.Skip("mosquitto_pub is not installed")
	}
	host, port, _ := net.SplitHostPort(g.broker)
	ctx, stop := context.WithCancel(context.Background())
	var sending sync.WaitGroup
	t.Cleanup(func() { stop(); sending.Wait() })
	sending.Go(func() {
		for ctx.Err() == nil { // the broker may not listen yet
			pub := exec.CommandContext(ctx, "mosquitto_pub", "-h", host, "-p", port, "-u", "bin-1-stick", "-P", stickSecret, "-q", "1", "-t", "sticks/bin-1", "-l")
			in, err := pub.StdinPipe()
			if err != nil || pub.Start() != nil {
				return
			}
			for i := 0; err == nil && ctx.Err() == nil; i++ {
				_, err = fmt.Fprintln(in, frames[i%len(frames)])
				time.Sleep(150 * time.Millisecond)
			}
			_ = pub.Wait() // the end of the test, or of the connection
		}
	})
}

// waitsFor waits until what stands at a point holds the words.
func (g *guarded) waitsFor(t *testing.T, point, words string) {
	t.Helper()
	for begun := time.Now(); ; time.Sleep(100 * time.Millisecond) {
		got, err := g.ask(&asking{method: "GET", path: "/api/points/" + (&url.URL{Path: point}).EscapedPath(), who: "ben"})
		if err == nil && got.status == 200 && strings.Contains(got.text, words) {
			return
		}
		if time.Since(begun) > browser.Patience {
			t.Fatalf("%s never holds %q: %+v, %v", point, words, got, err)
		}
	}
}
