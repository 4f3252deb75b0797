package web

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"net/url"
)

// Records makes documents about lots. gateway/floor implements it.
type Records interface {
	// Record makes the record of a lot in a form, or refuses with a *Refusal. It may take seconds.
	Record(ctx context.Context, lot, form string) (Document, error)
}

// Forms of a record.
const (
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
	d, err := w.config.Records.Record(r.Context(), lot, form)
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
