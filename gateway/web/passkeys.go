package web

import (
	"errors"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/people"
)

// Passkeys stand beside the password: a person adds one on a page of the own, by the password, and logs in with it. What may be done with it is what the
// person may do. They are bound to the name of the page, and browsers give them over a secure origin alone.

// passkeyRow is one on the person's page.
type passkeyRow struct{ ID, Stands string }

// openPasskeys makes them for the first name of the page; nil: it has none.
func openPasskeys(c *Config) *people.Passkeys {
	if c.People == nil || len(c.Names) == 0 {
		return nil
	}
	name := c.Names[0]
	origins := []string{"https://" + name}
	if _, port, err := net.SplitHostPort(c.Listen); err == nil {
		origins = append(origins, "https://"+net.JoinHostPort(name, port))
	}
	if strings.HasPrefix(c.Base, "https://"+name) && !slices.Contains(origins, c.Base) {
		origins = append(origins, c.Base)
	}
	keys, err := people.NewPasskeys(c.People, name, origins...)
	if err != nil {
		c.Log.Warn("no passkeys; logging in by password goes on", "cause", err)
		return nil
	}
	return keys
}

// ownDoor lets through who is logged in as a person, where there are passkeys.
func (w *Web) ownDoor(rw http.ResponseWriter, r *http.Request) (wirePerson, bool) {
	p, known := w.person(visitorOf(r.Context()).name)
	switch {
	case w.passkeys == nil:
		refuse(rw, http.StatusNotFound, RefusedUnknown, w.words(r).PasskeyNone)
	case !known:
		refuse(rw, http.StatusForbidden, RefusedRights, "Only who is logged in as a person has passkeys.")
	default:
		return p, true
	}
	return p, false
}

func (w *Web) showPasskeys(rw http.ResponseWriter, r *http.Request) {
	if w.config.Open {
		http.Redirect(rw, r, "/", http.StatusSeeOther)
		return
	}
	w.drawPasskeys(rw, r, http.StatusOK, "")
}

func (w *Web) drawPasskeys(rw http.ResponseWriter, r *http.Request, status int, done string) {
	v := visitorOf(r.Context())
	view := loginView{Show: "passkeys", Name: v.name, Title: v.title, Done: done}
	list, err := w.config.People.ListPasskeys(v.name)
	if err != nil {
		w.config.Log.Error("passkeys not listed", "cause", err)
		status, view.Problem = http.StatusInternalServerError, w.words(r).Broken
	}
	for _, k := range list {
		view.Keys = append(view.Keys, passkeyRow{k.ID, w.words(r).passkey(k, w.zone())})
	}
	w.showDoor(rw, r, status, view)
}

// offerPasskey begins to add one. It asks for the password: a telephone that lies about unlocked must not give a login that stays.
func (w *Web) offerPasskey(rw http.ResponseWriter, r *http.Request) {
	if !w.form(rw, r) {
		return
	}
	p, known := w.ownDoor(rw, r)
	if !known {
		return
	}
	err := w.config.People.Check(r.Context(), p.Name, r.PostForm.Get("password"), addressOf(r))
	var options []byte
	if err == nil {
		options, err = w.passkeys.Offer(p.Name, p.Title)
	}
	if err != nil {
		w.failed(r, p, "adding a passkey", err)
		w.refusePasskey(rw, r, err)
		return
	}
	reply(rw, options)
}

func (w *Web) takePasskey(rw http.ResponseWriter, r *http.Request) {
	p, known := w.ownDoor(rw, r)
	if !known {
		return
	}
	answer, ok := passkeyBody(rw, r)
	if !ok {
		return
	}
	if err := w.passkeys.Keep(p.Name, answer); err != nil {
		w.failed(r, p, "adding a passkey", err)
		w.refusePasskey(rw, r, err)
		return
	}
	w.note(p.Name, "added a passkey from "+addressOf(r))
	reply(rw, []byte(`{"to":"/passkeys"}`))
}

func (w *Web) removePasskey(rw http.ResponseWriter, r *http.Request) {
	if !w.form(rw, r) {
		return
	}
	name := visitorOf(r.Context()).name
	found, err := w.config.People.RemovePasskey(name, r.PostForm.Get("id"))
	switch {
	case err != nil:
		w.config.Log.Error("passkey not removed", "cause", err)
		http.Error(rw, w.words(r).Broken, http.StatusInternalServerError)
	case !found:
		w.drawPasskeys(rw, r, http.StatusNotFound, "")
	default:
		w.note(name, "removed a passkey from "+addressOf(r))
		w.drawPasskeys(rw, r, http.StatusOK, w.words(r).PasskeyRemoved)
	}
}

// askPasskey begins a login.
func (w *Web) askPasskey(rw http.ResponseWriter, r *http.Request) {
	if w.passkeys == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, w.words(r).PasskeyNone)
		return
	}
	options, err := w.passkeys.Ask()
	if err != nil {
		w.refusePasskey(rw, r, err)
		return
	}
	reply(rw, options)
}

func (w *Web) takePasskeyLogin(rw http.ResponseWriter, r *http.Request) {
	if w.passkeys == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, w.words(r).PasskeyNone)
		return
	}
	answer, ok := passkeyBody(rw, r)
	if !ok {
		return
	}
	name, err := w.passkeys.Check(answer, addressOf(r))
	p, known := w.person(name)
	if err == nil && !known { // whose person is gone from the rules file is let in nowhere
		err = people.ErrWrong
	}
	if err != nil {
		if errors.Is(err, people.ErrCopied) {
			w.note(name, "passkey refused, its counter did not go on: a copy of it may exist; from "+addressOf(r))
		} else {
			w.failed(r, p, "login by passkey", err)
		}
		w.refusePasskey(rw, r, err)
		return
	}
	w.admit(rw, r, p, "logged in by passkey")
	reply(rw, encode(struct {
		To string `json:"to"`
	}{local(r.URL.Query().Get("to"))}))
}

// passkeyBody reads what the browser's script sends.
func passkeyBody(rw http.ResponseWriter, r *http.Request) ([]byte, bool) {
	if !isType(r, "application/json") {
		refuse(rw, http.StatusUnsupportedMediaType, RefusedInput, "A passkey is sent as application/json.")
		return nil, false
	}
	answer, err := io.ReadAll(r.Body) // bounded by the guard
	if err != nil {
		refuse(rw, http.StatusRequestEntityTooLarge, RefusedInput, "The passkey is too large, or broke off.")
		return nil, false
	}
	return answer, true
}

// refusePasskey says why; a wrong passkey is not told from one that is not known.
func (w *Web) refusePasskey(rw http.ResponseWriter, r *http.Request, err error) {
	words := w.words(r)
	says, status := words.PasskeyWrong, http.StatusForbidden
	switch {
	case errors.Is(err, people.ErrFull):
		status, says = http.StatusConflict, words.PasskeyFull
	case !errors.Is(err, people.ErrCopied) && (!errors.Is(err, people.ErrWrong) || !isType(r, "application/json")):
		status, says = w.loginRefusal(r, rw, err)
	}
	w.config.Log.Debug("passkey refused", "cause", err)
	refuse(rw, status, RefusedRights, says)
}

// passkey says how it is with one.
func (w loginWords) passkey(k people.Passkey, zone *time.Location) string {
	says := w.PasskeySince + " " + k.Made.In(zone).Format("2006-01-02")
	if k.Used.IsZero() {
		return says
	}
	return says + ", " + w.PasskeyUsed + " " + k.Used.In(zone).Format("2006-01-02 15:04")
}
