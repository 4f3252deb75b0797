package command

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"millwarden/gateway/history"
	"millwarden/internal/browser"
	"millwarden/internal/estate"
	"millwarden/internal/peers"
)

// brokerAway is how long the broker stays away in the drill, by the clock on the wall.
const brokerAway = 5 * time.Minute

const linksOfDrill = `
broker
    address         %s

store
    address         %s
    org             estate
    bucket          "mill"
`

// outage is the demo with a broker, a store and a disk of its own, seen by a person at a tablet.
type outage struct {
	visitor
	folder, pictures string
	typed            io.Writer
}

// TestOutage_drill does the outage drill of DEVELOPERS.md and leaves a picture of each state in the folder that MILLWARDEN_OUTAGE names. Ten minutes; root, for the small disk:
//
//	MILLWARDEN_OUTAGE=FOLDER go test ./gateway/command -run Outage -count=1 -v -timeout 30m
//
// Aim: broker away for five minutes, a probe pulled, the disk full, the clock an hour back: the page says each in words and says that it is over; afterwards every
// reading is in the history, once in the store, and the record tells all of it.
func TestOutage_drill(t *testing.T) {
	pictures := os.Getenv("MILLWARDEN_OUTAGE")
	if pictures == "" {
		t.Skip("MILLWARDEN_OUTAGE names no folder")
	}
	broker, store := peers.StartMosquitto(t), peers.StartVictoriaMetrics(t)
	o := openOutage(t, pictures, broker.Address, store.URL)
	o.shows("0-before", "/", "Tank 1")

	broker.Stop()
	o.shows("1-broker-away", "/", "Broker does not work since")
	gone := time.Now()
	o.shows("1-broker-away-links", "/links", "Broker does not work since")
	time.Sleep(brokerAway - time.Since(gone)) // what is drilled is this time
	o.tab = browser.Open(t, index)            // a tab has eight minutes
	o.shows("1-broker-away-five-minutes", "/", "wait")
	broker.Start()
	o.shows("1-broker-back", "/links", "Broker: works")

	o.enters("pull tank-1-thermometer")
	o.shows("2-probe-pulled", "/", "Tank 1 temperature: measurement lost\n\nTemperature not read for")
	o.enters("plug tank-1-thermometer")
	o.shows("2-probe-back", "/", "Tank 1 temperature: measurement lost\n\nBack to normal")

	o.fill()
	o.shows("3-disk-full", "/", "Board: disk full\n\nDisk free")
	o.empty()
	o.shows("3-disk-free", "/", "Board: disk full\n\nBack to normal")

	o.enters("clock -1h")
	o.shows("4-clock-back", "/", "The clock was set back by 1 h at")
	o.open("/logbook")
	o.types("Search", "wall clock set back")
	o.presses("Search")
	o.reads("set back by 1h0m0s")
	o.picture("4-clock-back-logbook")
	o.enters("clock 0s")
	o.lacks("4-clock-right", "/", "The clock was set")

	o.tab = browser.Open(t, index)
	o.stored()
	o.shows("5-afterwards", "/links", "Store: works")
	o.at.stop()
	o.compare(store.Rows(t))
}

func openOutage(t *testing.T, pictures, broker, store string) *outage {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=450m"); err != nil {
		t.Skipf("mounting a small disk: %v", err)
	}
	text, err := estate.Files.ReadFile(estate.RulesFile)
	if err == nil {
		err = os.WriteFile(filepath.Join(folder, "fern-hollow.rules"), fmt.Appendf(text, linksOfDrill, broker, store), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	in, typed := io.Pipe()
	said, err := os.Create(filepath.Join(pictures, "said.txt"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = said.Close()
		if err := syscall.Unmount(folder, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	o := &outage{folder: folder, pictures: pictures, typed: typed}
	o.visitor = visitor{t, browser.Open(t, index), startMillWith(t, IO{In: in, Out: said, Err: said}, peers.FreeAddress(t), folder, 10)}
	return o
}

// enters types a line at the terminal of the demo.
func (o *outage) enters(line string) {
	o.Helper()
	if _, err := fmt.Fprintln(o.typed, line); err != nil {
		o.Fatal(err)
	}
}

// shows waits until the page says a text, and takes its picture.
func (o *outage) shows(name, path, text string) {
	o.Helper()
	o.device(820, "light")
	o.open(path)
	o.reads(text)
	o.picture(name)
}

// lacks waits until the page does not say a text any more, and takes its picture.
func (o *outage) lacks(name, path, text string) {
	o.Helper()
	o.device(820, "light")
	o.open(path)
	o.sees(fmt.Sprintf(`document.querySelector("footer, h1") && !document.body.innerText.includes(%q)`, text))
	o.picture(name)
}

func (o *outage) picture(name string) {
	o.Helper()
	height, err := chromedp.Run(o.tab, chromedp.Evaluate[int64]("Math.min(document.documentElement.scrollHeight, 3000)"))
	o.must(err)
	o.must(chromedp.Do(o.tab, chromedp.EmulateViewport(820, height)))
	picture, err := chromedp.Run(o.tab, chromedp.CaptureScreenshot())
	o.must(err)
	o.must(os.WriteFile(filepath.Join(o.pictures, name+".png"), picture, 0o600))
	o.must(os.WriteFile(filepath.Join(o.pictures, name+".txt"), []byte(browser.Text(o.tab)), 0o600))
}

// stored waits until no more waits for the store than what is on its way: the store's answer counts after 20 s, and the demo's season goes there too.
func (o *outage) stored() {
	o.Helper()
	o.open("/links")
	const few = `parseInt((document.body.innerText.match(/Store: works, ([\d,]+) wait/)?.[1] ?? "999999").replaceAll(",", "")) < 5000`
	for range 600 {
		done, err := chromedp.Run(o.tab, chromedp.Evaluate[bool](few))
		o.must(err)
		if done {
			return
		}
		time.Sleep(500 * time.Millisecond)
	}
	o.Fatalf("the store does not catch up:\n%s", browser.Text(o.tab))
}

func (o *outage) ballast() string { return filepath.Join(o.folder, "ballast") }

// fill leaves no room on the disk.
func (o *outage) fill() {
	o.Helper()
	f, err := os.Create(o.ballast())
	o.must(err)
	for size := 1 << 16; size >= 1; {
		if _, err = f.Write(make([]byte, size)); err != nil {
			size /= 16
		}
	}
	if !errors.Is(errors.Join(err, f.Close()), syscall.ENOSPC) {
		o.Fatalf("the disk did not fill: %v", err)
	}
}

func (o *outage) empty() {
	o.Helper()
	o.must(os.Remove(o.ballast()))
}

// onTheWay is how long before the end of the drill, by the board's clock at its speed of 10, a reading may still be on its way to the store.
const onTheWay = 10 * time.Minute

// compare holds history and store against each other, reading by reading, and looks for gaps.
func (o *outage) compare(rows []peers.Row) {
	o.Helper()
	type where struct {
		point  string
		millis int64
	}
	stored := map[where]int{}
	for _, r := range rows {
		stored[where{strings.TrimPrefix(r.Station+"/"+r.Point, "/"), r.Millis}]++
	}
	h, err := history.Open(o.folder, history.Options{})
	o.must(err)
	defer h.Close()
	var all []history.Entry
	for {
		from := uint64(1)
		if len(all) > 0 {
			from = all[len(all)-1].Position + 1
		}
		more, err := h.From(from, 10000, nil)
		o.must(err)
		if len(more) == 0 {
			break
		}
		all = append(all, more...)
	}
	lost, twice, newest, gap := 0, 0, map[string]time.Duration{}, time.Duration(0)
	end := all[len(all)-1].Stamp
	for _, e := range all {
		if e.Stamp.Boot == end.Boot && e.Stamp.Mono > end.Mono-onTheWay {
			continue
		}
		switch n := stored[where{e.Point, e.Stamp.Wall.UnixMilli()}]; {
		case n == 0:
			lost++
		case n > 1:
			twice++
		}
		if e.Point == "tank-2/temperature" && e.Stamp.Boot == end.Boot { // read every 5 s, and nobody pulls it
			if before, known := newest[e.Point]; known {
				gap = max(gap, e.Stamp.Mono-before)
			}
			newest[e.Point] = e.Stamp.Mono
		}
	}
	o.Logf("%d readings in the history, %d rows in the store: %d missing there, %d twice; longest pause of a probe that nobody touched %v", len(all), len(rows), lost, twice, gap)
	if len(all) < 10000 || lost > 0 || twice > 0 || gap > 2*time.Minute {
		o.Error("not everything is there")
	}
}
