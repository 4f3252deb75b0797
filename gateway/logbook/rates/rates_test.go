package rates

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"millwarden/internal/measured"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/formula"
)

var begin = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

// standing gives the two rows of one coming and going.
func standing(alarm, priority string, after, lasts time.Duration) []Row {
	return []Row{{At: begin.Add(after), Alarm: alarm, Priority: priority, Annunciated: true, Active: true}, {At: begin.Add(after + lasts), Alarm: alarm, Priority: priority}}
}

// A synthetic logbook of 30 days, each figure of which was counted by hand beside the line that makes it.
func TestOf_syntheticLogbook(t *testing.T) {
	var rows []Row
	for day := range 30 { // 30 calls of a, at 14:00, 10 min each: 30
		rows = append(rows, standing("a@x", "low", time.Duration(day)*24*time.Hour+2*time.Hour, 10*time.Minute)...)
	}
	for i := range 12 { // a flood: 12 alarms in 11 min 0 s, one a minute, from day 3, 06:00: 12 calls, 10 at most in any 10 min
		rows = append(rows, standing(fmt.Sprintf("m%d@y", i), "medium", 66*time.Hour+time.Duration(i)*time.Minute, 5*time.Minute)...)
	}
	for i := range 15 { // a real one, every 20 s from day 5, 12:00: 15 calls in 4 min 40 s
		rows = append(rows, standing(fmt.Sprintf("m%d@z", i), "medium", 120*time.Hour+time.Duration(i)*20*time.Second, 5*time.Minute)...)
	}
	for i := range 4 { // chatters: 4 calls within 45 s, on day 7: two places where the third comes within a minute. The last fleets, the others come again at once
		rows = append(rows, standing("c@x", "high", 168*time.Hour+time.Duration(i)*15*time.Second, 5*time.Second)...)
	}
	rows = append(rows, standing("stale@x", "low", 240*time.Hour, 60*time.Hour)...)                         // stands for 60 h: stale on two days
	rows = append(rows, standing("night@x", "high", 11*time.Hour, time.Minute)...)                          // 23:00
	rows = append(rows, standing("night@x", "high", 11*time.Hour+5*time.Minute, time.Minute)...)            // 23:05, awake already
	rows = append(rows, standing("night@x", "high", 16*time.Hour+59*time.Minute, time.Minute)...)           // 04:59
	rows = append(rows, Row{At: begin.Add(-time.Hour), Alarm: "before@x", Annunciated: true, Active: true}) // before: counts in nothing but as stale
	rows = append(rows, Row{At: begin.Add(30 * time.Hour), Alarm: "before@x"})                              // stood 31 h: stale in the last hour of the first day and on the second
	// Somebody answers at 05:30 to what woke at 04:59: one of two wake-ups was acted on; the act on a, which called by day, counts for none.
	rows = append(rows, Row{At: begin.Add(17*time.Hour + 30*time.Minute), Alarm: "night@x", By: "ana"}, Row{At: begin.Add(2*time.Hour + time.Minute), Alarm: "a@x", Active: true, By: "ana"})
	// A gas alarm stands for 25 h; it is taken out of service by ana, an alarm is shelved by nobody, the rules change twice, once without a name; one change before the time.
	gas := standing("gas@x", "high", 312*time.Hour, 25*time.Hour)
	gas[0].Safety, gas[1].Safety, gas[1].Hidden, gas[1].By = true, true, true, "ana"
	rows = append(rows, gas...)
	rows = append(rows, Row{At: begin.Add(400 * time.Hour), Alarm: "a@x", Hidden: true}, Row{At: begin.Add(401 * time.Hour)}, Row{At: begin.Add(402 * time.Hour), By: "ben"},
		Row{At: begin.Add(-time.Hour)})
	slices.Reverse(rows) // the order of rows at different times does not matter

	r := Of(rows, begin, begin.Add(30*24*time.Hour), time.UTC)
	const total = 30 + 12 + 15 + 4 + 1 + 3 + 1
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s = %v, want %v", what, got, want)
		}
	}
	near("annunciated", float64(r.Annunciated), total)
	near("per day", r.PerDay, total/30.0)
	near("per hour", r.PerHour, total/720.0)
	near("per 10 min", r.PerTen, total/4320.0)
	near("hours with more than 30", r.BusyHours, 0)
	near("10-min periods with more than 10", r.BusyTens, 1.0/4320)
	near("most in any 10 min", float64(r.MostInTen), 15)
	near("floods", float64(r.Floods), 1)
	// From the 11th call (3 min 20 s in) until fewer than 5 are in the last 10 min: when the 11th of 15 is 10 min old, 13 min 20 s in.
	near("time in flood", r.InFlood*30*24*60, 10)
	if r.Top[0] != (Count{"a@x", 30}) || len(r.Top) != 10 {
		t.Errorf("top %v", r.Top)
	}
	near("share of the top", r.TopShare, float64(30+4+3+7)/total) // a, c, night and seven of the others
	if !slices.Equal(r.Chattering, []Count{{"c@x", 2}}) {
		t.Errorf("chattering %v", r.Chattering)
	}
	near("fleeting", float64(r.Fleeting), 1)
	if !slices.Equal(r.Stale, []Count{{"before@x", 2}, {"stale@x", 2}, {"gas@x", 1}}) {
		t.Errorf("stale %v", r.Stale)
	}
	near("stale on any day", float64(r.MostStale), 1)
	if r.Priorities["low"] != 31 || r.Priorities["medium"] != 27 || r.Priorities["high"] != 8 {
		t.Errorf("priorities %v", r.Priorities)
	}
	near("of class safety", float64(r.StaleSafety), 1)
	near("wake-ups", float64(r.NightCalls), 2)
	near("wake-ups acted on", float64(r.NightsActed), 1)
	near("changes", float64(r.Changes), 4)
	near("changes by nobody named", float64(r.Unnamed), 2)
	near("nights", float64(r.Nights), 30)
	if !r.Enough || Of(rows, begin, begin.Add(29*24*time.Hour), time.UTC).Enough {
		t.Error("30 days are enough, 29 are not")
	}
}

// No rows and no time are no division by zero.
func TestOf_nothing(t *testing.T) {
	if r := Of(nil, begin, begin, time.UTC); r.PerDay != 0 || r.InFlood != 0 || r.TopShare != 0 || r.Nights != 0 {
		t.Errorf("Of(nothing) = %+v", r)
	}
}

// logged is one message of the log of a simulated chemical process (Manca 2020, CC0).
type logged struct {
	at   time.Time
	tag  string
	back bool
}

// alarmLog reads one of its files; the folder is not part of the project.
func alarmLog(t *testing.T, name string) (all []logged) {
	t.Helper()
	for _, row := range measured.Table(t, "alarm_log/"+name) {
		at, err := time.Parse(time.DateTime, row[1])
		if err != nil {
			t.Fatal(err)
		}
		kind, back := strings.CutSuffix(row[3], " NR")
		all = append(all, logged{at, "plant/" + strings.ToLower(row[2]+"-"+kind), back})
	}
	return all
}

func rowsOf(all []logged) (rows []Row) {
	for _, l := range all {
		rows = append(rows, Row{At: l.at, Alarm: l.tag, Annunciated: !l.back, Active: !l.back})
	}
	return rows
}

// delayed plays the messages through the engine with an on- and an off-delay of a minute, and nothing else.
func delayed(t *testing.T, all []logged) (rows []Row) {
	t.Helper()
	p := engine.Plan{Zone: time.UTC}
	seen := map[string]bool{}
	for _, l := range all {
		if !seen[l.tag] {
			seen[l.tag] = true
			p.Points = append(p.Points, engine.Point{Name: l.tag, Quantity: units.State})
			p.Alarms = append(p.Alarms, engine.Alarm{ID: l.tag, Name: "delayed", When: &formula.Node{Op: formula.IsOn, Ref: l.tag, Quantity: units.YesNo},
				OnDelay: time.Minute, OffDelay: time.Minute})
		}
	}
	stamp := func(at time.Time) reading.Stamp {
		return reading.Stamp{Wall: at, Mono: at.Sub(all[0].at), Boot: 1, Set: true}
	}
	e, err := engine.New(p, nil, stamp(all[0].at))
	if err != nil {
		t.Fatal(err)
	}
	var said []engine.Transition
	for _, l := range all {
		r := reading.Reading{Point: l.tag, Quantity: units.State, Stamp: stamp(l.at)}
		if !l.back {
			r.Value = 1
		}
		said = e.Observe(&r, said)
	}
	for _, tr := range e.Tick(stamp(all[len(all)-1].at.Add(time.Hour)), said) {
		rows = append(rows, Row{At: tr.At.Wall, Alarm: tr.Alarm.ID, Annunciated: tr.To == engine.Unacknowledged, Active: tr.To == engine.Unacknowledged})
	}
	return rows
}

// A flood that never falls below five for any time is one, though a call goes at the instant at which the next comes: 11 calls within a minute, then one for each that
// goes but six, so that five are left; counted by hand.
func TestOf_floodOfOneInstant(t *testing.T) {
	var rows []Row
	for i := range 11 {
		rows = append(rows, standing(fmt.Sprintf("a%d@x", i), "low", time.Duration(i)*time.Second, time.Minute)...)
	}
	for i := 6; i < 11; i++ { // the five last ones are each followed at the instant at which they go
		rows = append(rows, standing(fmt.Sprintf("b%d@x", i), "low", 10*time.Minute+time.Duration(i)*time.Second, time.Minute)...)
	}
	// From the 11th call, 10 s in, until the first of the second five goes, 20 min 6 s in.
	r := Of(rows, begin, begin.Add(time.Hour), time.UTC)
	if minutes := r.InFlood * 60; r.Floods != 1 || math.Abs(minutes-(19+56.0/60)) > 1e-9 {
		t.Errorf("%d floods of %.3f min, want 1 of 19 min 56 s", r.Floods, minutes)
	}
}

// figures are what is told of one log.
type figures struct{ annunciated, mostInTen, chattering, strictly, floods int }

// strictly counts anew, on another way than Of, the alarms that came three times in less than a minute: the definition with a minute that ends before its sixtieth second.
func strictly(rows []Row) (chatter int) {
	times := map[string][]time.Time{}
	found := map[string]bool{}
	for _, row := range rows {
		if !row.Annunciated {
			continue
		}
		kept := []time.Time{row.At}
		for _, at := range times[row.Alarm] {
			if row.At.Sub(at) < time.Minute {
				kept = append(kept, at)
			}
		}
		times[row.Alarm] = kept
		found[row.Alarm] = found[row.Alarm] || len(kept) >= 3
	}
	for _, is := range found {
		if is {
			chatter++
		}
	}
	return chatter
}

// TestAlarmLog_delaysEndChattering: on a published log of activations and returns (Manca 2020, CC0), on- and off-delays of a minute alone leave nothing that chatters;
// what its author's own filter and deadband left stands beside it. The messages lie on a grid of 10 s, so it counts whether three comings within exactly 60 s are three in
// a minute: with them 4 and 10 alarms chatter untreated, without them 3 and 9. The figures of the three published logs were counted from the files by a script of another
// language; those with delays are what this engine makes of them.
func TestAlarmLog_delaysEndChattering(t *testing.T) {
	want := map[string][4]figures{
		"61": {{486, 15, 4, 3, 5}, {40, 9, 0, 0, 0}, {49, 10, 0, 0, 0}, {27, 10, 0, 0, 0}},
		"78": {{1284, 47, 10, 9, 5}, {56, 5, 0, 0, 0}, {61, 9, 0, 0, 0}, {43, 4, 0, 0, 0}},
	}
	for run, all := range want {
		original := alarmLog(t, "tep_original_"+run+".csv.gz")
		for i, what := range []struct {
			name string
			rows []Row
		}{
			{"untreated", rowsOf(original)}, {"with delays of 1 min", delayed(t, original)},
			{"the author's filter", rowsOf(alarmLog(t, "tep_filter_"+run+".csv.gz"))}, {"the author's deadband", rowsOf(alarmLog(t, "tep_deadband_"+run+".csv.gz"))},
		} {
			r := Of(what.rows, what.rows[0].At, what.rows[len(what.rows)-1].At.Add(time.Second), time.UTC)
			got := figures{r.Annunciated, r.MostInTen, len(r.Chattering), strictly(what.rows), r.Floods}
			t.Logf("run %s %-22s %5d annunciated, most in 10 min %3d, chattering alarms %2d (%d in less than a minute), floods %d, in flood %.0f %%", run, what.name,
				got.annunciated, got.mostInTen, got.chattering, got.strictly, got.floods, 100*r.InFlood)
			if got != all[i] {
				t.Errorf("run %s, %s: %+v, want %+v", run, what.name, got, all[i])
			}
		}
	}
}
