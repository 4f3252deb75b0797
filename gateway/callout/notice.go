package callout

import (
	"context"
	"errors"
	"fmt"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// A notice is a message that no alarm asked for: a drill, or the daily word that all is well. It goes the whole way of a call, is tried again as a
// call is, and nobody is called after it.
type notice struct {
	person string
	by     []string // channels; empty: all of hers
	number int64    // of a drill
	write  func(r *Roster, to *Person, link string, now reading.Stamp) Message
}

// ErrBusy is the answer to one notice too many: more are asked for than are sent.
var ErrBusy = errors.New("callout: messages are waiting already")

// DrillAlarm stands for the alarm in tokens, lines and answers of a drill; its occurrence is the number of the drill. No alarm of a rules file is
// called so: theirs have a place.
const DrillAlarm = "drill"

// Drill sends one person a message marked as an exercise, by all her channels. It asks for an answer, as a call does.
func (c *Callout) Drill(person string, number int64) error {
	return c.give(notice{person: person, number: number, write: func(r *Roster, to *Person, link string, now reading.Stamp) Message {
		return r.exercise(to, number, link, now)
	}})
}

// Well is what the daily message tells.
type Well struct {
	Probes, Reading int    // how many there are, and how many give readings
	Standing        int    // alarms that are active or not acknowledged
	Trouble         string // what of the gateway itself is not well; "": nothing
	Drilled         string // who answered the last drill, and when; "": nobody yet
}

// AllWell sends one person the daily message; by names channels, none: all of hers. Its silence is how a dead board is noticed.
func (c *Callout) AllWell(person string, by []string, w Well) error {
	return c.give(notice{person: person, by: by, write: func(r *Roster, to *Person, _ string, now reading.Stamp) Message {
		return r.allWell(to, w, now)
	}})
}

func (c *Callout) give(n notice) error {
	if c.inForce().people[n.person] == nil {
		return fmt.Errorf("callout: there is no person %q", n.person)
	}
	select {
	case c.notices <- n:
		return nil
	default:
		return ErrBusy
	}
}

// notify hands a notice to each of its channels. A siren sounds for a drill alone.
func (c *Callout) notify(ctx context.Context, n notice) {
	r := c.inForce()
	person := r.people[n.person]
	if person == nil {
		return // of a roster no longer in force
	}
	now := c.clock.Now()
	link := ""
	if n.number > 0 && c.linkBase != "" {
		s := engine.Standing{Alarm: &engine.Alarm{ID: DrillAlarm}, Occurrence: n.number}
		link = c.linkBase + "/a/" + c.links.issue(c.desk, &s, n.person, wordsOf(person, r).exercise, now)
	}
	for _, way := range r.ways(person, n.by) {
		if r.shared(way) && n.number == 0 {
			continue
		}
		m := n.write(r, person, link, now)
		m.ID = newID()
		e := errand{person: n.person, way: way, drill: true}
		if n.number > 0 {
			e.key = key{alarm: DrillAlarm, occurrence: n.number}
		}
		c.workers[way].take(job{ctx: ctx, errand: e, message: m})
	}
}

// exercise writes the message of a drill.
func (r *Roster) exercise(to *Person, number int64, link string, now reading.Stamp) Message {
	say := wordsOf(to, r)
	text := sentence(fmt.Sprintf(say.drill, to.Title))
	m := Message{To: *to, At: now, Exercise: true, Priority: engine.Low, Class: engine.Equipment, Alarm: DrillAlarm, Occurrence: number, Thread: threadOf(DrillAlarm, number), Link: link,
		Subject: say.exercise + ": " + r.Site, Text: say.exercise + ". " + text, Title: say.exercise, Answer: fmt.Sprintf(say.gotReply, number), Button: say.gotButton}
	m.Body = say.exercise + "\n\n" + text + "\n"
	if link != "" {
		m.Body += "\n" + say.got + "\n" + link + "\n"
	}
	return m
}

// allWell writes the daily message. It says what is, well or not: its coming is what counts.
func (r *Roster) allWell(to *Person, w Well, now reading.Stamp) Message {
	say := wordsOf(to, r)
	text := fmt.Sprintf(say.well, w.Reading, w.Probes)
	if w.Standing > 0 || w.Reading < w.Probes || w.Trouble != "" {
		text = fmt.Sprintf(say.notWell, w.Standing, w.Reading, w.Probes)
	}
	subject := r.Site + ": " + text
	if w.Trouble != "" {
		text += " " + sentence(w.Trouble)
	}
	if w.Drilled != "" {
		text += " " + sentence(fmt.Sprintf(say.lastDrill, w.Drilled))
	} else {
		text += " " + say.noDrill
	}
	return Message{To: *to, At: now, Priority: engine.Low, Class: engine.Equipment, Thread: threadOf("all well", now.Wall.Unix()), Subject: subject, Text: text,
		Body: text + "\n\n" + say.silence + "\n"}
}
