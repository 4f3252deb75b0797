package metrics

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

func look(r *Registry, accept string) *httptest.ResponseRecorder {
	q := httptest.NewRequest(http.MethodGet, "/metrics", nil)
	q.Header.Set("Accept", accept)
	w := httptest.NewRecorder()
	r.Handler(time.Minute).ServeHTTP(w, q)
	return w
}

func example() *Registry {
	r := new(Registry)
	f := r.Counter("mill_calls_total", "Calls.", "priority", "way")
	f.With("low", "text").Inc()
	f.With("high", `C:\DIR\FILE.TXT`).Add(2)
	f.With("high", `C:\DIR\FILE.TXT`).Add(-5)
	f.With("high", "Cannot find file:\n\"FILE.TXT\"")
	h := r.Histogram("mill_wait_seconds", "A \"wait\".\nIn seconds.", 0.5, 1, 60)
	for _, v := range []float64{0.25, 0.5, 0.75, 30, 61} {
		h.Observe(v)
	}
	r.Show(func(p *Page) {
		p.Gauge("mill_age_seconds", "Age.", 1.5, "point", "a")
		p.Gauge("mill_age_seconds", "Age.", 8, "point", "b")
		p.Gauge("mill_set", "Set.", 1)
	})
	return r
}

// Aim: the page is as the two formats say; escapes are those of the worked example in "Exposition formats" (version 0.0.4: C:\\DIR\\FILE.TXT, Cannot find file:\n\"FILE.TXT\"),
// buckets count all below them, and bounds are fractions in OpenMetrics 1.0. promtool checks the whole page of the gateway in gateway/web.
func TestRegistry_page(t *testing.T) {
	plain := `# HELP mill_calls_total Calls.
# TYPE mill_calls_total counter
mill_calls_total{priority="high",way="C:\\DIR\\FILE.TXT"} 2
mill_calls_total{priority="high",way="Cannot find file:\n\"FILE.TXT\""} 0
mill_calls_total{priority="low",way="text"} 1
# HELP mill_wait_seconds A "wait".\nIn seconds.
# TYPE mill_wait_seconds histogram
mill_wait_seconds_bucket{le="0.5"} 2
mill_wait_seconds_bucket{le="1"} 3
mill_wait_seconds_bucket{le="60"} 4
mill_wait_seconds_bucket{le="+Inf"} 5
mill_wait_seconds_sum 92.5
mill_wait_seconds_count 5
# HELP mill_age_seconds Age.
# TYPE mill_age_seconds gauge
mill_age_seconds{point="a"} 1.5
mill_age_seconds{point="b"} 8
# HELP mill_set Set.
# TYPE mill_set gauge
mill_set 1
`
	if got := look(example(), "text/plain").Body.String(); got != plain {
		t.Errorf("got\n%s\nwant\n%s", got, plain)
	}
	open := strings.NewReplacer("# HELP mill_calls_total", "# HELP mill_calls", "# TYPE mill_calls_total", "# TYPE mill_calls", `A "wait".`, `A \"wait\".`,
		`le="1"`, `le="1.0"`, `le="60"`, `le="60.0"`).Replace(plain) + "# EOF\n"
	if got := look(example(), "application/openmetrics-text;version=1.0.0;q=0.6,text/plain;version=0.0.4;q=0.3").Body.String(); got != open {
		t.Errorf("got\n%s\nwant\n%s", got, open)
	}
}

// Aim: what the program itself uses is there, and more than nothing.
func TestProcess(t *testing.T) {
	r := new(Registry)
	r.Show(Process)
	text := look(r, "").Body.String()
	for _, name := range []string{"go_goroutines", "go_memstats_heap_alloc_bytes", "process_resident_memory_bytes", "process_virtual_memory_bytes", "process_open_fds"} {
		_, after, found := strings.Cut(text, "\n"+name+" ")
		if value, _, _ := strings.Cut(after, "\n"); !found || value == "0" || value == "" {
			t.Errorf("%s is %q in\n%s", name, value, text)
		}
	}
}

// Aim: a look that takes too long is given up, so that a gateway that hangs is seen; more than two at a time are sent away, so that it is not buried in looks.
func TestHandler_bounds(t *testing.T) {
	r := new(Registry)
	hold := make(chan struct{})
	defer close(hold)
	r.Show(func(*Page) { <-hold })
	h := r.Handler(time.Second)
	for range atOnce {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
		if w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "in time") {
			t.Errorf("a page that hangs: %d %s", w.Code, w.Body)
		}
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "others") {
		t.Errorf("one more: %d %s", w.Code, w.Body)
	}
}
