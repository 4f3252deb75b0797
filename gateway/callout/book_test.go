package callout

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// night plays a book: it looks every ten seconds, answers messages at once, and writes down who was called when.
type night struct {
	t      *testing.T
	roster *Roster
	book   *book
	start  reading.Stamp
	at     time.Duration
	fails  map[string]bool // "ana by text", or a channel
	told   []string
}

func newNight(t *testing.T, r Roster, start string) *night {
	t.Helper()
	prepared := r.prepared()
	return &night{t: t, roster: prepared, book: newBook(), start: local(t, prepared, start), fails: map[string]bool{}}
}

func (n *night) now() reading.Stamp {
	s := n.start
	s.Wall, s.Mono = s.Wall.Add(n.at), s.Mono+n.at
	return s
}

// run looks until a time with these alarms standing.
func (n *night) run(until time.Duration, standing ...engine.Standing) {
	for ; n.at < until; n.at += 10 * time.Second {
		for range 10 { // what a result owes is owed at once
			owed, _ := n.book.look(n.roster, slices.Clone(standing), n.now())
			for _, e := range owed {
				var err error
				if n.fails[e.way] || n.fails[e.person+" by "+e.way] {
					err = errors.New("down")
				}
				mark := ""
				if err != nil {
					mark = " fails"
				}
				n.told = append(n.told, fmt.Sprintf("%v %s by %s%s", n.at, e.person, e.way, mark))
				n.book.result(result{errand: e, err: err}, n.roster)
			}
		}
	}
}

func (n *night) want(what string, want ...string) {
	n.t.Helper()
	if !slices.Equal(n.told, want) {
		n.t.Errorf("%s:\n got  %s\n want %s", what, strings.Join(n.told, "\n      "), strings.Join(want, "\n      "))
	}
	n.told = nil
}

func sour(occurrence int64) engine.Standing {
	return engine.Standing{Alarm: &engine.Alarm{ID: "over-fermented@tank-1", Name: "over-fermented", Place: "tank-1", Priority: engine.High, Class: engine.Quality},
		State: engine.Unacknowledged, Occurrence: occurrence}
}

// Steps count from the first call, the last is repeated, and an acknowledgement (the alarm no longer stands unacknowledged) ends it.
func TestBook_escalates(t *testing.T) {
	n := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00")
	n.run(31*time.Minute, sour(1))
	n.want("unanswered", "0s ana by siren", "0s ana by text", "5m0s luis by text", "10m0s ben by text", "10m0s ben by mail",
		"20m0s ben by text", "20m0s ben by mail", "30m0s ben by text", "30m0s ben by mail")
	n.run(3 * time.Hour)
	n.want("acknowledged")
	n.run(3*time.Hour+6*time.Minute, sour(2))
	n.want("it comes again: a new occurrence begins anew", "3h0m0s ana by siren", "3h0m0s ana by text", "3h5m0s luis by text")
	again := sour(2)
	again.Count = 1
	n.run(3*time.Hour+12*time.Minute, again)
	n.want("annunciated again: the calling begins anew", "3h6m0s ana by siren", "3h6m0s ana by text", "3h11m0s luis by text")
}

// A channel that is down: the person's next channel, then the next step at once, then everything again after a minute.
func TestBook_nextChannelNextPerson(t *testing.T) {
	n := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00")
	n.fails["ana by text"], n.fails["siren"], n.fails["luis by text"], n.fails["ben by text"] = true, true, true, true
	n.run(10*time.Second, sour(1))
	n.want("only ben's mail works", "0s ana by siren fails", "0s ana by text fails", "0s luis by text fails", "0s ben by text fails", "0s ben by mail")
	n.run(70*time.Second, sour(1))
	n.want("ana and luis are still owed it", "1m0s ana by text fails", "1m0s luis by text fails")
	delete(n.fails, "luis by text")
	delete(n.fails, "ana by text")
	n.run(10*time.Minute+10*time.Second, sour(1))
	n.want("their channel is back; the last step was taken at once, so its repeat counts from there", "2m0s ana by text", "2m0s luis by text", "10m0s ben by text fails", "10m0s ben by mail")

	dead := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00")
	dead.fails["siren"], dead.fails["text"], dead.fails["mail"] = true, true, true
	dead.run(2*time.Minute+10*time.Second, sour(1))
	dead.want("nothing works: everybody every minute", "0s ana by siren fails", "0s ana by text fails", "0s luis by text fails", "0s ben by text fails", "0s ben by mail fails",
		"1m0s ana by text fails", "1m0s ben by text fails", "1m0s ben by mail fails", "1m0s luis by text fails",
		"2m0s ana by text fails", "2m0s ben by text fails", "2m0s ben by mail fails", "2m0s luis by text fails")

	next := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 12:00")
	next.fails["ben by mail"] = true
	named := sour(1)
	named.Alarm.Call = []string{"owner"}
	next.run(10*time.Second, named)
	next.want("the step names mail alone; his text message is tried next", "0s ben by mail fails", "0s ben by text")
}

// Who cannot be reached by anything is passed over at once.
func TestBook_personWithoutChannel(t *testing.T) {
	r := mill(zone(t, "America/Lima"))
	r.People[0].Phone = ""
	r.Watches[0].Steps[0].By = []string{"text"}
	n := newNight(t, r, "2026-03-04 02:00")
	n.run(time.Minute, sour(1))
	n.want("ana has no phone", "0s luis by text")
}

// Hand-over: at 06:00 the day watch takes over and the night watch is left in peace; where nobody takes over, the night goes on calling.
func TestBook_handOver(t *testing.T) {
	n := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 05:57")
	n.run(12*time.Minute, sour(1))
	n.want("day takes over at 06:00", "0s ana by siren", "0s ana by text", "3m0s luis by text")
	few := mill(zone(t, "America/Lima"))
	few.Watches = few.Watches[:1]
	alone := newNight(t, few, "2026-03-04 05:57")
	alone.run(6*time.Minute, sour(1))
	alone.want("nobody takes over", "0s ana by siren", "0s ana by text", "5m0s luis by text")
	late := newNight(t, few, "2026-03-04 17:50")
	late.run(11*time.Minute, sour(1))
	late.want("it waits for the watch", "10m0s ana by siren", "10m0s ana by text")
}

// Priority low waits for the digest, one message for all; what can hurt people does not wait, nor does anything while the clock is not set.
func TestBook_digest(t *testing.T) {
	low := func(id string, class engine.Class) engine.Standing {
		return engine.Standing{Alarm: &engine.Alarm{ID: id, Priority: engine.Low, Class: class}, State: engine.Unacknowledged, Occurrence: 1}
	}
	n := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 05:00")
	var told int
	standing := []engine.Standing{low("a@x", engine.Quality), low("b@x", engine.Equipment)}
	n.run(59*time.Minute, standing...)
	n.want("nothing before 06:30")
	owedAt := func(minutes int) {
		n.at = time.Duration(minutes) * time.Minute
		owed, _ := n.book.look(n.roster, standing, n.now())
		for _, e := range owed {
			if e.watch == "night-low" {
				told += len(e.standings)
			}
		}
	}
	owedAt(89)
	if told != 0 {
		t.Errorf("told %d before the hour", told)
	}
	owedAt(90)
	if told != 2 {
		t.Errorf("the digest holds %d alarms, want 2", told)
	}
	fire := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 05:00")
	fire.run(time.Minute, low("smoke@x", engine.Safety))
	fire.want("class safety", "0s ana by text")
	unset := reading.Stamp{Mono: time.Minute, Boot: 1}
	owed, _ := newBook().look(n.roster, []engine.Standing{low("a@x", engine.Quality)}, unset)
	if !slices.ContainsFunc(owed, func(e errand) bool { return e.watch == "night-low" }) {
		t.Errorf("with the clock not set the watch with a digest is owed nothing at once: %d errands", len(owed))
	}
}

// A message under way is not sent a second time, however long the channel takes.
func TestBook_slowChannelGathersNothing(t *testing.T) {
	r := mill(zone(t, "America/Lima")).prepared()
	b := newBook()
	now := local(t, r, "2026-03-04 02:00")
	sent := 0
	for range 6 * 60 {
		owed, _ := b.look(r, []engine.Standing{sour(1)}, now)
		sent += len(owed)
		now.Mono += 10 * time.Second
		now.Wall = now.Wall.Add(10 * time.Second)
	}
	if sent != 5 { // ana by siren and text, luis by text, ben by text and mail
		t.Errorf("%d messages in an hour without an answer from any channel, want 5", sent)
	}
}

// After a restart the journal tells how far it had come. Who was reached is left in peace until the next step or repeat; what was begun and not surely
// taken is sent again; a siren fell silent with the program and sounds again.
func TestBook_recalls(t *testing.T) {
	start := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00").start
	line := func(minutes time.Duration, event string, step int, person, way string) Line {
		at := start
		at.Wall, at.Mono = at.Wall.Add(minutes*time.Minute), at.Mono+minutes*time.Minute
		return Line{At: at, Event: event, Watch: "night", Step: step, Person: person, Channel: way}
	}
	ana := []Line{line(0, Try, 0, "ana", "siren"), line(0, Accepted, 0, "ana", "siren"), line(0, Try, 0, "ana", "text"), line(0, Accepted, 0, "ana", "text")}
	luis := slices.Concat(ana, []Line{line(5, Try, 1, "luis", "text")})
	ben := []Line{line(5, Accepted, 1, "luis", "text"), line(10, Try, 2, "ben", "text"), line(10, Failed, 2, "ben", "text"), line(10, GivenUp, 2, "ben", "text")}
	strange := []Line{{At: start, Event: Try, Watch: "gone", Step: 0, Person: "ben", Channel: "text"}, {At: start, Event: Try, Watch: "night", Step: 2, Count: 7, Person: "ben", Channel: "text"}}
	for _, c := range []struct {
		name  string
		at    string
		lines []Line
		want  []string
	}{
		{"everybody of the step was reached", "02:02", slices.Concat(ana, strange), []string{"0s ana by siren", "3m0s luis by text"}},
		{"the line stands, its receipt does not", "02:07", luis, []string{"0s luis by text", "0s ana by siren", "3m0s ben by text", "3m0s ben by mail"}},
		{"the last step was reached: it waits for its repeat", "02:12", slices.Concat(luis, ben, []Line{line(10, Try, 2, "ben", "mail"), line(10, Accepted, 2, "ben", "mail")}), []string{"0s ana by siren"}},
		{"given up by one channel: the next is owed", "02:12", slices.Concat(luis, ben), []string{"0s ben by mail", "0s ana by siren"}},
		{"nobody was reached by anything two minutes ago: again within a minute", "02:12", slices.Concat(luis, ben, []Line{line(10, Try, 2, "ben", "mail"), line(10, GivenUp, 2, "ben", "mail")}),
			[]string{"0s ana by siren", "1m0s ben by text", "1m0s ben by mail"}},
	} {
		for boot := range uint32(2) {
			n := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 "+c.at)
			if n.start.Boot += boot; boot > 0 {
				n.start.Mono = time.Minute // its monotonic clock began anew
			}
			n.book.past = func(string, int64) []Line { return c.lines }
			n.run(3*time.Minute+10*time.Second, sour(1))
			n.want(fmt.Sprintf("%s, boot %d", c.name, n.start.Boot), c.want...)
		}
	}
}

// A changed roster: who now stands in a step that was taken already is owed the call.
func TestBook_newcomers(t *testing.T) {
	n := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00")
	n.run(time.Minute, sour(1))
	n.want("before", "0s ana by siren", "0s ana by text")
	changed := mill(n.roster.Zone)
	changed.Watches[0].Steps[0].People = []string{"ben"}
	n.roster = changed.prepared()
	n.run(2*time.Minute, sour(1))
	n.want("ben stands in for ana", "1m0s ben by text")
}

// What can hurt people is called for first, then by priority, then by age.
func TestByUrgency(t *testing.T) {
	make := func(id string, class engine.Class, p engine.Priority, since time.Duration) engine.Standing {
		return engine.Standing{Alarm: &engine.Alarm{ID: id, Class: class, Priority: p}, Since: reading.Stamp{Mono: since}}
	}
	s := []engine.Standing{make("low", engine.Food, engine.Low, 1), make("new", engine.Food, engine.High, 9), make("old", engine.Food, engine.High, 2), make("fire", engine.Safety, engine.Medium, 5)}
	slices.SortStableFunc(s, byUrgency)
	var got []string
	for _, x := range s {
		got = append(got, x.Alarm.ID)
	}
	if want := []string{"fire", "old", "new", "low"}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// Who is called next is said as it then comes to pass, at every moment of a night: by the steps, by the repeats of the last, and across the end of a watch.
func TestBook_coming(t *testing.T) {
	n := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00")
	standing := []engine.Standing{sour(1)}
	coming := func() string {
		var says []string
		for _, c := range n.book.coming(n.roster, standing, n.now())[keyOf(&standing[0])] {
			says = append(says, fmt.Sprintf("%v %s by %s", c.At-n.start.Mono, c.Person, c.Channel))
		}
		return strings.Join(says, ", ")
	}
	for until, want := range []string{0: "", 1: "5m0s luis by text", 4: "5m0s luis by text", 6: "10m0s ben by text", 11: "20m0s ben by text", 21: "30m0s ben by text"} {
		if want == "" {
			continue
		}
		n.run(time.Duration(until)*time.Minute, standing...)
		if got := coming(); got != want {
			t.Errorf("after %d min %q, want %q", until, got, want)
		}
		promised, _, _ := strings.Cut(want, " by")
		past := len(n.told)
		n.run(n.at+11*time.Minute, standing...)
		if told := strings.Join(n.told[past:], "\n"); !strings.Contains("\n"+told, "\n"+promised) {
			t.Errorf("after %d min %q was promised, and there came\n%s", until, promised, told)
		}
		n = newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00")
	}
	n.run(time.Minute, standing...)
	n.run(2 * time.Minute) // acknowledged
	if got := n.book.coming(n.roster, nil, n.now()); len(got) != 0 {
		t.Errorf("nobody need be called, and %v is said", got)
	}
}
