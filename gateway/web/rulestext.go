package web

import (
	"context"
	"net/http"
	"slices"
	"strings"
)

// Rules is the text that stands in force.
type Rules struct {
	Files []RulesFile `json:"files"`
	Hash  string      `json:"hash"` // of the rules in force, built-in ones included
}

// RulesFile is one file of the site's own.
type RulesFile struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// Said is one thing the checker says. Line and Column count from 1, Column and Width in characters; File may be a built-in one.
type Said struct {
	Severity string `json:"severity"` // "error", "warning" or "note"
	File     string `json:"file"`
	Line     int    `json:"line"`
	Column   int    `json:"column"`
	Width    int    `json:"width"`
	Summary  string `json:"summary"`
	Detail   string `json:"detail,omitempty"`
}

// Edit is a file with its new text.
type Edit struct {
	Name string `json:"name"`
	Was  string `json:"was"` // the text it was made from: what somebody else has changed meanwhile is not written over
	Text string `json:"text"`
	By   string `json:"by"`
}

// maxRules bounds the body of an edit: old text and new. Chosen: some times the longest of the examples.
const maxRules = 1 << 20

// bodyBound is how long the body of a request may be.
func bodyBound(r *http.Request) int64 {
	if strings.HasPrefix(r.URL.Path, "/api/rules") {
		return maxRules
	}
	return maxBody
}

func (w *Web) serveRules(rw http.ResponseWriter, r *http.Request) {
	w.book(rw, r, func(_ context.Context, b Books) (any, error) { return b.Rules() })
}

func (w *Web) serveCheck(rw http.ResponseWriter, r *http.Request) {
	var e Edit
	if !readBody(rw, r, &e) {
		return
	}
	w.book(rw, r, func(_ context.Context, b Books) (any, error) {
		said, err := b.CheckRules(e.Name, e.Text)
		return saved{said: some(said)}.wire(), err
	})
}

func (w *Web) serveSave(rw http.ResponseWriter, r *http.Request) {
	var e Edit
	if !readBody(rw, r, &e) {
		return
	}
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) {
		var err error
		if e.By, _, err = w.speaks(ctx, e.By, Write); err != nil {
			return nil, err
		}
		said, err := b.SaveRules(ctx, e)
		return saved{some(said), err == nil && !slices.ContainsFunc(said, func(s Said) bool { return s.Severity == "error" })}.wire(), err
	})
}

type saved struct {
	said []Said
	done bool
}

func (s saved) wire() any {
	return struct {
		Said []Said `json:"said"`
		Done bool   `json:"done"` // it was written and is in force
	}{s.said, s.done}
}
