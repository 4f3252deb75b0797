package web

import (
	"context"
	"testing"

	"github.com/chromedp/chromedp"

	"millwarden/gateway/logbook/lots"
	"millwarden/internal/browser"
	"millwarden/internal/reading"
)

// evil is text as an attacker would give it: an element that is seen if it is ever made of the text, and scripts in the forms that run in browsers.
const evil = `"'><xss-mark></xss-mark><img src=x onerror="window.hit=1"><script>window.hit=1</script><svg onload="window.hit=1"></svg>javascript:window.hit=1`

// poisoned is the night with that text wherever people, rules files or probes that send SenML bring their own.
func poisoned() *fake {
	f := newFake().night()
	f.change(func(s *Snapshot) {
		s.Site.Title, s.Roster.OnWatch, s.Drill.By = evil, []string{evil}, evil
		s.Areas[0].Title, s.People[1].Title = evil, evil
		for i := range s.Stations {
			s.Stations[i].Title = evil
		}
		s.Stations[1].Lot = evil
		for i := range s.Points {
			p := &s.Points[i]
			p.Title = evil
			if i%2 == 0 { // the cause tells what a frame held
				p.Reading.Quality, p.Reading.Cause = reading.Bad, `no record "`+evil+`"`
			}
		}
		for i := range s.Alarms {
			a := &s.Alarms[i]
			a.Title, a.PlaceTitle, a.Because, a.Cause, a.Consequence, a.Action, a.HiddenWhy, a.HiddenBy = evil, evil, evil, evil, evil, evil, evil, evil
		}
		for i := range s.Prompts {
			p := &s.Prompts[i]
			p.Title, p.Say, p.Detail, p.PlaceTitle = evil, evil, evil, evil
		}
		for i := range s.Links {
			s.Links[i].Title, s.Links[i].Works, s.Links[i].Cause = evil, false, evil
		}
	})
	if _, err := f.enter(Entering{By: "ana", Step: lots.Step{Do: lots.Weigh, Lot: "143-b", Kg: 2, Note: evil}}); err != nil {
		panic(err)
	}
	return f
}

// Aim: names of stations, lots and people, notes, causes and what probes send are text on every page, with scripts and without; the browser makes no
// element of it and runs nothing. The control puts the same text in as markup, and is seen.
func TestPage_markup(t *testing.T) {
	tab, url := browser.Open(t, index), served(t, poisoned())
	marked := `document.querySelector("xss-mark, main script, main img, svg[onload]") !== null || window.hit === 1`
	for path, ready := range map[string]string{"/": ".alarm", "/station/tank-1": "main", "/alarms": ".row", "/lots": "main", "/lot/143-b": "main", "/logbook": ".entry", "/register": "main",
		"/rates": "main", "/roster": "main", "/probes": "main", "/more": ".row", "/links": "main .board", "/point/tank-2/ph": "main", "/book": "form", "/book/143-b": "form", "/a/tank1-ana": "form"} {
		must(t, chromedp.Do(tab, chromedp.Navigate(url+path)))
		browser.See(tab, t, `document.querySelector("`+ready+`") && document.body.innerText.length > 50`)
		if askBrowser(tab, t, marked) {
			t.Errorf("%s makes an element of text", path)
		}
		if path == "/" || path == "/book/143-b" { // the text is there, as text
			browser.See(tab, t, `document.body.innerText.toLowerCase().includes("<xss-mark>")`)
		}
	}
	_, err := chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](`document.body.insertAdjacentHTML("beforeend", `+"`"+`<xss-mark></xss-mark>`+"`"+`);0`))
	must(t, err)
	if !askBrowser(tab, t, marked) {
		t.Error("the control is not seen")
	}
}

func askBrowser(tab context.Context, t *testing.T, script string) bool {
	t.Helper()
	yes, err := chromedp.Run(tab, chromedp.Evaluate[bool](script))
	must(t, err)
	return yes
}
