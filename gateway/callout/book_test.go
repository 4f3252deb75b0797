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
	n.run(11*time.Minute, sour(1))
	n.want("the last step was taken at once, so its repeat counts from there", "10m0s ben by text fails", "10m0s ben by mail")

	dead := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00")
	dead.fails["siren"], dead.fails["text"], dead.fails["mail"] = true, true, true
	dead.run(2*time.Minute+10*time.Second, sour(1))
	dead.want("nothing works: the last step every minute", "0s ana by siren fails", "0s ana by text fails", "0s luis by text fails", "0s ben by text fails", "0s ben by mail fails",
		"1m0s ben by text fails", "1m0s ben by mail fails", "2m0s ben by text fails", "2m0s ben by mail fails")

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

// Priority low waits for the digest, one message for all; what can hurt people does not wait.
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

// After a restart the journal tells how far it had come: the last step is repeated at once, the next keeps its time.
func TestBook_recalls(t *testing.T) {
	first := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:00")
	lines := []Line{
		{At: first.start, Event: Try, Watch: "night", Step: 0},
		{At: reading.Stamp{Wall: first.start.Wall.Add(5 * time.Minute), Mono: first.start.Mono + 5*time.Minute, Boot: 1, Set: true}, Event: Try, Watch: "night", Step: 1},
		{At: first.start, Event: Try, Watch: "gone", Step: 0},
		{At: first.start, Event: Try, Watch: "night", Step: 2, Count: 7},
	}
	for name, boot := range map[string]uint32{"the process alone": 1, "the board": 2} {
		n := newNight(t, mill(zone(t, "America/Lima")), "2026-03-04 02:07")
		n.start.Boot = boot
		if boot == 2 {
			n.start.Mono = time.Minute // its monotonic clock began anew
		}
		n.book.past = func(string, int64) []Line { return lines }
		n.run(4*time.Minute, sour(1))
		n.want(name+" started anew at 02:07", "0s luis by text", "3m0s ben by text", "3m0s ben by mail")
	}
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
