package engine

import (
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// Properties over random plans and random nights. A failing seed is printed; go test ./rules/engine -run Property -seeds 1000 is for the night.

var seeds = flag.Int("seeds", 12, "random nights for each property")

// gen makes random plans and inputs.
type gen struct {
	*rand.Rand
	points []string
	simple bool // standing values only: what no passing of time can lower
}

func newGen(seed uint64) *gen { return &gen{Rand: rand.New(rand.NewPCG(seed, 7))} }

func (g *gen) point() *formula.Node { return at(g.points[g.IntN(len(g.points))], units.Count) }

func (g *gen) limit() *formula.Node { return num(20+g.NormFloat64(), units.Count) }

func (g *gen) value() *formula.Node {
	spans := []time.Duration{20 * time.Second, time.Minute, 10 * time.Minute, 90 * time.Minute}
	span := spans[g.IntN(len(spans))]
	choice := g.IntN(14)
	if g.simple {
		choice = g.IntN(4)
	}
	switch choice {
	case 0, 1, 2:
		return g.point()
	case 3:
		return op2of(formula.Add, g.point(), op2of(formula.Sub, g.point(), num(20, units.Count)))
	case 4:
		return op2of(formula.Add, num(20, units.Count), &formula.Node{Op: formula.Div, Args: []*formula.Node{{Op: formula.Age, Ref: g.points[0], Text: "age"}, num(60, units.Count)}})
	case 5:
		return op2of(formula.Add, num(19.5, units.Count), &formula.Node{Op: formula.Div, Args: []*formula.Node{{Op: formula.TimeSince, Moment: "x/stirred", Text: "since"},
			num(300, units.Count)}})
	}
	if bare := []*formula.Node{{Op: formula.Age, Ref: g.points[1], Text: "age"}, {Op: formula.TimeSince, Moment: "x/stirred", Text: "since"}}; choice < 8 {
		return bare[choice-6]
	}
	if choice > 11 {
		of := []formula.Op{formula.MedianOf, formula.MeanOf, formula.HighestOf, formula.SpreadOf}[g.IntN(4)]
		among := &formula.Node{Op: of, Refs: g.points[:3], Quantity: units.Count, Text: "among"}
		return op2of(formula.Add, num(18, units.Count), op2of(formula.Sub, among, op2of(formula.Div, g.point(), num(10, units.Count))))
	}
	ops := []formula.Op{formula.Mean, formula.Mean, formula.Highest, formula.Lowest}
	return over(ops[g.IntN(4)], at(g.points[g.IntN(4)], units.Count), units.Count, span, time.Duration(g.IntN(2))*time.Minute)
}

func (g *gen) condition(depth int) *formula.Node {
	if depth == 0 || g.IntN(3) == 0 {
		if !g.simple && g.IntN(12) == 0 {
			return &formula.Node{Op: formula.Night, Quantity: units.YesNo, Text: "night"}
		}
		if !g.simple && g.IntN(8) == 0 {
			return ref([]formula.Op{formula.IsBad, formula.IsOverdue, formula.IsUncertain}[g.IntN(3)], g.points[g.IntN(len(g.points))])
		}
		ops := []formula.Op{formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq}
		return cmp(g.value(), ops[g.IntN(4)], g.limit(), g.Float64()/2)
	}
	switch g.IntN(3) {
	case 0:
		return op(formula.Not, g.condition(depth-1))
	case 1:
		return op(formula.And, g.condition(depth-1), g.condition(depth-1))
	}
	return op(formula.Or, g.condition(depth-1), g.condition(depth-1), g.condition(depth-1))
}

func (g *gen) delay() time.Duration {
	return []time.Duration{0, 0, 5 * time.Second, 1300 * time.Millisecond, time.Minute}[g.IntN(5)]
}

func (g *gen) plan() Plan {
	p := Plan{Zone: time.UTC, Night: Span{From: 20 * 60, To: 20*60 + 7}}
	for i := range 4 {
		name := fmt.Sprintf("x/p%d", i)
		p.Points = append(p.Points, Point{Name: name, Quantity: units.Count, OverdueAfter: time.Duration(10+10*i) * time.Second})
		g.points = append(g.points, name)
	}
	if !g.simple {
		p.Points = append(p.Points, Point{Name: "x/sum", Quantity: units.Count, Formula: op2of(formula.Mul, op2of(formula.Add, at("x/p0", units.Count), at("x/p1", units.Count)), num(0.5, units.Count)),
			Every: 3 * time.Second},
			Point{Name: "x/smooth", Quantity: units.Count, Formula: op2of(formula.Add, at("x/sum", units.Count), op2of(formula.Sub,
				over(formula.Mean, at("x/p2", units.Count), units.Count, time.Minute, 0), num(20, units.Count))), Every: time.Second})
		g.points = append(g.points, "x/sum", "x/smooth")
	}
	for i := range 10 {
		a := Alarm{ID: fmt.Sprintf("a%d@x", i), Name: fmt.Sprintf("a%d", i), Place: "x", File: "f", Line: i, When: g.condition(2), OnDelay: g.delay(), OffDelay: g.delay(),
			Latching: g.IntN(2) == 0, Shelvable: time.Hour, Class: Quality, Priority: Priority(g.IntN(3))}
		if g.IntN(3) == 0 && !g.simple {
			a.While = g.condition(1)
		}
		if g.IntN(4) == 0 && !g.simple {
			a.SuppressedWhile = g.condition(1)
		}
		if i > 0 && g.IntN(4) == 0 && !g.simple {
			a.DependsOn = []string{fmt.Sprintf("a%d@x", g.IntN(i))}
		}
		if g.IntN(4) == 0 {
			a.ReAnnunciate = 2 * time.Minute
		}
		a.Kind = []Kind{KindAlarm, KindAlarm, KindAlarm, KindPrompt, KindEvent}[g.IntN(5)]
		p.Alarms = append(p.Alarms, a)
	}
	return p
}

// input is one call of an engine.
type input struct {
	at     time.Duration
	r      *reading.Reading
	moment string
	act    *Act
}

func (g *gen) inputs(n int) []input {
	var all []input
	now := time.Duration(0)
	value := [4]float64{20, 20, 20, 20}
	for range n {
		now += time.Duration(g.ExpFloat64() * float64([]time.Duration{100 * time.Millisecond, 2 * time.Second, 2 * time.Second, 15 * time.Second}[g.IntN(4)]))
		in := input{at: now}
		switch k := g.IntN(30); {
		case k == 0:
			in.moment = []string{"x/stirred", "x/loaded"}[g.IntN(2)]
		case k < 4:
			event := []Event{Acknowledge, Acknowledge, Acknowledge, Reset, Reset, Shelve, Unshelve, Remove, Return}[g.IntN(9)]
			in.act = &Act{Event: event, Alarm: fmt.Sprintf("a%d@x", g.IntN(10)), Occurrence: int64(g.IntN(12)), By: "ana", Why: "test", Second: "ben", For: time.Duration(1+g.IntN(300)) * time.Second,
				OneShot: g.IntN(2) == 0, At: stamp(now)}
		default:
			i := g.IntN(4)
			value[i] += 0.4*g.NormFloat64() - 0.1*(value[i]-20)
			r := reading.Reading{Point: fmt.Sprintf("x/p%d", i), Quantity: units.Count, Value: value[i], Stamp: stamp(now)}
			switch g.IntN(12) {
			case 0:
				r = reading.Missing(r.Point, units.Count, r.Stamp, []string{"no answer", "frozen"}[g.IntN(2)])
			case 1:
				r.Quality, r.Cause = reading.Uncertain, "calibration overdue"
			}
			in.r = &r
		}
		all = append(all, in)
	}
	return all
}

// give puts one input in; an act names the present occurrence or, now and then, an old one.
func give(e *Engine, in input, out []Transition) []Transition {
	switch {
	case in.r != nil:
		return e.Observe(in.r, out)
	case in.moment != "":
		return e.Moment(in.moment, stamp(in.at), out)
	case in.act != nil:
		a := *in.act
		if a.Occurrence > 2 {
			out = e.Tick(a.At, out) // what a person sees is what stands then
			for _, s := range e.Standings(nil) {
				if s.Alarm.ID == a.Alarm {
					a.Occurrence = s.Occurrence
				}
			}
		}
		out, _ = e.Act(a, out)
		return out
	}
	return e.Tick(stamp(in.at), out)
}

func mustNew(t testing.TB, p Plan, s *Saved, now reading.Stamp) *Engine {
	t.Helper()
	e, err := New(p, s, now)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// tell prints transitions whole, so that two runs can be compared.
func tell(transitions []Transition) string {
	var b strings.Builder
	for _, t := range transitions {
		fmt.Fprintf(&b, "%v %s %s %s->%s #%d %v %s|%s|%s|%s|%v|%v\n", t.At.Mono, t.Alarm.ID, t.Event, t.From, t.To, t.Occurrence, t.NewOccurrence, t.Because, t.By, t.Why, t.Second, t.Until.Mono, round(t.Values))
	}
	return b.String()
}

// round keeps nine digits: the sums of a window that was filled anew may differ in the last ones.
func round(values []Shown) string {
	text := ""
	for _, v := range values {
		text += fmt.Sprintf("%s %s %.9g %.9g ", v.Point, v.Text, v.Value, v.Limit)
	}
	return text
}

func firstDifference(a, b string) string {
	la, lb := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range la {
		if i >= len(lb) || la[i] != lb[i] {
			other := "nothing"
			if i < len(lb) {
				other = lb[i]
			}
			return "\n  " + la[i] + "\n  " + other
		}
	}
	return "\n  nothing\n  " + lb[len(la)]
}

// TestProperty_sameInputSameOutput and extra ticks change nothing: however often, and whenever, Tick comes in between.
func TestProperty_sameInputSameOutput(t *testing.T) {
	events, states := map[Event]int{}, map[State]int{}
	for seed := range uint64(*seeds) {
		g := newGen(seed)
		p, inputs := g.plan(), g.inputs(600)
		a, b, c := mustNew(t, p, nil, stamp(0)), mustNew(t, p, nil, stamp(0)), mustNew(t, p, nil, stamp(0))
		var plain, again, ticked []Transition
		last := time.Duration(0)
		for _, in := range inputs {
			plain = give(a, in, plain)
			again = give(b, in, again)
			for range g.IntN(4) {
				between := last + time.Duration(g.Int64N(int64(in.at-last)+1))
				ticked, last = c.Tick(stamp(between), ticked), between
			}
			if due, ok := c.Next(); ok && g.IntN(2) == 0 && due <= in.at && due >= last {
				ticked = c.Tick(stamp(due), ticked)
			}
			ticked, last = give(c, in, ticked), in.at
		}
		for _, s := range plain {
			events[s.Event]++
			states[s.To]++
		}
		if x, y := tell(plain), tell(again); x != y {
			t.Fatalf("seed %d: two runs differ: %s", seed, firstDifference(x, y))
		}
		if x, y := tell(plain), tell(ticked); x != y {
			t.Fatalf("seed %d: extra ticks changed something: %s", seed, firstDifference(x, y))
		}
	}
	for event := range Withdraw {
		if events[event] == 0 {
			t.Errorf("no alarm met %s: the nights are too quiet to prove anything", event)
		}
	}
	for state := range State(9) {
		if states[state] == 0 {
			t.Errorf("no alarm was ever %s", state)
		}
	}
}

// TestProperty_sleepChangesNothing: an engine that leaves out what it knows to bring nothing says the same as one that judges at every reading and every
// second; and it does leave out most.
func TestProperty_sleepChangesNothing(t *testing.T) {
	said, slept, woke := 0, 0, 0
	for seed := range uint64(4 * *seeds) {
		g := newGen(seed)
		p, inputs := g.plan(), g.inputs(600)
		sleepy, wakeful := mustNew(t, p, nil, stamp(0)), mustNew(t, p, nil, stamp(0))
		wakeful.m.wakeful = true
		var one, other []Transition
		for _, in := range inputs {
			one, other = give(sleepy, in, one), give(wakeful, in, other)
		}
		if x, y := tell(one), tell(other); x != y {
			t.Fatalf("seed %d: sleep changed something: %s", seed, firstDifference(x, y))
		}
		said += len(one)
		slept += sleepy.m.judged
		woke += wakeful.m.judged
	}
	if said < 50**seeds || slept*5 > woke*4 {
		t.Errorf("%d transitions of %d and %d judgements prove nothing", said, slept, woke)
	}
	t.Logf("%d transitions of %d judgements, of %d without sleep", said, slept, woke)
}

// TestProperty_saveAndLoad: a run split by save, JSON, load and Fill from the history says the same as one that was not.
func TestProperty_saveAndLoad(t *testing.T) {
	splits := 0
	for seed := range uint64(*seeds) {
		g := newGen(seed)
		p, inputs := g.plan(), g.inputs(500)
		whole, split := mustNew(t, p, nil, stamp(0)), mustNew(t, p, nil, stamp(0))
		var plain, parts []Transition
		var history []*reading.Reading
		for _, in := range inputs {
			plain, parts = give(whole, in, plain), give(split, in, parts)
			if in.r != nil {
				history = append(history, in.r)
			}
			if g.IntN(60) > 0 {
				continue
			}
			splits++
			text, err := json.Marshal(split.Save())
			if err != nil {
				t.Fatal(err)
			}
			var saved Saved
			if err := json.Unmarshal(text, &saved); err != nil {
				t.Fatal(err)
			}
			later := stamp(in.at + time.Duration(g.Int64N(int64(50*time.Millisecond))))
			split = mustNew(t, p, &saved, later)
			for _, r := range history {
				split.Fill(r)
			}
		}
		if x, y := tell(plain), tell(parts); x != y {
			t.Fatalf("seed %d: a restart changed something: %s", seed, firstDifference(x, y))
		}
	}
	if splits < 5**seeds {
		t.Errorf("only %d restarts", splits)
	}
}

// TestProperty_missingNeverLowers: from any state, readings that fail and time alone never take an alarm down; with good ones the same alarms fall.
func TestProperty_missingNeverLowers(t *testing.T) {
	stood, fell := 0, 0
	for seed := range uint64(10 * *seeds) {
		g := newGen(seed)
		g.simple = true
		p := g.plan()
		e := mustNew(t, p, nil, stamp(0))
		now := time.Duration(0)
		for _, in := range g.inputs(40 + g.IntN(100)) {
			if in.act == nil {
				give(e, in, nil)
				now = in.at
			}
		}
		saved := e.Save()
		before := e.Standings(nil)
		for range 60 {
			now += time.Duration(g.Int64N(int64(20 * time.Second)))
			r := reading.Missing(fmt.Sprintf("x/p%d", g.IntN(4)), units.Count, stamp(now), "no answer")
			e.Observe(&r, nil)
		}
		e.Tick(stamp(now+time.Hour), nil)
		for i, s := range e.Standings(nil) {
			if before[i].Active {
				stood++
			}
			// One whose off-delay was already running on good values that still stand may end; else none may.
			if ending := saved.Alarms[i].OffSince != nil; before[i].Active && !s.Active && !ending {
				t.Fatalf("seed %d: %s %s was lowered by missing readings: %s", seed, s.Alarm.ID, s.Alarm.When.Text, s.Because)
			}
		}
		for i := range 4 {
			r := reading.Reading{Point: fmt.Sprintf("x/p%d", i), Value: []float64{-100, 100}[seed%2], Stamp: stamp(now + time.Hour)}
			e.Observe(&r, nil)
		}
		e.Tick(stamp(now+2*time.Hour), nil)
		for i, s := range e.Standings(nil) {
			if before[i].Active && !s.Active {
				fell++
			}
		}
	}
	if stood < 200 || fell < 100 {
		t.Errorf("%d alarms stood, %d fell to good readings: too few to prove anything", stood, fell)
	}
}

// TestProperty_orderOfUnrelatedPoints: readings of one instant may come in any order; alarms that look at other points do not notice.
func TestProperty_orderOfUnrelatedPoints(t *testing.T) {
	total := 0
	for seed := range uint64(*seeds) {
		g := newGen(seed)
		p := Plan{Zone: time.UTC}
		for i := range 5 {
			name := fmt.Sprintf("s%d/v", i)
			p.Points = append(p.Points, Point{Name: name, Quantity: units.Count, OverdueAfter: 20 * time.Second})
			g.points = []string{name, name, name, name}
			for j := range 3 {
				p.Alarms = append(p.Alarms, Alarm{ID: fmt.Sprintf("a%d@s%d", j, i), Name: "a", When: g.condition(2), OnDelay: g.delay(), OffDelay: g.delay()})
			}
		}
		a, b := mustNew(t, p, nil, stamp(0)), mustNew(t, p, nil, stamp(0))
		var one, other []Transition
		for tick := range 200 {
			now := stamp(time.Duration(tick) * 4 * time.Second)
			var round []reading.Reading
			for i := range 5 {
				if g.IntN(4) > 0 {
					round = append(round, reading.Reading{Point: fmt.Sprintf("s%d/v", i), Value: 20 + g.NormFloat64(), Stamp: now})
				}
			}
			for i := range round {
				one = a.Observe(&round[i], one)
			}
			g.Shuffle(len(round), func(i, j int) { round[i], round[j] = round[j], round[i] })
			for i := range round {
				other = b.Observe(&round[i], other)
			}
		}
		byAlarm := func(all []Transition) []string {
			var lines []string
			for _, s := range all { // numbers rise in the order of coming, so they may differ
				lines = append(lines, fmt.Sprint(s.Alarm.ID, s.At.Mono, s.Event, s.To, s.Because))
			}
			slices.Sort(lines)
			return lines
		}
		x, y := byAlarm(one), byAlarm(other)
		if !slices.Equal(x, y) {
			t.Fatalf("seed %d: order changed something: %s", seed, firstDifference(strings.Join(x, "\n"), strings.Join(y, "\n")))
		}
		total += len(x)
	}
	if total < 50**seeds {
		t.Errorf("%d transitions prove nothing", total)
	}
}

// TestObserve_allocatesNothing without a transition, with windows, derived points, gates and delays.
func TestObserve_allocatesNothing(t *testing.T) {
	g := newGen(3)
	p := g.plan()
	for i := range p.Alarms { // nothing may come of it
		p.Alarms[i].When = op(formula.And, p.Alarms[i].When, cmp(at("x/p0", units.Count), formula.Greater, num(1e6, units.Count), 0))
	}
	e := mustNew(t, p, nil, stamp(0))
	mono, i := time.Duration(0), 0
	var readings []reading.Reading
	for i := range 4 {
		readings = append(readings, reading.Reading{Point: fmt.Sprintf("x/p%d", i), Quantity: units.Count, Value: 20})
	}
	out := make([]Transition, 0, 8)
	var derived []reading.Reading
	step := func() {
		mono += 300 * time.Millisecond
		i++
		r := &readings[i&3]
		r.Value, r.Stamp = 20+float64(i%17)/10, stamp(mono)
		out = e.Observe(r, out[:0])
		derived = e.Derived(derived[:0])
	}
	for range 30_000 { // rings and windows reach their sizes
		step()
	}
	if allocs := testing.AllocsPerRun(2000, step); allocs != 0 {
		t.Errorf("%v allocations a reading", allocs)
	}
	if len(derived) == 0 && mono == 0 {
		t.Error("nothing was derived")
	}
}
