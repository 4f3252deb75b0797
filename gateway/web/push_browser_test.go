package web

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
)

// Aim: a push message reaches the service worker of the page, handed over by the browser's own debugging interface as a push service would, and is shown;
// its button writes the answer down with the gateway, and the person reads whether it was. Looking at it does nothing.
func TestPush_browser(t *testing.T) {
	tab := browser.Open(t, index)
	f := newFake().night()
	w := registered(tab, t, served(t, f))
	notice := map[string]any{"title": "TANK 1: over-fermented", "body": "TANK 1 pH 4.05, limit 4.20.", "tag": "x", "link": "/a/tank1-ana", "answer": "I am on it",
		"done": "Written down.", "failed": "Not written down.", "urgent": true}
	w.deliver(notice, `n.title == "TANK 1: over-fermented" && n.body.includes("pH 4.05") && n.actions[0].title == "I am on it" && n.requireInteraction`)
	if acts := f.done(); len(acts) != 0 {
		t.Fatalf("showing a message did %+v", acts)
	}
	w.answer(notice, `n.body == "Written down."`)
	want := Act{Do: DoAcknowledge, Alarm: "over-fermented@tank-1", Occurrence: 7, By: "ana", Via: "link"}
	acts := f.done()
	for _, act := range acts {
		if act != want {
			t.Errorf("acts %+v, want %+v", acts, want)
		}
	}
	if len(acts) == 0 {
		t.Error("the answer was not written down")
	}
	notice["link"], notice["body"], notice["tag"] = "/a/old", "again", "y"
	w.answer(notice, `n.body == "Not written down."`)
	if now := f.done(); len(now) != len(acts) {
		t.Errorf("a link that has run out acted: %+v", now)
	}
}

// worker is the service worker of a page.
type worker struct {
	t       *testing.T
	tab     context.Context
	address string
	id      serviceworker.RegistrationID
}

// registered opens the roster and waits until the browser has taken the page's service worker.
func registered(tab context.Context, t *testing.T, address string) *worker {
	t.Helper()
	ids := make(chan serviceworker.RegistrationID, 64)
	must(t, chromedp.Listen(tab, func(event any) {
		updated, _ := event.(*serviceworker.EventWorkerRegistrationUpdated)
		for i := 0; updated != nil && i < len(updated.Registrations); i++ {
			select {
			case ids <- updated.Registrations[i].RegistrationID:
			default:
			}
		}
	}))
	_, err := chromedp.Call(tab, serviceworker.Enable, struct{}{})
	must(t, err)
	_, err = chromedp.CallBrowser(tab, cdpbrowser.SetPermission, cdpbrowser.SetPermissionParams{Permission: &cdpbrowser.PermissionDescriptor{Name: "notifications"},
		Setting: cdpbrowser.PermissionSettingGranted, Origin: address})
	must(t, err)
	must(t, chromedp.Do(tab, chromedp.Navigate(address+"/roster")))
	_, err = chromedp.Run(tab, chromedp.Evaluate[bool](`navigator.serviceWorker.register("/sw.js").then(() => navigator.serviceWorker.ready).then(() => true)`, chromedp.EvalAwaitPromise))
	must(t, err)
	select {
	case id := <-ids:
		return &worker{t, tab, address, id}
	case <-time.After(browser.Patience):
		t.Fatal("the browser has taken no service worker")
		return nil
	}
}

// deliver hands the worker what a push service would, again and again until a notice fulfils the condition: a browser that has just taken a worker loses
// what comes too soon. The tag makes the repeats one notice.
func (w *worker) deliver(notice map[string]any, condition string) {
	w.t.Helper()
	text, err := json.Marshal(notice)
	must(w.t, err)
	for until := time.Now().Add(browser.Patience); time.Now().Before(until); {
		_, err = chromedp.Call(w.tab, serviceworker.DeliverPushMessage, serviceworker.DeliverPushMessageParams{Origin: w.address, RegistrationID: w.id, Data: string(text)})
		must(w.t, err)
		seen, err := chromedp.Run(w.tab, chromedp.Evaluate[bool](`new Promise(r => setTimeout(r, 500)).then(() => navigator.serviceWorker.ready).then(r => r.getNotifications())
			.then(all => all.some(n => `+condition+`))`, chromedp.EvalAwaitPromise))
		must(w.t, err)
		if seen {
			return
		}
	}
	w.t.Fatalf("no notice with %s", condition)
}

// answer touches the button of a notice until the answer that fulfils the condition is on the screen: a browser without a screen was seen to lose all its
// notices, with a touch on its way. The notice is delivered anew each time.
func (w *worker) answer(notice map[string]any, condition string) {
	w.t.Helper()
	for until := time.Now().Add(browser.Patience); time.Now().Before(until); {
		w.deliver(notice, `n.tag == "`+notice["tag"].(string)+`"`)
		if w.press(condition) {
			return
		}
	}
	w.t.Fatalf("no answer with %s", condition)
}

// press touches the button of the notice on the screen, inside the worker: no browser without a screen has a finger for it. It stays until its answer is
// shown, ten seconds at most, since only a real touch keeps a worker awake; one that the browser has ended meanwhile is woken by the next delivery.
func (w *worker) press(condition string) (answered bool) {
	w.t.Helper()
	targets, err := chromedp.Targets(w.tab)
	must(w.t, err)
	for _, target := range targets {
		if target.Type != "service_worker" {
			continue
		}
		inside, stop := chromedp.NewContext(w.tab, chromedp.WithTargetID(target.TargetID))
		w.t.Cleanup(stop) // not before: it closes the worker
		answered, err := chromedp.Run(inside, chromedp.Evaluate[bool](`(async () => {
			const touched = (await self.registration.getNotifications()).find(n => n.actions.length > 0);
			if (!touched) return false;
			self.dispatchEvent(new NotificationEvent("notificationclick", {notification: touched, action: "answer"}));
			for (let i = 0; i < 100; i++) {
				if ((await self.registration.getNotifications()).some(n => n.tag == touched.tag + "-answer" && `+condition+`)) return true;
				await new Promise(r => setTimeout(r, 100));
			}
			return false; })()`, chromedp.EvalAwaitPromise))
		if err != nil {
			w.t.Logf("touching the button: %v", err)
		}
		return answered
	}
	w.t.Log("the service worker does not run")
	return false
}
