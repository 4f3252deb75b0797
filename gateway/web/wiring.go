package web

import (
	"context"
	"net/http"
	"time"
)

// Found is one thing on a bus of the board, or one that was left alone.
type Found struct {
	Bus   string   `json:"bus"`
	Place string   `json:"place"`
	What  string   `json:"what"`
	Parts []string `json:"parts,omitempty"` // kinds of part that it may be, the likeliest first
	Sure  string   `json:"sure"`            // "certain", "probable", "possible" or "unknown"
	Why   string   `json:"why"`             // what that rests on
	Known string   `json:"known,omitempty"` // the probe of the rules that has it
	Left  string   `json:"left,omitempty"`  // why it was not asked
	Block string   `json:"block,omitempty"` // ready for the rules
}

// Wired is what a look at the buses found.
type Wired struct {
	Found []Found  `json:"found"`
	Notes []string `json:"notes"` // what could not be looked at
}

// NewProbe is the block of a probe that is to stand in the rules.
type NewProbe struct {
	Block string `json:"block"`
	By    string `json:"by"`
}

// ProbeSaid is what the checker says to it. Of what is said of the block, File is "" and Line counts in Block.
type ProbeSaid struct {
	Block string `json:"block"` // as it would be written, or was
	Name  string `json:"name"`  // of the probe; "" while that cannot be read
	Said  []Said `json:"said"`
	Done  bool   `json:"done"` // it was written and is in force
}

// scanWait bounds a look at the buses. Chosen: 112 addresses on each of a few buses, each of which may time out in the kernel.
const scanWait = 25 * time.Second

// serveScan looks at the buses. It is no GET: something is sent on them.
func (w *Web) serveScan(rw http.ResponseWriter, r *http.Request) {
	var body struct {
		By string `json:"by"`
	}
	if !readBody(rw, r, &body) {
		return
	}
	w.bookWithin(rw, r, scanWait, func(ctx context.Context, b Books) (any, error) {
		by, _, err := w.speaks(ctx, body.By, Write)
		if err != nil {
			return nil, err
		}
		return b.Scan(ctx, by)
	})
}

func (w *Web) serveProbeCheck(rw http.ResponseWriter, r *http.Request) {
	var p NewProbe
	if !readBody(rw, r, &p) {
		return
	}
	w.book(rw, r, func(_ context.Context, b Books) (any, error) { return b.CheckProbe(p.Block) })
}

func (w *Web) serveProbeAdd(rw http.ResponseWriter, r *http.Request) {
	var p NewProbe
	if !readBody(rw, r, &p) {
		return
	}
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) {
		var err error
		if p.By, _, err = w.speaks(ctx, p.By, Write); err != nil {
			return nil, err
		}
		return b.AddProbe(ctx, p)
	})
}
