package web

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"millwarden/internal/units"
)

// acknowledgement is the body of /api/acknowledge.
type acknowledgement struct {
	Alarm      string `json:"alarm"`
	Occurrence int64  `json:"occurrence"`
	By         string `json:"by"`
}

func (w *Web) serveAcknowledge(rw http.ResponseWriter, r *http.Request) {
	var body acknowledgement
	if !readBody(rw, r, &body) {
		return
	}
	w.act(rw, r, Act{Do: DoAcknowledge, Alarm: body.Alarm, Occurrence: body.Occurrence, By: body.By})
}

// asked is the body of /api/acts.
type asked struct {
	Do         string  `json:"do"`
	Alarm      string  `json:"alarm"`
	Occurrence int64   `json:"occurrence"`
	Station    string  `json:"station"`
	Lot        string  `json:"lot"`
	Kilograms  float64 `json:"kg"`
	By         string  `json:"by"`
	Why        string  `json:"why"`
	What       string  `json:"what"`
	Point      string  `json:"point"`
	Value      string  `json:"value"`  // enter: with its unit
	Person     string  `json:"person"` // drill: who is sent the exercise
	Second     string  `json:"second"`
	For        string  `json:"for"` // a duration of the rules language: "2 h"
}

func (w *Web) serveAct(rw http.ResponseWriter, r *http.Request) {
	var body asked
	if !readBody(rw, r, &body) {
		return
	}
	a := Act{Do: body.Do, Alarm: body.Alarm, Occurrence: body.Occurrence, Station: body.Station, Lot: body.Lot, Kilograms: body.Kilograms,
		By: body.By, Why: body.Why, What: body.What, Point: body.Point, Value: body.Value, Person: body.Person, Second: body.Second}
	if body.For != "" {
		amount, err := units.Parse(body.For, units.Duration)
		if err != nil {
			refuse(rw, http.StatusUnprocessableEntity, RefusedInput, "for needs a time, for example 2 h.")
			return
		}
		a.For = time.Duration(amount.Value * float64(time.Second))
	}
	w.act(rw, r, a)
}

// act checks what can be checked here and hands it on.
func (w *Web) act(rw http.ResponseWriter, r *http.Request, a Act) {
	err := a.check()
	if err == nil {
		a.By, a.Via, err = w.speaks(r.Context(), a.By, RightOf(a.Do))
	}
	if err == nil && a.Second != "" {
		err = w.may(a.Second, RightOf(a.Do))
	}
	if err == nil {
		err = w.config.Acts.Act(r.Context(), a)
	}
	if err != nil {
		status, kind, says := w.refusal(err)
		refuse(rw, status, kind, says)
		return
	}
	reply(rw, []byte(`{"done":true}`))
}

// maxText bounds the words that come with an act, as the rules language bounds its texts.
const maxText = 500

func (a Act) check() error {
	onAlarm := slices.Contains([]string{DoAcknowledge, DoReset, DoShelve, DoUnshelve, DoRemove, DoReturn, DoCloseOut}, a.Do)
	onStation := a.Do == DoLoad || a.Do == DoEmpty || a.Do == DoNote || a.Do == DoMark
	switch {
	case !onAlarm && !onStation && a.Do != DoDrill && a.Do != DoEnter:
		return &Refusal{RefusedInput, "do is acknowledge, reset, shelve, unshelve, remove, return, close-out, load, empty, note, mark, enter or drill."}
	case onAlarm && a.Alarm == "":
		return &Refusal{RefusedInput, "Say which alarm."}
	case onStation && a.Station == "":
		return &Refusal{RefusedInput, "Say which station."}
	case a.Do == DoAcknowledge && a.Occurrence < 1:
		return &Refusal{RefusedInput, "An acknowledgement names its occurrence."}
	case a.Do == DoCloseOut && (a.Occurrence < 1 || strings.TrimSpace(a.What) == ""):
		return &Refusal{RefusedInput, "Say of which occurrence, and what it was."}
	case a.Do == DoLoad && strings.TrimSpace(a.Lot) == "":
		return &Refusal{RefusedInput, "Say which lot."}
	case a.Do == DoShelve && a.For <= 0:
		return &Refusal{RefusedInput, "Say for how long, for example 2 h."}
	case a.Do == DoEnter && (a.Point == "" || strings.TrimSpace(a.Value) == ""):
		return &Refusal{RefusedInput, "Say which point, and what was read, for example 11.8 %wb."}
	case a.Do == DoDrill && a.Person == "":
		return &Refusal{RefusedInput, "Say who is to be called."}
	case a.Do == DoNote && strings.TrimSpace(a.Why) == "":
		return &Refusal{RefusedInput, "Say what to write down."}
	case a.Do == DoMark && a.What == "":
		return &Refusal{RefusedInput, "Say what was done, for example stirred."}
	case (a.Do == DoShelve || a.Do == DoRemove) && strings.TrimSpace(a.Why) == "":
		return &Refusal{RefusedInput, "Say why."}
	case !(a.Kilograms >= 0 && a.Kilograms < 1e6):
		return &Refusal{RefusedInput, "kg is a weight, for example 412."}
	case len(a.Why) > maxText || len(a.Lot) > maxText || len(a.What) > maxText || len(a.Value) > maxText:
		return &Refusal{RefusedInput, "That is too long."}
	}
	return nil
}

// speaks is in whose name something is done that asks for a right, by which way, and whether that person has it.
func (w *Web) speaks(ctx context.Context, by string, right Right) (name, via string, err error) {
	if name, via, err = speaker(visitorOf(ctx), by); err == nil {
		err = w.may(name, right)
	}
	return name, via, err
}

// speaker is in whose name an act is done, and by which way: who is logged in acts for himself alone.
func speaker(v visitor, by string) (name, via string, err error) {
	switch {
	case v.others:
		return by, v.via, nil
	case by == "" || by == v.name:
		return v.name, "page", nil
	}
	return "", "", &Refusal{RefusedRights, "You are logged in as " + v.title + ". Who else acts logs in himself."}
}

// may checks a person's right.
func (w *Web) may(person string, right Right) error {
	if person == "" {
		return &Refusal{RefusedInput, "Say who you are."}
	}
	p, known := w.person(person)
	switch {
	case !known:
		return &Refusal{RefusedUnknown, "There is no person of that name in the rules file."}
	case !May(p.Rights, right):
		return &Refusal{RefusedRights, p.Title + " may not do that (rights " + p.Rights + ")."}
	}
	return nil
}

// refusal gives status and words for an error of an act. What is not a Refusal is logged, and its text stays here.
func (w *Web) refusal(err error) (status int, kind, says string) {
	var r *Refusal
	if !errors.As(err, &r) {
		w.config.Log.Error("act not done", "cause", err)
		return http.StatusInternalServerError, RefusedState, "That could not be written down. Try again, and tell the technician."
	}
	status, found := map[string]int{RefusedUnknown: http.StatusNotFound, RefusedSuperseded: http.StatusConflict, RefusedState: http.StatusConflict,
		RefusedRights: http.StatusForbidden, RefusedInput: http.StatusUnprocessableEntity}[r.Kind]
	if !found {
		status = http.StatusConflict
	}
	return status, r.Kind, r.Says
}

// readBody decodes the one JSON object of a body, and refuses what is not one.
func readBody(rw http.ResponseWriter, r *http.Request, into any) bool {
	if !isType(r, "application/json") {
		refuse(rw, http.StatusUnsupportedMediaType, RefusedInput, "An act is sent as application/json.")
		return false
	}
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	err := d.Decode(into)
	if err == nil {
		if _, more := d.Token(); more != io.EOF {
			err = errors.New("more than one object")
		}
	}
	if isOversized(err) {
		refuse(rw, http.StatusRequestEntityTooLarge, RefusedInput, saysOversized(r))
		return false
	}
	if err != nil {
		refuse(rw, http.StatusBadRequest, RefusedInput, "The act could not be read; /api/openapi.json says how it is written.")
		return false
	}
	return true
}
