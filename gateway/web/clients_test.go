package web

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	goruntime "runtime"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/heapprofiler"
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

// BenchmarkEightHours is the page left open for eight hours, 28,800 events, played fast: how much its memory has grown between the first hour and
// the last, each after a collection.
func BenchmarkEightHours(b *testing.B) {
	f := newFake()
	w, err := New(Config{Model: f, Acts: f, Health: f, Books: f, History: f, Open: true})
	if err != nil {
		b.Fatal(err)
	}
	s := httptest.NewServer(w.Handler())
	defer s.Close()
	defer w.live.dropAll()
	tab := browser.Open(b, index)
	must(b, chromedp.Do(tab, chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.URL+"/")))
	browser.See(tab, b, `document.querySelectorAll(".way .number").length > 5`)
	heap := func() float64 {
		_, err := chromedp.Call(tab, heapprofiler.CollectGarbage, cdp.Empty{})
		must(b, err)
		used, err := chromedp.Call(tab, jsruntime.GetHeapUsage, cdp.Empty{})
		must(b, err)
		return used.UsedSize
	}
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
		hour()
		first := heap()
		for range 7 {
			hour()
		}
		last := heap()
		b.ReportMetric(first/1000, "kB/first-hour")
		b.ReportMetric(last/1000, "kB/last-hour")
	}
}
