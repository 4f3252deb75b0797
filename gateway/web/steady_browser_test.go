package web

import (
	"errors"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
)

// Aim: alarms come, go up and leave while somebody types why one of them is to be silent: the field keeps the focus and every letter, and the list takes
// its right order once nobody is in it.
func TestPage_typingAmongAlarms(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/alarms")))
	const order = `[...document.querySelectorAll(".nowstanding h2 span")].map((e) => e.innerText).join("; ")`
	browser.See(tab, t, order+` == "Tank 1: over-fermented; Bin 3: too wet"`)
	browser.See(tab, t, `document.querySelector("form.act input") || ([...document.querySelectorAll("button")].filter((b) => b.innerText.startsWith("Shelve, "))[1]?.click(), false)`)
	const field = `document.querySelector("form.act input")`
	browser.Type(tab, t, "form.act input", "the bin is ")
	browser.See(tab, t, `document.activeElement == `+field)
	_, err := chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](`window.left = 0; `+field+`.addEventListener("blur", () => { window.left++ });0`))
	must(t, err)
	f.change(func(s *Snapshot) { // one comes above all, and of the two the first goes below the second
		s.Alarms[1].State = "unacknowledged"
		s.Alarms[0].State, s.Alarms[0].AcknowledgedBy, s.Alarms[0].AcknowledgedAt = "acknowledged", "Ana", s.Now
		s.Alarms = append(s.Alarms, fire())
	})
	browser.See(tab, t, `document.querySelectorAll(".nowstanding h2").length == 3`)
	must(t, chromedp.Do(tab, chromedp.KeyEvent("being emptied")))
	browser.See(tab, t, field+`.value == "the bin is being emptied"`)
	browser.See(tab, t, order+`.startsWith("Dryer 1: air runs away; Tank 1: over-fermented; Bin 3: too wet")`)
	browser.See(tab, t, `window.left === 0 && document.activeElement == `+field)
	_, err = chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](field+`.blur();0`))
	must(t, err)
	browser.See(tab, t, order+`.startsWith("Dryer 1: air runs away; Bin 3: too wet; Tank 1: over-fermented")`)
}

// Aim: a page whose books could not be read at once asks again by itself, says so until then, and shows them when they come.
func TestPage_asksAgain(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	fault := func(err error) {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.bookFault = err
	}
	fault(errors.New("too slow"))
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/rates")))
	browser.See(tab, t, `document.querySelector("main [role=alert]")?.innerText.includes("could not be read")`)
	fault(nil)
	begun := time.Now()
	browser.See(tab, t, `document.querySelectorAll("main tbody tr").length >= 3 && ![...document.querySelectorAll("main [role=alert]")].length`)
	t.Logf("shown %v after it could be read again", time.Since(begun).Round(time.Millisecond))
}
