package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const index = "dist/index.html"

// served runs the page over the fake, with its live stream.
func served(t testing.TB, f *fake) string {
	t.Helper()
	w := newWeb(t, f)
	go w.live.run(t.Context())
	s := httptest.NewServer(w.Handler())
	t.Cleanup(func() { end(s) })
	return s.URL
}

// end ends a server whose browser is still open: no stream begins any more, and none keeps the server waiting.
func end(s *httptest.Server) {
	_ = s.Listener.Close()
	s.CloseClientConnections()
	s.Close()
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// light sets day or night, as the device would.
func light(tab context.Context, scheme string) error {
	_, err := chromedp.Call(tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
	return err
}

// shoot keeps a picture of the whole page; MILLWARDEN_PICTURES names a folder to look at them after the test.
func shoot(tab context.Context, t *testing.T, name string) {
	t.Helper()
	picture, err := chromedp.Run(tab, chromedp.FullScreenshot(100))
	must(t, err)
	folder := os.Getenv("MILLWARDEN_PICTURES")
	if folder == "" {
		folder = t.TempDir()
	}
	must(t, os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o600))
}

// checkAxe runs axe-core, rules of WCAG 2.2 A and AA, and reports every finding.
func checkAxe(tab context.Context, t *testing.T) {
	t.Helper()
	source, err := os.ReadFile("ui/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Fatalf("axe-core is installed with the page's own packages: %v", err)
	}
	_, err = chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](string(source)+";0"))
	must(t, err)
	text, err := chromedp.Run(tab, chromedp.Evaluate[string](`axe.run(document, {runOnly: {type: "tag", values:
		["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}}).then(r => JSON.stringify(r.violations.map(v =>
		v.id + ": " + v.help + ": " + v.nodes.map(n => n.html + " " + n.failureSummary).join(" | "))))`, chromedp.EvalAwaitPromise))
	must(t, err)
	var found []string
	must(t, json.Unmarshal([]byte(text), &found))
	for _, f := range found {
		t.Errorf("axe-core: %s", f)
	}
}

const noSideways = "document.documentElement.scrollWidth <= document.documentElement.clientWidth"

// Aim: every page, by day and by night, from a small phone to a desk, is drawn without sideways scrolling and without a finding of axe-core.
func TestPage_drawn(t *testing.T) {
	tab := browser.Open(t, index)
	quiet, night := served(t, newFake()), served(t, newFake().night())
	safety := newFake().night()
	safety.change(func(s *Snapshot) { s.Alarms = append(s.Alarms, returned(), fire()) })
	burning := served(t, safety)
	bare := newFake() // a mill of which nothing is known yet
	bare.change(func(s *Snapshot) {
		s.Stations, s.Points, s.Prompts, s.Links, s.People, s.Roster, s.Drill = nil, nil, nil, nil, nil, Roster{}, Drill{}
	})
	empty := served(t, bare)
	for _, c := range []struct {
		name, url, scheme string
		width             int64
		ready             string
	}{
		{"quiet-390", quiet + "/", "light", 390, `document.querySelectorAll(".way .line").length == 10`},
		{"quiet-1440", quiet + "/", "light", 1440, `document.querySelectorAll(".course .trace").length > 5`},
		{"alarm-390", night + "/", "dark", 390, `document.querySelector(".alarm button.main")`},
		{"alarm-day-320", night + "/", "light", 320, `document.querySelector(".alarm button.main")`},
		{"alarm-1440", night + "/", "dark", 1440, `document.querySelectorAll(".course .trace").length > 5`},
		{"safety-390", burning + "/", "light", 390, `document.querySelector(".alarm .caution")`},
		{"station-390", quiet + "/station/tank-2", "light", 390, `document.querySelector(".chart canvas")`},
		{"station-1440", night + "/station/tank-1", "dark", 1440, `document.querySelector(".chart canvas")`},
		{"alarms-390", night + "/alarms", "light", 390, `document.querySelectorAll(".row").length == 3`},
		{"lots-390", night + "/lots", "light", 390, `document.querySelectorAll(".band").length == 2 && document.querySelectorAll(".tick").length == 2`},
		{"lots-1440", quiet + "/lots", "dark", 1440, `document.querySelectorAll(".band").length >= 3`},
		{"lot-320", quiet + "/lot/139", "light", 320, `document.querySelectorAll("main tbody tr").length == 2`},
		{"logbook-320", night + "/logbook", "light", 320, `document.querySelectorAll(".entry").length == 3`},
		{"register-390", quiet + "/register", "dark", 390, `document.querySelectorAll("details.row").length == 2`},
		{"who-360", night + "/", "light", 360, `document.querySelector(".alarm fieldset") || (document.querySelector(".alarm button.main")?.click(), false)`},
		{"shelve-360", night + "/alarms", "dark", 360, `document.querySelector("form.act") || ([...document.querySelectorAll("button")].find((b) => b.innerText.startsWith("Shelve, "))?.click(), false)`},
		{"load-360", quiet + "/station/roaster-1", "light", 360, `document.querySelector("form.act") || ([...document.querySelectorAll("button")].find((b) => b.innerText === "Load a lot")?.click(), false)`},
		{"empty-360", empty + "/", "dark", 360, `document.querySelector(".quiet")`},
		{"empty-lots-1440", empty + "/lots", "light", 1440, `document.querySelector(".timetable")`},
		{"empty-alarms-360", empty + "/alarms", "light", 360, `document.querySelectorAll("h2").length > 3`},
		{"empty-links-360", empty + "/links", "dark", 360, `document.querySelector("h1")`},
		{"season-360", quiet + "/season", "dark", 360, `document.querySelectorAll(".season tbody tr").length == 2`},
		{"season-1440", quiet + "/season", "light", 1440, `document.querySelectorAll(".season tbody tr").length == 2`},
		{"rates-320", quiet + "/rates", "light", 320, `document.querySelectorAll("main tbody tr").length >= 3`},
		{"roster-390", quiet + "/roster", "dark", 390, `document.querySelectorAll(".steps .prompt").length >= 2`},
		{"roster-swap-360", quiet + "/roster", "light", 360, `document.querySelector(".swaps form") || (document.querySelector(".swaps section > p button, .swaps > p button")?.click(), false)`},
		{"closing-360", quiet + "/", "light", 360, `document.querySelector(".closings")?.open || (document.querySelector(".closings summary")?.click(), false)`},
		{"probes-390", quiet + "/probes", "light", 390, `document.querySelectorAll(".probe").length == 2`},
		{"rules-390", quiet + "/rules", "light", 390, `document.querySelectorAll(".said li").length == 1`},
		{"rules-1440", quiet + "/rules", "dark", 1440, `document.querySelectorAll("mark.error").length == 1`},
		{"more-320", quiet + "/more", "light", 320, `document.querySelectorAll(".row.page").length > 9`},
		{"point-390", quiet + "/point/tank-2/ph", "light", 390, `document.querySelector(".chart canvas")`},
		{"links-390", quiet + "/links", "light", 390, `document.querySelector("main .board")`},
		{"cautions-1440", quiet + "/cautions", "light", 1440, `document.querySelectorAll(".caution").length > 4`},
	} {
		t.Run(c.name, func(t *testing.T) {
			must(t, light(tab, c.scheme))
			must(t, chromedp.Do(tab, chromedp.EmulateViewport(c.width, 900), chromedp.Navigate(c.url)))
			browser.See(tab, t, "!!("+c.ready+")")
			shoot(tab, t, c.name)
			if fits, err := chromedp.Run(tab, chromedp.Evaluate[bool](noSideways)); err != nil || !fits {
				t.Errorf("%d px wide it scrolls sideways (%v)", c.width, err)
			}
			checkAxe(tab, t)
			// Text spacing as WCAG 2.2 1.4.12 lets people set it must lose nothing.
			_, err := chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](`document.styleSheets[0].insertRule("* { line-height: 1.5 !important;" +
				"letter-spacing: 0.12em !important; word-spacing: 0.16em !important }", document.styleSheets[0].cssRules.length);0`))
			must(t, err)
			if fits, err := chromedp.Run(tab, chromedp.Evaluate[bool](noSideways)); err != nil || !fits {
				t.Errorf("%d px wide with wide text spacing it scrolls sideways (%v)", c.width, err)
			}
		})
	}
}

// Aim: the drawing of the lots is never empty: what stands now is drawn before the record has answered, and what was drawn stays when the page is left and
// opened again, or another stretch is asked for.
func TestPage_lotsAtOnce(t *testing.T) {
	tab := browser.Open(t, index)
	_, err := chromedp.Call(tab, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `window.fewest = 99;
		new MutationObserver(() => { if (document.querySelector(".timetable .track")) window.fewest = Math.min(window.fewest, document.querySelectorAll(".band").length); })
			.observe(document, {childList: true, subtree: true});`})
	must(t, err)
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(1440, 900), chromedp.Navigate(served(t, newFake())+"/lots")))
	const ended = `document.querySelectorAll(".band").length >= 3 && [...document.querySelectorAll(".band")].some((b) => b.getAttribute("aria-label").includes(" to "))`
	browser.See(tab, t, ended)
	for _, press := range []string{"//a[normalize-space()='Roster']", "//nav//a[normalize-space()='The way of the lots']", "//button[normalize-space()='21 days']"} {
		browser.Press(tab, t, press)
	}
	browser.See(tab, t, ended+` && document.querySelector(".timetable .track")`)
	browser.See(tab, t, `window.fewest >= 3 && window.fewest < 99`)
}

// Aim: a station answers first: with the forecast, or with why it cannot say yet; while an alarm of high priority says what to do, only that is said.
func TestPage_answersFirst(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	end := Point{Name: "tank-1/wash-in", Station: "tank-1", Title: "wash in", Computed: true, Quantity: units.Duration,
		Reading: reading.Missing("tank-1/wash-in", units.Duration, fakeStamp(time.Second), "cannot say yet: less than an hour of pH is known")}
	f.change(func(s *Snapshot) { s.Points = append(s.Points, end) })
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/station/tank-1")))
	const answer = `document.querySelector(".answer")?.innerText`
	for _, c := range [][3]string{ // what cannot be computed is a sentence below the others, not a line among them
		{"es", "Pronóstico: aún no se puede decir, se conoce menos de una hora de pH.", "Lavar en: aún no se puede decir: "}, {"en", "Forecast: cannot say yet, less than an hour of pH is known.", "Wash in: cannot say yet: "},
	} {
		_, err := chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`localStorage.setItem("language", %q); location.reload()`, c[0])))
		must(t, err)
		browser.See(tab, t, fmt.Sprintf(`%s == %q && document.querySelector(".unsaid")?.innerText.startsWith(%q)`, answer, c[1], c[2]))
	}
	f.change(func(s *Snapshot) {
		p := &s.Points[len(s.Points)-1]
		p.Reading, p.Known = good(p.Name, units.Duration, 5400, time.Second), fakeStamp(time.Second)
	})
	browser.See(tab, t, answer+`.startsWith("Forecast: until ")`)
	f.change(func(s *Snapshot) { s.Alarms = []Alarm{overFermented()} })
	browser.See(tab, t, `document.querySelector(".alarm.high") && !document.querySelector(".answer")`)
}

// Aim: only the mark of an alarm that nobody has answered blinks, once a second, and not for who asked for less motion; with motion, too, axe-core finds
// nothing.
func TestPage_motion(t *testing.T) {
	tab := browser.Open(t, index)
	url := served(t, newFake().night())
	for motion, want := range map[string]string{"no-preference": "blink 1s", "reduce": "none"} {
		_, err := chromedp.Call(tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: motion}}})
		must(t, err)
		must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(url+"/")))
		browser.See(tab, t, `!!document.querySelector(".alarm .mark")`)
		const moving = `[...document.querySelectorAll("*")].filter((e) => getComputedStyle(e).animationName !== "none").map((e) => [e.getAttribute("class"), getComputedStyle(e).animationName, getComputedStyle(e).animationDuration].join(" ")).join("; ")`
		got, err := chromedp.Run(tab, chromedp.Evaluate[string](moving))
		must(t, err)
		if want == "none" && got != "" || want != "none" && got != "mark high filled blink "+want {
			t.Errorf("with motion %q these move: %q, want %s", motion, got, want)
		}
		checkAxe(tab, t)
	}
}

// Aim: the wall screen, read from 3 m, shows the same at 1.6 times, and the choice is kept on that screen.
func TestPage_wall(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	url := served(t, f)
	must(t, light(tab, "dark"))
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(1920, 1080), chromedp.Navigate(url+"/")))
	browser.Press(tab, t, "//button[contains(text(), 'Size')]")
	must(t, chromedp.Do(tab, chromedp.Navigate(url+"/")))
	browser.See(tab, t, `!!document.querySelector(".alarm h2")`)
	browser.See(tab, t, `Math.abs(parseFloat(getComputedStyle(document.querySelector(".alarm h2")).fontSize) - 24 * 1.6) < 0.01`)
	browser.See(tab, t, `document.querySelectorAll(".course .trace").length > 5`)
	browser.See(tab, t, noSideways)
	shoot(tab, t, "wall-1920")
}

// Aim: the check above can fail: a page with a known fault is reported.
func TestPage_axeFinds(t *testing.T) {
	tab := browser.Open(t, index)
	must(t, chromedp.Do(tab, chromedp.Navigate(served(t, newFake())+"/")))
	browser.See(tab, t, `!!document.querySelector(".line")`)
	_, err := chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](`document.body.append(document.createElement("img"));0`))
	must(t, err)
	source, err := os.ReadFile("ui/node_modules/axe-core/axe.min.js")
	must(t, err)
	_, err = chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](string(source)+";0"))
	must(t, err)
	found, err := chromedp.Run(tab, chromedp.Evaluate[string](`axe.run(document).then(r => r.violations.map(v => v.id).join())`, chromedp.EvalAwaitPromise))
	if err != nil || !strings.Contains(found, "image-alt") {
		t.Errorf("axe-core found %q (%v), want image-alt among it", found, err)
	}
}

// Aim: woken at night, one person says "I am on it" with three touches on a fresh phone, and the page says who is on it.
func TestPage_acknowledge(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.See(tab, t, `document.title.startsWith("(1) Tank 1: over-fermented")`)
	browser.Press(tab, t, ".alarm button.main")
	browser.Press(tab, t, "//fieldset//button[text()='Ana']")
	browser.See(tab, t, `document.body.innerText.includes("Ana is on it since 02:17")`)
	want := Act{Do: DoAcknowledge, Alarm: "over-fermented@tank-1", Occurrence: 7, By: "ana", Via: "page"}
	if got := f.done(); len(got) != 1 || got[0] != want {
		t.Errorf("acts = %+v, want one %+v", got, want)
	}
}

// Aim: what is abnormal stands before what is back to normal, and who was called often is named once.
func TestPage_order(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	burning := fire()
	burning.Calls = returned().Calls
	f.change(func(s *Snapshot) { s.Alarms = []Alarm{returned(), tooWet(), overFermented(), burning} })
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.See(tab, t, `[...document.querySelectorAll(".alarm h2 span")].map(e => e.innerText).join("; ") ==
		"Dryer 1: air runs away; Tank 1: over-fermented; Dryer 1: fan stopped with heat; Bin 3: too wet"`)
	browser.See(tab, t, `document.querySelectorAll(".alarm")[0].innerText.includes("Ana was called 4 times, last at 01:57 by mail. Ben was called 4 times, last at 02:02 by mail.")`)
	browser.See(tab, t, `document.querySelectorAll(".alarm")[2].querySelector("button").innerText == "I have seen it"`)
}

// Aim: what is wrong at one station is one walk: one card, each trouble with its caution and what to do, one button. The button answers for what stood
// when it was pressed, and not for what came while the person said who she is.
func TestPage_oneWalk(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	stopped, late := returned(), fire()
	stopped.State, stopped.Active, stopped.RespondWithin, stopped.Calls = "unacknowledged", true, 2*time.Hour, nil
	late.ID, late.Title, late.RespondWithin = "exhaust@dryer-1", "exhaust burns", time.Minute
	f.change(func(s *Snapshot) { s.Alarms = []Alarm{stopped, overFermented(), fire()} })
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.See(tab, t, `[...document.querySelectorAll(".alarm h2 span")].map(e => e.innerText).join("; ") == "Dryer 1: air runs away; Tank 1: over-fermented"`)
	browser.See(tab, t, `document.querySelector(".walks").innerText == "First dryer 1, then tank 1."`)
	const card = `document.querySelectorAll(".alarm")[0]`
	browser.See(tab, t, card+`.querySelectorAll("button").length == 1 && `+card+`.querySelector(".further h3").innerText.trim().endsWith("Fan stopped with heat")`)
	browser.See(tab, t, `["Do not open the drum.", "Fire and mains voltage.", "Cut the heat."].every((s) => `+card+`.innerText.includes(s))`)
	browser.Press(tab, t, ".alarm button.main")
	browser.See(tab, t, `!!document.querySelector("fieldset")`)
	f.change(func(s *Snapshot) { s.Alarms = append(s.Alarms, late) })
	browser.See(tab, t, card+`.querySelector("h2").innerText.endsWith("exhaust burns") && !!`+card+`.querySelector("fieldset")`)
	browser.Press(tab, t, "//fieldset//button[text()='Ana']")
	browser.See(tab, t, `!document.querySelector("fieldset")`)
	for range 600 { // the second is sent when the first is answered
		if len(f.done()) >= 2 {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	var got []string
	for _, a := range f.done() {
		got = append(got, a.Alarm)
	}
	if want := []string{"runs-away@dryer-1", "fan-stopped@dryer-1"}; !slices.Equal(got, want) {
		t.Errorf("acknowledged %v, want %v", got, want)
	}
}

// Aim: a refusal is said in words where the button was, and the button stays.
func TestPage_refusal(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	f.refusal = &Refusal{RefusedSuperseded, "That was an older occurrence; look again."}
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.Press(tab, t, ".alarm button.main")
	browser.Press(tab, t, "//fieldset//button[text()='Ben']")
	browser.See(tab, t, `document.querySelector(".alarm [role=alert]")?.innerText == "That was an older occurrence; look again."`)
	browser.See(tab, t, `document.querySelector(".alarm button.main").innerText == "I am on it"`)
}

// Aim: a page without word from the mill says so with its age, and never that nothing needs a person; when word comes again, it is plain again.
func TestPage_lost(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.See(tab, t, `document.querySelector(".quiet")?.innerText.startsWith("Nothing needs you now.")`)
	block := make(chan struct{})
	f.mu.Lock()
	f.block = block
	f.mu.Unlock()
	browser.See(tab, t, `/No word from the mill for \d+ s/.test(document.querySelector(".lost")?.innerText)`)
	browser.See(tab, t, `document.querySelector(".quiet").innerText.startsWith("Cannot say")`)
	shoot(tab, t, "lost-390")
	checkAxe(tab, t)
	f.mu.Lock()
	f.block = nil
	f.mu.Unlock()
	close(block)
	browser.See(tab, t, `document.querySelector(".lost") === null && document.querySelector(".quiet").innerText.startsWith("Nothing needs you now.")`)
}

// Aim: while held, numbers stand still and alarms still come; then it goes on.
func TestPage_hold(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.See(tab, t, `document.querySelector(".way .number")?.innerText.startsWith("5.31")`)
	browser.Press(tab, t, "//button[text()='Hold']")
	f.night()
	browser.See(tab, t, `!!document.querySelector(".alarm.high")`)
	if kept, err := chromedp.Run(tab, chromedp.Evaluate[bool](`document.querySelector(".way .number").innerText.startsWith("5.31")`)); err != nil || !kept {
		t.Errorf("the number moved while held (%v)", err)
	}
	browser.Press(tab, t, "//button[text()='Go on']")
	browser.See(tab, t, `document.querySelector(".way .number").innerText.startsWith("4.05")`)
}

// Aim: Spanish is whole: no English sentence of the page is left, and the choice is kept.
func TestPage_spanish(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	f.change(func(s *Snapshot) { s.Site.Language, s.Alarms[0].Title = "es", "over fermented" })
	must(t, light(tab, "light"))
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.See(tab, t, `document.querySelector(".alarm button.main")?.innerText == "Voy yo"`)
	browser.See(tab, t, `document.body.innerText.includes("Escurra y lave ya. Frote granos en agua limpia: áspero es listo.")`) // built in
	text, err := chromedp.Run(tab, chromedp.Evaluate[string]("document.body.innerText"))
	must(t, err)
	for _, english := range []string{"on watch", "What next", "Act by", "silent", "was called", "Hold", "monitoring", "shelved", "Here for", "over fermented"} {
		if strings.Contains(text, english) {
			t.Errorf("%q is left in the Spanish page", english)
		}
	}
	shoot(tab, t, "spanish-390")
	f.mu.Lock()
	f.refusal = &Refusal{RefusedSuperseded, "occurrence 7 is superseded by 8"}
	f.mu.Unlock()
	browser.Press(tab, t, ".alarm button.main")
	browser.Press(tab, t, "//fieldset//button[text()='Ana']")
	browser.See(tab, t, `document.querySelector(".alarm [role=alert]")?.innerText == "la aparición 7 ya fue sustituida por la 8"`)
}

// Aim: all by keyboard: from the top to the button, and it acts.
func TestPage_keyboard(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.See(tab, t, `!!document.querySelector(".alarm button.main")`)
	for range 6 {
		must(t, chromedp.Do(tab, chromedp.KeyEvent("\t")))
		on, err := chromedp.Run(tab, chromedp.Evaluate[bool](`document.activeElement.matches(".alarm button.main")`))
		must(t, err)
		if on {
			break
		}
	}
	must(t, chromedp.Do(tab, chromedp.KeyEvent("\r")))
	browser.See(tab, t, `document.activeElement.innerText == "Ana" && document.activeElement.closest("fieldset") !== null`)
	must(t, chromedp.Do(tab, chromedp.KeyEvent("\r")))
	browser.See(tab, t, `document.body.innerText.includes("Ana is on it")`)
}

// Aim: a lot is loaded with two touches and its number, and the act reaches the gateway as typed.
func TestPage_load(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	f.change(func(s *Snapshot) { s.Stations[1].Loaded, s.Stations[1].Lot = false, "" })
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/station/tank-1")))
	browser.Press(tab, t, "//button[text()='Load a lot']")
	browser.Type(tab, t, "form input", "144")
	browser.Type(tab, t, "//label[contains(., 'Weight')]/input", "380,5")
	browser.Press(tab, t, "form button.main")
	browser.Press(tab, t, "//fieldset//button[text()='Ben']")
	browser.See(tab, t, `!document.querySelector("form")`)
	want := Act{Do: DoLoad, Station: "tank-1", Lot: "144", Kilograms: 380.5, By: "ben", Via: "page"}
	if got := f.done(); len(got) != 1 || got[0] != want {
		t.Errorf("acts = %+v, want one %+v", got, want)
	}
}

// Aim: the link of a message works with scripts switched off, on a phone.
func TestAnswerLink_withoutScripts(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	_, err := chromedp.Call(tab, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	must(t, err)
	must(t, light(tab, "dark"))
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/a/tank1-ana"), chromedp.WaitVisible(chromedp.CSS("form button"))))
	shoot(tab, t, "answer-390")
	if got := f.done(); len(got) != 0 {
		t.Fatalf("looking at the link acted: %+v", got)
	}
	browser.Press(tab, t, "form button")
	must(t, chromedp.Do(tab, chromedp.WaitVisible(chromedp.CSS("[role=status]"))))
	want := Act{Do: DoAcknowledge, Alarm: "over-fermented@tank-1", Occurrence: 7, By: "ana", Via: "link"}
	if got := f.done(); len(got) != 1 || got[0] != want {
		t.Errorf("acts = %+v, want one %+v", got, want)
	}
}
