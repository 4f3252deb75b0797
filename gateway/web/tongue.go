package web

import (
	"net/http"
	"slices"
	"strings"

	"millwarden/internal/saying"
)

const (
	english = "en"
	spanish = "es"
)

// languageCookie holds the language that a person chose at this device: a page asked for by its address says no other.
const languageCookie = "language"

// language is what a request asks for by its query, else what was chosen at the device, else what the browser asks for first, if there are words in it; else the site's.
func (w *Web) language(r *http.Request) string {
	chosen := ""
	if c, err := r.Cookie(languageCookie); err == nil {
		chosen = c.Value
	}
	for _, asked := range []string{r.URL.Query().Get("language"), chosen, r.Header.Get("Accept-Language")} {
		if asked = strings.ToLower(asked[:min(2, len(asked))]); asked == english || asked == spanish {
			return asked
		}
	}
	return w.live.now().language()
}

// pageLanguage is that of the page: what was chosen at the device, else the site's. Browsers ask for theirs, which nobody chose for the mill.
func pageLanguage(r *http.Request, m *moment) string {
	if c, err := r.Cookie(languageCookie); err == nil && (c.Value == english || c.Value == spanish) {
		return c.Value
	}
	return m.language()
}

// language is that of the site.
func (m *moment) language() string {
	if m.frame.Plan.Site.Language == spanish {
		return spanish
	}
	return english
}

// tongue says in one language what the program has said in English, and of the site's own alarms what its rules file says in that language. What people wrote stays as it is.
type tongue struct {
	language string
	said     []Translation // of all languages
}

// tongue is that of who asks.
func (w *Web) tongue(r *http.Request) tongue {
	return tongue{w.language(r), w.live.now().said}
}

func (t tongue) in(text string) string { return saying.In(t.language, text) }

// word is for where a person may have written as well.
func (t tongue) word(text string) string { return saying.Word(t.language, text) }

// ofSite is what the rules file says of an alarm or prompt; empty: nothing.
func (t tongue) ofSite(id string) Translation {
	name, _, _ := strings.Cut(id, "@")
	for _, s := range t.said {
		if s.Language == t.language && s.Alarm == name {
			return s
		}
	}
	return Translation{}
}

// or is what the site says, else the text as the program says it.
func (t tongue) or(ofSite, text string) string {
	if ofSite != "" {
		return ofSite
	}
	return t.in(text)
}

// named is the title of an alarm known by its name in the rules alone.
func (t tongue) named(alarm string) string {
	if alarm == "" {
		return ""
	}
	name, _, _ := strings.Cut(alarm, "@")
	return t.or(t.ofSite(alarm).Title, strings.ReplaceAll(name, "-", " "))
}

// pointTitle is the name of a point that is called as the rules call it; what the site named otherwise stays.
func (t tongue) pointTitle(title, point string) string {
	_, short, _ := strings.Cut(point, "/")
	if strings.ReplaceAll(strings.ToLower(title), " ", "-") != short {
		return title
	}
	return t.word(title)
}

// placeTitle is a station's title, with the name of the point behind it where it is about one.
func (t tongue) placeTitle(title, place string) string {
	if title == "board" {
		return t.in(title)
	}
	_, short, _ := strings.Cut(place, "/")
	name := strings.ReplaceAll(short, "-", " ")
	if own := len(title) - len(name); name != "" && own >= 0 && strings.EqualFold(title[own:], name) {
		return title[:own] + t.word(name)
	}
	return title
}

// reason is why an alarm stands; of one that cannot be seen it is "tank-1/ph: no answer".
func (t tongue) reason(a *wireAlarm) string {
	if point, cause, two := strings.Cut(a.Because, ": "); two && (a.Held || a.CannotSee) {
		return point + ": " + t.in(cause)
	}
	return t.in(a.Because)
}

// frame is a frame in the language; what it was made of stays as it is.
func (t tongue) frame(f frame) frame {
	if t.language == english && !slices.ContainsFunc(t.said, func(s Translation) bool { return s.Language == english }) {
		return f // as it is
	}
	if f.Plan != nil {
		f.Plan = t.plan(f.Plan)
	}
	f.Alarms, f.Prompts, f.Links = each(f.Alarms, t.alarm), each(f.Prompts, t.prompt), each(f.Links, t.link)
	if f.Stations != nil { // of a change that leaves them as they are there are none
		f.Stations = *each(&f.Stations, t.station)
	}
	if f.Values != nil && t.language != english {
		values := make(map[string]value, len(f.Values))
		for name, v := range f.Values {
			v.Cause = t.in(v.Cause)
			values[name] = v
		}
		f.Values = values
	}
	return f
}

// each is a copy of a list with every one turned; nil stays nil.
func each[T any](list *[]T, turn func(T) T) *[]T {
	if list == nil {
		return nil
	}
	turned := make([]T, len(*list))
	for i, one := range *list {
		turned[i] = turn(one)
	}
	return &turned
}

func (t tongue) plan(p *wirePlan) *wirePlan {
	turned := *p
	turned.Language, turned.Demo = t.language, t.in(p.Demo)
	turned.Points = *each(&p.Points, t.point)
	return &turned
}

func (t tongue) station(s wireStation) wireStation {
	s.Title = t.placeTitle(s.Title, "")
	return s
}

func (t tongue) point(p wirePoint) wirePoint {
	p.Title = t.pointTitle(p.Title, p.Name)
	limits := p.Limits
	p.Limits = nil
	for _, l := range limits {
		l.Title = t.or(t.ofSite(l.Alarm).Title, l.Title)
		p.Limits = append(p.Limits, l)
	}
	return p
}

func (t tongue) alarm(a wireAlarm) wireAlarm {
	own := t.ofSite(a.ID)
	a.Because = t.reason(&a)
	a.Title, a.PlaceTitle = t.or(own.Title, a.Title), t.placeTitle(a.PlaceTitle, a.Place)
	a.Cause, a.Consequence = t.or(own.Cause, a.Cause), t.or(own.Consequence, a.Consequence)
	a.Action, a.Caution = t.or(own.Action, a.Action), t.or(own.Caution, a.Caution)
	a.Values = *each(&a.Values, func(s wireShown) wireShown { s.Title = t.shown(s.Title); return s })
	a.Calls = *each(&a.Calls, func(c wireCall) wireCall { c.Fault = t.in(c.Fault); return c })
	return a
}

// shown is the name of a value of an alarm; of one that does not come "temperature not read for".
func (t tongue) shown(title string) string {
	const silent = " not read for"
	if point, is := strings.CutSuffix(title, silent); is {
		return t.in(t.word(point) + silent)
	}
	return t.in(title)
}

func (t tongue) prompt(p wirePrompt) wirePrompt {
	own := t.ofSite(p.ID)
	p.PlaceTitle, p.Title, p.Say, p.Detail = t.placeTitle(p.PlaceTitle, ""), t.or(own.Title, p.Title), t.or(own.Say, p.Say), t.in(p.Detail)
	return p
}

func (t tongue) link(l wireLink) wireLink {
	l.Title, l.Cause = t.word(l.Title), t.in(l.Cause)
	return l
}

// line is a line of the record; what a person wrote in it stays.
func (t tongue) line(l Line) Line {
	if l.Kind == kindNote && l.Who != "" {
		l.Text = t.word(l.Text)
	} else {
		l.Text = t.in(l.Text)
	}
	l.Title = t.named(l.Alarm)
	if l.Kind != kindLot && l.Kind != kindCalibration { // beside those stands what a person noted: "medium" of a roast is no priority
		l.Why = t.word(l.Why)
	}
	return l
}

// registered is an alarm of the register. Its conditions, limits and sources are the rules' own words.
func (t tongue) registered(r Registered) Registered {
	own := t.ofSite(r.Name)
	r.Title, r.Cause, r.Consequence, r.Caution = t.or(own.Title, r.Title), t.or(own.Cause, r.Cause), t.or(own.Consequence, r.Consequence), t.or(own.Caution, r.Caution)
	if own.Action == "" {
		own.Action = own.Say
	}
	r.Action = t.or(own.Action, r.Action)
	return r
}

func (t tongue) probe(p Probe) Probe {
	p.Fault = t.in(p.Fault)
	p.Calibrations = *each(&p.Calibrations, func(c Calibration) Calibration {
		c.Kind, c.Points = t.in(c.Kind), *each(&c.Points, t.in)
		return c
	})
	return p
}

// calibrating is how a probe stands while it is calibrated.
func (t tongue) calibrating(c Calibrating) Calibrating {
	c.Why, c.Doubt, c.Drift = t.list(c.Why), t.in(c.Doubt), t.in(c.Drift)
	return c
}

func (t tongue) calibrated(c Calibrated) Calibrated {
	c.Left.Warning, c.Left.Refused, c.Drift = t.list(c.Left.Warning), t.in(c.Left.Refused), t.in(c.Drift)
	return c
}

// list turns texts that stand behind each other.
func (t tongue) list(text string) string {
	parts := strings.Split(text, "; ")
	return strings.Join(*each(&parts, t.in), "; ")
}

func (t tongue) counts(list []Count) []Count {
	return *each(&list, func(c Count) Count { c.Title = t.named(c.Alarm); return c })
}
