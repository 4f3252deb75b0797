package engine

import (
	"fmt"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// Formulas for tests, as the checker would write them.

func num(v float64, q units.Quantity) *formula.Node {
	return &formula.Node{Op: formula.Const, Value: v, Quantity: q, Text: units.Amount{Value: v, Quantity: q}.String()}
}

func at(ref string, q units.Quantity) *formula.Node {
	return &formula.Node{Op: formula.Point, Ref: ref, Quantity: q, Text: ref}
}

func op(o formula.Op, args ...*formula.Node) *formula.Node {
	n := &formula.Node{Op: o, Args: args, Quantity: units.YesNo}
	for i, arg := range args {
		if i > 0 {
			n.Text += map[formula.Op]string{formula.Less: " < ", formula.LessEq: " <= ", formula.Greater: " > ", formula.GreaterEq: " >= ", formula.And: " and ",
				formula.Or: " or "}[o]
		}
		n.Text += arg.Text
	}
	return n
}

// cmp is a comparison with its deadband.
func cmp(left *formula.Node, o formula.Op, right *formula.Node, deadband float64) *formula.Node {
	n := op(o, left, right)
	n.Deadband = deadband
	return n
}

func ref(o formula.Op, name string) *formula.Node {
	return &formula.Node{Op: o, Ref: name, Quantity: units.YesNo, Text: fmt.Sprint(name, " is ", o)}
}

func over(o formula.Op, x *formula.Node, q units.Quantity, span, ago time.Duration) *formula.Node {
	return &formula.Node{Op: o, Args: []*formula.Node{x}, Quantity: q, Over: span, Ago: ago, Text: fmt.Sprint("window(", x.Text, ", ", span, ")")}
}

const (
	ph      = "tank-1/ph"
	warmth  = "tank-1/temperature"
	loaded  = "tank-1/loaded"
	seconds = time.Second
)

func phBelow(limit, deadband float64) *formula.Node {
	return cmp(at(ph, units.PH), formula.Less, num(limit, units.PH), deadband)
}

// tank is a plan of one tank with the alarms given.
func tank(alarms ...Alarm) Plan {
	p := Plan{Zone: time.UTC, Points: []Point{
		{Name: ph, Quantity: units.PH, OverdueAfter: 30 * time.Second, Update: 10 * time.Second},
		{Name: warmth, Quantity: units.Temperature, OverdueAfter: 15 * time.Second},
		{Name: loaded, Quantity: units.YesNo},
	}}
	for _, a := range alarms {
		if a.Name == "" {
			a.Name = "sour"
		}
		a.Place, a.ID = "tank-1", a.Name+"@tank-1"
		a.File, a.Line = "estate.rules", 12
		if a.Printed == "" && a.When != nil {
			a.Printed = a.When.Text
		}
		p.Alarms = append(p.Alarms, a)
	}
	return p
}

// bench drives an engine through time and keeps what it said.
type bench struct {
	t    testing.TB
	e    *Engine
	plan Plan
	now  time.Duration
	said []Transition
}

// night is the wall time at which the tests' boards have been up for no time at all.
var night = time.Date(2026, 3, 4, 20, 0, 0, 0, time.UTC)

func stamp(mono time.Duration) reading.Stamp {
	return reading.Stamp{Wall: night.Add(mono), Mono: mono, Boot: 1, Set: true}
}

func start(t testing.TB, p Plan) *bench {
	t.Helper()
	e, err := New(p, nil, stamp(0))
	if err != nil {
		t.Fatal(err)
	}
	return &bench{t: t, e: e, plan: p}
}

// wait lets time go on.
func (b *bench) wait(d time.Duration) *bench {
	b.now += d
	b.said = b.e.Tick(stamp(b.now), b.said)
	return b
}

func (b *bench) sees(point string, value float64, quality ...reading.Quality) *bench {
	r := reading.Reading{Point: point, Value: value, Stamp: stamp(b.now)}
	if len(quality) > 0 {
		r.Quality, r.Cause = quality[0], "test"
	}
	b.said = b.e.Observe(&r, b.said)
	return b
}

func (b *bench) misses(point, cause string) *bench {
	r := reading.Missing(point, units.None, stamp(b.now), cause)
	b.said = b.e.Observe(&r, b.said)
	return b
}

func (b *bench) does(a Act) error {
	a.At = stamp(b.now)
	if a.By == "" {
		a.By = "ana"
	}
	var err error
	b.said, err = b.e.Act(a, b.said)
	return err
}

// must does what is expected to be accepted.
func (b *bench) must(a Act) *bench {
	b.t.Helper()
	if err := b.does(a); err != nil {
		b.t.Fatal(err)
	}
	return b
}

func (b *bench) standing(id string) Standing {
	b.t.Helper()
	for _, s := range b.e.Standings(nil) {
		if s.Alarm.ID == id {
			return s
		}
	}
	b.t.Fatalf("no alarm %s", id)
	return Standing{}
}

// is fails unless the alarm shows the state.
func (b *bench) is(want State) *bench {
	b.t.Helper()
	if got := b.standing(b.plan.Alarms[0].ID).State; got != want {
		b.t.Fatalf("after %s it is %s, want %s; said: %s", b.now, got, want, b.story())
	}
	return b
}

func (b *bench) story() string {
	text := ""
	for _, t := range b.said {
		text += fmt.Sprintf("\n  %s %s %s: %s -> %s (%d) %s", t.At.Mono, t.Alarm.ID, t.Event, t.From, t.To, t.Occurrence, t.Because)
	}
	return text
}
