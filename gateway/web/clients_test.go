package web

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	goruntime "runtime"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/memory"
	jsruntime "github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
)

// BenchmarkClients is one second of fifty screens that look at a mill, over real connections: what a tick costs, as a share of a core, and the
// memory each screen takes on the gateway.
func BenchmarkClients(b *testing.B) {
	const screens = 50
	f := many(50)
	w, err := New(Config{Model: f, Acts: f, Health: f, Open: true})
	if err != nil {
		b.Fatal(err)
	}
	s := httptest.NewServer(w.Handler())
	defer s.Close()
	defer w.live.dropAll()
	memory := func() uint64 {
		var m goruntime.MemStats
		goruntime.GC()
		goruntime.ReadMemStats(&m)
		return m.HeapInuse + m.StackInuse
	}
	before := memory()
	ctx, cancel := context.WithCancel(b.Context())
	defer cancel()
	opened := make(chan error, 2*screens)
	for range screens {
		go func() { opened <- look(ctx, s.URL+"/api/live?begin=changes", opened) }()
	}
	for range screens {
		if err := <-opened; err != nil {
			b.Fatal(err)
		}
	}
	taken := float64(memory()-before) / screens / 1000 // both ends of the connection are in this process
	for i := 0; b.Loop(); i++ {
		f.pass(time.Second)
		f.change(func(s *Snapshot) {
			for k := range s.Points {
				s.Points[k].Reading.Value, s.Points[k].Reading.Stamp = float64(20+i%5), s.Now
			}
		})
		w.live.feed()
		time.Sleep(time.Millisecond) // the writers take it; a real second leaves them a thousand times as long
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e9*100, "%core")
	b.ReportMetric(taken, "kB/screen")
}

// look opens a stream, tells so, and reads until it ends.
func look(ctx context.Context, url string, opened chan<- error) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	opened <- nil
	_, _ = io.Copy(io.Discard, answer.Body)
	return nil
}

// BenchmarkWeekDrawn is the script that a week of one point takes in the browser, in as many columns as the drawing is wide: reading the answer, and
// drawing it; on this machine and on a processor four times slower.
func BenchmarkWeekDrawn(b *testing.B) {
	url := served(b, newFake())
	for b.Loop() {
		for _, slower := range []float64{1, 4} {
			tab := browser.Open(b, index)
			must(b, chromedp.Do(tab, chromedp.EmulateViewport(1440, 900)))
			_, err := chromedp.Call(tab, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: slower})
			must(b, err)
			must(b, chromedp.Do(tab, chromedp.Navigate(url+"/point/tank-1/ph")))
			browser.See(tab, b, `document.querySelector(".chart canvas")`)
			browser.Press(tab, b, `//button[normalize-space()="7 d"]`)
			browser.See(tab, b, `performance.getEntriesByType("resource").some((e) => {
				const q = new URL(e.name).searchParams; return q.get("columns") > 1000 && new Date(q.get("to")) - new Date(q.get("from")) >= 6e8 && e.responseEnd > 0 })`)
			const took = `((n) => performance.getEntriesByName(n).at(-1)?.duration ?? 0)`
			browser.See(tab, b, took+`("curve: draw") > 0 && performance.getEntriesByName("curve: draw").at(-1).startTime > performance.getEntriesByName("curve: read").at(-1).startTime`)
			ms, err := chromedp.Run(tab, chromedp.Evaluate[float64](took+`("curve: read") + `+took+`("curve: draw")`))
			must(b, err)
			b.ReportMetric(ms, map[float64]string{1: "ms/week", 4: "ms/week-slow"}[slower])
		}
	}
}

// BenchmarkEightHours is the page left open for a day, 86,400 events, played fast: what it holds after one, eight, 16 and 24 hours, each after a
// collection, and by how much an hour it still grows between the last two. What the page holds is full within the first hour: documents, nodes and
// listeners must stand still from then on. The browser itself goes on filling for some hours, seen in snapshots of its heap: machine code of what it finds
// to run often, and its bounded lists of long frames and of what was fetched.
func BenchmarkEightHours(b *testing.B) {
	f := newFake()
	w, err := New(Config{Model: f, Acts: f, Health: f, Books: f, History: f, Open: true})
	if err != nil {
		b.Fatal(err)
	}
	s := httptest.NewServer(w.Handler())
	defer s.Close()
	defer w.live.dropAll()
	tab := browser.OpenFor(b, index, time.Hour)
	must(b, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.URL+"/")))
	browser.See(tab, b, `document.querySelectorAll(".way .number").length > 5`)
	hour := func() {
		for i := range 3600 {
			f.pass(time.Second)
			f.change(func(s *Snapshot) {
				for k := range s.Points {
					s.Points[k].Reading.Stamp = s.Now
				}
				s.Points[0].Reading.Value = 5 + float64(i%10)/100
			})
			w.live.feed()
			time.Sleep(2 * time.Millisecond)
		}
	}
	for b.Loop() {
		at := map[int]held{}
		for h := 1; h <= 24; h++ {
			hour()
			switch h {
			case 1, 8, 16, 24:
				at[h] = holds(tab, b)
				b.ReportMetric(at[h].kB, fmt.Sprintf("kB/hour-%d", h))
			}
			if first := at[1]; h == 24 && (at[h].documents != first.documents || at[h].nodes > first.nodes || at[h].listeners > first.listeners) {
				b.Errorf("after %d hours it holds %+v, after the first %+v: documents, nodes and listeners must not grow", h, at[h], first)
			}
		}
		b.ReportMetric((at[24].kB-at[16].kB)/8, "kB-more/hour")
	}
}

// held is what a page holds after a collection.
type held struct {
	kB                          float64 // of its heap
	documents, nodes, listeners int64
}

func holds(tab context.Context, t testing.TB) held {
	t.Helper()
	for range 2 { // what the first one lets go of may hold more
		_, err := chromedp.Call(tab, heapprofiler.CollectGarbage, cdp.Empty{})
		must(t, err)
	}
	used, err := chromedp.Call(tab, jsruntime.GetHeapUsage, cdp.Empty{})
	must(t, err)
	dom, err := chromedp.Call(tab, memory.GetDOMCounters, cdp.Empty{})
	must(t, err)
	return held{used.UsedSize / 1000, dom.Documents, dom.Nodes, dom.JsEventListeners}
}
