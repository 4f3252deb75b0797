package web

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
)

// Aim: a telephone subscribes to push messages, is tried, and unsubscribes, each by a touch; the page says each time how it stands. The browser's own push
// manager asks a service outside, so a double stands in its place; what reaches the gateway is real.
func TestPage_telephone(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	address := served(t, f)
	_, err := chromedp.Call(tab, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `localStorage.setItem("who", "ben");
		Notification.requestPermission = async () => "granted";
		const given = {endpoint: "https://push.example.net/p", getKey: () => new ArrayBuffer(16), unsubscribe: async () => true};
		PushManager.prototype.getSubscription = async () => null;
		PushManager.prototype.subscribe = async (o) => { if (!o.userVisibleOnly || new Uint8Array(o.applicationServerKey)[0] != 4) throw new Error("no key"); return given; };`})
	must(t, err)
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(360, 800), chromedp.Navigate(address+"/roster")))
	browser.See(tab, t, `document.body.innerText.includes("A message to a device needs the internet and may be late or stay away")`)
	browser.Press(tab, t, "//button[text()='Call me on this device too']")
	browser.See(tab, t, `document.body.innerText.includes("This device takes push messages.")`)
	checkAxe(tab, t)
	browser.Press(tab, t, "//button[starts-with(text(), 'Try it')]")
	browser.See(tab, t, `document.body.innerText.includes("EXERCISE: you are being called by all your channels.")`)
	checkAxe(tab, t)
	browser.Press(tab, t, "//button[text()='Call me here no more']")
	browser.See(tab, t, `[...document.querySelectorAll("button")].some((b) => b.innerText == "Call me on this device too")`)
	browser.See(tab, t, noSideways)
	checkAxe(tab, t)
	f.mu.Lock()
	defer f.mu.Unlock()
	want := []string{"ben https://push.example.net/p forget false", "ben https://push.example.net/p forget true"}
	if !slices.Equal(f.telephones, want) || len(f.acts) != 1 || f.acts[0].Do != DoDrill || f.acts[0].Person != "ben" {
		t.Errorf("telephones %q, acts %+v", f.telephones, f.acts)
	}
}

// Aim: that nobody has answered, and for how long, stands on the overview, on the page of the alarms and on the screen on the wall.
func TestPage_unanswered(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	address := served(t, f)
	for _, c := range []struct {
		path  string
		width int64
	}{{"/", 360}, {"/alarms", 360}, {"/station/tank-1", 390}, {"/", 1920}} {
		must(t, chromedp.Do(tab, chromedp.EmulateViewport(c.width, 900), chromedp.Navigate(address+c.path)))
		if c.width == 1920 {
			browser.Press(tab, t, "//button[contains(text(), 'Size')]")
			browser.See(tab, t, `document.documentElement.classList.contains("wall") || !!document.querySelector(".wall")`)
		}
		browser.See(tab, t, `/Nobody has answered for (8|9|\d\d) min/.test(document.body.innerText)`)
	}
}

// Aim: afterwards somebody says with his thumb what it was and what was done, at the smallest width.
func TestPage_closeOut(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(360, 800), chromedp.Navigate(served(t, f)+"/")))
	browser.Press(tab, t, "//summary[text()='Afterwards: what was it? · 1']")
	field := func(label string) string { return fmt.Sprintf("//label[contains(text(), %q)]/input", label) }
	browser.Type(tab, t, field("What it was"), "chaff")
	browser.Type(tab, t, field("What was done"), "cleaned")
	browser.Press(tab, t, "//form//button[text()='Write it down']")
	browser.Press(tab, t, "//fieldset//button[text()='Ben']")
	for end := time.Now().Add(browser.Patience); len(f.done()) == 0 && time.Now().Before(end); {
		time.Sleep(50 * time.Millisecond) // the act is on its way: "Afterwards" stands on the page before it too
	}
	browser.See(tab, t, `document.body.innerText.includes("Afterwards")`)
	want := Act{Do: DoCloseOut, Alarm: "fan-stopped@dryer-1", Occurrence: 4, What: "chaff", Why: "cleaned", By: "ben", Via: "page"}
	if acts := f.done(); len(acts) != 1 || acts[0] != want {
		t.Errorf("acts %+v, want %+v", acts, want)
	}
}
