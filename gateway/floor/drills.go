package floor

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
	"millwarden/rules/check"
)

// drills are the exercises under way, and the last that was answered.
type drills struct {
	mu   sync.Mutex // guards what stands below
	next int64
	open map[int64]*drill
	last web.Drill
}

type drill struct {
	person string
	begun  reading.Stamp
	told   []string // what became of it, channel by channel
	ended  string   // who answered; "": nobody yet
}

const (
	// drillBase keeps numbers of drills from those of occurrences: both are answered by "1 NUMBER". Chosen: no mill has a million alarms.
	drillBase = 1_000_000
	// drillsMost bounds what is remembered; chosen.
	drillsMost = 32
	// drillPlace is where the record files drills.
	drillPlace = "drill"
	// drillAnswered marks the line of an answered drill.
	drillAnswered = "answered"
)

// recallDrills asks the record for the last number and the last answer.
func (f *Floor) recallDrills(ctx context.Context) {
	d := &f.drills
	d.open, d.next = map[int64]*drill{}, drillBase+1
	entries, err := f.logbook.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.Act}, Place: drillPlace, Newest: true})
	if err != nil {
		f.log.Warn("the record does not tell the last drill", "cause", err)
		return
	}
	for i := range entries {
		e := &entries[i]
		d.next = max(d.next, e.Occurrence+1)
		if e.Why == drillAnswered && d.last.At == (reading.Stamp{}) {
			d.last = web.Drill{At: e.At, By: f.personTitle(e.Who)}
		}
	}
}

// beginDrill sends a person a message marked as an exercise, by all her channels, and waits for nobody.
func (f *Floor) beginDrill(a web.Act) error {
	if !slices.ContainsFunc(f.plan().People, func(p check.Person) bool { return p.Name == a.Person }) {
		return &web.Refusal{Kind: web.RefusedUnknown, Says: fmt.Sprintf("%q is no person of the rules file.", a.Person)}
	}
	d := &f.drills
	d.mu.Lock()
	number := d.next
	d.next++
	if len(d.open) >= drillsMost {
		clear(d.open)
	}
	d.open[number] = &drill{person: a.Person, begun: f.clock.Now()}
	d.mu.Unlock()
	f.write(logbook.Entry{Kind: logbook.Act, Place: drillPlace, Occurrence: number, Who: a.By, Why: "begun", Text: fmt.Sprintf("EXERCISE: drill %d of %s begun", number, f.personTitle(a.Person))})
	return f.callout.Drill(a.Person, number)
}

// noteDrill times what became of the messages of a drill.
func (f *Floor) noteDrill(l *callout.Line) {
	d := &f.drills
	d.mu.Lock()
	defer d.mu.Unlock()
	one := d.open[l.Occurrence]
	if l.Alarm != callout.DrillAlarm || one == nil || l.Event == callout.Try {
		return
	}
	one.told = append(one.told, fmt.Sprintf("%s by %s after %s", l.Event, l.Channel, secondsSince(one.begun, l.At)))
}

func secondsSince(begun, now reading.Stamp) string {
	return fmt.Sprintf("%.1f s", (now.Mono - begun.Mono).Seconds())
}

// answerDrill takes the answer to a drill: only of the person who was called, and only once.
func (f *Floor) answerDrill(a web.Act) error {
	now := f.clock.Now()
	d := &f.drills
	d.mu.Lock()
	one := d.open[a.Occurrence]
	says := ""
	switch {
	case one == nil:
		says = "This drill is not known, or too old."
	case one.person != a.By:
		says = "This drill is for " + f.personTitle(one.person) + "."
	case one.ended != "":
		says = "This drill was answered already."
	}
	if says != "" {
		d.mu.Unlock()
		return &web.Refusal{Kind: web.RefusedState, Says: says}
	}
	one.ended = a.By
	text := fmt.Sprintf("EXERCISE: %s answered drill %d by %s after %s (%s)", f.personTitle(a.By), a.Occurrence, a.Via, secondsSince(one.begun, now), strings.Join(one.told, ", "))
	d.last = web.Drill{At: now, By: f.personTitle(a.By)}
	d.mu.Unlock()
	f.write(logbook.Entry{Kind: logbook.Act, Place: drillPlace, Occurrence: a.Occurrence, Who: a.By, Why: drillAnswered, Text: text})
	return nil
}

func (f *Floor) lastDrill() web.Drill {
	f.drills.mu.Lock()
	defer f.drills.mu.Unlock()
	return f.drills.last
}

// drillAge is how long ago the last drill was answered; while nobody has, how long the record goes back. Unknown while the clock is not set.
func (f *Floor) drillAge(now reading.Stamp) (time.Duration, bool) {
	since := f.lastDrill().At
	if since == (reading.Stamp{}) {
		since = f.began
	}
	if !now.Set || !since.Set {
		return 0, false
	}
	return now.Wall.Sub(since.Wall), true
}

// firstEntry is when the record begins: from then on a drill is owed.
func (f *Floor) firstEntry(ctx context.Context) reading.Stamp {
	entries, err := f.logbook.Entries(ctx, logbook.Filter{Limit: 1})
	if err != nil || len(entries) == 0 {
		return f.clock.Now()
	}
	return entries[0].At
}
