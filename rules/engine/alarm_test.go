package engine

import (
	"errors"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// TestDelay_on: true for the whole delay; false sets it back to zero, unknown stops it where it is. [LANGUAGE section 4, "Occurs"]
func TestDelay_on(t *testing.T) {
	plan := tank(Alarm{When: phBelow(4.2, 0), OnDelay: 60 * seconds})
	b := start(t, plan).sees(ph, 4.1).wait(25*seconds).sees(ph, 4.1).wait(25 * seconds).is(Normal)
	b.sees(ph, 4.3).wait(1*seconds).sees(ph, 4.1).wait(20*seconds).sees(ph, 4.1).wait(20*seconds).sees(ph, 4.1).wait(19 * seconds).is(Normal).wait(1 * seconds).is(Unacknowledged)

	b = start(t, plan).sees(ph, 4.1).wait(25*seconds).sees(ph, 4.1).wait(20*seconds).misses(ph, "no answer") // 45 s of 60
	b.wait(10 * time.Minute).is(Normal)
	if s := b.standing("sour@tank-1"); !s.CannotSee || s.Unseen != "tank-1/ph: overdue" {
		t.Errorf("while unknown: cannot see %v, %q", s.CannotSee, s.Unseen)
	}
	b.sees(ph, 4.1).wait(14 * seconds).is(Normal).wait(1 * seconds).is(Unacknowledged)
}

// TestDelay_off: strictly false for the whole off-delay; true or unknown sets it back to zero.
func TestDelay_off(t *testing.T) {
	b := start(t, tank(Alarm{When: phBelow(4.2, 0.1), OffDelay: 20 * seconds})).sees(ph, 4.1).is(Unacknowledged)
	b.sees(ph, 4.25).wait(60 * seconds).is(Unacknowledged) // within the deadband
	b.sees(ph, 4.35).wait(19*seconds).sees(ph, 4.25).sees(ph, 4.35).wait(19 * seconds).is(Unacknowledged).wait(seconds).is(ReturnedUnacknowledged)

	b = start(t, tank(Alarm{When: phBelow(4.2, 0.1), OffDelay: 20 * seconds})).sees(ph, 4.1).sees(ph, 4.35).wait(19*seconds).misses(ph, "no answer")
	b.wait(time.Hour).is(Unacknowledged)
	if s := b.standing("sour@tank-1"); !s.Held {
		t.Error("an active alarm with a lost input is not shown as held")
	}
	b.sees(ph, 4.35).wait(19 * seconds).is(Unacknowledged).wait(seconds).is(ReturnedUnacknowledged)
}

// TestUncertain_raisesNeverClears [LANGUAGE section 4, "Two readings of one condition"].
func TestUncertain_raisesNeverClears(t *testing.T) {
	b := start(t, tank(Alarm{When: phBelow(4.2, 0)})).sees(ph, 4.1, reading.Uncertain).is(Unacknowledged)
	if !b.standing("sour@tank-1").Held {
		t.Error("raised by an uncertain value: not held")
	}
	b.sees(ph, 6, reading.Uncertain).wait(20*seconds).is(Unacknowledged).sees(ph, 6).is(ReturnedUnacknowledged)
}

// TestDeadband_keeps: the deadband counts only while the alarm is active, and under a not the other way, so that it always keeps the alarm.
func TestDeadband_keeps(t *testing.T) {
	hot := func(o formula.Op) *formula.Node { return cmp(at(ph, units.PH), o, num(50, units.PH), 2) }
	for _, c := range []struct {
		name            string
		when            *formula.Node
		off, on, within float64 // not yet; then coming; then kept
		gone            float64
	}{
		{">", hot(formula.Greater), 50, 50.1, 48.1, 48},
		{">=", hot(formula.GreaterEq), 49.9, 50, 48, 47.9},
		{"<", hot(formula.Less), 50, 49.9, 51.9, 52},
		{"<=", hot(formula.LessEq), 50.1, 50, 52, 52.1},
		{"not >", op(formula.Not, hot(formula.Greater)), 50.1, 50, 52, 52.1},
		{"not <", op(formula.Not, hot(formula.Less)), 49.9, 50, 48, 47.9},
		{"not not >", op(formula.Not, op(formula.Not, hot(formula.Greater))), 50, 50.1, 48.1, 48},
		{"limit on the left", cmp(num(50, units.PH), formula.Less, at(ph, units.PH), 2), 50, 50.1, 48.1, 48},
		{"of an expression", cmp(op2(formula.Add, at(ph, units.PH), num(1, units.PH)), formula.Greater, num(51, units.PH), 2), 50, 50.1, 48.1, 48},
		{"not, of an expression", op(formula.Not, cmp(op2(formula.Add, at(ph, units.PH), num(1, units.PH)), formula.Less, num(51, units.PH), 2)), 49.9, 50, 48, 47.9},
		{"in a compound", op(formula.And, hot(formula.Greater), cmp(at(ph, units.PH), formula.Greater, num(0, units.PH), 0)), 50, 50.1, 48.1, 48},
	} {
		b := start(t, tank(Alarm{When: c.when}))
		states := []State{}
		for _, v := range []float64{c.off, c.within, c.on, c.within, c.gone} {
			states = append(states, b.sees(ph, v).standing("sour@tank-1").State)
		}
		want := []State{Normal, Normal, Unacknowledged, Unacknowledged, ReturnedUnacknowledged}
		for i := range want {
			if states[i] != want[i] {
				t.Errorf("%s: step %d is %s, want %s", c.name, i, states[i], want[i])
			}
		}
	}
}

func op2(o formula.Op, a, b *formula.Node) *formula.Node {
	n := op(o, a, b)
	n.Quantity = a.Quantity
	return n
}

// TestWhile_gate: closed it clears at once without off-delay; unknown leaves it as it was; never known is open.
func TestWhile_gate(t *testing.T) {
	a := Alarm{When: phBelow(4.2, 0), While: at(loaded, units.YesNo), OnDelay: 20 * seconds, OffDelay: time.Hour}
	b := start(t, tank(a)).sees(ph, 4.1).wait(20 * seconds).is(Unacknowledged) // loaded was never known
	b.sees(loaded, 0).is(ReturnedUnacknowledged)
	if last := b.said[len(b.said)-1]; last.Because != "“tank-1/loaded” ended; rule sour, estate.rules:12." {
		t.Errorf("because: %s", last.Because)
	}
	b.sees(ph, 4.1).misses(loaded, "restarting").wait(25 * seconds).is(ReturnedUnacknowledged) // closed as it last was
	b.sees(loaded, 1).sees(ph, 4.1).wait(19 * seconds).is(ReturnedUnacknowledged).wait(seconds).is(Unacknowledged)
	b.misses(loaded, "restarting").wait(5 * seconds).is(Unacknowledged)

	a.Latching = true
	start(t, tank(a)).sees(loaded, 1).sees(ph, 4.1).wait(20*seconds).is(Unacknowledged).sees(loaded, 0).is(LatchedUnacknowledged)
}

// TestSuppressedWhile: still judged and logged, not called; unknown does not suppress; leaving it with the condition present rings afresh.
func TestSuppressedWhile(t *testing.T) {
	a := Alarm{When: phBelow(4.2, 0), SuppressedWhile: at(loaded, units.YesNo)}
	b := start(t, tank(a)).sees(loaded, 1).is(Suppressed).sees(ph, 4.1).is(Suppressed)
	if s := b.standing("sour@tank-1"); !s.Active || s.Occurrence != 0 {
		t.Errorf("while suppressed: active %v, occurrence %d", s.Active, s.Occurrence)
	}
	b.misses(loaded, "x").is(Unacknowledged).must(Act{Event: Acknowledge, Alarm: "sour@tank-1", Occurrence: 1}).is(Acknowledged)
	b.sees(loaded, 1).is(Suppressed).sees(loaded, 0).is(Unacknowledged)
	if s := b.standing("sour@tank-1"); s.Occurrence != 2 || s.AcknowledgedBy != "" {
		t.Errorf("annunciated afresh: occurrence %d, acknowledged by %q", s.Occurrence, s.AcknowledgedBy)
	}
}

// TestDependsOn: suppressed while the other stands and one update time (here 15 s / 3, so at least 10 s) longer; and the one that explains comes
// first, so that its dependents do not ring for a moment.
func TestDependsOn(t *testing.T) {
	sour := Alarm{When: phBelow(4.2, 0), DependsOn: []string{"hot@tank-1"}}
	hot := Alarm{Name: "hot", When: cmp(at(ph, units.PH), formula.Less, num(4, units.PH), 0)}
	b := start(t, tank(sour, hot)).sees(ph, 3.9).is(Suppressed)
	for _, said := range b.said {
		if said.NewOccurrence && said.Alarm.Name == "sour" {
			t.Error("it rang before what explains it")
		}
	}
	b.sees(ph, 4.1).is(Suppressed).wait(9 * seconds).is(Suppressed).wait(seconds).is(Unacknowledged)
	start(t, tank(sour, hot)).sees(ph, 3.9).sees(ph, 5).wait(10 * seconds).is(Normal)
}

// TestLatching waits for acknowledge and reset, in this order.
func TestLatching(t *testing.T) {
	b := start(t, tank(Alarm{When: phBelow(4.2, 0), Latching: true})).sees(ph, 4).sees(ph, 5).is(LatchedUnacknowledged)
	if err := b.does(Act{Event: Reset, Alarm: "sour@tank-1"}); err == nil {
		t.Error("reset before acknowledge was accepted")
	}
	b.must(Act{Event: Acknowledge, Alarm: "sour@tank-1", Occurrence: 1}).is(LatchedAcknowledged).must(Act{Event: Reset, Alarm: "sour@tank-1"}).is(Normal)
}

// TestReAnnunciate: acknowledged and still active for so long: again unacknowledged, the same occurrence.
func TestReAnnunciate(t *testing.T) {
	b := start(t, tank(Alarm{When: at(loaded, units.YesNo), ReAnnunciate: 30 * time.Minute})).sees(loaded, 1)
	b.must(Act{Event: Acknowledge, Alarm: "sour@tank-1", Occurrence: 1}).wait(30*time.Minute - 1).is(Acknowledged).wait(1).is(Unacknowledged)
	if s := b.standing("sour@tank-1"); s.Occurrence != 1 || s.Count != 2 {
		t.Errorf("occurrence %d, count %d; want 1, 2", s.Occurrence, s.Count)
	}
	b.must(Act{Event: Acknowledge, Alarm: "sour@tank-1", Occurrence: 1}).sees(loaded, 0).wait(time.Hour).is(Normal)
}

// TestAcknowledge names one occurrence: older ones are superseded, twice tells who was first. [standards 1.4 rules 2 and 3]
func TestAcknowledge(t *testing.T) {
	b := start(t, tank(Alarm{When: phBelow(4.2, 0)})).sees(ph, 4).sees(ph, 5).sees(ph, 4)
	acknowledge := func(occurrence int64) *Refusal {
		var r *Refusal
		if err := b.does(Act{Event: Acknowledge, Alarm: "sour@tank-1", Occurrence: occurrence}); err != nil && !errors.As(err, &r) {
			t.Fatalf("no refusal: %v", err)
		}
		return r
	}
	if r := acknowledge(1); r == nil || r.Kind != Superseded || r.Error() != "acknowledge sour@tank-1: occurrence 1 is superseded by 2" {
		t.Errorf("older occurrence: %v", r)
	}
	if r := acknowledge(0); r == nil || r.Kind != Incomplete {
		t.Errorf("no occurrence: %v", r)
	}
	if r := acknowledge(3); r == nil || r.Kind != NotNow {
		t.Errorf("occurrence to come: %v", r)
	}
	b.is(Unacknowledged)
	if r := acknowledge(2); r != nil {
		t.Fatal(r)
	}
	b.wait(5 * time.Minute)
	if r := acknowledge(2); r == nil || r.Kind != Already || r.By != "ana" || r.At.Mono != 0 || !strings.Contains(r.Text, "by ana at 20:00:00") {
		t.Errorf("twice: %+v", r)
	}
	if err := b.does(Act{Event: Occur, Alarm: "sour@tank-1"}); err == nil {
		t.Error("a person could make an alarm occur")
	}
	if err := b.does(Act{Event: Reset, Alarm: "none@tank-1"}); err == nil {
		t.Error("an alarm that is not there was reset")
	}
}

// TestShelve: limits by class and priority, end of the shelf, and the acknowledgement that it implies. [standards 1.3, 1.4 rules 4 and 5]
func TestShelve(t *testing.T) {
	high := Alarm{When: at(loaded, units.YesNo), Priority: High, Class: Quality, Shelvable: 8 * time.Hour}
	shelve := func(d time.Duration) Act {
		return Act{Event: Shelve, Alarm: "sour@tank-1", For: d, Why: "electrode out for cleaning"}
	}
	b := start(t, tank(high)).sees(loaded, 1)
	if err := b.does(shelve(2 * time.Hour)); err == nil {
		t.Error("high priority was shelved for 2 h")
	}
	b.must(shelve(30 * time.Minute)).is(Shelved)
	if n := len(b.said); b.said[n-2].Event != Acknowledge || b.said[n-2].By != "ana" || b.said[n-1].Event != Shelve {
		t.Errorf("shelving an unacknowledged alarm said %s", b.story())
	}
	b.wait(20 * time.Minute).must(shelve(time.Hour)) // its clock restarts, not past 1 h from the beginning
	if ends := b.standing("sour@tank-1").ShelfEnds; ends.Mono != time.Hour || !ends.Wall.Equal(night.Add(time.Hour)) {
		t.Errorf("shelf ends %v, want after 1 h", ends)
	}
	b.wait(40*time.Minute - 1).is(Shelved).wait(1).is(Unacknowledged)

	for _, class := range []Class{Safety} {
		a := high
		a.Class = class
		b := start(t, tank(a)).sees(loaded, 1)
		if err := b.does(shelve(time.Minute)); err == nil {
			t.Error("class safety was shelved")
		}
		if err := b.does(Act{Event: Remove, Alarm: "sour@tank-1", Why: "rebuilt", Second: "ana"}); err == nil {
			t.Error("removed from service by one person alone")
		}
		b.must(Act{Event: Remove, Alarm: "sour@tank-1", Why: "rebuilt", Second: "ben"}).is(OutOfService).must(Act{Event: Return, Alarm: "sour@tank-1"}).is(Unacknowledged)
	}

	one := shelve(0)
	one.OneShot = true
	start(t, tank(high)).sees(loaded, 1).must(one).is(Shelved).sees(loaded, 0).is(Normal)
	start(t, tank(high)).must(one).is(Shelved).sees(loaded, 1).is(Shelved).sees(loaded, 0).is(Normal)
}

// TestPromptAndEvent stand without calling and take no occurrence numbers; an event's coming is a moment.
func TestPromptAndEvent(t *testing.T) {
	drained := Alarm{Name: "drained", Kind: KindEvent, When: at(loaded, units.YesNo)}
	often := Alarm{Name: "often", When: cmp(&formula.Node{Op: formula.Times, Moment: "tank-1/drained", Over: time.Hour, Quantity: units.Count}, formula.Greater, num(2, units.Count), 0)}
	p := tank(drained, often)
	p.Alarms[0].Kind, p.Alarms[1].Kind = KindEvent, KindAlarm
	b := start(t, p)
	for range 3 {
		b.sees(loaded, 1).is(Acknowledged).sees(loaded, 0).is(Normal).wait(time.Minute)
	}
	if s := b.standing("often@tank-1"); s.State != Unacknowledged || s.Occurrence != 1 {
		t.Errorf("three times within the hour: %s, occurrence %d; %s", s.State, s.Occurrence, b.story())
	}
	b.wait(2 * time.Hour)
	if s := b.standing("often@tank-1"); s.State != ReturnedUnacknowledged {
		t.Errorf("two hours later: %s", s.State)
	}
}

// TestQualityTests: five conditions of a point, always known, one at a time; an overdue or frozen point is not also bad.
func TestQualityTests(t *testing.T) {
	ops := []formula.Op{formula.IsGood, formula.IsUncertain, formula.IsBad, formula.IsOverdue, formula.IsFrozen}
	var alarms []Alarm
	for i, o := range ops {
		alarms = append(alarms, Alarm{Name: "q" + string(rune('a'+i)), When: ref(o, ph)})
	}
	b := start(t, tank(alarms...))
	check := func(what string, want int) {
		t.Helper()
		for i := range ops {
			if s := b.standing(alarmID(i)); s.Active != (i == want) || s.Held || s.CannotSee {
				t.Errorf("%s: %s active %v", what, s.Alarm.Name, s.Active)
			}
		}
	}
	check("nothing read yet", -1)
	b.sees(ph, 5)
	check("good", 0)
	b.sees(ph, 5, reading.Uncertain)
	check("uncertain", 1)
	b.misses(ph, "no answer")
	check("bad", 2)
	b.misses(ph, "frozen")
	check("frozen", 4)
	b.wait(30 * seconds)
	check("just not overdue", 4)
	b.wait(1)
	check("overdue", 3)
	if s, _ := b.e.Look(ph); !s.Overdue || s.Known || s.Cause != "overdue" {
		t.Errorf("Look: %+v", s)
	}
}

func alarmID(i int) string { return "q" + string(rune('a'+i)) + "@tank-1" }

// TestOlderReading decides nothing.
func TestOlderReading(t *testing.T) {
	b := start(t, tank(Alarm{When: phBelow(4.2, 0)})).wait(10*seconds).sees(ph, 5)
	late := reading.Reading{Point: ph, Value: 3, Stamp: stamp(9 * seconds)}
	if got := b.e.Observe(&late, nil); len(got) != 0 {
		t.Errorf("an older reading gave %v", got)
	}
	if v, known := b.e.Value(ph); v != 5 || !known {
		t.Errorf("Value() = %v, %v", v, known)
	}
}

// TestBecause says values, limit, since when, the rule and its line.
func TestBecause(t *testing.T) {
	b := start(t, tank(Alarm{When: op(formula.Or, phBelow(4.2, 0.1), cmp(at(warmth, units.Temperature), formula.Greater, num(35, units.Temperature), 0.5)), OnDelay: 20 * seconds}))
	b.wait(time.Minute).sees(ph, 4.15).wait(20*seconds).sees(ph, 4.4).wait(seconds)
	want := []string{
		"tank-1/ph is 4.15 pH, limit 4.20 pH, for 20 s, since 20:01:00; rule sour, estate.rules:12.",
	}
	for i := range want {
		if len(b.said) <= i || b.said[i].Because != want[i] {
			t.Errorf("said %s\nwant %s", b.story(), want[i])
		}
	}
	first := b.said[0]
	if len(first.Values) != 1 || first.Values[0] != (Shown{Point: ph, Text: ph, Value: 4.15, Quantity: units.PH, Limit: 4.2, HasLimit: true}) {
		t.Errorf("values %+v", first.Values)
	}
	if !b.standing("sour@tank-1").Held {
		t.Error("the other half was never seen, so the alarm is held")
	}
	b.sees(warmth, 20).is(ReturnedUnacknowledged)
	if got := b.said[1].Because; got != "back to normal: tank-1/ph is 4.40 pH, limit 4.20 pH; tank-1/temperature is 20.0 °C, limit 35.0 °C, since 20:01:21; rule sour, estate.rules:12." {
		t.Error(got)
	}
}

// TestShown_timesAsMeant: times are looked at once a second, so a limit may be found passed up to a second late; it is said as it was meant.
func TestShown_timesAsMeant(t *testing.T) {
	age := &formula.Node{Op: formula.Age, Ref: ph, Quantity: units.Duration, Text: "age(ph)"}
	for read, want := range map[time.Duration]string{0: "age(ph) is 3 min, limit 3 min", 400 * time.Millisecond: "age(ph) is 3 min, limit 3 min"} {
		b := start(t, tank(Alarm{When: cmp(age, formula.Greater, num(180, units.Duration), 0)})).wait(read).sees(ph, 5).wait(4 * time.Minute)
		if len(b.said) != 1 || !strings.HasPrefix(b.said[0].Because, want) {
			t.Errorf("read after %s: %s, want %q", read, b.story(), want)
		}
	}
}
