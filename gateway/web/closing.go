package web

import (
	"context"
	"net/http"
)

// Closing is an occurrence that is over and acknowledged, and of which nobody has said yet what it was. Times are Unix milliseconds.
type Closing struct {
	Alarm      string `json:"alarm"`
	Occurrence int64  `json:"occurrence"`
	Title      string `json:"title"`
	Place      string `json:"place"`
	Station    string `json:"station,omitempty"`
	From       int64  `json:"from"`
	To         int64  `json:"to"`
	Who        string `json:"who"` // who acknowledged it
}

func (w *Web) serveClosing(rw http.ResponseWriter, r *http.Request) {
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) {
		list, err := b.Closings(ctx)
		t := w.tongue(r)
		return *each(&list, func(c Closing) Closing { c.Title = t.or(t.ofSite(c.Alarm).Title, c.Title); return c }), err
	})
}
