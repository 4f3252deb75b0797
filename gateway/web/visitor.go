package web

import (
	"cmp"
	"context"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"millwarden/gateway/people"
)

// visitor is who asks.
type visitor struct {
	name, title string // person of the rules file; "" where others is set
	role        string
	others      bool   // may act for whom he says: a command on this board, and everybody in the demo
	via         string // "page" or "command"
	token       string // of the session; "" none
}

type visitorKey struct{}

// visitorOf is who asks, as the gate found it.
func visitorOf(ctx context.Context) visitor {
	v, _ := ctx.Value(visitorKey{}).(visitor)
	return v
}

// visitor finds out who asks: false is nobody. Who has a session, but stands no longer in the rules file, is nobody either.
func (w *Web) visitor(r *http.Request) (visitor, bool) {
	if w.config.Open {
		return visitor{role: "owner", others: true, via: "page"}, true
	}
	if bySocket(r) {
		return visitor{role: "owner", others: true, via: "command"}, true
	}
	token := cmp.Or(bearer(r), w.cookie(r))
	s, found := w.config.People.Session(token)
	if !found {
		return visitor{}, false
	}
	p, known := w.person(s.Name)
	return visitor{name: p.Name, title: p.Title, role: p.Rights, token: token}, known
}

// holdsSession tells whether somebody is logged in, without asking the Model who that is: the health page must not wait for it.
func (w *Web) holdsSession(r *http.Request) bool {
	if w.config.Open || bySocket(r) {
		return true
	}
	_, found := w.config.People.Session(cmp.Or(bearer(r), w.cookie(r)))
	return found
}

// need lets through who has the right, and tells the others.
func (w *Web) need(right Right, serve http.HandlerFunc) http.HandlerFunc {
	if right == Anyone {
		return serve
	}
	return func(rw http.ResponseWriter, r *http.Request) {
		v, found := w.visitor(r)
		switch {
		case !found:
			rw.Header().Set("WWW-Authenticate", "Bearer") // [RFC 9110 11.6.1: a 401 names a scheme; browsers show no dialog for this one]
			refuse(rw, http.StatusUnauthorized, RefusedLogin, "Log in first.")
		case !May(v.role, right):
			refuse(rw, http.StatusForbidden, RefusedRights, v.title+" may not do that (rights "+v.role+").")
		case v.token != "" && !safe(r.Method) && bearer(r) == "" && !sentByPage(r):
			refuse(rw, http.StatusForbidden, RefusedRights, "This browser does not say which page an act comes from. Use a newer one.")
		default:
			serve(rw, r.WithContext(context.WithValue(r.Context(), visitorKey{}, v)))
		}
	}
}

func safe(method string) bool { return method == http.MethodGet || method == http.MethodHead }

// sentByPage tells whether a browser said where the act comes from. Whether it comes from here the guard has checked already; a browser that says
// nothing cannot be told from one that was lured. [ASVS 5.0.0 3.5.1]
func sentByPage(r *http.Request) bool {
	return r.Header.Get("Sec-Fetch-Site") != "" || r.Header.Get("Origin") != ""
}

func bearer(r *http.Request) string {
	token, found := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	if !found {
		return ""
	}
	return token
}

// person finds a person of the rules file in force.
func (w *Web) person(name string) (wirePerson, bool) {
	people := w.live.now().frame.Plan.People
	i := slices.IndexFunc(people, func(p wirePerson) bool { return p.Name == name })
	if i < 0 {
		return wirePerson{}, false
	}
	return people[i], true
}

// meant finds the person whom somebody typed: by name or title, whatever the letters' case.
func (w *Web) meant(typed string) (wirePerson, bool) {
	typed = strings.TrimSpace(typed)
	for _, p := range w.live.now().frame.Plan.People {
		if strings.EqualFold(p.Name, typed) || strings.EqualFold(p.Title, typed) {
			return p, true
		}
	}
	return wirePerson{}, false
}

// lifeOf is how long a person's session lasts: that of a screen on the wall longer.
func lifeOf(role string) people.Life {
	if role == "reader" {
		return people.ScreenLife
	}
	return people.PersonLife
}

// Names of the cookie. The one with the prefix is taken by browsers over TLS alone, for this host alone. [RFC 6265bis 4.1.3.2, ASVS 5.0.0 3.3.1]
const (
	cookieName      = "millwarden"
	cookieNameOfTLS = "__Host-millwarden"
)

func cookieOf(r *http.Request) string {
	if r.TLS != nil {
		return cookieNameOfTLS
	}
	return cookieName
}

func (w *Web) cookie(r *http.Request) string {
	c, err := r.Cookie(cookieOf(r))
	if err != nil {
		return ""
	}
	return c.Value
}

// setCookie gives the browser the session, or takes it back. Lax, not Strict: a link in a mail must find the page logged in, and acts are guarded by
// where they come from.
func setCookie(rw http.ResponseWriter, r *http.Request, token string, l people.Life) {
	c := &http.Cookie{Name: cookieOf(r), Value: token, Path: "/", MaxAge: int(l.Most.Seconds()), HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: r.TLS != nil}
	if token == "" {
		c.MaxAge = -1
	}
	http.SetCookie(rw, c)
}

// addressOf is where somebody comes from, for the throttle: an address of version 6 by its network, since one house has 2^64 of them.
func addressOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	ip, err := netip.ParseAddr(host)
	if err != nil || ip.Unmap().Is4() {
		return host
	}
	if p, err := ip.WithZone("").Prefix(64); err == nil {
		return p.String()
	}
	return host
}
