package web

import (
	"embed"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// The page of an answer link is plain HTML: it must work on the oldest phone, without scripts, and without the built page.
//
//go:embed answer.html answer.css
var answerFiles embed.FS

var answerPage = template.Must(template.New("answer.html").Funcs(template.FuncMap{"same": strings.EqualFold}).ParseFS(answerFiles, "answer.html"))

// answerWords are the words of that page in one language.
type answerWords struct {
	Lang, Button, Done, Gone, Expired, Ask, Page, Limit, Since, OnIt, Over, Back, Exercise, Got, GotDone string
}

var answerLanguages = map[string]answerWords{
	"en": {"en", "I am on it", "Written down: you are on it. Nobody else is called for this.", "This link is not known here, or no longer.",
		"This link has run out. Open the page and look what stands now.", "You were called for:", "To the page of the mill", "limit", "since",
		"is on it", "This does not stand any more, and nobody is called for it. The page says what stands now.", "Back to normal by itself",
		"This is an exercise: nothing has happened.", "I got it", "Written down: you got it."},
	"es": {"es", "Voy yo", "Anotado: va usted. No se llama a nadie más por esto.", "Este enlace no se conoce aquí, o ya no.",
		"Este enlace ha caducado. Abra la página y mire qué hay ahora.", "Se le llamó por:", "A la página del beneficio", "límite", "desde las",
		"se encarga", "Esto ya no está y no se llama a nadie por ello. La página dice qué hay ahora.", "Volvió solo a lo normal",
		"Esto es un simulacro: no ha pasado nada.", "Me llegó", "Anotado: le llegó."},
}

type answerView struct {
	Words   answerWords
	Known   bool
	Done    bool
	Problem string
	Title   string
	Drill   bool       // an exercise: there is no alarm
	Alarm   *wireAlarm // nil: it does not stand any more
	Since   string     // hours and minutes at the site
	OnItAt  string     // when it was acknowledged; as Since
}

// Asks tells whether somebody is asked for an answer: not for what is over, nor for what another is on.
func (v *answerView) Asks() bool {
	return v.Drill || v.Alarm != nil && (v.Alarm.AcknowledgedBy == "" || v.Alarm.AcknowledgedAt == 0)
}

func (w *Web) serveAnswer(rw http.ResponseWriter, r *http.Request) {
	view, _, status := w.lookUp(r)
	w.showAnswer(rw, status, view)
}

func (w *Web) serveAnswered(rw http.ResponseWriter, r *http.Request) {
	view, answer, status := w.lookUp(r)
	if !view.Known || view.Problem != "" {
		w.showAnswer(rw, status, view)
		return
	}
	err := w.config.Acts.Act(r.Context(), Act{Do: DoAcknowledge, Alarm: answer.Alarm, Occurrence: answer.Occurrence, By: answer.Person, Via: "link"})
	if err != nil {
		status, _, view.Problem = w.refusal(err)
	} else {
		view.Done = true
	}
	w.showAnswer(rw, status, view)
}

func (w *Web) lookUp(r *http.Request) (answerView, Answer, int) {
	view := answerView{Words: answerLanguages[w.language(r)]}
	var answer Answer
	if w.config.Answers != nil {
		answer, view.Known = w.config.Answers.Answer(r.PathValue("token"))
	}
	if !view.Known {
		view.Problem = view.Words.Gone
		return view, answer, http.StatusNotFound
	}
	view.Title, view.Drill = answer.Title, answer.Drill
	if answer.Expired {
		view.Problem = view.Words.Expired
		return view, answer, http.StatusGone
	}
	for _, a := range *w.live.now().in(w.language(r)).frame().Alarms {
		if a.ID == answer.Alarm && a.Occurrence == answer.Occurrence {
			view.Alarm, view.Since, view.OnItAt = &a, w.hour(a.Since), w.hour(a.AcknowledgedAt)
		}
	}
	return view, answer, http.StatusOK
}

// hour prints a moment of the monotonic clock as hours and minutes at the site; "" while the wall clock is not set.
func (w *Web) hour(mono int64) string {
	f := &w.live.now().frame
	zone, err := time.LoadLocation(f.Plan.Site.Zone)
	if err != nil || !f.Set || mono == 0 {
		return ""
	}
	return time.UnixMilli(f.Wall - (f.Now - mono)).In(zone).Format("15:04")
}

func (w *Web) showAnswer(rw http.ResponseWriter, status int, view answerView) {
	rw.Header().Set("Content-Type", "text/html; charset=utf-8")
	rw.Header().Set("Cache-Control", "no-store")
	rw.WriteHeader(status)
	if err := answerPage.Execute(rw, &view); err != nil {
		w.config.Log.Debug("answer page not sent", "status", strconv.Itoa(status), "cause", err)
	}
}
