package floor

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/rules/engine"
)

// books is the record as the page shows it.
type books struct{ f *Floor }

// wayMost bounds the lines that one drawing of the way of the lots reads. Chosen: more marks than that nobody tells apart.
const wayMost = 5000

// Way gives stays, annunciations and acts of a stretch of time.
func (b books) Way(ctx context.Context, from, to time.Time) (web.Way, error) {
	way := web.Way{From: from.UnixMilli(), To: to.UnixMilli(), Stays: []web.Stay{}, Marks: []web.Mark{}, Acts: []web.Line{}}
	stays, err := b.f.logbook.Stays(ctx, "", "")
	if err != nil {
		return way, err
	}
	for i := range stays {
		if s := &stays[i]; s.From.Wall.Before(to) && (!s.Ended || s.To.Wall.After(from)) {
			way.Stays = append(way.Stays, b.stay(s))
		}
	}
	lines, err := b.f.logbook.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.Transition, logbook.Act, logbook.Note, logbook.Calibrated},
		From: from, To: to, Limit: wayMost, Newest: true})
	slices.Reverse(lines)
	alarms := b.alarms()
	for i := range lines {
		e := &lines[i]
		switch {
		case annunciated(e):
			way.Marks = append(way.Marks, b.mark(e, alarms[e.Alarm]))
		case e.Kind != logbook.Transition || e.Who != "":
			way.Acts = append(way.Acts, b.line(e))
		}
	}
	return way, err
}

func (b books) stay(s *logbook.Stay) web.Stay {
	shown := web.Stay{Station: s.Station, Lot: s.Lot, From: s.From.Wall.UnixMilli(), Who: b.f.personTitle(s.Who), EmptiedBy: b.f.personTitle(s.EmptiedBy), Note: s.Note,
		Loaded: s.Loaded, Unloaded: s.Unloaded}
	if s.Ended {
		shown.To = s.To.Wall.UnixMilli()
	}
	return shown
}

// alarms of the rules in force, by their ID.
func (b books) alarms() map[string]*engine.Alarm {
	list := b.f.plan().Engine.Alarms
	by := make(map[string]*engine.Alarm, len(list))
	for i := range list {
		by[list[i].ID] = &list[i]
	}
	return by
}

// step is what a transition did; of another line nothing.
func step(e *logbook.Entry) (from, to string) {
	var s struct{ From, To string }
	if e.Kind != logbook.Transition || json.Unmarshal(e.Data, &s) != nil {
		return "", ""
	}
	return s.From, s.To
}

// annunciated tells whether a transition called people.
func annunciated(e *logbook.Entry) bool {
	from, to := step(e)
	unacknowledged := engine.Unacknowledged.String()
	return e.Occurrence > 0 && to == unacknowledged && from != unacknowledged
}

// mark shows an annunciation. An alarm that is no longer in the rules keeps its name, and takes the lowest priority.
func (b books) mark(e *logbook.Entry, a *engine.Alarm) web.Mark {
	m := web.Mark{Alarm: e.Alarm, Title: e.Alarm, Station: b.f.stationNamed(e.Place), Priority: engine.Low.String(), At: e.At.Wall.UnixMilli()}
	if a != nil {
		m.Title, m.Priority = cmp.Or(a.Title, a.Name), a.Priority.String()
	}
	return m
}

func (b books) line(e *logbook.Entry) web.Line {
	_, state := step(e)
	if e.Occurrence == 0 {
		state = "" // a prompt or an event: nobody acknowledges it
	}
	return web.Line{ID: e.ID, At: e.At.Wall.UnixMilli(), Set: e.At.Set, Kind: string(e.Kind), Alarm: e.Alarm, Occurrence: e.Occurrence, Place: e.Place, Lot: e.Lot,
		Who: b.f.personTitle(e.Who), Why: e.Why, State: state, Text: e.Text}
}
