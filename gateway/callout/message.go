package callout

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

// Message is what one person gets by one channel. All its sentences are written here and in words.go, so that they can be read in one go.
type Message struct {
	ID     string // one for each message, the same over its tries
	Thread string // the same for all messages of one occurrence
	To     Person

	Subject string   // place and title
	Text    string   // one line: place, value, limit, since when, what to do first
	Spare   []string // parts of Text that a channel with little room leaves out, the first first, so that place, what, and what to do arrive
	Answer  string   // how to answer a text message: "Reply 1 0412 = I am on it."; "": it asks for no answer
	Body    string   // the whole, in lines
	Link    string   // acknowledges the occurrence; "": there is none
	Button  Button   // the answer of a message that can be touched

	Alarm      string // ID; DrillAlarm for a drill; "" for a flood, a digest or the daily message
	Occurrence int64
	Title      string
	Place      string
	Area       string
	Priority   engine.Priority
	Class      engine.Class
	Since      time.Time // zero while the clock was not set
	At         reading.Stamp
	Exercise   bool   // a drill: nothing has happened
	Flood      []Told // of a flood: each occurrence that this message tells of
}

// Button is what answers a message that can be touched.
type Button struct {
	Label  string // "I am on it"; "": the message asks for no answer
	Done   string // what is said once the answer was written down
	Failed string // and if it was not
}

// Told is an occurrence told in one message with others.
type Told struct {
	Alarm      string
	Occurrence int64
	Place      string
	Priority   engine.Priority
}

// Urgent tells whether a phone may well be woken for it.
func (m *Message) Urgent() bool { return m.Priority == engine.High && !m.Exercise }

// Levels of Message.Level.
const (
	LevelLow = iota
	LevelMedium
	LevelHigh
	LevelDanger // class safety, whatever the priority
)

// Level is how urgent the message is, for a channel that has patterns and no words.
func (m *Message) Level() int {
	switch {
	case m.Class == engine.Safety:
		return LevelDanger
	case m.Priority == engine.High:
		return LevelHigh
	case m.Priority == engine.Medium:
		return LevelMedium
	}
	return LevelLow
}

// unansweredLeast is from when on a message says that nobody has answered. Chosen: a first step that is tried again is no escalation.
const unansweredLeast = 2 * time.Minute

// compose writes the message about one alarm, or about all of a digest; waited is since when people have been called for it.
func (r *Roster) compose(standings []engine.Standing, to *Person, link string, waited time.Duration, now reading.Stamp) Message {
	say := wordsOf(to, r)
	if len(standings) != 1 {
		return r.composeDigest(standings, to, now)
	}
	s := &standings[0]
	a := s.Alarm
	m := Message{To: *to, At: now, Link: link, Alarm: a.ID, Occurrence: s.Occurrence, Title: a.Title, Place: a.Place, Area: a.Area,
		Priority: a.Priority, Class: a.Class, Thread: threadOf(a.ID, s.Occurrence), Subject: say.place(a) + ": " + say.title(a)}
	since := sinceOf(s)
	if since.Set {
		m.Since = since.Wall
	}
	ago := r.since(since, now, say)
	what := say.place(a) + " " + decided(s, to.Choice, say) + ago + "."
	m.Spare = []string{ago}
	if v := deciding(s); v != nil {
		m.Spare = append(m.Spare, bound(v, to.Choice, say))
	}
	if s.Held {
		held := " " + sentence(fmt.Sprintf(say.held, s.Unseen))
		m.Spare = slices.Insert(m.Spare, 0, held)
		what += held
	}
	m.Text = what
	if a.Class == engine.Safety && a.Caution != "" { // what can hurt stands before what to do
		m.Text += " " + firstSentence(say.of(a.Caution))
	}
	m.Text += " " + firstSentence(say.of(a.Action))
	if waited >= unansweredLeast { // last: where a message is too long, this is cut before what to do
		unanswered := fmt.Sprintf(say.unanswered, units.Choice{}.Print(waited.Truncate(time.Minute).Seconds(), units.Duration))
		m.Text, what = m.Text+" "+unanswered, what+" "+unanswered
		m.Spare = slices.Insert(m.Spare, 0, " "+unanswered)
	}
	m.Answer, m.Button = fmt.Sprintf(say.reply, s.Occurrence), say.onItButton
	m.Body = body(s, what, link, to.Choice, say)
	return m
}

func body(s *engine.Standing, what, link string, choice units.Choice, say *words) string {
	a := s.Alarm
	lines := []string{say.title(a), what}
	for i := range s.Values {
		if v := shown(a, &s.Values[i], choice, say); len(s.Values) > 1 {
			lines = append(lines, "- "+v)
		}
	}
	lines = append(lines, "")
	add := func(label, text string) {
		if text != "" {
			lines = append(lines, label+": "+say.of(text))
		}
	}
	add(say.caution, a.Caution)
	add(say.action, a.Action)
	add(say.consequence, a.Consequence)
	add(say.cause, a.Cause)
	for _, e := range a.VerifyWith {
		add(say.verify, e.Text)
	}
	if a.RespondWithin > 0 {
		add(say.respond, units.Choice{}.Print(a.RespondWithin.Seconds(), units.Duration))
	}
	if link != "" {
		lines = append(lines, "", say.onIt, link)
	}
	if a.Class == engine.Safety {
		lines = append(lines, "", say.aid)
	}
	return strings.Join(lines, "\n") + "\n"
}

// composeDigest tells all that stands in one message. It has no link: an acknowledgement names one occurrence.
func (r *Roster) composeDigest(standings []engine.Standing, to *Person, now reading.Stamp) Message {
	say := wordsOf(to, r)
	m := Message{To: *to, At: now, Priority: engine.Low, Class: standings[0].Alarm.Class, Subject: fmt.Sprintf(say.digest, len(standings))}
	m.Thread = threadOf("digest", now.Wall.Unix())
	var parts, lines []string
	for i := range standings {
		s := &standings[i]
		parts = append(parts, say.place(s.Alarm)+" "+say.title(s.Alarm))
		lines = append(lines, say.place(s.Alarm)+" "+decided(s, to.Choice, say)+r.since(sinceOf(s), now, say)+". "+say.of(s.Alarm.Action))
	}
	m.Text = m.Subject + ": " + strings.Join(parts, "; ") + "."
	m.Body = m.Subject + "\n\n" + strings.Join(lines, "\n") + "\n"
	return m
}

// floodNamed is how many places of a flood its text names. Chosen: with the counts they fit one text message.
const floodNamed = 3

// composeFlood tells in one message, with counts, what came in a burst after its first messages; the most urgent stand first. It has no link of an answer
// and no number to answer: one acknowledgement is for one occurrence.
func (r *Roster) composeFlood(standings []engine.Standing, to *Person, page string, now reading.Stamp) Message {
	say := wordsOf(to, r)
	slices.SortStableFunc(standings, byUrgency)
	worst := standings[0].Alarm
	m := Message{To: *to, At: now, Priority: worst.Priority, Class: worst.Class, Thread: threadOf("flood", now.Wall.Unix()),
		Subject: fmt.Sprintf(say.flood, len(standings), counts(standings, say))}
	var names, lines []string
	places := map[string]bool{}
	for i := range standings {
		s := &standings[i]
		m.Flood = append(m.Flood, Told{s.Alarm.ID, s.Occurrence, s.Alarm.Place, s.Alarm.Priority})
		line := say.place(s.Alarm) + " " + say.title(s.Alarm)
		if !places[s.Alarm.Place] && len(names) < floodNamed {
			places[s.Alarm.Place] = true
			names = append(names, line)
		}
		lines = append(lines, line+r.since(sinceOf(s), now, say)+".")
	}
	if left := len(standings) - len(names); left > 0 {
		names = append(names, fmt.Sprintf(say.others, left))
	}
	m.Text = m.Subject + ": " + strings.Join(names, "; ") + ". " + say.floodDo
	m.Body = m.Subject + "\n\n" + say.floodDo + "\n" + page + "\n\n" + strings.Join(lines[:min(len(lines), floodLines)], "\n") + "\n"
	if left := len(lines) - floodLines; left > 0 {
		m.Body += fmt.Sprintf(say.others, left) + "\n"
	}
	return m
}

// floodLines bounds the body of such a message. Chosen: more is read on the page.
const floodLines = 50

// counts are how many stand of each priority: "3 high, 9 medium".
func counts(standings []engine.Standing, say *words) string {
	var n [len(say.priorities)]int
	for i := range standings {
		n[standings[i].Alarm.Priority]++
	}
	var parts []string
	for p := len(n) - 1; p >= 0; p-- {
		if n[p] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n[p], say.priorities[p]))
		}
	}
	return strings.Join(parts, ", ")
}

func spaced(name string) string { return strings.NewReplacer("-", " ", "/", " ").Replace(name) }

// decided is the value that raised the alarm, with its limit; the alarm's title where no value tells it.
func decided(s *engine.Standing, choice units.Choice, say *words) string {
	if v := deciding(s); v != nil {
		return shown(s.Alarm, v, choice, say)
	}
	return say.title(s.Alarm)
}

// deciding is the first value with a limit, else the first; nil: there is none.
func deciding(s *engine.Standing) *engine.Shown {
	if i := slices.IndexFunc(s.Values, func(v engine.Shown) bool { return v.HasLimit }); i >= 0 {
		return &s.Values[i]
	}
	if len(s.Values) > 0 {
		return &s.Values[0]
	}
	return nil
}

// bound is ", limit 45.0 °C"; "" where there is none.
func bound(v *engine.Shown, choice units.Choice, say *words) string {
	if !v.HasLimit {
		return ""
	}
	return ", " + say.limit + " " + choice.Print(v.Limit, v.Quantity)
}

func shown(a *engine.Alarm, v *engine.Shown, choice units.Choice, say *words) string {
	name, behind := say.figure(v.Text, a.Place)
	if v.Point != "" && (name == "" || !strings.ContainsAny(name, "( ")) {
		name = say.point(strings.TrimPrefix(v.Point, a.Place+"/"))
	}
	if strings.HasPrefix(name, "age(") {
		name = say.notRead // the place says of what
	}
	value := say.unknown
	if !math.IsNaN(v.Value) {
		value = choice.Print(v.Value, v.Quantity)
	}
	if v.Quantity == units.State || v.Quantity == units.YesNo {
		value = say.state(v.Value, v.Quantity)
	}
	return name + " " + value + behind + bound(v, choice, say)
}

// sinceOf is when the condition came.
func sinceOf(s *engine.Standing) reading.Stamp {
	if s.ActiveSince != (reading.Stamp{}) {
		return s.ActiveSince
	}
	return s.Since
}

// since is ", since 02:14" by the site's clock, with the date where it is another day's; by a clock that was not set only how long ago is known.
func (r *Roster) since(then, now reading.Stamp, say *words) string {
	if then.Set && now.Set {
		local, today := then.Wall.In(r.Zone), now.Wall.In(r.Zone)
		form := "15:04"
		if now.Wall.Sub(then.Wall) > 18*time.Hour || local.Year() > today.Year() {
			form = "2006-01-02 15:04"
		}
		return ", " + say.since + " " + local.Format(form)
	}
	if then.Boot == now.Boot && now.Mono > then.Mono {
		return ", " + fmt.Sprintf(say.ago, units.Choice{}.Print((now.Mono-then.Mono).Seconds(), units.Duration))
	}
	return ""
}

// firstSentence is the first sentence of a text, with its stop.
func firstSentence(text string) string {
	for i, c := range text {
		if c != '.' && c != '!' && c != '?' {
			continue
		}
		rest := text[i+1:]
		next, size := utf8.DecodeRuneInString(rest)
		if size == 0 {
			break
		}
		if unicode.IsSpace(next) {
			return text[:i+1]
		}
	}
	return sentence(text)
}

// sentence puts the stop where it is missing.
func sentence(text string) string {
	text = strings.TrimSpace(text)
	if text == "" || strings.ContainsAny(text[len(text)-1:], ".!?") {
		return text
	}
	return text + "."
}

func threadOf(alarm string, occurrence int64) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\n%d", alarm, occurrence))
	return hex.EncodeToString(sum[:8])
}
