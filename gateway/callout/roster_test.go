package callout

import (
	"context"
	"slices"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Skipf("the time zones of the system are missing: %v", err)
	}
	return z
}

func days(ds ...time.Weekday) (d [7]bool) {
	for _, day := range ds {
		d[day] = true
	}
	return d
}

// Hours go by the site's clock. 2026-03-04 is a Wednesday. In Chile clocks went back from 24:00 to 23:00 on Saturday 2025-04-05 (an hour came twice) and
// forward from 24:00 to 01:00 on Saturday 2025-09-06 (no 00:30): IANA time zone database, America/Santiago.
func TestOnDuty(t *testing.T) {
	lima, santiago := zone(t, "America/Lima"), zone(t, "America/Santiago")
	night := engine.Span{From: 18 * 60, To: 8 * 60}
	friday := engine.Span{From: 18 * 60, To: 8 * 60, Days: days(time.Friday)}
	weekdays := engine.Span{From: 6 * 60, To: 18 * 60, Days: days(1, 2, 3, 4, 5)}
	whole := engine.Span{From: 0, To: 1440}
	evening := engine.Span{From: 22 * 60, To: 24 * 60}
	for _, c := range []struct {
		name string
		zone *time.Location
		at   string // UTC
		span engine.Span
		want bool
	}{
		{"a minute before", lima, "2026-03-04T22:59:00Z", night, false},
		{"its first minute", lima, "2026-03-04T23:00:00Z", night, true},
		{"over midnight", lima, "2026-03-05T08:00:00Z", night, true},
		{"its last minute", lima, "2026-03-05T12:59:59Z", night, true},
		{"its end", lima, "2026-03-05T13:00:00Z", night, false},
		{"Friday evening", lima, "2026-03-07T00:00:00Z", friday, true},
		{"Saturday morning belongs to Friday", lima, "2026-03-07T11:00:00Z", friday, true},
		{"Friday morning belongs to Thursday", lima, "2026-03-06T11:00:00Z", friday, false},
		{"Saturday evening", lima, "2026-03-08T00:00:00Z", friday, false},
		{"weekday", lima, "2026-03-04T15:00:00Z", weekdays, true},
		{"Sunday", lima, "2026-03-08T15:00:00Z", weekdays, false},
		{"the whole day", lima, "2026-03-04T15:00:00Z", whole, true},
		{"to 24:00", lima, "2026-03-05T04:59:00Z", evening, true},
		{"past 24:00", lima, "2026-03-05T05:00:00Z", evening, false},
		{"23:30 the first time", santiago, "2025-04-06T02:30:00Z", evening, true},
		{"23:30 the second time", santiago, "2025-04-06T03:30:00Z", evening, true},
		{"after the second", santiago, "2025-04-06T04:00:00Z", evening, false},
		{"01:00 right after the hour left out", santiago, "2025-09-07T04:00:00Z", engine.Span{From: 0, To: 60}, false},
		{"night over the hour left out", santiago, "2025-09-07T04:00:00Z", night, true},
	} {
		at, err := time.Parse(time.RFC3339, c.at)
		if err != nil {
			t.Fatal(err)
		}
		if got := OnDuty([]engine.Span{c.span}, at.In(c.zone)); got != c.want {
			t.Errorf("%s: on duty at %s is %v, want %v", c.name, at.In(c.zone), got, c.want)
		}
	}
}

// nowhere is a channel that takes everything.
type nowhere struct{}

func (nowhere) Send(context.Context, Message) error { return nil }

// mill is a roster with the usual shapes: a night and a day watch, a watch for what is not urgent, one called by name only.
func mill(z *time.Location) Roster {
	return Roster{Site: "Fern Hollow", Zone: z,
		People: []Person{{Name: "ana", Title: "Ana", Phone: "1"}, {Name: "luis", Title: "Luis", Phone: "2"}, {Name: "ben", Title: "Ben", Phone: "3", Mail: "ben@x.example"}},
		Ways: []Way{
			{Name: "siren", Channel: nowhere{}, Shared: true},
			{Name: "text", Channel: nowhere{}, Reaches: func(p *Person) bool { return p.Phone != "" }},
			{Name: "mail", Channel: nowhere{}, Reaches: func(p *Person) bool { return p.Mail != "" }},
		},
		Watches: []Watch{
			{Name: "night", Hours: []engine.Span{{From: 18 * 60, To: 6 * 60}}, Takes: []engine.Priority{engine.High, engine.Medium}, Digest: -1, Repeat: 10 * time.Minute,
				Steps: []Step{{0, []string{"ana"}, []string{"siren", "text"}}, {5 * time.Minute, []string{"luis"}, []string{"text"}}, {10 * time.Minute, []string{"ben"}, []string{"text", "mail"}}}},
			{Name: "night-low", Hours: []engine.Span{{From: 18 * 60, To: 6 * 60}}, Takes: []engine.Priority{engine.Low}, Digest: 6*60 + 30, Steps: []Step{{0, []string{"ana"}, []string{"text"}}}},
			{Name: "day", Hours: []engine.Span{{From: 6 * 60, To: 18 * 60}}, Digest: -1, Steps: []Step{{0, []string{"luis"}, []string{"text"}}}},
			{Name: "drying", Hours: []engine.Span{{From: 6 * 60, To: 18 * 60}}, Areas: []string{"deck"}, Takes: []engine.Priority{engine.High}, Digest: -1, Steps: []Step{{0, []string{"ben"}, nil}}},
			{Name: "owner", OnlyWhenNamed: true, Digest: -1, Steps: []Step{{0, []string{"ben"}, []string{"mail"}}}},
		}}
}

func local(t *testing.T, r *Roster, text string) reading.Stamp {
	t.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04", text, r.Zone)
	if err != nil {
		t.Fatal(err)
	}
	return reading.Stamp{Wall: at.UTC(), Mono: at.Sub(time.Date(2026, 3, 1, 0, 0, 0, 0, r.Zone)), Boot: 1, Set: true}
}

func TestTakers(t *testing.T) {
	r := mill(zone(t, "America/Lima")).prepared()
	alone := Roster{Zone: r.Zone, People: r.People, Ways: r.Ways}.prepared()
	unset := reading.Stamp{Mono: time.Minute, Boot: 1}
	for _, c := range []struct {
		name   string
		roster *Roster
		alarm  engine.Alarm
		at     reading.Stamp
		want   []string
	}{
		{"high at night", r, engine.Alarm{Priority: engine.High, Class: engine.Quality}, local(t, r, "2026-03-04 02:00"), []string{"night"}},
		{"low at night", r, engine.Alarm{Priority: engine.Low, Class: engine.Quality}, local(t, r, "2026-03-04 02:00"), []string{"night-low"}},
		{"by day, elsewhere", r, engine.Alarm{Priority: engine.High, Class: engine.Quality, Area: "mill"}, local(t, r, "2026-03-04 12:00"), []string{"day"}},
		{"by day, on the deck", r, engine.Alarm{Priority: engine.High, Class: engine.Quality, Area: "deck"}, local(t, r, "2026-03-04 12:00"), []string{"day", "drying"}},
		{"medium on the deck", r, engine.Alarm{Priority: engine.Medium, Class: engine.Quality, Area: "deck"}, local(t, r, "2026-03-04 12:00"), []string{"day"}},
		{"named watch", r, engine.Alarm{Call: []string{"owner"}, Class: engine.Food}, local(t, r, "2026-03-04 12:00"), []string{"owner"}},
		{"named watch off duty", r, engine.Alarm{Call: []string{"night"}, Class: engine.Food}, local(t, r, "2026-03-04 12:00"), nil},
		{"named watch off duty, safety", r, engine.Alarm{Call: []string{"night"}, Class: engine.Safety}, local(t, r, "2026-03-04 12:00"), []string{"night"}},
		{"named person at any hour", r, engine.Alarm{Call: []string{"ben"}, Class: engine.Food}, local(t, r, "2026-03-04 03:00"), []string{"person ben"}},
		{"a name that is gone calls those on duty", r, engine.Alarm{Call: []string{"eve"}, Priority: engine.High, Class: engine.Food}, local(t, r, "2026-03-04 02:00"), []string{"night"}},
		{"clock not set: all that take it", r, engine.Alarm{Priority: engine.High, Class: engine.Food, Area: "mill"}, unset, []string{"night", "day"}},
		{"no watch at all: everybody", alone, engine.Alarm{Priority: engine.Low, Class: engine.Food}, local(t, r, "2026-03-04 02:00"), []string{""}},
	} {
		var got []string
		for _, w := range c.roster.takers(&c.alarm, c.at) {
			got = append(got, w.Name)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	// What can hurt people never waits for a watch: with no watch that takes it, everybody is called.
	few := mill(r.Zone)
	few.Watches = few.Watches[1:2]
	prepared := few.prepared()
	high := engine.Alarm{Priority: engine.High, Class: engine.Safety}
	if got := prepared.takers(&high, local(t, r, "2026-03-04 12:00")); len(got) != 1 || got[0] != prepared.everybody {
		t.Errorf("safety with no watch: %+v, want everybody", got)
	}
}

func TestWays(t *testing.T) {
	r := mill(time.UTC).prepared()
	for _, c := range []struct {
		person string
		by     []string
		want   []string
	}{
		{"ana", nil, []string{"siren", "text"}},
		{"ben", nil, []string{"siren", "text", "mail"}},
		{"ana", []string{"mail"}, []string{"text"}}, // none of the channels of the step fits: her own
		{"ben", []string{"mail", "text"}, []string{"text", "mail"}},
	} {
		if got := r.ways(r.people[c.person], c.by); !slices.Equal(got, c.want) {
			t.Errorf("%s by %v: %v, want %v", c.person, c.by, got, c.want)
		}
	}
}

func TestRosterCheck(t *testing.T) {
	good := mill(time.UTC)
	if err := good.check(); err != nil {
		t.Fatal(err)
	}
	for name, edit := range map[string]func(*Roster){
		"watch without steps": func(r *Roster) { r.Watches[0].Steps = nil },
		"first step is late":  func(r *Roster) { r.Watches[0].Steps = []Step{{time.Minute, []string{"ana"}, nil}} },
		"steps fall": func(r *Roster) {
			r.Watches[0].Steps = []Step{{0, nil, nil}, {5 * time.Minute, nil, nil}, {time.Minute, nil, nil}}
		},
		"person unknown":      func(r *Roster) { r.Watches[0].Steps = []Step{{0, []string{"eve"}, nil}} },
		"channel unknown":     func(r *Roster) { r.Watches[0].Steps = []Step{{0, []string{"ana"}, []string{"pigeon"}}} },
		"channel twice":       func(r *Roster) { r.Ways = append(r.Ways, r.Ways[0]) },
		"channel that is nil": func(r *Roster) { r.Ways = []Way{{Name: "text"}} },
		"no zone":             func(r *Roster) { r.Zone = nil },
	} {
		r := mill(time.UTC)
		edit(&r)
		if _, err := New(Options{Roster: r}); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}
