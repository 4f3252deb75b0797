package web

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// Search chooses lines of the record; what is zero chooses all.
type Search struct {
	Words             string
	Kind              string // several with commas between
	Alarm, Place, Lot string
	From, To          time.Time
	Before            int64 // only lines with a smaller ID
	Limit             int
}

// Registered is one alarm or prompt of the register. Lengths of time are milliseconds.
type Registered struct {
	Name          string   `json:"name"`
	Kind          string   `json:"kind"` // "alarm" or "prompt"
	Title         string   `json:"title"`
	Places        []string `json:"places"`
	Priority      string   `json:"priority,omitempty"`
	Class         string   `json:"class,omitempty"`
	When          string   `json:"when"`
	While         string   `json:"while,omitempty"`
	Limits        []string `json:"limits"`
	OnDelay       int64    `json:"onDelay,omitempty"`
	OffDelay      int64    `json:"offDelay,omitempty"`
	Latching      bool     `json:"latching,omitempty"`
	Cause         string   `json:"cause,omitempty"`
	Consequence   string   `json:"consequence,omitempty"`
	Action        string   `json:"action"`
	Caution       string   `json:"caution,omitempty"`
	RespondWithin int64    `json:"respondWithin,omitempty"`
	Shelvable     int64    `json:"shelvable,omitempty"`
	Call          []string `json:"call"`
	Source        string   `json:"source,omitempty"`
	Written       string   `json:"written"` // file and line
}

// Rates is how much the alarms asked of people.
type Rates struct {
	From    int64    `json:"from"`
	To      int64    `json:"to"`
	Enough  bool     `json:"enough"` // at least 30 days
	Figures []Figure `json:"figures"`
	Top     []Count  `json:"top"`
	Chatter []Count  `json:"chattering"`
	Stale   []Count  `json:"stale"`
}

// Figure is one figure with what is aimed at. Name is one of the words that the page knows; the numbers are shares where Share is set.
type Figure struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Share bool    `json:"share,omitempty"`
	Most  float64 `json:"most"` // the goal: at most so much; below 0: none
	Ours  bool    `json:"ours,omitempty"`
}

// Count is how often something was so.
type Count struct {
	Alarm string `json:"alarm"`
	Title string `json:"title"` // in the language of who asks
	Times int    `json:"times"`
}

// Watch is who is called at which hours.
type Watch struct {
	Name          string      `json:"name"`
	Title         string      `json:"title"`
	OnDuty        bool        `json:"onDuty"`
	Hours         []string    `json:"hours"` // "18:00-06:00"; none: always
	Takes         []string    `json:"takes"` // priorities; none: all
	Areas         []string    `json:"areas"`
	OnlyWhenNamed bool        `json:"onlyWhenNamed,omitempty"`
	Present       bool        `json:"present,omitempty"`
	Digest        string      `json:"digest,omitempty"` // hour at which priority low is told in one message
	Repeat        int64       `json:"repeat"`
	Steps         []WatchStep `json:"steps"`
}

// WatchStep is one step of a watch, counted from the first call.
type WatchStep struct {
	After  int64    `json:"after"`
	People []string `json:"people"`
	By     []string `json:"by"` // channels; none: each person's own
}

// Probe is one probe of the rules file.
type Probe struct {
	Name         string        `json:"name"`
	Title        string        `json:"title"`
	Part         string        `json:"part"`
	Bus          string        `json:"bus"`
	Points       []string      `json:"points"`
	Every        int64         `json:"every"`
	Mounted      string        `json:"mounted,omitempty"`
	Heard        int64         `json:"heard,omitempty"`  // monotonic milliseconds, as in a frame: of the newest poll that brought something
	Raw          string        `json:"raw,omitempty"`    // its raw words in hexadecimal
	Fault        string        `json:"fault,omitempty"`  // why the newest poll brought nothing
	Misses       int64         `json:"misses,omitempty"` // polls that brought nothing, since the start
	CheckEvery   int64         `json:"checkEvery,omitempty"`
	Calibrations []Calibration `json:"calibrations"`
}

// Calibration is one check of a probe against references.
type Calibration struct {
	At      int64    `json:"at"` // Unix milliseconds
	Kind    string   `json:"kind"`
	Channel string   `json:"channel,omitempty"`
	Points  []string `json:"points"` // "7.00 read 7.02"
	Who     string   `json:"who"`
	Note    string   `json:"note,omitempty"`
}

// Bounds of a search. Chosen: a page of a phone, and what a person scrolls through.
const (
	usualLines = 100
	mostLines  = 500
	maxDays    = 3660
)

// readSearch reads what a query asks for.
func readSearch(q map[string][]string) (s Search, err error) {
	get := func(key string) string {
		if v := q[key]; len(v) > 0 {
			return v[0]
		}
		return ""
	}
	s = Search{Words: strings.TrimSpace(get("words")), Kind: get("kind"), Alarm: get("alarm"), Place: get("place"), Lot: get("lot"), Limit: usualLines}
	for key, into := range map[string]*time.Time{"from": &s.From, "to": &s.To} {
		if text := get(key); text != "" {
			if *into, err = time.Parse(time.RFC3339, text); err != nil {
				return s, errors.New(key + " needs a time, for example 2026-11-25T02:17:00Z")
			}
		}
	}
	if text := get("before"); text != "" {
		if s.Before, err = strconv.ParseInt(text, 10, 64); err != nil || s.Before < 1 {
			return s, errors.New("before is the number of a line")
		}
	}
	if text := get("limit"); text != "" {
		if s.Limit, err = strconv.Atoi(text); err != nil || s.Limit < 1 || s.Limit > mostLines {
			return s, errors.New("limit goes from 1 to " + strconv.Itoa(mostLines))
		}
	}
	if len(s.Words) > maxText {
		return s, errors.New("that is too long to search for")
	}
	return s, nil
}

func (w *Web) serveLogbook(rw http.ResponseWriter, r *http.Request) {
	s, err := readSearch(r.URL.Query())
	if err != nil {
		refuse(rw, http.StatusBadRequest, RefusedInput, err.Error())
		return
	}
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) {
		lines, err := b.Search(ctx, s)
		return *each(&lines, w.tongue(r).line), err
	})
}

func (w *Web) serveRegister(rw http.ResponseWriter, r *http.Request) {
	w.book(rw, r, func(_ context.Context, b Books) (any, error) {
		t, list := w.tongue(r), b.Register()
		return *each(&list, func(one Registered) Registered {
			one = t.registered(one)
			one.Title = titled(one.Title)
			return one
		}), nil
	})
}

func (w *Web) serveRates(rw http.ResponseWriter, r *http.Request) {
	days := 30
	if text := r.URL.Query().Get("days"); text != "" {
		var err error
		if days, err = strconv.Atoi(text); err != nil || days < 1 || days > maxDays {
			refuse(rw, http.StatusBadRequest, RefusedInput, "days goes from 1 to "+strconv.Itoa(maxDays))
			return
		}
	}
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) {
		rates, err := b.Rates(ctx, days)
		t := w.tongue(r)
		rates.Top, rates.Chatter, rates.Stale = t.counts(rates.Top), t.counts(rates.Chatter), t.counts(rates.Stale)
		return rates, err
	})
}

func (w *Web) serveWatches(rw http.ResponseWriter, r *http.Request) {
	w.book(rw, r, func(_ context.Context, b Books) (any, error) { return some(b.Watches()), nil })
}

func (w *Web) serveProbes(rw http.ResponseWriter, r *http.Request) {
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) {
		probes, err := b.Probes(ctx)
		return *each(&probes, w.tongue(r).probe), err
	})
}

// some is a list that is never null.
func some[T any](list []T) []T { return append([]T{}, list...) }
