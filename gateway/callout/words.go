package callout

import (
	"fmt"
	"regexp"
	"strings"

	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/standard"
)

// words are the fixed words of messages in one language. The sentences of an alarm are the rules file's, or built in.
type words struct {
	limit, since, ago, unknown, held, notRead                   string
	caution, action, consequence, cause, verify, respond        string
	onIt, reply, aid, digest, exercise, drill, on, off, yes, no string
	got, gotReply, well, notWell, lastDrill, noDrill, silence   string
	over, unanswered                                            string
	windows                                                     map[string]string // a function over a window of time, in words
	onItButton, gotButton                                       Button            // of messages that can be touched
	flood, others, floodDo                                      string
	priorities                                                  [3]string // by engine.Priority
	language                                                    string
}

// of gives a sentence of an alarm: what is built in, in the language of the words; what the site wrote, as it wrote it.
func (w *words) of(text string) string { return standard.In(w.language, text) }

// point is what a point is called, with its station where that is another's: "yard rain".
func (w *words) point(name string) string {
	station, short, both := strings.Cut(name, "/")
	if !both {
		return w.of(spaced(name))
	}
	return spaced(station) + " " + w.of(spaced(short))
}

// place is where an alarm is. The site's titles stay; the name of a point that it gave none is said in the language.
func (w *words) place(a *engine.Alarm) string {
	title := a.PlaceTitle
	if title == "" {
		return strings.ToUpper(w.point(a.Place))
	}
	if _, short, both := strings.Cut(a.Place, "/"); both {
		if head, found := strings.CutSuffix(title, spaced(short)); found {
			title = head + w.of(spaced(short))
		}
	}
	return strings.ToUpper(title)
}

// title is what an alarm is called.
func (w *words) title(a *engine.Alarm) string {
	if a.Title != "" {
		return w.of(a.Title)
	}
	return w.of(spaced(a.Name))
}

var english = words{
	limit: "limit", since: "since", ago: "for %s", unknown: "unknown", held: "Not seen now: %s", notRead: "not read for",
	caution: "CAUTION", action: "What to do", consequence: "If nobody acts", cause: "Usual cause", verify: "Look at", respond: "Respond within",
	onIt:   "I am on it (opens the page; one tap more acknowledges):",
	reply:  "Reply 1 %04d = I am on it.",
	aid:    "Millwarden is a monitoring aid, not a fire alarm, gas detector or safety function. The machine's own cut-outs and listed detection stay in charge; follow your local codes.",
	digest: "%d alarms of priority low stand", exercise: "EXERCISE", drill: "%s, this is a test. Nothing has happened. Tell the mill that you got it",
	on: "on", off: "off", yes: "yes", no: "no",
	got: "I got it (opens the page; one tap more says so):", gotReply: "Reply 1 %d = I got it.",
	well: "All well, %d of %d probes give readings.", notWell: "NOT all well: %d alarms stand, %d of %d probes give readings.",
	lastDrill: "Last drill: %s", noDrill: "No drill was answered yet.",
	silence: "This message comes every day at the same hour. If it does not come, go and look: the board may be dead.",
	over:    "over %s", unanswered: "Nobody has answered for %s.",
	windows: map[string]string{"mean": "mean %s", "highest": "highest %s", "lowest": "lowest %s", "spread": "spread of %s", "rise": "rise of %s",
		"change": "change of %s"},
	onItButton: Button{"I am on it", "Written down: you are on it.", "Not written down. Open the page, or answer another way."},
	gotButton:  Button{"I got it", "Written down: you got it.", "Not written down. Open the page."},
	flood:      "%d more alarms (%s)", others: "%d others", floodDo: "All stand on the page; answer each there.",
	priorities: [...]string{"low", "medium", "high"}, language: "en",
}

// languages are those that messages are written in. One more is a file like words_es.go and a line here; TestWords_complete says what it lacks.
var languages = map[string]*words{"en": &english, "es": &spanish}

// wordsOf are those of the person's language, else of the site's, else English.
func wordsOf(p *Person, r *Roster) *words {
	language := p.Language
	if language == "" {
		language = r.Language
	}
	if say := languages[language]; say != nil {
		return say
	}
	return &english
}

var window = regexp.MustCompile(`^([a-z]+)\(([a-z0-9/-]+), ([0-9.]+ [a-z]+)\)$`)

// figure says what a formula of the rules file gives, as a person would say it before its value, and what stands behind the value. A formula that
// is more than one point over one window is left as it was written.
func (w *words) figure(formula, place string) (name, behind string) {
	part := window.FindStringSubmatch(formula)
	if part == nil || w.windows[part[1]] == "" {
		return formula, ""
	}
	return fmt.Sprintf(w.windows[part[1]], w.point(strings.TrimPrefix(part[2], place+"/"))), " " + fmt.Sprintf(w.over, part[3])
}

func (w *words) state(value float64, q units.Quantity) string {
	switch {
	case value != value: // unknown
		return w.unknown
	case q == units.State && value != 0:
		return w.on
	case q == units.State:
		return w.off
	case value != 0:
		return w.yes
	}
	return w.no
}
