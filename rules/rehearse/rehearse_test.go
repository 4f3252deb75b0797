package rehearse

import (
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers/catalog"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

const small = `site small-mill
    timezone        America/Lima
    altitude        1450 m

station tank-1 is tank

probe tank-1-thermometer
    part            ds18b20 28-0316a2794bff
    gives           temperature at tank-1
    every           10 s

probe tank-1-electrode
    part            ads1115 on i2c-1 at 0x48
    channel         ain0
    electrode       compensated by tank-1/temperature
    gives           ph at tank-1
    every           10 s

use fermentation, instruments
`

// plan checks a rules file; a fault in it ends the test.
func plan(t testing.TB, text string) *check.Plan {
	t.Helper()
	words, err := phrase.Parse(catalog.Text())
	if err != nil {
		t.Fatal(err)
	}
	p, said, sources := rules.Load(fstest.MapFS{"test.rules": {Data: []byte(text)}}, "test.rules", words)
	if p == nil {
		var out strings.Builder
		_ = said.Print(&out, sources)
		t.Fatal(out.String())
	}
	return p
}

// list is a source of readings in memory.
type list struct{ rest []reading.Reading }

func (l *list) Next() (reading.Reading, error) {
	if len(l.rest) == 0 {
		return reading.Reading{}, io.EOF
	}
	r := l.rest[0]
	l.rest = l.rest[1:]
	return r, nil
}

func played(t testing.TB, p *check.Plan, in Input) ([]engine.Transition, Summary) {
	t.Helper()
	var all []engine.Transition
	sum, err := Play(p, in, func(tr *engine.Transition) error { all = append(all, *tr); return nil })
	if err != nil {
		t.Fatal(err)
	}
	return all, sum
}

var evening = time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC)

func at(d time.Duration) reading.Stamp { return reading.Stamp{Wall: evening.Add(d), Set: true} }

// souring is a tank whose pH falls by half a pH an hour from 5.2, read every 10 s; its thermometer is silent in the third hour.
func souring(hours float64) (ph, temperature []reading.Reading) {
	for d := time.Duration(0); d.Hours() < hours; d += 10 * time.Second {
		ph = append(ph, reading.Reading{Point: "tank-1/ph", Quantity: units.PH, Value: 5.2 - d.Hours()/2, Stamp: at(d)})
		if h := d.Hours(); h < 2 || h > 3 {
			temperature = append(temperature, reading.Reading{Point: "tank-1/temperature", Quantity: units.Temperature, Value: 22, Stamp: at(d)})
		}
	}
	return ph, temperature
}

var stay = []reading.Stay{{Stamp: at(5 * time.Minute), Station: "tank-1", Lot: "143"}, {Stamp: at(170 * time.Minute), Station: "tank-1", Empty: true}}

func said(ts []engine.Transition) string {
	var b strings.Builder
	for i := range ts {
		fmt.Fprintf(&b, "%s %s %s %d %s>%s %s\n", ts[i].At.Wall, ts[i].Alarm.ID, ts[i].Event, ts[i].Occurrence, ts[i].From, ts[i].To, ts[i].Because)
	}
	return b.String()
}

// Two sources played side by side say the same as one that holds both, and the same again every time.
func TestPlay_sourcesAreTakenByTime(t *testing.T) {
	p := plan(t, small)
	ph, temperature := souring(4)
	apart, sum := played(t, p, Input{Readings: []Source{&list{ph}, &list{temperature}}, Lots: stay})
	mixed := slices.Concat(ph, temperature)
	slices.SortStableFunc(mixed, func(a, b reading.Reading) int { return a.Stamp.Wall.Compare(b.Stamp.Wall) })
	together, _ := played(t, p, Input{Readings: []Source{&list{mixed}}, Lots: stay})
	if said(apart) != said(together) {
		t.Errorf("two sources say\n%sone says\n%s", said(apart), said(together))
	}
	if sum.Readings != len(mixed) || sum.Stays != 2 || sum.Occurrences == 0 || !sum.End.Equal(mixed[len(mixed)-1].Stamp.Wall) {
		t.Errorf("summary %+v of %d readings", sum, len(mixed))
	}
}

// The same readings told to the engine by hand, with a tick every second as a running gateway makes them, give the same transitions.
func TestPlay_isTheEngineAsItRuns(t *testing.T) {
	p := plan(t, small)
	ph, _ := souring(3)
	got, _ := played(t, p, Input{Readings: []Source{&list{ph}}})
	stamp := func(d time.Duration) reading.Stamp {
		return reading.Stamp{Wall: evening.Add(d), Mono: d, Boot: 1, Set: true}
	}
	e, err := engine.New(p.Engine, nil, stamp(0))
	if err != nil {
		t.Fatal(err)
	}
	var want []engine.Transition
	end := ph[len(ph)-1].Stamp.Wall.Sub(evening)
	for d := time.Duration(0); d <= end; d += time.Second {
		if len(ph) > 0 && ph[0].Stamp.Wall.Equal(evening.Add(d)) {
			r := ph[0]
			r.Stamp, ph = stamp(d), ph[1:]
			want = e.Observe(&r, want)
		}
		want = e.Tick(stamp(d), want)
	}
	if said(got) != said(want) {
		t.Errorf("rehearsed\n%sran\n%s", said(got), said(want))
	}
	if !strings.Contains(said(got), "over-fermented@tank-1 Occur") && !strings.Contains(said(got), "over-fermented@tank-1 occur") {
		t.Errorf("a tank that sours did not ring:\n%s", said(got))
	}
}

// From leaves out what came before but not the states it led to; To ends it.
func TestPlay_fromTo(t *testing.T) {
	p := plan(t, small)
	ph, temperature := souring(4)
	source := func() []Source { return []Source{&list{ph}, &list{temperature}} }
	all, _ := played(t, p, Input{Readings: source(), Lots: stay})
	from, to := evening.Add(130*time.Minute), evening.Add(160*time.Minute)
	part, sum := played(t, p, Input{Readings: source(), Lots: stay, From: from, To: to})
	var want []engine.Transition
	for _, tr := range all {
		if !tr.At.Wall.Before(from) && !tr.At.Wall.After(to) {
			want = append(want, tr)
		}
	}
	if said(part) != said(want) || len(want) == 0 || len(want) == len(all) {
		t.Errorf("from %s to %s:\n%swant\n%s", from, to, said(part), said(want))
	}
	if !sum.End.Equal(to) {
		t.Errorf("End = %s, want %s", sum.End, to)
	}
}

// A step back in a recording disturbs nothing: the older readings decide nothing and nothing comes twice.
func TestPlay_backwardStep(t *testing.T) {
	p := plan(t, small)
	ph, _ := souring(3)
	clean, _ := played(t, p, Input{Readings: []Source{&list{ph}}})
	stepped := slices.Concat(ph[:500], ph[440:500], ph[500:])
	got, sum := played(t, p, Input{Readings: []Source{&list{stepped}}})
	if said(got) != said(clean) {
		t.Errorf("with a step back\n%swant\n%s", said(got), said(clean))
	}
	if sum.Readings != len(stepped) {
		t.Errorf("%d readings played, want %d", sum.Readings, len(stepped))
	}
}

// What is missing is told: silence of a point nobody recorded must not be taken for peace.
func TestPlay_tellsWhatItDidNotSee(t *testing.T) {
	ph, _ := souring(1)
	stranger := reading.Reading{Point: "tank-7/ph", Quantity: units.PH, Value: 5, Stamp: at(0)}
	unset := reading.Reading{Point: "tank-1/ph", Quantity: units.PH, Value: 1}
	_, sum := played(t, plan(t, small), Input{Readings: []Source{&list{slices.Concat([]reading.Reading{stranger, unset}, ph)}}})
	if !slices.Contains(sum.Unseen, "tank-1/temperature") || slices.Contains(sum.Unseen, "tank-1/ph") || !slices.Equal(sum.Unknown, []string{"tank-7/ph"}) || sum.Unset != 1 {
		t.Errorf("summary %+v", sum)
	}
}

// A lot that came long before the first reading stands there, and its time runs from then; the probes are not overdue since that day.
func TestPlay_lotThatStoodBefore(t *testing.T) {
	p := plan(t, small)
	ph, temperature := souring(1)
	before := []reading.Stay{{Stamp: at(-30 * 24 * time.Hour), Station: "tank-1", Lot: "141"}, {Stamp: at(-20 * 24 * time.Hour), Station: "tank-1", Empty: true},
		{Stamp: at(-11*time.Hour - 30*time.Minute), Station: "tank-1", Lot: "142"}}
	all, sum := played(t, p, Input{Readings: []Source{&list{ph}, &list{temperature}}, Lots: before})
	if !sum.Begin.Equal(evening) || sum.Stays != 3 {
		t.Errorf("summary %+v, want it to begin at %s", sum, evening)
	}
	var prompted time.Time
	for _, tr := range all {
		if tr.Alarm.Name == "measurement-overdue" {
			t.Errorf("%s %s at %s", tr.Alarm.ID, tr.Event, tr.At.Wall)
		}
		if tr.Alarm.Name == "start-hand-checks" && tr.Event == engine.Occur { // at 12 h of soaking
			prompted = tr.At.Wall
		}
	}
	if d := prompted.Sub(evening.Add(30 * time.Minute)); d < 0 || d > 2*time.Second {
		t.Errorf("12 h after loading is %s, prompted at %s", evening.Add(30*time.Minute), prompted)
	}
}

// Errors of a source and of the listener end it, each with its own.
func TestPlay_errors(t *testing.T) {
	p := plan(t, small)
	broken := errors.New("line 3")
	if _, err := Play(p, Input{Readings: []Source{failing{broken}}}, nil); !errors.Is(err, broken) {
		t.Errorf("Play() = %v, want %v", err, broken)
	}
	ph, _ := souring(4)
	full := errors.New("no room")
	if _, err := Play(p, Input{Readings: []Source{&list{ph}}}, func(*engine.Transition) error { return full }); !errors.Is(err, full) {
		t.Errorf("Play() = %v, want %v", err, full)
	}
	if sum, err := Play(p, Input{}, nil); err != nil || !reflect.DeepEqual(sum, Summary{}) {
		t.Errorf("Play of nothing = %+v, %v", sum, err)
	}
}

type failing struct{ err error }

func (f failing) Next() (reading.Reading, error) { return reading.Reading{}, f.err }

// A limit raised for safety's sake shows as the transitions that only one file makes; the same file differs in nothing.
func TestCompare_onlyWhatDiffers(t *testing.T) {
	ph, _ := souring(4)
	one, _ := played(t, plan(t, small), Input{Readings: []Source{&list{ph}}})
	other, _ := played(t, plan(t, small+"\nlimit over-fermented-ph 4.4 pH\n    because \"the buyer's wish\"\n"), Input{Readings: []Source{&list{ph}}})
	if d := Compare(one, one); len(d) != 0 {
		t.Errorf("a file differs from itself: %v", d)
	}
	differs := Compare(one, other)
	var earlier, later time.Time
	for _, d := range differs {
		if d.Alarm.Name == "over-fermented" && d.Event == engine.Occur {
			if d.First {
				later = d.At.Wall
			} else {
				earlier = d.At.Wall
			}
		}
	}
	// 0.2 pH at half a pH an hour are 24 min.
	if later.Sub(earlier) != 24*time.Minute {
		t.Errorf("over-fermented occurs at %s and %s, want 24 min apart; differences %d", earlier, later, len(differs))
	}
	if len(differs) >= len(one)+len(other) {
		t.Errorf("%d of %d and %d transitions differ: what is alike must not be told", len(differs), len(one), len(other))
	}
}

// Computed points are worked out as in a running gateway: ten degrees above the anchor of 23 °C a tank with a Q10 of 2 has used up its 18 h after 9 h (the law is
// the language's, the arithmetic is by hand). The same each time to the byte; without its lot nobody can say.
func TestPlay_hoursOfAStay(t *testing.T) {
	p := plan(t, small)
	night := func(lots []reading.Stay) []engine.Transition {
		var warm []reading.Reading
		for d := time.Duration(0); d < 10*time.Hour; d += 10 * time.Second {
			warm = append(warm, reading.Reading{Point: "tank-1/temperature", Quantity: units.Temperature, Value: 33, Stamp: at(d)})
		}
		all, _ := played(t, p, Input{Readings: []Source{&list{warm}}, Lots: lots})
		return all
	}
	loaded := []reading.Stay{{Stamp: at(30 * time.Second), Station: "tank-1", Lot: "143", Kg: 400}}
	first, came := night(loaded), map[string]time.Duration{}
	for _, tr := range first {
		if tr.Event == engine.Occur {
			came[tr.Alarm.Name] = tr.At.Wall.Sub(evening)
		}
	}
	for name, want := range map[string]time.Duration{"nearly-ready-by-time": 6*time.Hour + 30*time.Minute, "hours-used-up": 9 * time.Hour} {
		if late := came[name] - want; late < 0 || late > 2*time.Minute {
			t.Errorf("%s at %v, want %v", name, came[name], want)
		}
	}
	if again := night(loaded); said(again) != said(first) {
		t.Errorf("played again it says\n%snot\n%s", said(again), said(first))
	}
	if without := said(night(nil)); strings.Contains(without, "hours-used-up") {
		t.Errorf("without a lot it says\n%s", without)
	}
}
