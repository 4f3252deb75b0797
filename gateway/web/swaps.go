package web

import (
	"context"
	"net/http"
	"strings"
)

// Crew stands for all people with the rights of the crew where somebody is away.
const Crew = "crew"

// Nobody stands for nobody where somebody is asked who stands in.
const Nobody = "nobody"

// Swapping is a change of the roster for a while, as somebody asks for it. Times are by the site's clock, "2026-12-24 18:00".
type Swapping struct {
	Away     string `json:"away"`   // a person of the rules file, or Crew
	Stands   string `json:"stands"` // who is called in that place; "" or Nobody: nobody
	From     string `json:"from"`
	To       string `json:"to"` // not included
	Why      string `json:"why"`
	Corrects int64  `json:"corrects"` // number of the entry that this one takes the place of; 0: a new one
	Withdraw bool   `json:"withdraw"` // the entry Corrects does not count, and nothing takes its place
	By       string `json:"by"`
}

// Swap is one that is in force or to come. Names are as people read them; times are Unix milliseconds.
type Swap struct {
	ID       int64    `json:"id"` // of its entry in the logbook
	Away     []string `json:"away"`
	Names    []string `json:"names"`          // of those away, as the rules file writes them
	Name     string   `json:"name,omitempty"` // of who stands in, likewise
	Crew     bool     `json:"crew,omitempty"`
	Stands   string   `json:"stands,omitempty"`
	From     int64    `json:"from"`
	To       int64    `json:"to"`
	InForce  bool     `json:"inForce"`
	Who      string   `json:"who"`
	Why      string   `json:"why,omitempty"`
	At       int64    `json:"at"` // when it was entered
	Corrects int64    `json:"corrects,omitempty"`
}

// Turn is a stretch of time in which a person is called by one step of a watch.
type Turn struct {
	Person string   `json:"person"`
	Watch  string   `json:"watch"`
	From   int64    `json:"from"`
	To     int64    `json:"to,omitempty"` // 0: it goes on beyond the 24 hours
	After  int64    `json:"after"`        // milliseconds since the first call
	By     []string `json:"by"`           // channels; none: her own
	For    string   `json:"for,omitempty"`
}

// Coming is what comes: the swaps, and the turns of the next 24 hours with the swaps in them.
type Coming struct {
	Swaps []Swap `json:"swaps"`
	Turns []Turn `json:"turns"`
}

// Swapped is a swap that was written down.
type Swapped struct {
	ID   int64  `json:"id"`
	Says string `json:"says"` // the line of the logbook
}

func (w *Web) serveSwaps(rw http.ResponseWriter, r *http.Request) {
	w.book(rw, r, func(context.Context, Books) (any, error) { return w.config.Books.Coming(), nil })
}

func (w *Web) serveSwap(rw http.ResponseWriter, r *http.Request) {
	var body Swapping
	if !readBody(rw, r, &body) {
		return
	}
	err := body.check()
	if err == nil {
		body.By, _, err = w.speaks(r.Context(), body.By, Swaps)
	}
	if err != nil {
		status, kind, says := w.refusal(err)
		refuse(rw, status, kind, says)
		return
	}
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) { return b.Swap(ctx, body) })
}

func (s *Swapping) check() error {
	if s.Stands == Nobody {
		s.Stands = ""
	}
	switch {
	case s.Withdraw && s.Corrects < 1:
		return &Refusal{RefusedInput, "Say the number of the entry that is taken back."}
	case s.Withdraw:
	case strings.TrimSpace(s.Away) == "":
		return &Refusal{RefusedInput, "Say who is away: a person, or crew."}
	case s.Away == s.Stands:
		return &Refusal{RefusedInput, "Nobody stands in for himself."}
	case s.From == "" || s.To == "":
		return &Refusal{RefusedInput, "Say from when to when, for example 2026-12-24 18:00."}
	}
	if len(s.Why) > maxText || len(s.From) > maxText || len(s.To) > maxText {
		return &Refusal{RefusedInput, "That is too long."}
	}
	return nil
}
