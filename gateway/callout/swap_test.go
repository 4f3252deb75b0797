package callout

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// Moments around changes of the clock. Tijuana: forward from 02:00 to 03:00 on 2026-03-08, back from 02:00 to 01:00 on 2026-11-01; offsets -08:00 and
// -07:00: IANA time zone database.
func TestInstant(t *testing.T) {
	tijuana := zone(t, "America/Tijuana")
	for _, c := range []struct {
		local string
		ends  bool
		want  string // UTC
	}{
		{"2026-10-31 18:00", false, "2026-11-01T01:00:00Z"},
		{"2026-11-01 00:59", true, "2026-11-01T07:59:00Z"},
		{"2026-11-01 01:30", false, "2026-11-01T08:30:00Z"},
		{"2026-11-01 01:30", true, "2026-11-01T09:30:00Z"},
		{"2026-11-01 02:00", false, "2026-11-01T10:00:00Z"},
		{"2026-03-08 01:59", true, "2026-03-08T09:59:00Z"},
		{"2026-03-08 02:30", false, "2026-03-08T10:30:00Z"}, // left out: half an hour after the change
		{"2026-03-08 02:30", true, "2026-03-08T10:30:00Z"},
		{"2026-03-08 03:00", false, "2026-03-08T10:00:00Z"},
	} {
		local, err := time.Parse("2006-01-02 15:04", c.local)
		if err != nil {
			t.Fatal(err)
		}
		if got := Instant(local, tijuana, c.ends).UTC().Format(time.RFC3339); got != c.want {
			t.Errorf("Instant(%s, ends %v) = %s, want %s", c.local, c.ends, got, c.want)
		}
	}
}

// steps are the people of a watch's steps at a time: "ana; luis; ben".
func stepsAt(r *Roster, watch string, now reading.Stamp) string {
	var parts []string
	for _, s := range r.swapped(now).watch(watch).Steps {
		parts = append(parts, strings.Join(s.People, "+"))
	}
	return strings.Join(parts, "; ")
}

// Whoever is away, somebody is called, and nobody who need not be.
func TestSwapped(t *testing.T) {
	base := mill(zone(t, "America/Lima"))
	base.People = append(base.People, Person{Name: "rosa", Title: "Rosa", Mail: "rosa@x.example"})
	at := local(t, &base, "2026-12-24 23:00")
	unset := reading.Stamp{Mono: at.Mono, Boot: 1}
	during := func(stands string, away ...string) Swap {
		return Swap{Away: away, Stands: stands, From: at.Wall.Add(-time.Hour), To: at.Wall.Add(time.Hour)}
	}
	for _, c := range []struct {
		name  string
		swaps []Swap
		now   reading.Stamp
		watch string
		want  string
	}{
		{"none", nil, at, "night", "ana; luis; ben"},
		{"one for one", []Swap{during("rosa", "ana")}, at, "night", "rosa; luis; ben"},
		{"not yet", []Swap{{[]string{"ana"}, "rosa", at.Wall.Add(time.Minute), at.Wall.Add(time.Hour)}}, at, "night", "ana; luis; ben"},
		{"at its begin", []Swap{{[]string{"ana"}, "rosa", at.Wall, at.Wall.Add(time.Hour)}}, at, "night", "rosa; luis; ben"},
		{"at its end", []Swap{{[]string{"ana"}, "rosa", at.Wall.Add(-time.Hour), at.Wall}}, at, "night", "ana; luis; ben"},
		{"the newest counts", []Swap{during("rosa", "ana"), during("ben", "ana")}, at, "night", "ben; luis; ben"},
		{"who stands in is away too", []Swap{during("luis", "rosa"), during("rosa", "ana")}, at, "night", "luis; luis; ben"},
		{"each for the other", []Swap{during("luis", "ana"), during("ana", "luis")}, at, "night", "luis; ana; ben"},
		{"away for nobody: the next is called at once", []Swap{during("", "ana")}, at, "night", "luis; luis; ben"},
		{"the last step falls to the one before", []Swap{during("", "ben")}, at, "night", "ana; luis; luis"},
		{"the whole watch away", []Swap{during("", "ana", "luis", "ben")}, at, "night", "rosa; rosa; rosa"},
		{"everybody away: somebody must be called", []Swap{during("", "ana", "luis", "ben", "rosa")}, at, "night", "ana; luis; ben"},
		{"who was named alone", []Swap{during("rosa", "ben")}, at, "person ben", "rosa"},
		{"who was named alone, nobody for him", []Swap{during("", "ben")}, at, "person ben", "ana+luis+rosa"},
		{"everybody", []Swap{during("", "ana", "ben")}, at, "", "luis+rosa"},
		{"a person of no roster", []Swap{during("caro", "ana")}, at, "night", "ana; luis; ben"},
		{"the clock not set: both", []Swap{during("rosa", "ana"), during("", "luis")}, unset, "night", "ana+rosa; luis; ben"},
	} {
		r := base
		r.Swaps = c.swaps
		if got := stepsAt(r.prepared(), c.watch, c.now); got != c.want {
			t.Errorf("%s: steps are %q, want %q", c.name, got, c.want)
		}
	}
	r := base.prepared()
	if got := r.ways(r.people["rosa"], []string{"siren", "text"}); !slices.Equal(got, []string{"siren", "mail"}) {
		t.Errorf("Rosa has no telephone and is called by %v, want the siren and her mail", got)
	}
}

// A night over the hour that comes twice, with the board started anew in it: from 22:00 to 01:30 (its second coming) Luis is called in Ana's place. Judged
// by phones alone, and by the same night without the swap, in which Ana is called each time.
func TestNight_swap(t *testing.T) {
	var plan nightPlan
	for at := 3*time.Hour + 10*time.Minute; at < 11*time.Hour; at += 20 * time.Minute { // first steps only: each is answered before the second
		plan.troubles = append(plan.troubles, trouble{at, at + 3*time.Minute})
		if at%time.Hour == 10*time.Minute {
			plan.restarts = append(plan.restarts, at+30*time.Second)
		}
	}
	const begins, ends = 4 * time.Hour, 8*time.Hour + 30*time.Minute // since 18:00: 22:00, and 01:30 the second time
	across := trouble{begins - 2*time.Minute, begins + 2*time.Minute}
	plan.troubles = append(plan.troubles, across)
	for _, swaps := range []bool{true, false} {
		v := play(t, plan, "America/Tijuana", "2026-10-31 18:00", func(_ *village, r *Roster) {
			if swaps {
				moment := func(text string, ends bool) time.Time {
					at, err := time.Parse("2006-01-02 15:04", text)
					if err != nil {
						t.Fatal(err)
					}
					return Instant(at, r.Zone, ends)
				}
				r.Swaps = []Swap{{[]string{"ana"}, "luis", moment("2026-10-31 22:00", false), moment("2026-11-01 01:30", true)}}
			}
		})
		inPlace := 0
		for i, one := range plan.troubles {
			got := v.called(int64(i + 1))
			want := "ana"
			if swaps && one.from >= begins && one.from < ends {
				want, inPlace = "luis", inPlace+1
			}
			if swaps && one == across {
				want = "ana luis" // he is owed the call from the moment on at which he stands in
			}
			if got != want {
				t.Errorf("swap %v: of %v after 18:00 %q was called, want %q", swaps, one.from, got, want)
			}
		}
		if swaps && inPlace < 12 {
			t.Errorf("only %d calls fell into the swap", inPlace)
		}
		t.Logf("swap %v: %d occurrences, %d in Ana's place, %d restarts, %d rings", swaps, len(plan.troubles), inPlace, len(plan.restarts), len(v.rings))
	}
}

// called names whose own channels rang for an occurrence, in order.
func (v *village) called(occurrence int64) string {
	var names []string
	for _, g := range v.rings {
		if g.occurrence == occurrence && g.way != "siren" {
			names = append(names, g.person)
		}
	}
	return strings.Join(names, " ")
}

// A swap that is entered, and taken back, while an alarm stands: who stands in is called then and there, and nobody twice.
func TestBook_swapWhileCalling(t *testing.T) {
	r := mill(zone(t, "America/Lima"))
	now := local(t, &r, "2026-12-24 23:00")
	s := engine.Standing{Alarm: &engine.Alarm{ID: "sour@tank-1", Name: "sour", Place: "tank-1", Priority: engine.High, Class: engine.Quality}, State: engine.Unacknowledged, Occurrence: 7, Since: now}
	b := newBook()
	look := func(after time.Duration) string {
		at := now
		at.Wall, at.Mono = now.Wall.Add(after), now.Mono+after
		p := r.prepared().swapped(at)
		owed, _ := b.look(p, []engine.Standing{s}, at)
		var told []string
		for i := range owed {
			told = append(told, owed[i].person+" by "+owed[i].way)
			b.result(result{errand: owed[i]}, p)
		}
		return strings.Join(told, ", ")
	}
	swap := Swap{Away: []string{"ana"}, Stands: "ben", From: now.Wall, To: now.Wall.Add(time.Hour)}
	for _, c := range []struct {
		after time.Duration
		swaps []Swap
		want  string
	}{
		{0, nil, "ana by siren, ana by text"},
		{time.Minute, []Swap{swap}, "ben by text"}, // the siren sounds already
		{2 * time.Minute, nil, ""},
		{3 * time.Minute, []Swap{swap}, ""},
		{5 * time.Minute, []Swap{swap}, "luis by text"},
	} {
		r.Swaps = c.swaps
		if got := strings.ReplaceAll(look(c.after), "ben by siren, ", ""); got != c.want {
			t.Errorf("after %v: called %q, want %q", c.after, got, c.want)
		}
	}
}

// Turns tell the night as it will be, with the swap in it.
func TestTurns(t *testing.T) {
	r := mill(zone(t, "America/Lima"))
	from := local(t, &r, "2026-12-24 17:00").Wall
	r.Swaps = []Swap{{[]string{"ana"}, "ben", local(t, &r, "2026-12-24 22:00").Wall, local(t, &r, "2026-12-25 02:00").Wall}}
	var got []string
	for _, turn := range r.Turns(from, from.Add(15*time.Hour)) {
		if turn.Watch == "night" {
			got = append(got, fmt.Sprintf("%s %s-%s %v %s", turn.Person, turn.From.In(r.Zone).Format("15:04"), turn.To.In(r.Zone).Format("15:04"), turn.After, turn.For))
		}
	}
	want := []string{"ana 18:00-22:00 0s ", "luis 18:00-06:00 5m0s ", "ben 18:00-06:00 10m0s ", "ben 22:00-02:00 0s ana", "ana 02:00-06:00 0s "}
	if !slices.Equal(got, want) {
		t.Errorf("turns are\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
