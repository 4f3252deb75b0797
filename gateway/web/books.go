package web

import (
	"context"
	"errors"
	"net/http"
	"time"
)

// Books answers what the live stream does not carry: what was, and what stands in the rules file. gateway/floor implements it.
type Books interface {
	// Way gives the stays that touch the time from..to, and the alarms annunciated and acts done in it, all oldest first.
	Way(ctx context.Context, from, to time.Time) (Way, error)
	// Search gives lines of the record, newest first.
	Search(ctx context.Context, s Search) ([]Line, error)
	// Closings gives the occurrences that are over and acknowledged, and of which nobody has said yet what they were.
	Closings(ctx context.Context) ([]Closing, error)
	// Register gives the alarms and prompts of the rules in force, one entry for all places at which they are the same.
	Register() []Registered
	// Rates gives how much the alarms asked of people in the last days, and what is aimed at.
	Rates(ctx context.Context, days int) (Rates, error)
	// Watches gives who is called, when and by what.
	Watches() []Watch
	// Coming gives the swaps in force and to come, and who is called in the next 24 hours.
	Coming() Coming
	// Swap writes a change of the roster down and puts it in force. What is wrong with it is a *Refusal.
	Swap(ctx context.Context, s Swapping) (Swapped, error)
	// Probes gives every probe with its health, its last raw words and its calibrations, newest first.
	Probes(ctx context.Context) ([]Probe, error)
	// Calibration tells how a probe stands while references are held to it; channel "" is its first. An unknown one is a *Refusal.
	Calibration(ctx context.Context, probe, channel string) (Calibrating, error)
	// Worked tells how a point is worked out that no probe gives; false: nothing is to be told of it.
	Worked(point string) (Worked, bool)
	// Calibrate judges what was taken and writes it down, accepted or refused. Who may not, and a probe that does not answer, are a *Refusal.
	Calibrate(ctx context.Context, c Calibrate) (Calibrated, error)
	// Rules gives the site's own rules files.
	Rules() (Rules, error)
	// CheckRules says what the checker says if one file had another text. A file that the site does not have is a *Refusal.
	CheckRules(name, text string) ([]Said, error)
	// SaveRules writes a file that checks and puts it in force by the one way of a reload; else it gives what the checker says, and writes nothing.
	SaveRules(ctx context.Context, e Edit) ([]Said, error)
	// Scan looks what is wired to the board, and touches nothing that stands in the rules. While somebody else looks it is a *Refusal.
	Scan(ctx context.Context, by string) (Wired, error)
	// CheckProbe says what the checker says if the rules had one probe more. A text that is not one probe is a *Refusal.
	CheckProbe(block string) (ProbeSaid, error)
	// AddProbe writes a probe that checks into the main rules file and puts it in force, as SaveRules does.
	AddProbe(ctx context.Context, p NewProbe) (ProbeSaid, error)
}

// Worked is how a point is worked out that no probe gives. Formula, source and rhythm are in English, as they stand in the sources and the rules.
type Worked struct {
	From    []string `json:"from,omitempty"` // points
	Formula string   `json:"formula,omitempty"`
	Source  string   `json:"source,omitempty"`
	When    string   `json:"when,omitempty"`
}

// Way is the way of the lots through the stations. All times are Unix milliseconds of the wall clock; 0 is none.
type Way struct {
	From  int64  `json:"from"`
	To    int64  `json:"to"`
	Stays []Stay `json:"stays"`
	Marks []Mark `json:"marks"`
	Acts  []Line `json:"acts"`
}

// Stay is one lot's time on one station.
type Stay struct {
	Station   string  `json:"station"`
	Lot       string  `json:"lot"`
	From      int64   `json:"from"`
	To        int64   `json:"to,omitempty"` // 0: it lasts
	Loaded    float64 `json:"kg,omitempty"` // 0: not weighed
	Unloaded  float64 `json:"unloaded,omitempty"`
	Who       string  `json:"who"`
	EmptiedBy string  `json:"emptiedBy,omitempty"`
	Note      string  `json:"note,omitempty"`
}

// Mark is one annunciation of an alarm.
type Mark struct {
	Alarm    string `json:"alarm"`
	Title    string `json:"title"`
	Station  string `json:"station"`
	Priority string `json:"priority"`
	At       int64  `json:"at"`
}

// kindNote is the kind of a line in which a person may have written.
const kindNote = "note"

// Lines of these kinds say why in the words of a person.
const kindLot, kindCalibration = "lot", "calibration"

// Line is one line of the record.
type Line struct {
	ID         int64  `json:"id"`
	At         int64  `json:"at"`
	Set        bool   `json:"set"` // the wall clock was right
	Kind       string `json:"kind"`
	Alarm      string `json:"alarm,omitempty"`
	Occurrence int64  `json:"occurrence,omitempty"`
	Place      string `json:"place,omitempty"`
	Lot        string `json:"lot,omitempty"`
	Who        string `json:"who,omitempty"`
	Why        string `json:"why,omitempty"`
	State      string `json:"state,omitempty"` // transition: into which state
	Title      string `json:"title,omitempty"` // of the alarm, in the language of who asks
	Text       string `json:"text"`
}

// bookWait bounds one look into the books. Chosen: a phone waits no longer, and the record's own bound is four times that.
const bookWait = 5 * time.Second

// book answers with what get finds in the books.
func (w *Web) book(rw http.ResponseWriter, r *http.Request, get func(context.Context, Books) (any, error)) {
	w.bookWithin(rw, r, bookWait, get)
}

func (w *Web) bookWithin(rw http.ResponseWriter, r *http.Request, wait time.Duration, get func(context.Context, Books) (any, error)) {
	if w.config.Books == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "This gateway keeps no books.")
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), wait)
	defer cancel()
	got, err := get(ctx, w.config.Books)
	var refused *Refusal
	switch {
	case errors.As(err, &refused):
		status, kind, says := w.refusal(err)
		refuse(rw, status, kind, says)
	case err != nil:
		w.config.Log.Error("books not read", "path", r.URL.Path, "cause", err)
		refuse(rw, http.StatusInternalServerError, RefusedState, "The record could not be read. Try again, and tell the technician.")
	default:
		reply(rw, encode(got))
	}
}

func (w *Web) serveWay(rw http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	s, err := readSpan(q.Get("from"), q.Get("to"), "", time.UnixMilli(w.live.now().frame.Wall))
	if err != nil {
		refuse(rw, http.StatusBadRequest, RefusedInput, err.Error())
		return
	}
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) {
		way, err := b.Way(ctx, s.from, s.to)
		t := w.tongue(r)
		way.Acts = *each(&way.Acts, t.line)
		way.Marks = *each(&way.Marks, func(m Mark) Mark { m.Title = t.or(t.ofSite(m.Alarm).Title, m.Title); return m })
		return way, err
	})
}
