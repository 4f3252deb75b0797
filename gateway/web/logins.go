package web

import (
	"net/http"
	"strconv"
	"time"

	"millwarden/gateway/people"
)

func itoa(n int) string { return strconv.Itoa(n) }

// The owner's page of people: who of the rules file can log in, codes for those who are to, and taking a login away. Who somebody is, and what he may
// do, stands in the rules file and is changed there.

func (w *Web) showPeople(rw http.ResponseWriter, r *http.Request) {
	w.drawPeople(rw, r, http.StatusOK, loginView{})
}

func (w *Web) drawPeople(rw http.ResponseWriter, r *http.Request, status int, v loginView) {
	if w.config.People == nil {
		http.Redirect(rw, r, "/", http.StatusSeeOther)
		return
	}
	words := w.words(r)
	list, err := w.config.People.List()
	if err != nil {
		w.config.Log.Error("people not listed", "cause", err)
		status, v.Problem = http.StatusInternalServerError, words.Broken
	}
	known := map[string]people.Login{}
	for _, l := range list {
		known[l.Name] = l
	}
	v.Show, v.Name = "people", visitorOf(r.Context()).name
	for _, p := range w.live.now().frame.Plan.People {
		l, can := known[p.Name]
		delete(known, p.Name)
		v.People = append(v.People, loginRow{Name: p.Name, Title: p.Title, Rights: words.Roles[p.Rights], Stands: words.stands(l, w.zone()), Self: p.Name == v.Name, Can: can})
	}
	for _, l := range list { // a login whose person is gone from the rules file lets nobody in, but is shown until it is taken away
		if _, left := known[l.Name]; left {
			v.People = append(v.People, loginRow{Name: l.Name, Title: l.Name, Rights: words.NotInRules, Stands: words.stands(l, w.zone()), Can: true})
		}
	}
	w.showDoor(rw, r, status, v)
}

func (w *Web) zone() *time.Location {
	zone, err := time.LoadLocation(w.live.now().frame.Plan.Site.Zone)
	if err != nil {
		return time.UTC
	}
	return zone
}

func (w *Web) takePeople(rw http.ResponseWriter, r *http.Request) {
	if !w.form(rw, r) {
		return
	}
	v, name, words := visitorOf(r.Context()), r.PostForm.Get("name"), w.words(r)
	p, inRules := w.person(name)
	says := loginView{}
	var err error
	switch r.PostForm.Get("do") {
	case "code":
		if !inRules {
			w.drawPeople(rw, r, http.StatusNotFound, loginView{Problem: words.NotInRules})
			return
		}
		if says.Code, _, err = w.config.People.GiveCode(name); err == nil {
			says.Whose = p.Title
			w.note(v.name, "gave "+name+" a code to set a password")
		}
	case "end":
		if err = w.config.People.EndAll(name); err == nil {
			says.Done = words.Ended
			w.note(v.name, "ended the sessions of "+name)
		}
	case "remove":
		if name == v.name {
			w.drawPeople(rw, r, http.StatusConflict, loginView{Problem: words.NotSelf})
			return
		}
		if _, err = w.config.People.Remove(name); err == nil {
			says.Done = words.Removed
			w.note(v.name, "took the login of "+name+" away")
		}
	default:
		w.drawPeople(rw, r, http.StatusBadRequest, loginView{})
		return
	}
	if err != nil {
		w.config.Log.Error("login not changed", "cause", err)
		w.drawPeople(rw, r, http.StatusInternalServerError, loginView{Problem: words.Broken})
		return
	}
	w.drawPeople(rw, r, http.StatusOK, says)
}

// serveMe tells the page who it is.
func (w *Web) serveMe(rw http.ResponseWriter, r *http.Request) {
	v := visitorOf(r.Context())
	may := []string{}
	for _, right := range []Right{See, Study, Own, Acknowledge, Exercise, Tend, Shelve, Remove, Adjust, Write, Swaps, Arrange, Manage} {
		if May(v.role, right) && (right != Own && right != Manage || !w.config.Open) {
			may = append(may, string(right))
		}
	}
	reply(rw, encode(struct {
		Name   string   `json:"name"`
		Title  string   `json:"title"`
		Rights string   `json:"rights"`
		Others bool     `json:"others"`
		May    []string `json:"may"`
	}{v.name, v.title, v.role, v.others, may}))
}
