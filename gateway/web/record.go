package web

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"net/url"
	"time"
)

// Records makes documents about lots. gateway/floor implements it.
type Records interface {
	// Record makes the record of a lot in a form for a reader, or refuses with a *Refusal. It may take seconds.
	Record(ctx context.Context, lot, form string, to Reader) (Document, error)
	// Season compares the lots that began between two times, in JSON or CSV.
	Season(ctx context.Context, from, to time.Time, form string) (Document, error)
}

// Reader is who a document is for.
type Reader struct {
	Language string // "es"; any other is English
	Units    string // "us" or "metric"; "" those of the site
}

// seasonLong is how far back a season goes where nobody says; chosen: a harvest and its drying.
const seasonLong = 120 * 24 * time.Hour

func (w *Web) serveSeason(rw http.ResponseWriter, r *http.Request) { w.season(rw, r, FormJSON) }

func (w *Web) serveSeasonCSV(rw http.ResponseWriter, r *http.Request) { w.season(rw, r, FormCSV) }

func (w *Web) season(rw http.ResponseWriter, r *http.Request, form string) {
	q := r.URL.Query()
	now := time.UnixMilli(w.live.now().frame.Wall)
	from, to := q.Get("from"), q.Get("to")
	if from == "" {
		from = now.Add(-seasonLong).Format(time.RFC3339)
	}
	s, err := readSpan(from, to, "", now)
	if err != nil {
		refuse(rw, http.StatusBadRequest, RefusedInput, err.Error())
		return
	}
	if w.config.Records == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "This gateway makes no records.")
		return
	}
	d, err := w.config.Records.Season(r.Context(), s.from, s.to, form)
	if err != nil {
		status, kind, says := w.refusal(err)
		refuse(rw, status, kind, says)
		return
	}
	if form == FormJSON {
		reply(rw, d.Body)
		return
	}
	rw.Header().Set("Cache-Control", "no-store")
	rw.Header().Set("Content-Type", "text/csv; charset=utf-8")
	rw.Header().Set("Content-Disposition", "attachment; filename=season.csv")
	_, _ = rw.Write(d.Body) // the client has gone: nobody is left to be told
}

// Forms of a document.
const (
	FormJSON = "json"
	FormHTML = "html"
	FormCSV  = "csv"
)

// Document is one file that needs nothing besides itself.
type Document struct {
	Body  []byte
	Style string // the one style sheet that stands in it; "" none
}

func (w *Web) serveRecord(rw http.ResponseWriter, r *http.Request) { w.record(rw, r, FormHTML) }

func (w *Web) serveRecordCSV(rw http.ResponseWriter, r *http.Request) { w.record(rw, r, FormCSV) }

func (w *Web) record(rw http.ResponseWriter, r *http.Request, form string) {
	if w.config.Records == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "This gateway makes no records.")
		return
	}
	lot := r.PathValue("lot")
	q := r.URL.Query()
	d, err := w.config.Records.Record(r.Context(), lot, form, Reader{cmp.Or(q.Get("language"), w.language(r)), q.Get("units")})
	if err != nil {
		status, kind, says := w.refusal(err)
		refuse(rw, status, kind, says)
		return
	}
	h := rw.Header()
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Type", "text/html; charset=utf-8")
	if form == FormCSV {
		h.Set("Content-Type", "text/csv; charset=utf-8")
		h.Set("Content-Disposition", "attachment; filename*=UTF-8''lot-"+url.PathEscape(lot)+".csv")
	}
	if d.Style != "" {
		// The document carries its own style, and only that one may apply. [CSP level 3, hash source]
		sum := sha256.Sum256([]byte(d.Style))
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	}
	_, _ = rw.Write(d.Body) // the client has gone: nobody is left to be told
}
