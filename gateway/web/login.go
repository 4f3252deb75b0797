package web

import (
	"embed"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strings"
	"time"

	"millwarden/gateway/people"
	"millwarden/internal/certificate"
)

// The pages around the login are plain HTML, as the answer page is: they must work on the oldest phone, without scripts, and nobody who is not logged
// in is given the page itself.
//
//go:embed login.html passkey.js
var loginFiles embed.FS

var loginPages = template.Must(template.ParseFS(loginFiles, "login.html"))

// loginView is what these pages show.
type loginView struct {
	Words   loginWords
	Show    string // one of login, code, password, passkeys, people, trust
	First   bool   // nobody can log in yet
	Name    string // as typed, or of who is here
	Title   string
	To      string // where to go on
	Problem string
	Done    string
	Code    string // just given
	Whose   string
	People  []loginRow
	Keys    []passkeyRow
	// Passkeys can be used here.
	Passkeys bool
	// Fingerprint of the site's own root; "": the page's certificate rests on none.
	Fingerprint string
}

// loginRow is one person on the page of people.
type loginRow struct {
	Name, Title, Rights, Stands string
	Self, Can                   bool // Can: there is something to take away
}

// doors are the pages around the login. They are for people, so openapi.json does not tell of them.
func (w *Web) doors() []route {
	return []route{
		{"GET", "/login", Anyone, w.showLogin},
		{"POST", "/login", Anyone, w.takeLogin},
		{"GET", "/code", Anyone, w.showCode},
		{"POST", "/code", Anyone, w.takeCode},
		{"GET", "/trust", Anyone, w.showTrust},
		{"GET", "/site-root.crt", Anyone, w.serveRoot},
		{"POST", "/logout", Own, w.takeLogout},
		{"GET", "/password", Own, w.showPassword},
		{"POST", "/password", Own, w.takePassword},
		{"GET", "/passkeys", Own, w.showPasskeys},
		{"POST", "/passkeys", Own, w.takePasskey},
		{"POST", "/passkeys/offer", Own, w.offerPasskey},
		{"POST", "/passkeys/remove", Own, w.removePasskey},
		{"POST", "/login/passkey/ask", Anyone, w.askPasskey},
		{"POST", "/login/passkey", Anyone, w.takePasskeyLogin},
		{"GET", "/people", Manage, w.showPeople},
		{"POST", "/people", Manage, w.takePeople},
	}
}

func (w *Web) showDoor(rw http.ResponseWriter, r *http.Request, status int, v loginView) {
	v.Words, v.Passkeys = loginLanguages[w.language(r)], w.passkeys != nil
	if root := w.shown.root(); root != nil {
		v.Fingerprint = certificate.Fingerprint(root)
	}
	h := rw.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	rw.WriteHeader(status)
	if err := loginPages.Execute(rw, v); err != nil {
		w.config.Log.Debug("page of the login not sent", "cause", err)
	}
}

// words of the reader, for problems.
func (w *Web) words(r *http.Request) loginWords { return loginLanguages[w.language(r)] }

// form reads the fields of a form of our own.
func (w *Web) form(rw http.ResponseWriter, r *http.Request) bool {
	if w.config.People == nil {
		http.Error(rw, "There are no logins here.", http.StatusNotFound)
		return false
	}
	if !isType(r, "application/x-www-form-urlencoded") {
		http.Error(rw, "This is no form of this page.", http.StatusBadRequest)
		return false
	}
	switch err := r.ParseForm(); {
	case isOversized(err):
		http.Error(rw, saysOversized(r), http.StatusRequestEntityTooLarge)
		return false
	case err != nil:
		http.Error(rw, "This is no form of this page.", http.StatusBadRequest)
		return false
	}
	return true
}

// local is a path on this gateway, whatever the form says: a login must not lead elsewhere. [ASVS 5.0.0 1.3.6, 3.7.2]
func local(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.ContainsAny(to, "\\\r\n") {
		return "/"
	}
	return (&url.URL{Path: u.Path}).String()
}

func (w *Web) showLogin(rw http.ResponseWriter, r *http.Request) {
	if w.config.Open {
		http.Redirect(rw, r, "/", http.StatusSeeOther)
		return
	}
	w.showDoor(rw, r, http.StatusOK, loginView{Show: "login", To: local(r.URL.Query().Get("to")), First: w.nobody()})
}

// nobody tells that no login exists yet. While that cannot be known there may be some.
func (w *Web) nobody() bool {
	if w.config.People == nil {
		return false
	}
	some, err := w.config.People.Any()
	return err == nil && !some
}

func (w *Web) takeLogin(rw http.ResponseWriter, r *http.Request) {
	if !w.form(rw, r) {
		return
	}
	typed, password := r.PostForm.Get("name"), r.PostForm.Get("password")
	p, known := w.meant(typed)
	name := p.Name
	if !known {
		name = stranger(typed)
	}
	if err := w.config.People.Check(r.Context(), name, password, addressOf(r)); err != nil {
		w.failed(r, p, "login", err)
		status, says := w.loginRefusal(r, rw, err)
		w.showDoor(rw, r, status, loginView{Show: "login", Name: typed, To: local(r.PostForm.Get("to")), Problem: says})
		return
	}
	w.enter(rw, r, p, local(r.PostForm.Get("to")), "logged in")
}

// stranger is a name that is nobody's, for no name of a person begins so: it is checked as any other, and is wrong.
func stranger(typed string) string { return "?" + typed }

// enter lets a person in and leads on.
func (w *Web) enter(rw http.ResponseWriter, r *http.Request, p wirePerson, to, did string) {
	w.admit(rw, r, p, did)
	http.Redirect(rw, r, to, http.StatusSeeOther)
}

// admit begins a session, in place of the one that the browser had. [ASVS 5.0.0 7.2.4]
func (w *Web) admit(rw http.ResponseWriter, r *http.Request, p wirePerson, did string) {
	if old := w.cookie(r); old != "" {
		_ = w.config.People.End(old) // one that cannot be ended now ends by itself
	}
	l := lifeOf(p.Rights)
	token, err := w.config.People.Begin(p.Name, l)
	if err != nil {
		w.config.Log.Warn("session not written down: it lasts until the gateway ends", "cause", err)
	}
	setCookie(rw, r, token, l)
	w.note(p.Name, did+" from "+addressOf(r))
}

// note writes into the logbook what was done with logins.
func (w *Web) note(who, what string) {
	if w.config.Note != nil {
		w.config.Note(who, what)
	}
}

// failed notes a failed try, by the person meant. A name that is nobody's is not written: people type passwords into the wrong field. What the throttle
// held back is not written either, for it would fill the card.
func (w *Web) failed(r *http.Request, p wirePerson, what string, err error) {
	if !errors.Is(err, people.ErrWrong) && !errors.Is(err, people.ErrCode) {
		return
	}
	w.note(p.Name, what+" refused, from "+addressOf(r))
}

// loginRefusal gives status and words for what went wrong.
func (w *Web) loginRefusal(r *http.Request, rw http.ResponseWriter, err error) (int, string) {
	words := w.words(r)
	if wait := new(people.Wait); errors.As(err, &wait) {
		seconds := int(wait.For.Round(time.Second).Seconds())
		rw.Header().Set("Retry-After", itoa(seconds))
		return http.StatusTooManyRequests, words.wait(seconds)
	}
	switch {
	case errors.Is(err, people.ErrWrong):
		return http.StatusForbidden, words.Wrong
	case errors.Is(err, people.ErrCode):
		return http.StatusForbidden, words.WrongCode
	case errors.Is(err, people.ErrBusy):
		rw.Header().Set("Retry-After", "5")
		return http.StatusServiceUnavailable, words.Busy
	case errors.Is(err, people.ErrShort):
		return http.StatusUnprocessableEntity, words.Short
	case errors.Is(err, people.ErrLong):
		return http.StatusUnprocessableEntity, words.Long
	case errors.Is(err, people.ErrCommon):
		return http.StatusUnprocessableEntity, words.Common
	}
	w.config.Log.Error("login not possible", "cause", err)
	return http.StatusInternalServerError, words.Broken
}

func (w *Web) showCode(rw http.ResponseWriter, r *http.Request) {
	if w.config.Open {
		http.Redirect(rw, r, "/", http.StatusSeeOther)
		return
	}
	w.showDoor(rw, r, http.StatusOK, loginView{Show: "code", First: w.nobody()})
}

// takeCode sets a password by a code: a person's own, or that of the first start, which is for an owner.
func (w *Web) takeCode(rw http.ResponseWriter, r *http.Request) {
	if !w.form(rw, r) {
		return
	}
	f, first := r.PostForm, w.nobody()
	again := func(status int, says string) {
		w.showDoor(rw, r, status, loginView{Show: "code", First: first, Name: f.Get("name"), Problem: says})
	}
	p, known := w.meant(f.Get("name"))
	if err := w.weigh(p, f.Get("password")); err != nil {
		again(w.loginRefusal(r, rw, err))
		return
	}
	who, code := p.Name, f.Get("code")
	if !known || first && !May(p.Rights, Manage) {
		// Who holds the code of the first start is told what is wrong; without it nobody learns who is known.
		if first && w.config.People.IsFirstCode(code) {
			again(http.StatusForbidden, w.words(r).FirstOwner)
			return
		}
		who, code = stranger(f.Get("name")), "" // refused as a wrong code is, and as slowly
	}
	if err := w.config.People.Redeem(r.Context(), who, code, f.Get("password"), addressOf(r)); err != nil {
		w.failed(r, p, "code", err)
		again(w.loginRefusal(r, rw, err))
		return
	}
	w.enter(rw, r, p, "/", "set a password by a code, logged in")
}

// weigh judges a new password, the site's and the person's names held against it.
func (w *Web) weigh(p wirePerson, password string) error {
	site := w.live.now().frame.Plan.Site
	return people.Weigh(password, site.Name, site.Title, p.Name, p.Title, "millwarden")
}

func (w *Web) takeLogout(rw http.ResponseWriter, r *http.Request) {
	v := visitorOf(r.Context())
	if v.token != "" {
		if err := w.config.People.End(v.token); err != nil {
			w.config.Log.Error("session not ended", "cause", err)
			http.Error(rw, w.words(r).Broken, http.StatusInternalServerError)
			return
		}
		w.note(v.name, "logged out")
		setCookie(rw, r, "", people.Life{})
	}
	http.Redirect(rw, r, "/login", http.StatusSeeOther)
}

func (w *Web) showPassword(rw http.ResponseWriter, r *http.Request) {
	v := visitorOf(r.Context())
	w.showDoor(rw, r, http.StatusOK, loginView{Show: "password", Name: v.name, Title: v.title})
}

func (w *Web) takePassword(rw http.ResponseWriter, r *http.Request) {
	v := visitorOf(r.Context())
	if !w.form(rw, r) {
		return
	}
	p, known := w.person(v.name)
	if !known {
		http.Error(rw, "Only who is logged in as a person has a password.", http.StatusForbidden)
		return
	}
	err := w.weigh(p, r.PostForm.Get("password"))
	if err == nil {
		err = w.config.People.Change(r.Context(), v.name, r.PostForm.Get("old"), r.PostForm.Get("password"), addressOf(r))
	}
	if err != nil {
		w.failed(r, p, "change of password", err)
		status, says := w.loginRefusal(r, rw, err)
		w.showDoor(rw, r, status, loginView{Show: "password", Name: v.name, Title: v.title, Problem: says})
		return
	}
	w.enter(rw, r, p, "/", "changed the password")
}
