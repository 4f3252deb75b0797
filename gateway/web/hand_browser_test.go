package web

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// stretches are the stretches of the courses that the page has asked for, in hours, and in how many columns; the last one last.
const stretches = `performance.getEntriesByType("resource").filter((e) => e.name.includes("/api/readings")).map((e) => {
	const q = new URL(e.name).searchParams; return {to: Date.parse(q.get("to")), hours: (Date.parse(q.get("to")) - Date.parse(q.get("from"))) / 3600e3, columns: Number(q.get("columns"))} })`

// touches puts fingers on the page, moves them and lifts them.
func touches(tab context.Context, t *testing.T, from, to []*input.TouchPoint) {
	t.Helper()
	between := make([]*input.TouchPoint, len(from))
	for i := range from {
		between[i] = &input.TouchPoint{X: (from[i].X + to[i].X) / 2, Y: from[i].Y}
	}
	for _, e := range []input.DispatchTouchEventParams{{Type: "touchStart", TouchPoints: from}, {Type: "touchMove", TouchPoints: between}, {Type: "touchMove", TouchPoints: to}, {Type: "touchEnd", TouchPoints: []*input.TouchPoint{}}} {
		_, err := chromedp.Call(tab, input.DispatchTouchEvent, e)
		must(t, err)
	}
}

// Aim: what people read from an instrument is asked for in its own words: it is not called silent, the station says which probe is meant and takes the number before the chart,
// and each entry is a dot, since one an hour makes no line. Control: of a probe with a wire the same is silent, and a line.
func TestPage_readByHand(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	wired := served(t, newFake())
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(wired+"/")))
	browser.See(tab, t, `document.querySelector(".quiet")?.innerText.includes("Silent: bin 2.")`)
	const inked = `((c) => c && (c.getContext("2d").getImageData(0, 0, c.width, c.height).data.filter((v, i, all) => i % 4 === 3 && v > 200 && all[i - 3] < 60).length))(document.querySelector(".chart canvas"))`
	must(t, chromedp.Do(tab, chromedp.Navigate(wired+"/station/tank-1")))
	browser.See(tab, t, inked+" > 100")
	line, err := chromedp.Run(tab, chromedp.Evaluate[float64](inked))
	must(t, err)
	f.change(func(s *Snapshot) {
		for i := range s.Points {
			p := &s.Points[i]
			if p.ByHand = p.Name == "tank-1/ph" || p.Name == "bin-2/moisture"; p.ByHand && p.Reading.Quality == reading.Bad {
				p.Reading.Cause = "not entered"
			}
		}
		s.Prompts = append(s.Prompts, Prompt{ID: "enter-reading@bin-2-meter", Place: "bin-2-meter", PlaceTitle: "bin 2 meter", Station: "bin-2", Say: "Read it by hand and enter it.", Due: true})
	})
	url := served(t, f)
	must(t, chromedp.Do(tab, chromedp.Navigate(url+"/station/tank-1")))
	browser.See(tab, t, fmt.Sprintf("%s > 1.5 * %v", inked, line))
	const before = `((b, c) => b && c && !!(b.compareDocumentPosition(c) & Node.DOCUMENT_POSITION_FOLLOWING))([...document.querySelectorAll("button")].find((b) => b.innerText === %q), document.querySelector("section:has(h2)"))`
	browser.See(tab, t, "!"+fmt.Sprintf(before, "Enter pH")) // nothing is due there
	must(t, chromedp.Do(tab, chromedp.Navigate(url+"/station/bin-2")))
	browser.See(tab, t, `document.querySelector(".answer")?.innerText === "Now: bin 2 meter: read it by hand and enter it." && `+fmt.Sprintf(before, "Enter moisture"))
	browser.Press(tab, t, `//button[normalize-space()="Enter moisture"]`)
	browser.See(tab, t, `document.querySelector("form.act input")?.inputMode === "decimal"`)
	must(t, chromedp.Do(tab, chromedp.Navigate(url+"/probes")))
	browser.See(tab, t, `document.querySelectorAll(".probe").length === 2 && ((m) => m.includes("The one probe answers.") && !m.includes("ilent"))(document.querySelector("main").innerText)`)
	must(t, chromedp.Do(tab, chromedp.Navigate(url+"/")))
	browser.See(tab, t, `((q) => q?.innerText.includes("Due now: bin 2 meter") && !q.innerText.includes("Silent"))(document.querySelector(".quiet"))`)
}

// Aim: the large chart of a point by hand: a mouse reads it, one finger moves it, two pinch it, each time with one question for as many columns as it is wide; it is held against another night and
// a lot that stood there before, and shown as the probe gave it; what is not known and not sure stands below it in words.
func TestPage_chartByHand(t *testing.T) {
	tab, f := browser.Open(t, index), newFake().night()
	f.change(func(s *Snapshot) {
		for i := range s.Points {
			if s.Points[i].Name == "tank-2/ph" {
				s.Points[i].Corrected = Correction{Offset: 0.3, Slope: 1.02}
			}
		}
	})
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(768, 1000, chromedp.EmulateTouch), chromedp.Navigate(served(t, f)+"/point/tank-2/ph")))
	browser.See(tab, t, `document.querySelector(".chart canvas") && document.querySelector("figcaption").innerText.includes("no answer")`) // what was not known
	browser.See(tab, t, `document.querySelector("figcaption").innerText.includes("uncertain")`)
	box, err := chromedp.Run(tab, chromedp.Evaluate[[]float64](`((b) => [b.left, b.top + b.height / 2, b.width])((document.querySelector(".chart .box").scrollIntoView({block: "center"}), document.querySelector(".chart .box").getBoundingClientRect()))`))
	must(t, err)
	at := func(share float64) *input.TouchPoint { return &input.TouchPoint{X: box[0] + share*box[2], Y: box[1]} }
	last := func(holds string) {
		t.Helper()
		browser.See(tab, t, fmt.Sprintf(`((all) => { const last = all.at(-1); return last && %s })(%s)`, holds, stretches))
	}
	last(fmt.Sprintf("Math.abs(last.hours - 12) < 2 && Math.abs(last.columns - %g) < 30", box[2]))

	must(t, chromedp.Do(tab, chromedp.MouseEvent(chromedp.MouseMoved, at(0.5).X, box[1])))
	browser.See(tab, t, `/pH/.test(document.querySelector(".readout b")?.innerText)`)

	// Each is done again until it has had its effect; a time too many does what it does once more.
	until := func(holds string, from, to []*input.TouchPoint) {
		t.Helper()
		for range 5 {
			touches(tab, t, from, to)
			for range 40 {
				seen, err := chromedp.Run(tab, chromedp.Evaluate[bool](fmt.Sprintf(`!!((last) => last && %s)((%s).at(-1))`, holds, stretches)))
				must(t, err)
				if seen {
					return
				}
				time.Sleep(250 * time.Millisecond)
			}
		}
		last(holds)
	}
	until("Math.abs(last.hours - 12) < 0.1 && last.to < "+fmt.Sprint(hoursAgo(4)), []*input.TouchPoint{at(0.3)}, []*input.TouchPoint{at(0.7)}) // the past comes into view
	browser.See(tab, t, `[...document.querySelectorAll(".chart button")].some((b) => b.innerText == "now")`)
	until("[3, 0.75].some((h) => Math.abs(last.hours / h - 1) < 0.2)", []*input.TouchPoint{at(0.45), at(0.55)}, []*input.TouchPoint{at(0.3), at(0.7)}) // four times as near
	until("last.hours > 5", []*input.TouchPoint{at(0.1), at(0.9)}, []*input.TouchPoint{at(0.3), at(0.7)})
	browser.Press(tab, t, `//button[normalize-space()="now"]`)

	for _, other := range []string{"the night before", "lot 139, from its loading"} {
		browser.See(tab, t, fmt.Sprintf(`((s) => [...s.options].some((o) => o.value === %q) && (s.value = %q, s.dispatchEvent(new Event("change", {bubbles: true})), true))(document.querySelector(".against select"))`, other, other))
		browser.See(tab, t, fmt.Sprintf(`document.querySelector("figcaption").innerText.includes("Long dashes: %s.")`, other))
	}
	const drawn = `document.querySelector(".chart canvas").toDataURL()`
	browser.See(tab, t, `(window.before = `+drawn+`).length > 1000`)
	browser.Press(tab, t, `//button[normalize-space()="Without the correction"]`)
	browser.See(tab, t, `document.querySelector(".against button").ariaPressed === "true" && `+drawn+` !== window.before`)
}

// Aim: a clash is seen before it is read, and written out: a lot that will be ready while every place behind it is taken is drawn as one that waits, to the hour at which a place is free, or without
// an end where nobody knows it. With a place free nothing of it is drawn.
func TestPage_clashes(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	ends := func(station, point string, in time.Duration) {
		for name, d := range map[string]time.Duration{point: in, point + "-early": in - time.Hour, point + "-late": in + time.Hour} {
			full := station + "/" + name
			s := &f.snapshot
			s.Points = append(s.Points, Point{Name: full, Station: station, Title: name, Computed: true, Quantity: units.Duration, Reading: good(full, units.Duration, d.Seconds(), time.Second), Known: fakeStamp(time.Second)})
		}
	}
	ends("tank-2", "wash-in", 3*time.Hour)
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(1440, 900), chromedp.Navigate(served(t, f)+"/lots")))
	browser.See(tab, t, `document.querySelectorAll(".ahead").length > 2 && document.querySelectorAll("path.waits").length === 1 && /Lot 143 is ready .* nobody can say yet when deck A or dryer 1 will be free/.test(document.querySelector(".waiting").innerText)`)
	f.change(func(*Snapshot) { ends("deck-a", "drying-in", 40*time.Hour) })
	browser.See(tab, t, `document.querySelectorAll("path.waits").length === 2 && document.querySelector(".waiting").innerText.startsWith("Lot 143 waits 1 d 13 h for deck A")`) // that on the deck waits for a bin
	f.change(func(s *Snapshot) {
		for i := range s.Stations {
			if name := s.Stations[i].Name; name == "dryer-1" || name == "bin-1" {
				s.Stations[i].Loaded, s.Stations[i].Lot = false, ""
			}
		}
	})
	browser.See(tab, t, `!document.querySelector("path.waits") && !document.querySelector(".waiting") && document.querySelector(".free")`)
}

// focusable is all that is pressed or written into and can be seen.
const focusable = `[...document.querySelectorAll("a[href], button, input, select, textarea, summary")].filter((e) => !e.disabled && e.checkVisibility({visibilityProperty: true}) && e.getClientRects().length > 0)`

// Aim: all that a finger reaches a keyboard reaches too, in one round of the Tab key, and shows that it has been reached; and nothing takes a finger that a keyboard does not reach. [WCAG 2.2 2.1.1, 2.1.2, 2.4.7]
func TestPage_keyboardReaches(t *testing.T) {
	tab := browser.Open(t, index)
	url := served(t, newFake().night())
	for path, ready := range map[string]string{"/": ".alarm button.main", "/alarms": ".row", "/lots": ".band", "/logbook": ".entry", "/roster": "li.row", "/probes": ".probe", "/rules": "#rules",
		"/station/tank-2": ".chart canvas", "/point/tank-2/ph": ".chart canvas", "/links": ".board"} {
		must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(url+path)))
		browser.See(tab, t, fmt.Sprintf(`document.querySelector(%q) && %s.length > 8`, ready, focusable))
		browser.See(tab, t, `((n) => { if (window.before === n) return performance.now() - window.since > 1500; window.before = n; window.since = performance.now(); return false })(`+focusable+`.length)`) // no more comes
		for range 150 {
			must(t, chromedp.Do(tab, chromedp.KeyEvent("\t")))
			round, err := chromedp.Run(tab, chromedp.Evaluate[bool](`((e) => { if (e === document.body || e.dataset.reached) return true;
				const ring = [getComputedStyle(e), getComputedStyle(e, "::after"), getComputedStyle(e.closest(".editor") ?? e)]; // a row is ringed as a whole
				e.dataset.reached = ring.some((s) => s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2) ? "seen" : "unseen"; return false })(document.activeElement)`))
			must(t, err)
			if round {
				break
			}
		}
		left, err := chromedp.Run(tab, chromedp.Evaluate[[]string](focusable+`.filter((e) => e.dataset.reached !== "seen" && !e.matches("[type=radio]")).map((e) => (e.dataset.reached ?? "not reached") + ": " + e.outerHTML.slice(0, 100))`))
		must(t, err)
		for _, e := range left {
			t.Errorf("%s: by keyboard %s", path, e)
		}
	}
}

// Aim: who hears the page is told of a new alarm of high priority at once, once, and of nothing else that way; of what changes beside it politely. [WCAG 2.2 4.1.3]
func TestPage_heard(t *testing.T) {
	tab, f := browser.Open(t, index), newFake()
	must(t, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(served(t, f)+"/")))
	browser.See(tab, t, `document.querySelectorAll(".way .line").length === 10 && document.querySelector(".heard[role=alert]")?.innerText === "" && document.querySelector(".heard[role=status]")`)
	f.change(func(s *Snapshot) { s.Alarms = []Alarm{tooWet()} })
	browser.See(tab, t, `document.querySelector(".alarm") && document.querySelector(".heard[role=alert]").innerText === ""`) // of medium priority: it is read when its turn comes
	f.change(func(s *Snapshot) { s.Alarms = []Alarm{overFermented(), tooWet()} })
	browser.See(tab, t, `document.querySelector(".heard[role=alert]").innerText.startsWith("Tank 1: over-fermented. ")`)
	f.change(func(s *Snapshot) {
		s.Alarms[0].State = "acknowledged"
		s.Points[0].Reading = reading.Missing(s.Points[0].Name, s.Points[0].Quantity, fakeStamp(0), "no answer")
	})
	browser.See(tab, t, `document.querySelector(".heard[role=alert]").innerText === "" && document.querySelectorAll("[role=alert]").length === 1`)
	must(t, chromedp.Do(tab, chromedp.Navigate(served(t, f)+"/logbook")))
	browser.See(tab, t, `document.querySelector("[role=log] .entry")`)
}
