package web

import (
	"net/http"
	"time"
)

// stuck is how long the page's own look at the model may take before that counts as a worker that stands still.
const stuck = 5 * time.Second

type wireWorker struct {
	Name    string  `json:"name"`
	Stands  bool    `json:"stands"`
	Beat    float64 `json:"beat_seconds"`
	Because string  `json:"because,omitempty"`
}

// serveHealth answers 200 while every worker moves, else 503; the body says which does not. It takes no lock that a worker could hold.
func (w *Web) serveHealth(rw http.ResponseWriter, r *http.Request) {
	body := struct {
		Well    bool         `json:"well"`
		Workers []wireWorker `json:"workers"`
	}{true, []wireWorker{}}
	add := func(k Worker) {
		body.Well = body.Well && !k.Stands
		body.Workers = append(body.Workers, wireWorker{k.Name, k.Stands, k.Beat.Seconds(), k.Because})
	}
	for _, k := range w.config.Health.Workers() {
		add(k)
	}
	page := Worker{Name: "page model", Beat: w.live.asking()}
	if page.Stands = page.Beat > stuck; page.Stands {
		page.Because = "it waits for an answer about what stands"
	}
	add(page)
	status := http.StatusOK
	if !body.Well {
		status = http.StatusServiceUnavailable
	}
	if !w.holdsSession(r) {
		body.Workers = body.Workers[:0] // who is not logged in learns whether all is well, no more [EN 303 645 5.6-2]
	}
	replyAs(rw, status, encode(body))
}
