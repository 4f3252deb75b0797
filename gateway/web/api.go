package web

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"millwarden/internal/units"
)

// route is one path of the interface. The page's own files are not in the list; everything else is, and openapi.json describes the same.
type route struct {
	method, path string
	serve        http.HandlerFunc
}

func (w *Web) table() []route {
	return []route{
		{"GET", "/api/openapi.json", w.serveDocument},
		{"GET", "/api/live", w.serveLive},
		{"GET", "/api/overview", w.serveOverview},
		{"GET", "/api/points", w.servePoints},
		{"GET", "/api/points/{station}/{point}", w.servePoint},
		{"GET", "/api/readings", w.serveReadings},
		{"GET", "/api/alarms", w.serveAlarms},
		{"POST", "/api/acknowledge", w.serveAcknowledge},
		{"POST", "/api/acts", w.serveAct},
		{"GET", "/a/{token}", w.serveAnswer},
		{"POST", "/a/{token}", w.serveAnswered},
		{"GET", "/metrics", w.config.Metrics.page().ServeHTTP},
		{"GET", "/health", w.serveHealth},
	}
}

func (w *Web) routes() http.Handler {
	mux := http.NewServeMux()
	for _, r := range w.table() {
		mux.HandleFunc(r.method+" "+r.path, r.serve)
	}
	mux.HandleFunc("/api/", func(rw http.ResponseWriter, _ *http.Request) {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is nothing here for this method; /api/openapi.json lists what there is.")
	})
	mux.Handle("/", w.files())
	return w.guard(mux)
}

// openAPI is the document that describes the routes; a test holds both to each other.
//
//go:embed openapi.json
var openAPI []byte

func (w *Web) serveDocument(rw http.ResponseWriter, _ *http.Request) { reply(rw, openAPI) }

func (w *Web) serveOverview(rw http.ResponseWriter, _ *http.Request) { reply(rw, w.live.now().full()) }

// standingPoint is a point with what stands at it.
type standingPoint struct {
	wirePoint
	Now   int64 `json:"now"`
	Value value `json:"value"`
}

func (w *Web) servePoints(rw http.ResponseWriter, _ *http.Request) {
	m := w.live.now()
	all := make([]standingPoint, 0, len(m.frame.Plan.Points))
	for _, p := range m.frame.Plan.Points {
		all = append(all, standingPoint{p, m.frame.Now, m.frame.Values[p.Name]})
	}
	reply(rw, encode(all))
}

func (w *Web) servePoint(rw http.ResponseWriter, r *http.Request) {
	m, name := w.live.now(), r.PathValue("station")+"/"+r.PathValue("point")
	i := slices.IndexFunc(m.frame.Plan.Points, func(p wirePoint) bool { return p.Name == name })
	if i < 0 {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no point of that name.")
		return
	}
	reply(rw, encode(standingPoint{m.frame.Plan.Points[i], m.frame.Now, m.frame.Values[name]}))
}

func (w *Web) serveAlarms(rw http.ResponseWriter, _ *http.Request) {
	reply(rw, encode(w.live.now().frame.Alarms))
}

// curve is a point's course, column by column of the drawing: time is Unix seconds in the middle of the column.
type curve struct {
	Point     string       `json:"point"`
	Unit      string       `json:"unit"`
	From      int64        `json:"from"` // Unix seconds, as all times of a curve
	To        int64        `json:"to"`
	Step      float64      `json:"step"` // width of a column in seconds
	Time      []int64      `json:"time"`
	Low       []number     `json:"low"`
	High      []number     `json:"high"`
	Last      []number     `json:"last"`
	Uncertain []bool       `json:"uncertain"`
	Bad       []wireReason `json:"bad"` // stretches in which nothing is known, and why
}

type wireReason struct {
	From  int64  `json:"from"`
	To    int64  `json:"to"`
	Cause string `json:"cause"`
}

// Bounds of a curve.
const (
	defaultColumns = 600
	maxColumns     = 4000 // wider than any screen
	maxSpan        = 20 * 366 * 24 * time.Hour
)

func (w *Web) serveReadings(rw http.ResponseWriter, r *http.Request) {
	if w.config.History == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "This gateway keeps no history.")
		return
	}
	m, q := w.live.now(), r.URL.Query()
	if _, found := m.frame.Values[q.Get("point")]; !found {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no point of that name.")
		return
	}
	asked, err := readSpan(q.Get("from"), q.Get("to"), q.Get("columns"), time.UnixMilli(m.frame.Wall))
	if err != nil {
		refuse(rw, http.StatusBadRequest, RefusedInput, err.Error())
		return
	}
	got, err := w.config.History.Curve(r.Context(), q.Get("point"), asked.from, asked.to, asked.columns)
	if err != nil {
		w.config.Log.Error("curve not read", "point", q.Get("point"), "cause", err)
		refuse(rw, http.StatusInternalServerError, RefusedState, "The history could not be read.")
		return
	}
	c, found := w.live.curve(q.Get("point"), asked, got)
	if !found { // it vanished by a change of the rules since it was looked up
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no point of that name.")
		return
	}
	reply(rw, encode(c))
}

// span is the time that a curve is asked for, and into how many columns it is divided.
type span struct {
	from, to time.Time
	columns  int
}

// readSpan reads from and to (RFC 3339; default the last twelve hours) and the number of columns.
func readSpan(from, to, columns string, now time.Time) (s span, err error) {
	s = span{to: now, columns: defaultColumns}
	if to != "" {
		if s.to, err = time.Parse(time.RFC3339, to); err != nil {
			return s, errors.New("to needs a time, for example 2026-11-25T02:17:00Z")
		}
	}
	s.from = s.to.Add(-12 * time.Hour)
	if from != "" {
		if s.from, err = time.Parse(time.RFC3339, from); err != nil {
			return s, errors.New("from needs a time, for example 2026-11-24T18:00:00Z")
		}
	}
	if columns != "" {
		if s.columns, err = strconv.Atoi(columns); err != nil || s.columns < 1 || s.columns > maxColumns {
			return s, fmt.Errorf("columns goes from 1 to %d", maxColumns)
		}
	}
	if !s.from.Before(s.to) || s.to.Sub(s.from) > maxSpan {
		return s, errors.New("from must lie before to, by 20 years at most")
	}
	return s, nil
}

func (p printer) curve(pt *Point, s span, columns []Column) curve {
	c := curve{Point: pt.Name, Unit: p.unit(pt.Quantity), From: s.from.Unix(), To: s.to.Unix(),
		Step: s.to.Sub(s.from).Seconds() / float64(s.columns), Time: []int64{}, Low: []number{}, High: []number{}, Last: []number{}, Uncertain: []bool{},
		Bad: []wireReason{}}
	for _, col := range columns {
		if col.Bad {
			c.addBad(wireReason{col.From.Unix(), col.To.Unix(), col.Cause})
			continue
		}
		c.Time = append(c.Time, col.From.Add(col.To.Sub(col.From)/2).Unix())
		c.Low = append(c.Low, p.number(col.Low, pt.Quantity))
		c.High = append(c.High, p.number(col.High, pt.Quantity))
		c.Last = append(c.Last, p.number(col.Last, pt.Quantity))
		c.Uncertain = append(c.Uncertain, col.Uncertain)
	}
	return c
}

// addBad joins neighbouring stretches of one cause.
func (c *curve) addBad(r wireReason) {
	if n := len(c.Bad); n > 0 && c.Bad[n-1].Cause == r.Cause && c.Bad[n-1].To == r.From {
		c.Bad[n-1].To = r.To
		return
	}
	c.Bad = append(c.Bad, r)
}

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
	w.act(rw, r, Act{Do: DoAcknowledge, Alarm: body.Alarm, Occurrence: body.Occurrence, By: body.By, Via: "page"})
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
	Second     string  `json:"second"`
	For        string  `json:"for"` // a duration of the rules language: "2 h"
}

func (w *Web) serveAct(rw http.ResponseWriter, r *http.Request) {
	var body asked
	if !readBody(rw, r, &body) {
		return
	}
	a := Act{Do: body.Do, Alarm: body.Alarm, Occurrence: body.Occurrence, Station: body.Station, Lot: body.Lot, Kilograms: body.Kilograms,
		By: body.By, Why: body.Why, Second: body.Second, Via: "page"}
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
		err = w.known(a.By)
	}
	if err == nil && a.Second != "" {
		err = w.known(a.Second)
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
	onAlarm := slices.Contains([]string{DoAcknowledge, DoReset, DoShelve, DoUnshelve, DoRemove, DoReturn}, a.Do)
	onStation := a.Do == DoLoad || a.Do == DoEmpty
	switch {
	case !onAlarm && !onStation:
		return &Refusal{RefusedInput, "do is acknowledge, reset, shelve, unshelve, remove, return, load or empty."}
	case onAlarm && a.Alarm == "":
		return &Refusal{RefusedInput, "Say which alarm."}
	case onStation && a.Station == "":
		return &Refusal{RefusedInput, "Say which station."}
	case a.Do == DoAcknowledge && a.Occurrence < 1:
		return &Refusal{RefusedInput, "An acknowledgement names its occurrence."}
	case a.Do == DoLoad && strings.TrimSpace(a.Lot) == "":
		return &Refusal{RefusedInput, "Say which lot."}
	case a.Do == DoShelve && a.For <= 0:
		return &Refusal{RefusedInput, "Say for how long, for example 2 h."}
	case (a.Do == DoShelve || a.Do == DoRemove) && strings.TrimSpace(a.Why) == "":
		return &Refusal{RefusedInput, "Say why."}
	case !(a.Kilograms >= 0 && a.Kilograms < 1e6):
		return &Refusal{RefusedInput, "kg is a weight, for example 412."}
	case len(a.Why) > maxText || len(a.Lot) > maxText:
		return &Refusal{RefusedInput, "That is too long."}
	}
	return nil
}

func (w *Web) known(person string) error {
	if person == "" {
		return &Refusal{RefusedInput, "Say who you are."}
	}
	people := w.live.now().frame.Plan.People
	i := slices.IndexFunc(people, func(p wirePerson) bool { return p.Name == person })
	switch {
	case i < 0:
		return &Refusal{RefusedUnknown, "There is no person of that name in the rules file."}
	case people[i].Rights == "reader" || people[i].Rights == "auditor":
		return &Refusal{RefusedRights, people[i].Title + " may look, not act."}
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
	if tooLarge := new(http.MaxBytesError); errors.As(err, &tooLarge) {
		refuse(rw, http.StatusRequestEntityTooLarge, RefusedInput, "That is too long.")
		return false
	}
	if err != nil {
		refuse(rw, http.StatusBadRequest, RefusedInput, "The act could not be read; /api/openapi.json says how it is written.")
		return false
	}
	return true
}

func reply(rw http.ResponseWriter, body []byte) { replyAs(rw, http.StatusOK, body) }

func replyAs(rw http.ResponseWriter, status int, body []byte) {
	rw.Header().Set("Content-Type", "application/json; charset=utf-8")
	rw.Header().Set("Cache-Control", "no-store")
	rw.WriteHeader(status)
	_, _ = rw.Write(body) // the client has gone: nobody is left to be told
}

// refuse answers with the reason, in words a person may read.
func refuse(rw http.ResponseWriter, status int, kind, says string) {
	replyAs(rw, status, encode(struct {
		Refused string `json:"refused"`
		Says    string `json:"says"`
	}{kind, says}))
}
