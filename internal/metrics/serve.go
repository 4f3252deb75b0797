package metrics

import (
	"net/http"
	"strings"
	"time"
)

// atOnce is how many looks at the page are answered at a time. Chosen: two scrapers; more that wait would only pile up.
const atOnce = 2

// Handler serves the page; a look that takes longer than limit is given up, and told so.
func (r *Registry) Handler(limit time.Duration) http.Handler {
	free := make(chan struct{}, atOnce)
	page := http.HandlerFunc(func(rw http.ResponseWriter, req *http.Request) {
		select {
		case free <- struct{}{}:
			defer func() { <-free }()
		default:
			http.Error(rw, "others are being answered: try again", http.StatusServiceUnavailable)
			return
		}
		open := wantsOpen(req.Header.Values("Accept"))
		kind := "text/plain; version=0.0.4; charset=utf-8"
		if open {
			kind = "application/openmetrics-text; version=1.0.0; charset=utf-8"
		}
		text := r.write(open)
		rw.Header().Set("Content-Type", kind)
		_, _ = rw.Write(text) // who asked may be gone
	})
	return http.TimeoutHandler(page, limit, "the gateway did not answer in time")
}

// wantsOpen tells whether OpenMetrics 1.0 is asked for.
func wantsOpen(accept []string) bool {
	for _, kind := range strings.Split(strings.Join(accept, ","), ",") {
		name, details, _ := strings.Cut(strings.ReplaceAll(kind, " ", ""), ";")
		if name == "application/openmetrics-text" && !strings.Contains(details, "version=0.") {
			return true
		}
	}
	return false
}
