package engine

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// reboot saves, goes through JSON, and starts another engine on another boot, away later by the wall clock.
func (b *bench) reboot(p Plan, away time.Duration, clockSet bool) *bench {
	b.t.Helper()
	text, err := json.Marshal(b.e.Save())
	if err != nil {
		b.t.Fatal(err)
	}
	var saved Saved
	if err := json.Unmarshal(text, &saved); err != nil {
		b.t.Fatal(err)
	}
	now := reading.Stamp{Wall: night.Add(b.now + away), Mono: 20 * seconds, Boot: 2, Set: clockSet}
	if !clockSet {
		now.Wall = time.Date(1970, 1, 1, 0, 0, 20, 0, time.UTC)
	}
	next := &bench{t: b.t, e: mustNew(b.t, p, &saved, now), plan: p}
	next.said = next.e.Tick(now, nil)
	return next
}

// later lets time go on after a reboot.
func (b *bench) later(d time.Duration) *bench {
	b.t.Helper()
	now := b.e.m.clock.stamp()
	now.Mono, now.Wall = now.Mono+d, now.Wall.Add(d)
	b.said = b.e.Tick(now, b.said)
	return b
}

// TestRestart_keepsStates: states, acknowledgements, occurrence numbers and shelf ends come back. [standards 1.4 rule 7]
func TestRestart_keepsStates(t *testing.T) {
	p := tank(Alarm{When: phBelow(4.2, 0), Shelvable: 8 * time.Hour, Class: Quality}, Alarm{Name: "hot", When: cmp(at(warmth, units.Temperature), formula.Greater, num(35, units.Temperature), 0), OnDelay: time.Minute})
	before := start(t, p).sees(ph, 4).sees(ph, 5).sees(ph, 4).must(Act{Event: Acknowledge, Alarm: "sour@tank-1", Occurrence: 2, By: "ben"})
	after := before.reboot(p, 3*time.Hour, true).is(Acknowledged)
	s := after.standing("sour@tank-1")
	if s.Occurrence != 2 || s.AcknowledgedBy != "ben" || !s.Active || !s.Held {
		t.Errorf("after the restart: %+v", s)
	}
	if s.Unseen != "tank-1/ph: overdue" {
		t.Errorf("three hours later the old reading still stands: %q", s.Unseen)
	}
	fresh := reading.Reading{Point: ph, Value: 5, Stamp: after.e.m.clock.stamp()}
	after.said = after.e.Observe(&fresh, after.said)
	after.is(Normal)
	fresh.Value = 4
	if after.said = after.e.Observe(&fresh, after.said); after.standing("sour@tank-1").Occurrence != 3 {
		t.Errorf("the next occurrence is %d, want 3", after.standing("sour@tank-1").Occurrence)
	}
}

// TestRest: a point that owes no reading forgets what stood and is never overdue, also after a restart; once it owes one it has its whole time. What was read meanwhile stands on, unless it is too old.
func TestRest(t *testing.T) {
	p := tank(Alarm{When: ref(formula.IsOverdue, ph)})
	b := start(t, p).sees(ph, 4)
	rest := func(rests bool) { b.said = b.e.Rest(ph, rests, b.e.m.clock.stamp(), b.said) }
	looks := func(what string, seen, overdue bool) {
		t.Helper()
		if s, _ := b.e.Look(ph); s.Seen != seen || s.Overdue != overdue || b.standing("sour@tank-1").Active != overdue {
			t.Errorf("%s: %+v", what, s)
		}
	}
	rest(true)
	looks("resting", false, false)
	b.later(time.Hour)
	looks("an hour later", false, false)
	b = b.reboot(p, 3*time.Hour, true).later(time.Hour)
	looks("after a restart", false, false)
	rest(false)
	b.later(30 * time.Second)
	looks("its time is not over", false, false)
	b.later(time.Second)
	looks("its time is over", false, true)
	see := func() {
		r := reading.Reading{Point: ph, Value: 5, Stamp: b.e.m.clock.stamp()}
		b.said = b.e.Observe(&r, b.said)
	}
	rest(true)
	see()
	b.later(20 * time.Second)
	rest(false)
	looks("read meanwhile", true, false)
	b.later(11 * time.Second)
	looks("as old as any other", true, true)
	rest(true)
	see()
	b.later(time.Hour)
	looks("read meanwhile, resting", true, false)
	rest(false)
	looks("too old", false, false)
}

// TestRestart_shelf: its end is an instant of the wall clock; with the clock not set it keeps running from what remained. [standards 6 rule 4]
func TestRestart_shelf(t *testing.T) {
	p := tank(Alarm{When: at(loaded, units.YesNo), Shelvable: 8 * time.Hour, Class: Quality})
	shelved := func() *bench {
		return start(t, p).sees(loaded, 1).must(Act{Event: Shelve, Alarm: "sour@tank-1", For: 2 * time.Hour, Why: "cleaning"}).wait(30 * time.Minute)
	}
	b := shelved().reboot(p, time.Hour, true).is(Shelved)
	if ends := b.standing("sour@tank-1").ShelfEnds.Wall; !ends.Equal(night.Add(2 * time.Hour)) {
		t.Errorf("shelf ends %v, want %v", ends, night.Add(2*time.Hour))
	}
	b.later(30*time.Minute - 1).is(Shelved).later(1).is(Unacknowledged)
	shelved().reboot(p, 2*time.Hour, true).is(Unacknowledged) // it ended while the board was off
	shelved().reboot(p, 2*time.Hour, false).is(Shelved).later(90*time.Minute - 1).is(Shelved).later(1).is(Unacknowledged)

	b = shelved()
	saved := b.e.Save()
	saved.Alarms[0].ShelfEnds = nil
	b.e = mustNew(t, p, saved, stamp(b.now))
	b.is(Unacknowledged) // unknown: unshelved, and it is present
}

// TestRestart_delay: on-delay goes on where it was while its input stood, and stops when that grew old.
func TestRestart_delay(t *testing.T) {
	p := tank(Alarm{When: phBelow(4.2, 0), OnDelay: time.Minute})
	b := start(t, p).sees(ph, 4).wait(10*seconds).reboot(p, 5*seconds, true)
	again := reading.Reading{Point: ph, Value: 4, Stamp: b.e.m.clock.stamp()}
	b.said = b.e.Observe(&again, b.said)
	b.later(29 * seconds)
	again.Stamp = b.e.m.clock.stamp()
	b.said = b.e.Observe(&again, b.said)
	b.later(15 * seconds).is(Normal).later(1 * seconds).is(Unacknowledged) // 10 + 5 + 29 + 16 = 60 s

	b = start(t, p).sees(ph, 4).wait(10*seconds).reboot(p, time.Hour, true).is(Normal)
	if got := b.e.m.alarms[0].onFor; got != 30*seconds+1 {
		t.Errorf("the delay counts %s, want the 30 s for which the reading stood", got)
	}
	b = start(t, p).sees(ph, 4).wait(10*seconds).reboot(p, time.Hour, false).is(Normal)
	b.later(10 * time.Minute).is(Normal) // nobody knows how long it was off; the reading grows old as usual
}

// TestRestart_models: a computed point, which never grows old by itself, does not stand over a reboot until its model speaks again.
func TestRestart_models(t *testing.T) {
	p := tank(Alarm{When: at(loaded, units.YesNo)})
	b := start(t, p).sees(loaded, 1).reboot(p, time.Second, true).is(Unacknowledged)
	if _, known := b.e.Value(loaded); known || !b.standing("sour@tank-1").Held {
		t.Error("the model's old word still stands")
	}
}

// TestReload_identity: state goes over by ID, by Formerly, and nothing happens where nothing changed.
func TestReload_identity(t *testing.T) {
	p := tank(Alarm{When: phBelow(4.2, 0)})
	b := start(t, p).sees(ph, 4).must(Act{Event: Acknowledge, Alarm: "sour@tank-1", Occurrence: 1, By: "ben"})
	reload := func(p Plan) {
		t.Helper()
		var err error
		b.plan = p
		if b.said, err = b.e.Reload(p, stamp(b.now), "carla", b.said[:0]); err != nil {
			t.Fatal(err)
		}
	}
	moved := tank(Alarm{When: phBelow(4.2, 0)})
	moved.Alarms[0].Line = 99
	reload(moved)
	if len(b.said) != 0 || b.is(Acknowledged).standing("sour@tank-1").AcknowledgedBy != "ben" {
		t.Errorf("a moved line changed something: %s", b.story())
	}
	renamed := tank(Alarm{Name: "over-fermented", When: phBelow(4.2, 0), Formerly: "sour"})
	reload(renamed)
	if s := b.is(Acknowledged).standing("over-fermented@tank-1"); len(b.said) != 0 || s.Occurrence != 1 {
		t.Errorf("renamed: %+v %s", s, b.story())
	}
	higher := renamed
	higher.Alarms = append([]Alarm(nil), renamed.Alarms...)
	higher.Alarms[0].Priority = High
	reload(higher)
	if b.is(Unacknowledged); len(b.said) != 1 || !strings.HasPrefix(b.said[0].Because, "the rules were changed by carla; its priority is now high") {
		t.Errorf("raised priority: %s", b.story())
	}
	bad := tank(Alarm{When: at("tank-9/ph", units.YesNo)})
	if _, err := b.e.Reload(bad, stamp(b.now), "carla", nil); err == nil {
		t.Error("a plan that cannot run was taken")
	}
	b.is(Unacknowledged)
	reload(tank())
	if len(b.said) != 1 || b.said[0].Event != Withdraw || b.said[0].From != Unacknowledged || b.said[0].To != Normal || b.said[0].Alarm.Name != "over-fermented" ||
		b.said[0].Because != "the rules were changed by carla; withdrawn by rules change." {
		t.Errorf("withdrawn: %s", b.story())
	}
}

// TestReload_changedRule: delays begin anew, the new condition is judged at once, and the transition names the change.
func TestReload_changedRule(t *testing.T) {
	b := start(t, tank(Alarm{When: phBelow(4.2, 0), OnDelay: 20 * seconds})).sees(ph, 4.3).wait(seconds)
	stricter := tank(Alarm{When: phBelow(4.4, 0), OnDelay: 20 * seconds})
	var err error
	if b.said, err = b.e.Reload(stricter, stamp(b.now), "carla", b.said); err != nil {
		t.Fatal(err)
	}
	b.plan = stricter
	b.wait(20*seconds - 1).is(Normal).wait(1).is(Unacknowledged)
	if got := b.said[0].Because; !strings.HasPrefix(got, "the rules were changed by carla; tank-1/ph is 4.30 pH, limit 4.40 pH, for 20 s") {
		t.Error(got)
	}
	safety := tank(Alarm{When: phBelow(4.4, 0), OnDelay: 20 * seconds, Class: Safety})
	stricter.Alarms[0].Class, stricter.Alarms[0].Shelvable = Quality, time.Hour
	if b.said, err = b.e.Reload(stricter, stamp(b.now), "carla", b.said); err != nil {
		t.Fatal(err)
	}
	b.must(Act{Event: Shelve, Alarm: "sour@tank-1", For: time.Hour, Why: "cleaning"}).is(Shelved)
	if b.said, err = b.e.Reload(safety, stamp(b.now), "carla", b.said); err != nil {
		t.Fatal(err)
	}
	b.is(Unacknowledged) // a class raised to safety ends its shelf
}

// TestProperty_reloadOfTheSame changes nothing, windows included, wherever it falls in a random night.
func TestProperty_reloadOfTheSame(t *testing.T) {
	reloads := 0
	for seed := range uint64(*seeds) {
		g := newGen(seed)
		p, inputs := g.plan(), g.inputs(400)
		plain, reloaded := mustNew(t, p, nil, stamp(0)), mustNew(t, p, nil, stamp(0))
		var a, b []Transition
		for _, in := range inputs {
			a, b = give(plain, in, a), give(reloaded, in, b)
			if g.IntN(30) == 0 {
				var err error
				if b, err = reloaded.Reload(p, stamp(in.at), "carla", b); err != nil {
					t.Fatal(err)
				}
				reloads++
			}
		}
		if x, y := tell(a), tell(b); x != y {
			t.Fatalf("seed %d: %s", seed, firstDifference(x, y))
		}
		one, other := plain.Save(), reloaded.Save()
		for i := range one.Alarms {
			one.Alarms[i].Values, other.Alarms[i].Values = nil, nil // their last digits may differ
			if x, y := mustJSON(t, one.Alarms[i]), mustJSON(t, other.Alarms[i]); x != y {
				t.Fatalf("seed %d: states differ:\n%s\n%s", seed, x, y)
			}
		}
		if !reflect.DeepEqual(one.Moments, other.Moments) {
			t.Fatalf("seed %d: moments differ", seed)
		}
	}
	if reloads < 8**seeds {
		t.Errorf("only %d reloads", reloads)
	}
}

func mustJSON(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestDerived: worked out when an input changes, at most so often, in the order of what hangs on what, uncertain when an input is.
func TestDerived(t *testing.T) {
	p := tank(Alarm{When: cmp(at("tank-1/twice", units.PH), formula.Greater, num(18, units.PH), 0)})
	p.Points = append(p.Points, // what hangs on it stands before it: the engine finds the order
		Point{Name: "tank-1/twice", Quantity: units.PH, Formula: op2(formula.Add, at("tank-1/more", units.PH), at("tank-1/more", units.PH)), Every: seconds},
		Point{Name: "tank-1/more", Quantity: units.PH, Formula: op2(formula.Add, at(ph, units.PH), num(1, units.PH)), Every: seconds},
		Point{Name: "tank-1/acid", Quantity: units.YesNo, Formula: phBelow(4.2, 0), Every: seconds})
	b := start(t, p)
	look := func(point string, want float64, quality reading.Quality) {
		t.Helper()
		if s, _ := b.e.Look(point); !near(s.Value, want, 1e-12) || s.Quality != quality {
			t.Errorf("after %s %s is %v %s (%s), want %v %s", b.now, point, s.Value, s.Quality, s.Cause, want, quality)
		}
	}
	look("tank-1/twice", nan, reading.Bad)
	b.wait(seconds).sees(ph, 7)
	look("tank-1/twice", 16, reading.Good)
	look("tank-1/acid", 0, reading.Good)
	b.wait(300*time.Millisecond).sees(ph, 8.5, reading.Uncertain)
	look("tank-1/twice", 16, reading.Good) // not twice within its second
	b.is(Normal).wait(700 * time.Millisecond).is(Unacknowledged)
	look("tank-1/twice", 19, reading.Uncertain)
	got := b.e.Derived(nil)
	if len(got) != 3 || got[0].Point != "tank-1/twice" || got[0].Value != 19 || got[0].Stamp.Mono != 2*seconds {
		t.Errorf("Derived() = %+v", got)
	}
	if again := b.e.Derived(nil); len(again) != 0 {
		t.Errorf("taken twice: %+v", again)
	}
	b.wait(time.Minute) // ph is overdue
	look("tank-1/twice", nan, reading.Bad)
	if !b.standing("sour@tank-1").Held {
		t.Error("not held by an unknown derived point")
	}
	stray := reading.Reading{Point: "tank-1/twice", Value: 3, Stamp: stamp(b.now)}
	b.said = b.e.Observe(&stray, b.said)
	look("tank-1/twice", nan, reading.Bad) // nobody but the engine says what a derived point is
}

// TestDerived_disagrees: a vote tells on the point beside it whether its parts lie too far apart.
func TestDerived_disagrees(t *testing.T) {
	vote := &formula.Node{Op: formula.Vote, Quantity: units.Temperature, Value: 1.5, Args: []*formula.Node{at("tank-1/top", units.Temperature), at("tank-1/bottom", units.Temperature)}}
	apart := "tank-1/mass/disagrees"
	p := tank(Alarm{When: at(apart, units.YesNo)})
	p.Points = append(p.Points, Point{Name: apart, Quantity: units.YesNo}, Point{Name: "tank-1/mass", Quantity: units.Temperature, Formula: vote},
		Point{Name: "tank-1/top", Quantity: units.Temperature}, Point{Name: "tank-1/bottom", Quantity: units.Temperature})
	b := start(t, p).sees("tank-1/top", 20)
	if s, _ := b.e.Look("tank-1/mass"); s.Value != 20 || s.Quality != reading.Uncertain {
		t.Errorf("one of two: %+v", s)
	}
	b.sees("tank-1/bottom", 21.5).is(Normal)
	if s, _ := b.e.Look("tank-1/mass"); s.Value != 20.75 || s.Quality != reading.Good {
		t.Errorf("two that agree: %+v", s)
	}
	b.sees("tank-1/bottom", 21.6).is(Unacknowledged)
	if s, _ := b.e.Look("tank-1/mass"); s.Value != 21.6 || s.Quality != reading.Uncertain {
		t.Errorf("two that do not: %+v", s)
	}
}

// TestRestart_bootNumberRepeats: a board whose boot count was lost says the same number again, earlier. It must not wait for the old time to come.
func TestRestart_bootNumberRepeats(t *testing.T) {
	p := tank(Alarm{When: phBelow(4.2, 0)})
	b := start(t, p).wait(30*24*time.Hour).sees(ph, 4).is(Unacknowledged)
	saved := b.e.Save()
	b.e, b.now = mustNew(t, p, saved, stamp(20*seconds)), 20*seconds
	if b.is(Unacknowledged).wait(seconds).sees(ph, 5).is(ReturnedUnacknowledged).standing("sour@tank-1").Occurrence != 1 {
		t.Error("the occurrence was lost")
	}
}

// TestRestart_otherVersion is told, not guessed at.
func TestRestart_otherVersion(t *testing.T) {
	p := tank(Alarm{When: phBelow(4.2, 0)})
	saved := start(t, p).e.Save()
	saved.Version++
	if _, err := New(p, saved, stamp(0)); err == nil {
		t.Error("a state of another version was taken")
	}
}

// FuzzRestart: whatever a damaged logbook gives back, the engine starts, works on, and no state shows normal while the condition is present.
func FuzzRestart(f *testing.F) {
	g := newGen(11)
	p := g.plan()
	e := mustNew(f, p, nil, stamp(0))
	for _, in := range g.inputs(200) {
		give(e, in, nil)
	}
	text, err := json.Marshal(e.Save())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text, uint32(1))
	f.Add([]byte(`{"Version":1,"Alarms":[{"ID":"a1@x","Base":200,"Present":true,"Shelved":true}]}`), uint32(2))
	f.Add([]byte(`{"Version":1,"At":{"Mono":-9000000000000000000,"Boot":1},"Points":[{"Name":"x/p2","Seen":true,"At":{"Mono":-9000000000000000000}}]}`), uint32(1))
	f.Fuzz(func(t *testing.T, text []byte, boot uint32) {
		var saved Saved
		if json.Unmarshal(text, &saved) != nil {
			return
		}
		saved.Version = savedVersion
		now := stamp(time.Hour)
		now.Boot = boot
		e, err := New(p, &saved, now)
		if err != nil {
			t.Fatal(err)
		}
		for range 20 {
			now.Mono += 7 * time.Second
			r := reading.Reading{Point: "x/p2", Value: 19, Stamp: now}
			e.Observe(&r, nil)
		}
		for _, s := range e.Standings(nil) {
			if s.State == Normal && s.Active || (s.State == Unacknowledged || s.State == Acknowledged) && !s.Active {
				t.Fatalf("%s is %s, active %v", s.Alarm.ID, s.State, s.Active)
			}
		}
	})
}
