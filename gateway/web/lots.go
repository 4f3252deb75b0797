package web

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/logbook/lots"
	"millwarden/internal/saying"
)

// Lots is the book of lots. gateway/floor implements it.
type Lots interface {
	// Enter enters a step, with its line in the logbook written, or refuses it with a *Refusal. It may be called by many goroutines.
	Enter(ctx context.Context, e Entering) (Entered, error)
	// Lots lists all lots, those last begun first.
	Lots() []lots.Line
	// Lot shows one lot whole, false if there is none.
	Lot(name string) (lots.Shown, bool)
}

// Entering is a step that a person enters.
type Entering struct {
	By   string // name of a person of the rules file
	Step lots.Step
}

// Entered is what became of it.
type Entered struct {
	Entry int64    `json:"entry"` // its number in the record
	Text  string   `json:"text"`  // as it stands there
	Look  []string `json:"look"`  // what should be looked at again, though it was taken
}

// enteredStep is the body of POST /api/lots: the step's own fields, who, and when as RFC 3339.
type enteredStep struct {
	lots.Step
	By      string       `json:"by"`
	When    string       `json:"when"`
	Instead *insteadStep `json:"instead"`
}

// insteadStep is a step that stands in for another.
type insteadStep struct {
	lots.Step
	When string `json:"when"`
}

func (w *Web) serveLots(rw http.ResponseWriter, r *http.Request) {
	if w.config.Lots == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "This gateway keeps no book of lots.")
		return
	}
	list, only := []lots.Line{}, r.URL.Query().Get("standing") != ""
	for _, line := range w.config.Lots.Lots() {
		if !only || line.Station != "" {
			list = append(list, line)
		}
	}
	reply(rw, encode(list))
}

func (w *Web) serveLot(rw http.ResponseWriter, r *http.Request) {
	if w.config.Lots != nil {
		if lot, found := w.config.Lots.Lot(r.PathValue("lot")); found {
			if w.language(r) == spanish {
				inSpanish(&lot)
			}
			reply(rw, encode(lot))
			return
		}
	}
	refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no lot of that name.")
}

func (w *Web) serveStep(rw http.ResponseWriter, r *http.Request) {
	var body enteredStep
	if !readBody(rw, r, &body) {
		return
	}
	done, err := w.enterStep(r.Context(), &body)
	if err != nil {
		status, kind, says := w.refusal(err)
		refuse(rw, status, kind, says)
		return
	}
	say := bookWords(w.language(r))
	look := make([]string, len(done.Look))
	for i := range look {
		look[i] = say(done.Look[i])
	}
	done.Text, done.Look = say(done.Text), look
	reply(rw, encode(done))
}

// inSpanish gives the entries of a lot in Spanish. The book's own lists are left as they are.
func inSpanish(lot *lots.Shown) {
	lot.Steps, lot.Righted = slices.Clone(lot.Steps), slices.Clone(lot.Righted)
	for i := range lot.Steps {
		s := &lot.Steps[i]
		s.Text, s.Was = saying.In(spanish, s.Text), saying.In(spanish, s.Was)
	}
	for i := range lot.Righted {
		c := &lot.Righted[i]
		c.Text, c.Was = saying.In(spanish, c.Text), saying.In(spanish, c.Was)
	}
}

func (w *Web) enterStep(ctx context.Context, body *enteredStep) (done Entered, err error) {
	if w.config.Lots == nil {
		return done, &Refusal{RefusedUnknown, "This gateway keeps no book of lots."}
	}
	if body.By, _, err = w.speaks(ctx, body.By, Tend); err != nil {
		return done, err
	}
	step := body.Step
	step.Lot, step.Note = strings.TrimSpace(step.Lot), strings.TrimSpace(step.Note)
	if step.When, err = readWhen(body.When); err != nil {
		return done, err
	}
	if body.Instead != nil {
		instead := body.Instead.Step
		if instead.When, err = readWhen(body.Instead.When); err != nil {
			return done, err
		}
		step.Instead = &instead
	}
	if err := step.Valid(); err != nil {
		return done, &Refusal{RefusedInput, err.Error()}
	}
	return w.config.Lots.Enter(ctx, Entering{By: body.By, Step: step})
}

// readWhen reads when something was done; "" is now.
func readWhen(text string) (int64, error) {
	if text == "" {
		return 0, nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return 0, &Refusal{RefusedInput, "when is a time with its offset, for example 2026-11-25T05:10:00-05:00."}
	}
	return at.UnixMilli(), nil
}
