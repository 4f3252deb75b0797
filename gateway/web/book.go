package web

import (
	"cmp"
	_ "embed"
	"encoding/json"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"millwarden/gateway/logbook/lots"
)

// The book of lots as plain forms, without scripts: for the oldest phone, and where the page is not built.
//
//go:embed book.html
var bookText string

var bookPage = template.Must(template.New("book").Funcs(template.FuncMap{"escape": url.PathEscape, "one": func(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) },
	"form": func(f lots.Form) string { return string(f) }}).Parse(bookText))

// bookView is what the forms show.
type bookView struct {
	Lot      *lots.Shown // nil: the list
	Lots     []lots.Line
	Forms    []bookForm
	People   []wirePerson
	Stations []wireStation
	By       string
	Done     string
	Look     []string
	Problem  string
	At       func(ms int64) string
	Lang     string
	T        func(english string) string
}

// bookForm is one act with the fields that are asked for.
type bookForm struct {
	Act, Title string
	Fields     []bookField
}

// bookField is one field; with Choices it is one of them, of Kind "station" one of the stations.
type bookField struct {
	Name, Title, Example, Kind string
	Choices                    []string
}

// bookFields are the fields of the forms, by name.
var bookFields = map[string]bookField{
	"lot": {Title: "Lot", Example: "143"}, "station": {Title: "Station", Kind: "station"}, "to": {Title: "To", Kind: "station"}, "kg": {Title: "Weight, kg", Example: "412", Kind: "number"},
	"in": {Title: "In, kg", Example: "118", Kind: "number"}, "moisture": {Title: "Moisture, %wb", Example: "11.2", Kind: "number"}, "aw": {Title: "Water activity", Example: "0.57", Kind: "number"},
	"cherry": {Title: "Cherry", Choices: []string{"own", "bought"}}, "supplier": {Title: "Supplier's code, if bought", Example: "N-12"}, "plot": {Title: "Plot or pickers", Example: "west slope"},
	"floaters": {Title: "Floaters, %", Example: "3.5", Kind: "number"}, "ripe": {Title: "Ripe, %", Example: "96", Kind: "number"}, "parts": {Title: "Parts with their kg", Example: "143-a=60, 143-b"},
	"gritty": {Title: "Gritty", Choices: []string{"", "no", "partly", "yes"}}, "bite": {Title: "Bite", Choices: []string{"", "soft", "firm", "hard"}}, "meter": {Title: "Hand meter, with its unit", Example: "11.8 %wb"},
	"screens": {Title: "Screens with their kg", Example: "17=52, 16=31"}, "below": {Title: "Below all screens, kg", Kind: "number"}, "primary": {Title: "Primary defects", Kind: "number"},
	"secondary": {Title: "Secondary defects", Kind: "number"}, "quakers": {Title: "Quakers", Kind: "number"}, "charge": {Title: "Charge, °C", Example: "204", Kind: "number"},
	"drop": {Title: "Drop, °C", Example: "221", Kind: "number"}, "time": {Title: "Charge to drop", Example: "12:40"}, "colour": {Title: "Colour"}, "entry": {Title: "Entry that was wrong", Example: "17", Kind: "number"},
	"note": {Title: "Note"},
}

func newForm(act lots.Do, title, fields string) bookForm {
	f := bookForm{Act: string(act), Title: title}
	for _, name := range strings.Fields(fields) {
		field := bookFields[name]
		field.Name = name
		f.Fields = append(f.Fields, field)
	}
	return f
}

// bookForms are the acts that a lot as it stands may need next.
func bookForms(l *lots.Shown) []bookForm {
	if l == nil {
		return []bookForm{newForm(lots.Intake, "Cherry taken in", "lot kg cherry supplier plot floaters ripe note"), newForm(lots.Load, "Loaded", "station lot kg note")}
	}
	var list []bookForm
	if l.Station != "" {
		list = append(list, newForm(lots.Empty, "Out of "+l.Station, "kg moisture note"), newForm(lots.Move, "Moved from "+l.Station, "to kg moisture note"))
	} else if !l.Used {
		list = append(list, newForm(lots.Load, "Loaded", "station kg moisture note"))
	}
	list = append(list, newForm(lots.Check, "Hand check", "gritty bite meter note"), newForm(lots.Weigh, "Weighed", "kg moisture note"))
	switch l.Form {
	case lots.Parchment, lots.DriedCherry:
		list = append(list, newForm(lots.Hull, "Hulled", "in kg moisture aw note"))
	case lots.Green:
		list = append(list, newForm(lots.Grade, "Graded", "screens below primary secondary quakers moisture aw note"), newForm(lots.Roast, "Roasted", "station in kg charge drop time colour note"))
	}
	return append(list, newForm(lots.Split, "Split", "parts note"), newForm(lots.Correct, "An entry never was", "entry note"))
}

func (w *Web) serveBook(rw http.ResponseWriter, r *http.Request) {
	w.showBook(rw, r, http.StatusOK, &bookView{})
}

// serveEntered takes one form. The answer is the page again, with what became of it.
func (w *Web) serveEntered(rw http.ResponseWriter, r *http.Request) {
	view := &bookView{}
	if err := r.ParseForm(); err != nil {
		status := http.StatusBadRequest
		if view.Problem = "The form could not be read."; isOversized(err) {
			status, view.Problem = http.StatusRequestEntityTooLarge, saysOversized(r)
		}
		w.showBook(rw, r, status, view)
		return
	}
	view.By = r.PostForm.Get("by")
	status := http.StatusOK
	body, err := formStep(r.PostForm, r.PathValue("lot"))
	var done Entered
	if err == nil {
		body.By = view.By
		done, err = w.enterStep(r.Context(), body)
	}
	if err != nil {
		status, _, view.Problem = w.refusal(err)
	} else {
		view.Done, view.Look = done.Text, done.Look
	}
	w.showBook(rw, r, status, view)
}

func (w *Web) showBook(rw http.ResponseWriter, r *http.Request, status int, view *bookView) {
	name := r.PathValue("lot")
	if w.config.Lots == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "This gateway keeps no book of lots.")
		return
	}
	if name != "" {
		lot, found := w.config.Lots.Lot(name)
		if !found {
			refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no lot of that name.")
			return
		}
		view.Lot = &lot
		slices.Reverse(lot.Steps)
	} else {
		view.Lots = w.config.Lots.Lots()
	}
	frame := &w.live.now().frame
	v := visitorOf(r.Context())
	view.By = cmp.Or(view.By, v.name)
	for _, p := range frame.Plan.People {
		if May(p.Rights, Tend) && (v.others || p.Name == v.name) { // who is logged in enters for himself alone
			view.People = append(view.People, p)
		}
	}
	view.Stations, view.Forms = frame.Stations, bookForms(view.Lot)
	zone, err := time.LoadLocation(frame.Plan.Site.Zone)
	if err != nil {
		zone = time.UTC
	}
	view.Lang = w.language(r)
	view.T = bookWords(view.Lang)
	view.At = func(ms int64) string { return time.UnixMilli(ms).In(zone).Format("2 Jan 15:04") }
	rw.Header().Set("Content-Type", "text/html; charset=utf-8")
	rw.Header().Set("Cache-Control", "no-store")
	rw.WriteHeader(status)
	if err := bookPage.Execute(rw, view); err != nil {
		w.config.Log.Debug("book not sent", "cause", err)
	}
}

// formStep reads a form as the step that the JSON interface takes: one reader, one set of words for what is wrong.
func formStep(form url.Values, lot string) (*enteredStep, error) {
	text := map[string]any{"act": form.Get("act")}
	if do := lots.Do(form.Get("act")); lot != "" && do != lots.Correct {
		text["lot"] = lot
	}
	for name, field := range bookFields {
		value := strings.TrimSpace(form.Get(name))
		if value == "" {
			continue
		}
		switch {
		case name == "time":
			t, err := time.Parse("4:05", value)
			if err != nil {
				return nil, &Refusal{RefusedInput, "Write the time as minutes and seconds, for example 12:40."}
			}
			text["seconds"] = t.Minute()*60 + t.Second()
		case name == "parts" || name == "screens":
			list, err := pairs(name, value)
			if err != nil {
				return nil, err
			}
			text[name] = list
		case field.Kind == "number":
			n, err := strconv.ParseFloat(value, 64)
			if err != nil {
				return nil, &Refusal{RefusedInput, field.Title + ": write a number with a point, for example " + orElse(field.Example, "2") + "."}
			}
			text[name] = n
		default:
			text[name] = value
		}
	}
	encoded, err := json.Marshal(text)
	if err != nil {
		return nil, &Refusal{RefusedInput, "A number in the form is none."}
	}
	body := new(enteredStep)
	if err := json.Unmarshal(encoded, body); err != nil {
		return nil, &Refusal{RefusedInput, "A count in the form is not whole, or a field does not fit."}
	}
	return body, nil
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// pairs reads "143-a=60, 143-b" and "17=52, 16=31".
func pairs(name, value string) ([]map[string]any, error) {
	var list []map[string]any
	for _, word := range strings.Split(value, ",") {
		key, kg, weighed := strings.Cut(strings.TrimSpace(word), "=")
		entry := map[string]any{"lot": key}
		if name == "screens" {
			n, err := strconv.Atoi(key)
			if err != nil || !weighed {
				return nil, &Refusal{RefusedInput, "Write each screen with its weight, for example 17=52, 16=31."}
			}
			entry = map[string]any{"screen": n}
		}
		if weighed {
			n, err := strconv.ParseFloat(strings.TrimSpace(kg), 64)
			if err != nil {
				return nil, &Refusal{RefusedInput, "Write each with its weight, for example " + bookFields[name].Example + "."}
			}
			entry["kg"] = n
		}
		list = append(list, entry)
	}
	return list, nil
}
