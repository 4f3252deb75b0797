package command

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"millwarden/drivers/hx711/hx711test"
	"millwarden/internal/browser"
	"millwarden/internal/estate"
	"millwarden/internal/peers"
)

// The page is tried here against the running program on the invented estate, as a person meets it: nothing behind it is a double but the buses.

// mill is a running demo.
type mill struct {
	url, address, folder string
	stop                 func()
}

// startMill runs the demo until stop is called or the test ends.
func startMill(t testing.TB, address, folder string, speed int) *mill {
	t.Helper()
	return startMillWith(t, IO{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard}, address, folder, speed)
}

// startMillWith does it with a terminal.
func startMillWith(t testing.TB, terminal IO, address, folder string, speed int) *mill {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		ended <- demo(ctx, terminal, []string{"--listen", address, "--data", folder, "--speed", fmt.Sprint(speed)})
	}()
	m := &mill{url: "http://" + address, address: address, folder: folder}
	stopped := false
	m.stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the demo ended with %v", err)
		}
	}
	t.Cleanup(m.stop)
	for range 1200 { // a minute: the demo writes a season into its logbook first
		if answer, err := http.Get(m.url + "/health"); err == nil {
			_ = answer.Body.Close()
			return m
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("the demo does not answer")
	return nil
}

const index = "../web/dist/index.html"

// stickSilent is what stands on the first page some minutes after the stick in bin 2 fell silent: one alarm, whatever it measures.
const stickSilent = `/Bin 2.*: measurement lost/.test(document.body.innerText)`

// visitor is a person at a device.
type visitor struct {
	testing.TB
	tab context.Context
	at  *mill
}

func (v visitor) must(err error) {
	v.Helper()
	if err != nil {
		v.Fatal(err)
	}
}

// device is what a person holds or looks at: its width in pixels of the page, its zoom, and what its owner chose.
type device struct {
	width  int64
	zoom   float64
	scheme string // dark or light
	motion string // reduce or no-preference
}

// everyWidth are the widths that people have, one in two of them dark and one in three with motion, and a window of 1440 px at 200 % zoom, where
// MILLWARDEN_EVERY_WIDTH asks for them; else none.
func everyWidth() []device {
	if os.Getenv("MILLWARDEN_EVERY_WIDTH") == "" {
		return nil
	}
	return []device{{360, 1, "dark", "reduce"}, {390, 1, "light", "no-preference"}, {768, 1, "dark", "reduce"}, {1440, 1, "light", "reduce"},
		{1920, 1, "dark", "no-preference"}, {720, 2, "light", "reduce"}}
}

// holds makes the browser that device.
func (v visitor) holds(d device) {
	v.Helper()
	_, err := chromedp.Call(v.tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: d.scheme}, {Name: "prefers-reduced-motion", Value: d.motion}}})
	v.must(err)
	if d.zoom == 1 {
		v.must(chromedp.Do(v.tab, chromedp.EmulateViewport(d.width, 900)))
	} else {
		v.must(chromedp.Do(v.tab, chromedp.EmulateViewport(d.width, 450, chromedp.EmulateScale(d.zoom))))
	}
}

// device sets width and light, without motion.
func (v visitor) device(width int64, scheme string) {
	v.Helper()
	v.holds(device{width, 1, scheme, "reduce"})
}

// on plays a flow on each device: on all where they are asked for, else on those named.
func on(t *testing.T, named []device, flow func(v visitor, d device)) {
	if all := everyWidth(); all != nil {
		named = all
	}
	for _, d := range named {
		t.Run(fmt.Sprint(d), func(t *testing.T) {
			v := visitor{t, browser.Open(t, index), startMill(t, peers.FreeAddress(t), t.TempDir(), 60)}
			v.holds(d)
			flow(v, d)
		})
	}
}

func (v visitor) open(path string) {
	v.Helper()
	v.must(chromedp.Do(v.tab, chromedp.Navigate(v.at.url+path)))
}

// sees waits until the script is true.
func (v visitor) sees(script string) {
	v.Helper()
	browser.See(v.tab, v, script)
}

func (v visitor) reads(text string) {
	v.Helper()
	quoted, err := json.Marshal(text)
	v.must(err)
	v.sees("document.body.innerText.includes(" + string(quoted) + ")")
}

// presses a button or follows a link by its words.
func (v visitor) presses(text string) {
	v.Helper()
	browser.Press(v.tab, v, fmt.Sprintf("//button[normalize-space()=%q] | //a[normalize-space()=%q] | //summary[normalize-space()=%q]", text, text, text))
}

// types into the field with that label.
func (v visitor) types(label, text string) {
	v.Helper()
	browser.Type(v.tab, v, fmt.Sprintf("//label[contains(normalize-space(), %q)]//*[self::input or self::textarea]", label), text)
}

// chooses from the list with that label, once it is there.
func (v visitor) chooses(label, option string) {
	v.Helper()
	v.sees(fmt.Sprintf(`((s) => s && (s.value = %q, s.dispatchEvent(new Event("change", {bubbles: true})), s.value == %q))(
		[...document.querySelectorAll("label")].find((l) => l.innerText.includes(%q))?.querySelector("select"))`, option, option, label))
}

func (v visitor) run(script string) {
	v.Helper()
	_, err := chromedp.Run(v.tab, chromedp.Evaluate[chromedp.Void](script+";0"))
	v.must(err)
}

// Aim: the night of the crew from end to end, on a phone and on wider screens: see what stands, be alarmed, say "I am on it", wash, empty, load, feel by
// hand, and find it all in the record.
func TestPages_crew(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser and a night are slow")
	}
	on(t, []device{{360, 1, "dark", "reduce"}, {1440, 1, "light", "reduce"}}, crew)
}

func crew(v visitor, _ device) {
	v.open("/")
	v.sees(`document.querySelectorAll(".way .line").length == 10`)
	v.sees(stickSilent) // the stick falls silent within a quarter of an hour, and stays so: on a busy machine other alarms come and go
	browser.Press(v.tab, v, `//article[contains(., "measurement lost")]//button[normalize-space()="I am on it"]`)
	v.presses("Ana")
	v.reads("Ana is on it since")
	v.open("/station/tank-2")
	v.sees(`document.querySelector(".chart canvas")`) // it moves what stands below it
	v.presses("Hand check")
	v.presses("gritty, done")
	v.reads("Written down.")
	v.sees(`/Ana[^]*gritty/.test(document.querySelector(".here")?.innerText)`) // who was here
	v.presses("Washed, tank empty")
	v.presses("Write down: Tank 2 is empty")
	v.reads("No lot stands here.")
	v.presses("Load a lot")
	v.types("Lot", "150")
	v.types("Weight", "405.5")
	v.presses("Write down: loaded")
	v.reads("Lot 150 since")
	v.open("/lots")
	v.sees(`[...document.querySelectorAll(".band")].some((b) => b.getAttribute("aria-label").startsWith("Lot 150 on tank 2"))`)
	v.takesIn("160")
	v.open("/lot/143")
	v.reads("It stands on no station now.")
	v.presses("Enter what was done to it")
	v.sees(`location.pathname == "/book/143"`)
	v.open("/lot/143")
	v.sees(`document.querySelectorAll("main tbody tr").length == 1`)
	v.presses("Tank 2") // as it was then
	v.sees(`location.pathname == "/station/tank-2" && location.search.includes("from=") && [...document.querySelectorAll(".chart button")].some((b) => b.innerText == "now")`)
	v.open("/logbook?")
	v.types("Search", "checked by hand")
	v.presses("Search")
	v.reads("gritty")
	v.open("/logbook")
	v.types("Search", "405.5")
	v.presses("Search")
	v.sees(`document.querySelectorAll(".entry").length == 1 && document.querySelector(".entry").innerText.includes("150")`)
}

// Aim: the owner shelves an alarm with a reason and finds it on its list, reads who is called, changes the roster in the rules file, is told of a
// mistake while typing, and sees the change in force; in Spanish as well.
func TestPages_owner(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser and a night are slow")
	}
	on(t, []device{{768, 1, "light", "reduce"}}, owner)
}

func owner(v visitor, d device) {
	v.open("/")
	v.sees(stickSilent)
	v.open("/alarms")
	// The stick's alarm stays: on a busy machine others come and go, and take the form with them.
	v.sees(`[...document.querySelectorAll("form.act")].some((f) => /Bin 2: measurement lost/.test(f.closest(".more")?.parentElement.innerText)) ||
		([...document.querySelectorAll("button")].find((b) => b.innerText.startsWith("Shelve, ") && /Bin 2: measurement lost/.test(b.closest(".more")?.parentElement.innerText))?.click(), false)`)
	v.chooses("For how long", "1 h")
	v.types("Why", "the stick is being changed")
	v.run(`document.querySelector("form.act").requestSubmit()`)
	v.presses("Ben")
	v.reads("Ben: the stick is being changed")
	v.sees(`[...document.querySelectorAll("h2")].some((h) => h.innerText == "Shelved · 1")`)

	v.open("/roster")
	v.reads("called first, at once, by mail (night watch)")
	v.device(360, "light")
	v.swapsCalls()
	v.holds(d)
	v.open("/rules")
	v.sees(`document.querySelector("#rules")?.value.includes("call            ana by mail")`)
	edit := func(from, to string) {
		v.run(fmt.Sprintf(`{const a = document.querySelector("#rules"); a.focus(); a.value = a.value.replace(%q, %q); a.dispatchEvent(new Event("input", {bubbles: true}))}`, from, to))
	}
	edit("call            ana by mail", "call            anna by mail")
	v.sees(`document.querySelector("mark.error")?.innerText == "anna"`)
	v.sees(`document.querySelector(".act button.main").disabled`)
	edit("call            anna by mail", "call            ben by mail")
	v.sees(`!document.querySelector("mark.error") && !document.querySelector(".act button.main").disabled`)
	v.presses("Save and put in force")
	v.reads("Saved. The new rules are in force.")
	text, err := os.ReadFile(filepath.Join(v.at.folder, "fern-hollow.rules"))
	if err != nil || !strings.Contains(string(text), "call            ben by mail") {
		v.Errorf("the file does not hold the change (%v)", err)
	}
	v.open("/roster")
	v.sees(`[...document.querySelectorAll("li.row")].some((r) => r.innerText.startsWith("Ben") && r.innerText.includes("called first, at once"))`)
	v.presses("Español")
	v.reads("se le llama primero, de inmediato")
	v.presses("English")
	v.prints("139")
}

// takesIn enters cherry from the page of the lots.
func (v visitor) takesIn(lot string) {
	v.presses("Enter cherry, weights, hand checks, hulling, roasts")
	v.sees(`location.pathname == "/book" && document.readyState == "complete"`)
	v.presses("Cherry taken in")
	for name, text := range map[string]string{"lot": lot, "kg": "640"} {
		browser.Type(v.tab, v, fmt.Sprintf(`//details[@open]//input[@name=%q]`, name), text)
	}
	for name, option := range map[string]string{"cherry": "own", "by": "ana"} {
		v.sees(fmt.Sprintf(`((s) => s && (s.value = %q, s.value == %[1]q))(document.querySelector("details[open] select[name=%s]"))`, option, name))
	}
	browser.Press(v.tab, v, `//details[@open]//button`)
	v.reads("Written down: " + lot + " taken in")
}

// prints the record of a lot, as it goes to a buyer, and sees that paper comes of it.
func (v visitor) prints(lot string) {
	v.Helper()
	v.open("/lot/" + lot)
	v.presses("The record of this lot, to print")
	v.sees(fmt.Sprintf(`location.pathname == "/api/lots/%s/record" && document.readyState == "complete" && document.querySelector("h1").innerText.includes(%q)`, lot, lot))
	paper, err := chromedp.Call(v.tab, page.PrintToPDF, page.PrintToPDFParams{})
	v.must(err)
	if !strings.HasPrefix(string(paper.Data), "%PDF-") || strings.Count(string(paper.Data), "/Type /Page\n") < 1 {
		v.Errorf("the record of lot %s prints as %d bytes, begun %.8q, want pages of PDF", lot, len(paper.Data), paper.Data)
	}
}

// swapsCalls lets Ben take Ana's calls for Christmas on a phone's width, puts the hour right, and takes it back.
func (v visitor) swapsCalls() {
	v.Helper()
	v.presses("Somebody is away")
	v.chooses("Who is away", "ana")
	v.chooses("Who takes the calls", "ben")
	v.sets("From", "2026-12-24T18:00")
	v.sets("To", "2026-12-26T06:00")
	v.types("Why", "Christmas")
	v.presses("Write down and put in force")
	v.reads("Ben takes Ana's watch from Thu 24 Dec, 18:00 to Sat 26 Dec, 06:00. Christmas.")
	v.presses("Correct")
	v.sees(`document.querySelector(".swap input[type=datetime-local]").value == "2026-12-24T18:00"`)
	v.sets("From", "2026-12-24T17:30")
	v.presses("Write down and put in force")
	v.reads("from Thu 24 Dec, 17:30 to")
	v.presses("Take back")
	v.reads("Nobody takes another's calls.")
}

// sets a field whose browser has a picker of its own, once it is there.
func (v visitor) sets(label, value string) {
	v.Helper()
	v.sees(fmt.Sprintf(`((i) => i && (i.value = %q, i.dispatchEvent(new Event("input", {bubbles: true})), i.value == %q))(
		[...document.querySelectorAll("label")].find((l) => l.innerText.startsWith(%q))?.querySelector("input"))`, value, value, label))
}

// Aim: the technician sees what the probes say, adds one by text and has it read within two minutes, reads a curve and holds it against another night.
func TestPages_technician(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser and a night are slow")
	}
	on(t, []device{{1920, 1, "light", "reduce"}}, technician)
}

func technician(v visitor, _ device) {
	v.open("/probes")
	v.sees(`document.querySelectorAll(".probe").length == 14 && document.querySelector(".probe code")`)
	v.calibrates()
	v.open("/rules")
	v.sees(`document.querySelector("#rules")?.value.includes("probe roasted-store-air")`)
	// The thermometer of the beans is moved to the roastery: its place on the deck gets one that is not there yet.
	v.run(`{const a = document.querySelector("#rules"); a.value = a.value.replace("28-0316a2795c21", "28-0316a2795c22") +
		"\nprobe second-thermometer\n    part            ds18b20 28-0316a2795c21\n    gives           temperature at roastery\n    every           10 s\n";
		a.dispatchEvent(new Event("input", {bubbles: true}))}`)
	v.sees(`!document.querySelector(".act button.main").disabled`)
	begun := time.Now()
	v.presses("Save and put in force") // Ben, as at the calibration
	v.reads("Saved. The new rules are in force.")
	v.open("/probes")
	v.sees(`document.querySelectorAll(".probe").length == 15 && [...document.querySelectorAll(".probe")].some((p) => p.innerText.startsWith("Second thermometer") && /heard \d+ s ago/.test(p.innerText))`)
	if took := time.Since(begun); took > 2*time.Minute {
		v.Errorf("the new probe was seen after %v, want 2 min", took)
	}
	v.open("/point/deck-a/equilibrium-moisture")
	v.reads("Worked out from air temperature and air humidity.")
	v.presses("Formula")
	v.reads("Trejos")
	v.open("/links")
	v.sees(`/^The clock is right: \d\d:\d\d, America\/Lima, UTC−5\.$/m.test(document.body.innerText) && document.body.innerText.includes("Nothing here tells whether the mains are on.")`)
	v.open("/point/deck-a/bean-temperature")
	v.sees(`document.querySelector(".chart canvas")`)
	v.presses("Without the correction")
	v.chooses("Compare with", "the night before")
	v.reads("Nothing is known of what it is compared with.")
	v.run(`document.querySelector(".chart").dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowLeft", bubbles: true}))`)
	v.sees(`[...document.querySelectorAll(".chart button")].some((b) => b.innerText == "now")`)
}

// Aim: from wired to watched on a phone: the technician looks what is wired, which touches nothing that is read, sees what was found and how sure that
// is, names it, is told of a mistake in the block, adds it, and sees its first reading; the file holds it in the one layout and the logbook who did it.
func TestPages_wiring(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	v := visitor{t, browser.Open(t, index), startMill(t, peers.FreeAddress(t), t.TempDir(), 10)}
	v.device(390, "light")
	v.open("/probes")
	v.presses("Look what is wired")
	v.presses("Ben")
	v.reads("8 found, 2 of them in no rule.")
	const spare = `[...document.querySelectorAll(".found")].find((f) => f.innerText.includes("0x46"))`
	v.sees(spare + `.innerText.startsWith("An SHT4x · certain")`)
	v.presses("Español")
	v.sees(spare + `.innerText.startsWith("Un SHT4x · seguro")`)
	v.reads("8 encontrados, 2 de ellos en ninguna regla.")
	english, err := chromedp.Run(v.tab, chromedp.Evaluate[string](`[...document.querySelectorAll(".found")].map((f) => f.innerText).join("\n").match(/\b(the|perhaps|stands|answers|kernel|which|with|right)\b/g)?.join() ?? ""`))
	v.must(err)
	if english != "" {
		t.Errorf("left in English of what was found: %s", english)
	}
	v.presses("English")
	v.sees(`document.querySelector(".wiring details summary").innerText === "In the rules already · 6"`)
	v.run(spare + `.querySelector("button").click()`)
	v.sees(`document.querySelector("#block")?.value.includes("part            sht4x on i2c-1 at 0x46")`)
	name := func(text string) {
		v.run(fmt.Sprintf(`{const i = document.querySelector(".adding input"); i.value = %q; i.dispatchEvent(new Event("input", {bubbles: true}))}`, text))
	}
	name("Store wall")
	v.chooses("Where it stands", "roastery")
	v.sees(`document.querySelector("#block").value.startsWith("probe store-wall\n") && document.querySelector("#block").value.includes("at roastery")`)
	v.run(`{const a = document.querySelector("#block"); a.value = a.value.replace("every           10 s", "every           10"); a.dispatchEvent(new Event("input", {bubbles: true}))}`)
	v.sees(`document.querySelector(".adding mark.error") && document.querySelector(".adding .main").disabled`)
	v.reads("10 has no unit")
	v.run(`{const a = document.querySelector("#block"); a.value = a.value.replace(/every .*10$/m, "every           10 s"); a.dispatchEvent(new Event("input", {bubbles: true}))}`)
	v.sees(`!document.querySelector(".adding mark.error") && !document.querySelector(".adding .main").disabled`)
	v.presses("Put it in force")
	v.reads("store-wall is in the rules and in force.")
	v.sees(`document.querySelectorAll(".added .number").length == 2`) // temperature and humidity, read
	v.sees(`document.querySelectorAll(".probe").length == 15`)
	text, err := os.ReadFile(filepath.Join(v.at.folder, "fern-hollow.rules"))
	if err != nil || !strings.Contains(string(text), "\nprobe store-wall\n    part            sht4x on i2c-1 at 0x46\n    gives           temperature, humidity at roastery\n    every           10 s\n") {
		t.Errorf("the file does not hold the probe in the one layout (%v)", err)
	}
	v.open("/logbook")
	for _, text := range []string{"Looked what is wired: 8 found", "Rules changed from"} {
		v.sees(fmt.Sprintf(`[...document.querySelectorAll(".entry")].some((e) => e.innerText.includes(%q) && e.innerText.includes("Ben"))`, text))
	}
}

// aside runs the demo as startMill does, and gives the estate to whom it concerns; a scale hangs on it that no rule knows.
func aside(t testing.TB, speed float64) (*mill, *estate.Estate, *hx711test.Tree) {
	t.Helper()
	m := &mill{address: peers.FreeAddress(t), folder: t.TempDir()}
	m.url = "http://" + m.address
	gateway, world, err := openDemo(IO{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard}, m.folder, m.address, speed, false, nil)
	if err != nil {
		t.Fatal(err)
	}
	scale := hx711test.New()
	world.IIO = scale
	ctx, cancel := context.WithCancel(context.Background())
	var lives sync.WaitGroup
	lives.Go(func() { _ = world.Run(ctx) })
	lives.Go(func() {
		if err := closeAfter(gateway, gateway.Run(ctx)); err != nil {
			t.Errorf("the demo ended with %v", err)
		}
	})
	t.Cleanup(func() { cancel(); lives.Wait() })
	return m, world.Estate, scale
}

// walk is the walk of one probe on the page of probes.
type walk struct {
	visitor
	row   string // script that finds the probe
	shown float64
}

// begins opens the walk of a probe by its title.
func (v visitor) begins(title string) *walk {
	v.Helper()
	w := &walk{visitor: v, row: fmt.Sprintf(`[...document.querySelectorAll(".probe")].find((p) => p.innerText.startsWith(%q))`, title)}
	walk := w.row + `?.querySelector("details:last-of-type")` // of a new probe it comes with the plan in which its points stand
	v.sees(walk)
	v.run(walk + `.toggleAttribute("open", true)`)
	v.sees(w.row + `.querySelector(".walk .now b")`)
	shown, err := chromedp.Run(v.tab, chromedp.Evaluate[float64]("Number("+w.row+`.querySelector(".walk .now b").innerText) || 0`))
	v.must(err)
	w.shown = shown
	return w
}

// holds waits until the reading has gone by at least so much to a new place and stands still there.
func (w *walk) holds(least float64) {
	w.Helper()
	now := w.row + `.querySelector(".walk .now b").innerText`
	w.sees(fmt.Sprintf(`Math.abs(Number(%s) - %g) >= %g && %s.innerText.includes("It stands still")`, now, w.shown, least, w.row))
	shown, err := chromedp.Run(w.tab, chromedp.Evaluate[float64]("Number("+now+")"))
	w.must(err)
	w.shown = shown
}

// takes presses the button of the walk that begins so, once it may be pressed, until the reference stands in the list as the nth.
func (w *walk) takes(button string, nth int) {
	w.Helper()
	b := fmt.Sprintf(`[...%s.querySelectorAll(".walk button")].find((b) => b.innerText.startsWith(%q))`, w.row, button)
	w.sees(b + `?.disabled === false`)
	w.run(b + `.click()`)
	w.sees(fmt.Sprintf(`%s.querySelectorAll(".walk li").length == %d`, w.row, nth))
}

// Aim: an electrode is walked through two buffers at their temperature on a phone. A tired one is refused, as the part judges it, and that is written down; a
// good one is accepted, with the slope and offset that its voltages have by Nernst's law (59.16 mV a pH at 25 °C, the Faraday constant and CODATA's gas
// constant) and its errors as found. Buffers: pH 4.01 and 7.00 at 25 °C, as their makers tell. Then a scale is found, named, and walked through nothing and
// two known masses, and shows a third as it is.
func TestPages_calibrations(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	m, world, scale := aside(t, 60)
	v := visitor{t, browser.Open(t, index), m}
	v.device(390, "dark")
	in := func(slope, offset, ph float64) { world.Hold(2, offset-slope*0.05916*(ph-7), 25) }
	v.open("/probes")
	w := v.begins("Tank 2 electrode")
	for _, electrode := range []struct {
		slope, offset float64
		says          []string
	}{
		{0.6, 0.003, []string{"Refused and written down."}},
		{0.97, 0.003, []string{"Accepted and in force.", "offset +3.0", "As found: off by "}},
	} {
		in(electrode.slope, electrode.offset, 7)
		w.holds(0.5)
		w.takes("Buffer 7.00 (pH 7.00 at 25", 1)
		in(electrode.slope, electrode.offset, 4.01)
		w.holds(1)
		w.takes("Buffer 4.01 (pH 4.01 at 25", 2)
		v.presses("Judge it and write it down")
		v.sees(`document.querySelector(".who button") || ` + w.row + `.querySelector(".walk [role=alert]")`)
		v.run(`[...document.querySelectorAll(".who button")].find((b) => b.innerText === "Ben")?.click()`)
		for _, text := range electrode.says {
			v.sees(fmt.Sprintf(`%s.querySelector(".walk").innerText.includes(%q)`, w.row, text))
		}
	}
	// The converter's step of 62.5 µV leaves 0.04 % of the slope open [ADS1115, range 2.048 V].
	v.sees(`Math.abs(Number(/As left: slope ([0-9.]+)/.exec(` + w.row + `.querySelector(".walk").innerText)[1]) - 97) < 0.1`)
	v.run(w.row + `.querySelector("details:last-of-type").open = false`)

	v.presses("Look what is wired")
	const found = `[...document.querySelectorAll(".found")].find((f) => f.innerText.includes("hx711"))`
	v.sees(found)
	v.run(found + `.querySelector("button").click()`)
	v.sees(`document.querySelector(".adding input")`)
	v.run(`{const i = document.querySelector(".adding input"); i.value = "dryer scale"; i.dispatchEvent(new Event("input", {bubbles: true}))}`)
	v.sees(`document.querySelector("#block").value.startsWith("probe dryer-scale") && !document.querySelector(".adding .main").disabled`)
	v.presses("Put it in force")
	v.reads("dryer-scale is in the rules and in force.")
	w = v.begins("Dryer scale")
	for i, kg := range []float64{0, 20, 50} {
		scale.Load(kg)
		counts := int(math.Round(hx711test.Empty + hx711test.PerKilogram*kg)) // the word without its sign bit is what the kernel gives
		v.sees(fmt.Sprintf(`[%d, %d].some((n) => %s.innerText.includes(n + " counts")) && %s.innerText.includes("It stands still")`, counts, counts+1<<23, w.row, w.row))
		v.run(fmt.Sprintf(`{const i = %s.querySelector(".walk input"); i.value = "%g"; i.dispatchEvent(new Event("input", {bubbles: true}))}`, w.row, kg))
		w.takes("Take it", i+1)
	}
	v.presses("Judge it and write it down")
	v.reads("Accepted and in force.")
	scale.Load(33.5)
	v.sees(w.row + `.querySelector(".lines .number")?.innerText.includes("33.5")`)
}

// calibrates walks a thermometer through a reference on the page: it shows how the probe stands, lets nothing be taken before it stands still, and says what was found and left.
func (v visitor) calibrates() {
	v.Helper()
	const row = `[...document.querySelectorAll(".probe")].find((p) => p.innerText.startsWith("Tank 2 thermometer"))`
	const pressed = `[...` + row + `.querySelectorAll("button")].find((b) => b.innerText === "Take it")`
	v.sees(row)
	v.run(row + `.querySelector("details:last-of-type").open = true`)
	v.sees(row + `.querySelector(".walk .now b")`)
	v.sees(row + `.innerText.includes("It stands still")`)
	v.sees(pressed + `.disabled`)
	v.run(`{const at = ` + row + `, input = at.querySelector(".walk input"); input.value = (Number(at.querySelector(".now b").innerText) + 0.3).toFixed(2);
		input.dispatchEvent(new Event("input", {bubbles: true}))}`)
	v.sees(`!` + pressed + `.disabled`)
	v.run(pressed + `.click()`)
	v.sees(row + `.querySelector(".walk li")`)
	v.presses("Judge it and write it down")
	v.presses("Ben")
	v.reads("Accepted and in force.")
	v.reads("As found: off by -0.")
	v.sees(row + `.innerText.includes("Calibrations · 1")`)
}

// Aim: the page can be installed; when the mill is not heard it says so; opened anew it shows the last state as what it is, by its age; when the mill is back all is plain.
func TestPages_lost(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser and a night are slow")
	}
	on(t, []device{{390, 1, "light", "reduce"}}, lost)
}

func lost(v visitor, _ device) {
	v.open("/")
	v.sees(`document.querySelectorAll(".way .number").length > 5`)
	v.sees(`navigator.serviceWorker.controller`)
	hinders, err := chromedp.Call(v.tab, page.GetInstallabilityErrors, cdp.Empty{})
	v.must(err)
	for _, e := range hinders.InstallabilityErrors {
		v.Errorf("it cannot be installed on a telephone: %s", e.ErrorID)
	}
	v.at.stop()
	v.reads("No word from the mill for")
	v.open("/")
	v.reads("this device has no word from the mill now")
	v.sees(`document.querySelectorAll(".way .number").length > 5`)
	v.sees(`!document.body.innerText.includes("Nothing needs you now")`)
	v.sees(`/As of .*\d+ (s|min)/.test(document.querySelector(".lost").innerText)`)
	startMill(v, v.at.address, v.at.folder, 60)
	v.sees(`!document.querySelector(".lost") && document.querySelectorAll(".way .number").length > 5`)
}

// handMeter is an instrument without a wire, that somebody is to read every 25 minutes: at the speed of its test nearly as long as a browser waits for what is to appear.
const handMeter = `
probe hand-meter
    part            by-hand
    gives           moisture at dryer-1
    every           25 min
    range           5 .. 60 %wb
`

// Aim: what nobody has read yet is asked for; the crew follows the reminder on a phone, is told what cannot be, types the number as the meter shows it,
// sees it stand with its age among what is measured and in the record; the reminder goes, and comes again when the next one is due.
func TestPages_byHand(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	v := visitor{t, browser.Open(t, index), startMill(t, peers.FreeAddress(t), folderWith(t, handMeter), 30)}
	v.device(390, "dark")
	v.open("/")
	const reminder = "Hand meter: Read it by hand and enter it."
	v.presses(reminder)
	v.sees(`location.pathname == "/station/dryer-1"`)
	v.sees(`document.querySelector(".chart canvas")`)
	v.presses("Enter moisture")
	v.sets("Moisture in %wb", "75")
	v.presses("Write it down")
	v.presses("Ana")
	v.reads("goes from 5.0 %wb to 60.0 %wb; 75 %wb lies beyond. Read it again.")
	v.sets("Moisture in %wb", "41,5")
	v.presses("Write it down")
	v.reads("Written down.")
	v.sees(`[...document.querySelectorAll(".station .line")].some((l) => /^Moisture\s+41\.5 %wb\s+\d+ (s|min)/.test(l.innerText))`)
	v.open("/")
	v.sees(`document.querySelectorAll(".way .line").length == 10 && !document.body.innerText.includes("Hand meter")`)
	v.open("/logbook")
	v.types("Search", "read by hand")
	v.presses("Search")
	v.sees(`document.querySelectorAll(".entry").length == 1 && document.querySelector(".entry").innerText.includes("41.5 %wb")`)
	v.open("/")
	v.reads(reminder)
}

// falseAxis counts the moments at which hours stand over the lines and no line has a course: an axis without them says that nothing was.
const falseAxis = `window.falseAxis = 0; window.axes = 0;
new MutationObserver(() => {
	if (!document.querySelector(".way div.hours")) return;
	window.axes++;
	if (!document.querySelector(".way .trace")) window.falseAxis++;
}).observe(document, {childList: true, subtree: true});`

// Aim: whoever opens a wide screen soon after the start sees the first minutes of every station as a course: on an axis that fits what is remembered,
// within the drawing, reaching now, and asked for without an answer that is thrown away. A slow link shows which answers the page waits for.
func TestPages_early(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	folder := t.TempDir() // of an estate that was not watched yesterday
	if err := estate.Begin(folder, demoBegins); err != nil {
		t.Fatal(err)
	}
	v := visitor{t, browser.Open(t, index), startMill(t, peers.FreeAddress(t), folder, 30)}
	v.device(1440, "light")
	_, err := chromedp.Call(v.tab, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
		MatchedNetworkConditions: []*network.Conditions{{Latency: 400, DownloadThroughput: 50e3, UploadThroughput: 50e3}}})
	v.must(err)
	_, err = chromedp.Call(v.tab, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: falseAxis})
	v.must(err)
	v.open("/")
	v.sees(`document.querySelectorAll(".way .line").length == 10`)
	// More than five steps of each line, all of them in the box of 100 by 100, the last at its right edge; a reading is 90 s old at most.
	v.sees(`[...document.querySelectorAll(".way .line")].every((line) => {
		const steps = [...(line.querySelector(".trace")?.getAttribute("d") ?? "").matchAll(/[ML]([-\d.]+) ([-\d.]+)/g)].map((m) => [Number(m[1]), Number(m[2])]);
		return steps.length > 5 && steps.every(([x, y]) => x >= 0 && x <= 100 && y >= 4 && y <= 96) && (steps.at(-1)[0] > 97 || line.querySelector(".reason")); })`)
	v.sees(`["The last 20 minutes", "The last hour"].includes(document.querySelector(".hours").getAttribute("aria-label"))`)
	v.sees(`window.axes > 0 && window.falseAxis === 0`)
	lost, err := chromedp.Run(v.tab, chromedp.Evaluate[[]string](`performance.getEntriesByType("resource").filter((e) => /courses|readings/.test(e.name) && e.responseStatus != 200).map((e) => e.responseStatus + " " + e.name)`))
	v.must(err)
	for _, l := range lost {
		t.Errorf("an answer was thrown away: %s", l)
	}
}

// pages are all pages, with what tells that they are there.
var pages = []struct{ name, path, ready string }{
	{"what-next", "/", `document.querySelectorAll(".way .line").length > 9`},
	{"lots", "/lots", `document.querySelectorAll(".band").length > 6`},
	{"lot", "/lot/139", `document.querySelectorAll("main tbody tr").length > 0`},
	{"station-tank", "/station/tank-2", `document.querySelector(".chart canvas")`},
	{"station-dryer", "/station/dryer-1", `document.querySelector(".chart canvas")`},
	{"point", "/point/deck-a/bean-temperature", `document.querySelector(".chart canvas")`},
	{"alarms", "/alarms", `document.querySelector("h1")`},
	{"logbook", "/logbook", `document.querySelector(".entry")`},
	{"register", "/register", `document.querySelectorAll("details.row").length > 20`},
	{"rates", "/rates", `document.querySelectorAll("main tbody tr").length > 5`},
	{"season", "/season", `document.querySelectorAll(".season tbody tr").length > 2`},
	{"roster", "/roster", `document.querySelector(".steps")`},
	{"roster-push", "/roster?push", `(document.querySelector(".swaps form") || (document.querySelector(".swaps button")?.click(), false)) &&
		[...document.querySelectorAll("button")].some((b) => ["Call me on this device too", "Llámeme también en este aparato"].includes(b.innerText))`},
	{"roster-subscribed", "/roster?push-on", `[...document.querySelectorAll("button")].some((b) => ["Call me here no more", "No me llame más aquí"].includes(b.innerText)) && (/EXERCISE: you are being called|SIMULACRO: se le llama/.test(document.body.innerText) ||
		(document.querySelectorAll("section button").forEach((b) => { if (/^(Try it|Pruébelo)/.test(b.innerText)) b.click(); }), false))`},
	{"probes", "/probes", `document.querySelectorAll(".probe").length > 10`},
	{"calibrate", "/probes", `document.querySelectorAll(".probe").length > 10 && (document.querySelector(".probe details:last-of-type").open = true) && document.querySelector(".walk .now")`},
	{"rules", "/rules", `document.querySelectorAll(".said li").length > 0`},
	{"links", "/links", `document.querySelector("main .board")`},
	{"cautions", "/cautions", `document.querySelectorAll(".caution").length > 4`},
	{"more", "/more", `document.querySelector(".row.page")`},
}

// telephone makes the browser one of Ana's where the address says so, and one that has subscribed to push messages: there is no push service here to
// subscribe with. Nothing of it reaches the gateway.
const telephone = `if (location.search.startsWith("?push")) localStorage.setItem("who", "ana");
if (location.search == "?push-on") PushManager.prototype.getSubscription = async () => ({endpoint: "https://push.example.net/p", getKey: () => new ArrayBuffer(16), unsubscribe: async () => true});`

// pushing is a folder whose mill has push messages.
func pushing(t *testing.T) string {
	t.Helper()
	return folderWith(t, "\nchannel push\n    contact         mill@fern-hollow.example\n")
}

// folderWith is a folder whose rules are those of the demo, and more.
func folderWith(t *testing.T, more string) string {
	t.Helper()
	folder := t.TempDir()
	text, err := estate.Files.ReadFile(estate.RulesFile)
	if err == nil {
		err = os.WriteFile(filepath.Join(folder, "fern-hollow.rules"), append(text, more...), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return folder
}

// asTelephone lets every page that is opened from now on be that of a telephone.
func (v visitor) asTelephone() {
	v.Helper()
	_, err := chromedp.Call(v.tab, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: telephone})
	v.must(err)
}

// smallTargets names what a gloved hand may miss: everything that is pressed, but for links inside sentences [WCAG 2.2 2.5.8, inline].
const smallTargets = `[...document.querySelectorAll("button, input, select, textarea, summary, nav a, .track .name, .back a, .row.page a, .site a")].filter((e) => {
	const r = e.getBoundingClientRect(); return r.width > 0 && (r.height < 43.5 || r.width < 24) && !e.closest(".heard") }).map((e) => e.outerHTML.slice(0, 90) + " " + e.getBoundingClientRect().height)`

// Aim: every page of the running program, alarmed, by day and night, from the smallest phone to the wall: no finding of axe-core (contrast among it),
// no sideways scrolling, nothing that is pressed smaller than 44 px. With MILLWARDEN_EVERY_WIDTH set at all widths, at 200 % zoom and with motion, which
// takes minutes.
func TestPages_access(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	axe := axeCore(t)
	m := startMill(t, peers.FreeAddress(t), pushing(t), 60)
	first := visitor{t, browser.Open(t, index), m}
	first.asTelephone()
	first.open("/")
	first.sees(stickSilent)
	for i, p := range pages {
		t.Run(p.name, func(t *testing.T) {
			v, looks := visitor{t, first.tab, m}, everyWidth()
			if looks == nil {
				looks = []device{{360, 1, "dark", "reduce"}, {1440, 1, "light", "reduce"}}
			} else {
				v.tab = browser.Open(t, index) // the life of a tab is bounded, and these are many looks; it ends with the page
				v.asTelephone()
				v.open("/")
				v.sees("navigator.serviceWorker.controller") // a telephone that has subscribed has one
			}
			for k, d := range looks {
				d.scheme = []string{"dark", "light"}[(i+k)%2]
				v.holds(d)
				v.open(p.path)
				v.sees(p.ready)
				v.accessible(axe, fmt.Sprint(d))
			}
		})
	}
	t.Run("wall", func(t *testing.T) { // where letters are larger
		v := visitor{t, first.tab, m}
		v.run(`localStorage.setItem("size", "wall")`)
		for _, p := range pages[:6] { // those that people live by
			for _, width := range []int64{1280, 1920} {
				v.holds(device{width, 1, "dark", "reduce"})
				v.open(p.path)
				v.sees(p.ready)
				v.sees(`document.documentElement.className.includes("wall")`)
				v.fits(fmt.Sprint(p.name, " at ", width))
			}
		}
	})
}

// axeCore is the script of axe-core.
func axeCore(t *testing.T) string {
	t.Helper()
	axe, err := os.ReadFile("../web/ui/node_modules/axe-core/axe.min.js")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skip("axe-core is not installed: run npm ci in gateway/web/ui")
	}
	return string(axe)
}

// accessible reports what axe-core finds, what is too small to press, and sideways scrolling.
func (v visitor) accessible(axe, at string) {
	v.Helper()
	text, err := chromedp.Run(v.tab, chromedp.Evaluate[string](axe+`;axe.run(document, {runOnly: {type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}})
		.then((r) => JSON.stringify(r.violations.map((x) => x.id + ": " + x.nodes.map((n) => n.html.slice(0, 120) + " " + n.failureSummary).join(" | "))))`, chromedp.EvalAwaitPromise))
	v.must(err)
	var found []string
	v.must(json.Unmarshal([]byte(text), &found))
	for _, f := range found {
		v.Errorf("%s: axe-core: %s", at, f)
	}
	small, err := chromedp.Run(v.tab, chromedp.Evaluate[[]string](smallTargets))
	v.must(err)
	for _, s := range small {
		v.Errorf("%s: too small to press: %s", at, s)
	}
	v.fits(at)
}

// fits reports sideways scrolling.
func (v visitor) fits(at string) {
	v.Helper()
	if wide, err := chromedp.Run(v.tab, chromedp.Evaluate[bool]("document.documentElement.scrollWidth > document.documentElement.clientWidth")); err != nil || wide {
		v.Errorf("%s: it scrolls sideways (%v)", at, err)
	}
}

// TestPages_pictures makes the whole set of pictures into the folder that MILLWARDEN_PICTURES names: every page, quiet and alarmed, in both languages, on a
// telephone and on a desk, by day and by night in turn; the pages that people live by at the other widths too. MILLWARDEN_PICTURED, a pattern, asks for some of
// them alone, by name, state, language and width.
//
//	MILLWARDEN_PICTURES=FOLDER MILLWARDEN_PICTURED='^lots-alarm-es' go test ./gateway/command -run Pages_pictures -count=1 -timeout 20m
func TestPages_pictures(t *testing.T) {
	folder := os.Getenv("MILLWARDEN_PICTURES")
	if folder == "" {
		t.Skip("MILLWARDEN_PICTURES names no folder")
	}
	asked, err := regexp.Compile(os.Getenv("MILLWARDEN_PICTURED"))
	if err != nil {
		t.Fatal(err)
	}
	v := visitor{TB: t, tab: browser.OpenFor(t, index, 20*time.Minute)}
	v.must(os.MkdirAll(folder, 0o700))
	v.asTelephone()
	take := func(state string) {
		for i, p := range pages {
			for k, width := range []int64{390, 1440, 360, 768, 1920} {
				for l, language := range []string{"en", "es"} {
					scheme := []string{"light", "dark"}[(i+k+l)%2]
					name := fmt.Sprintf("%s-%s-%s-%d-%s", p.name, state, language, width, scheme)
					if (k < 2 || i < 6 && l == 0) && asked.MatchString(name) {
						v.pictures(p.path, p.ready, language, device{width, 1, scheme, "reduce"}, filepath.Join(folder, name+".png"))
					}
				}
			}
		}
	}
	v.at = startMill(t, peers.FreeAddress(t), pushing(t), 1) // nothing befalls it while the pictures are made
	v.open("/")
	v.sees("navigator.serviceWorker.controller") // a telephone that has subscribed has one
	take("quiet")
	v.at.stop()
	v.at = startMill(t, peers.FreeAddress(t), pushing(t), 30)
	v.open("/cautions")
	v.run(`localStorage.setItem("language", "en")`)
	v.open("/")
	v.sees(stickSilent)
	v.sees(`navigator.serviceWorker.controller && document.querySelector(".alarm.high")`)
	take("alarm")
}

// pictures makes one picture of a whole page.
func (v visitor) pictures(path, ready, language string, d device, file string) {
	v.Helper()
	v.holds(d)
	v.open("/cautions") // where the language is set, before the page begins
	v.run(`localStorage.setItem("language", "` + language + `")`)
	v.open(path)
	v.sees(ready)
	height, err := chromedp.Run(v.tab, chromedp.Evaluate[int64]("Math.min(document.documentElement.scrollHeight, 6000)"))
	v.must(err)
	v.must(chromedp.Do(v.tab, chromedp.EmulateViewport(d.width, height)))
	v.sees(`!document.querySelector(".course.coming")`) // courses come after the page
	time.Sleep(700 * time.Millisecond)                  // and curves
	picture, err := chromedp.Run(v.tab, chromedp.CaptureScreenshot())
	v.must(err)
	v.must(os.WriteFile(file, picture, 0o600))
}

// mostFirstView is what the first view may weigh in all, as it comes over the line: a phone at the edge of a network has it within 3 s. Chosen.
const mostFirstView = 60_000 // bytes

// Aim: the first view weighs little, with all that it asks for until it stands: scripts, style, words, what stands; in either language, on a phone and on a desk, where the way of the lots
// stands beside it. Packed with gzip, as without TLS; with Brotli it is less.
func TestPages_weight(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	m := startMill(t, peers.FreeAddress(t), t.TempDir(), 1) // the quiet mill, as long as the test may last: each alarm weighs what it says
	for _, c := range []struct {
		language, says string
		width          int64
		also           string // what stands on it once it is whole
	}{
		{"en", "The way of the coffee", 390, "true"}, {"es", "El camino del café", 390, "true"},
		{"en", "The way of the coffee", 1440, `document.querySelector(".band")`}, {"es", "El camino del café", 1440, `document.querySelector(".band")`},
	} {
		v := visitor{t, browser.Open(t, index), m}
		_, err := chromedp.Call(v.tab, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `localStorage.setItem("language", "` + c.language + `")`})
		v.must(err)
		_, err = chromedp.Call(v.tab, network.SetCookie, network.SetCookieParams{Name: "language", Value: c.language, URL: m.url})
		v.must(err)
		v.device(c.width, "light")
		v.open("/")
		v.sees(fmt.Sprintf(`document.querySelectorAll(".way .number").length > 5 && document.body.innerText.includes(%q) && %s`, c.says, c.also))
		v.sees(`document.querySelector(".foot .choices") && performance.getEntriesByType("resource").filter((e) => e.name.includes("/api/") && e.responseEnd).length > 1`)
		away, err := chromedp.Run(v.tab, chromedp.Evaluate[[]string](`performance.getEntriesByType("resource").map((e) => e.name).filter((n) => !n.startsWith(location.origin + "/"))`))
		v.must(err)
		for _, name := range away {
			t.Errorf("the page asks beyond the board: %s", name)
		}
		bytes := v.weight()
		t.Logf("%s at %d px: %.1f kB", c.language, c.width, bytes/1000)
		if bytes < 10_000 || bytes > mostFirstView {
			list, _ := chromedp.Run(v.tab, chromedp.Evaluate[[]string](`performance.getEntries().filter((e) => e.encodedBodySize).map((e) => e.name + " " + e.encodedBodySize)`))
			t.Errorf("in %s the first view weighs %.0f bytes, want at most %d:\n%s", c.language, bytes, mostFirstView, strings.Join(list, "\n"))
		}
	}
}

// weight is what came over the line for the page, in bytes as they were sent: nothing left out.
func (v visitor) weight() float64 {
	v.Helper()
	bytes, err := chromedp.Run(v.tab, chromedp.Evaluate[float64](`performance.getEntriesByType("resource").concat(performance.getEntriesByType("navigation")).reduce((n, e) => n + e.encodedBodySize, 0)`))
	v.must(err)
	return bytes
}

// BenchmarkFirstView is how long the first view with live values takes on a slow link (400 ms round trip, 400 kbit/s) and a processor four times
// slower, from nothing kept; and what it weighs on the way.
func BenchmarkFirstView(b *testing.B) {
	m := startMill(b, peers.FreeAddress(b), b.TempDir(), 30)
	for b.Loop() {
		v := visitor{b, browser.Open(b, index), m}
		v.device(390, "light")
		_, err := chromedp.Call(v.tab, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
			MatchedNetworkConditions: []*network.Conditions{{Latency: 400, DownloadThroughput: 50e3, UploadThroughput: 50e3}}})
		v.must(err)
		_, err = chromedp.Call(v.tab, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 4})
		v.must(err)
		begun := time.Now()
		v.open("/")
		v.sees(`document.querySelectorAll(".way .number").length > 5`)
		b.ReportMetric(float64(time.Since(begun).Milliseconds()), "ms/view")
		b.ReportMetric(v.weight()/1000, "kB/view")
	}
}
