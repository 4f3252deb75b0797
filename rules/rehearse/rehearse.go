// Package rehearse plays recorded readings and lots through the engine at full speed, so that people see what a rules file would have said
// last night, or in last year's harvest. It is pure: it reads from sources it is given and tells what it is asked to; the same input gives the
// same transitions to the byte.
//
// Time is that of the recordings. Whatever is due between two inputs happens at its own instant (rules/engine), so nothing ticks here, and a
// month without readings costs nothing. The end is that of the last input, or the time asked for: what would have rung later is not told, because
// nobody knows what the probes would have said.
//
// Computed points are played where they were recorded; the rest is worked out from readings and lots by the same models as in a running gateway (rules/models).
// Points that rules look at and no reading came for are listed in the Summary, so that silence is not taken for peace.
//
// Concurrency: Play is one call; nothing is shared, but that each source is read by a goroutine of its own, which ends before Play returns.
package rehearse

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/models"
)

// Source gives readings in the order in which they were taken; io.EOF at the end. *reading.Rows is one.
type Source interface {
	Next() (reading.Reading, error)
}

// Input is what is played. Sources are taken by time; of equal times, lots come first, then the sources in their order.
type Input struct {
	Readings []Source
	Lots     []reading.Stay
	From, To time.Time // told from, played to; zero: all. What comes before From is played too, so that states and windows are true
}

// Summary is what was played, and what could not be judged.
type Summary struct {
	Readings    int
	Stays       int // acts on lots
	Begin, End  time.Time
	Unset       int      // readings of a clock that was not set: they have no time to be played at
	Unknown     []string // points of the readings that the rules do not know
	Unseen      []string // points that conditions look at and no known reading came for
	Occurrences int      // told
}

// player is one rehearsal.
type player struct {
	plan      *check.Plan
	in        Input
	tell      func(*engine.Transition) error
	engine    *engine.Engine
	sum       Summary
	said      []engine.Transition
	lots      []reading.Stay
	heads     []head
	begin     time.Time // monotonic time is reckoned from here
	last      reading.Stamp
	known     map[string]*seen
	unknown   map[string]bool
	computing computing
}

// seen is one point of the plan while playing.
type seen struct {
	place    int                    // in the plan of the engine
	models   func(*reading.Reading) // takes its readings; nil: no model looks at it
	spoke    bool                   // a reading that is not bad came
	computed bool                   // by a model, unless it was recorded
}

// head is the next reading of a source.
type head struct {
	from *ahead
	next *reading.Reading // nil at the end
}

// bootOfRehearsal is the number of the one boot that a rehearsal plays.
const bootOfRehearsal = 1

// Play plays the input and tells each transition in order. An error of tell or of a source ends it.
func Play(plan *check.Plan, in Input, tell func(*engine.Transition) error) (Summary, error) {
	p := &player{plan: plan, in: in, tell: tell, lots: slices.Clone(in.Lots), known: map[string]*seen{}, unknown: map[string]bool{},
		computing: computing{models: models.New(modelsOf(plan)), recorded: map[string]bool{}}}
	if len(in.Lots) > 0 {
		p.computing.models.Enters()
	}
	slices.SortStableFunc(p.lots, func(a, b reading.Stay) int { return a.Stamp.Wall.Compare(b.Stamp.Wall) })
	for i := range plan.Engine.Points {
		name := plan.Engine.Points[i].Name
		p.known[name] = &seen{place: i, models: p.computing.models.Observer(name)}
	}
	for i := range plan.Points {
		if point := p.known[plan.Points[i].Name]; point != nil {
			point.computed = plan.Points[i].How == check.Computed
		}
	}
	stop, running := make(chan struct{}), sync.WaitGroup{}
	defer running.Wait()
	defer close(stop)
	for _, s := range in.Readings {
		p.heads = append(p.heads, head{from: readAhead(s, stop, &running)})
	}
	for i := range p.heads {
		if err := p.fetch(&p.heads[i]); err != nil {
			return p.sum, err
		}
	}
	if any, err := p.start(); !any || err != nil {
		return p.sum, err
	}
	if err := p.play(); err != nil {
		return p.sum, err
	}
	return p.sum, p.finish()
}

// fetch reads the next reading that has a time and lies before the end.
func (p *player) fetch(h *head) error {
	for {
		r, err := h.from.next()
		if errors.Is(err, io.EOF) {
			h.next = nil
			return nil
		}
		if err != nil {
			return fmt.Errorf("rehearse: reading: %w", err)
		}
		switch {
		case !r.Stamp.Set:
			p.sum.Unset++
		case p.in.To.IsZero() || !r.Stamp.Wall.After(p.in.To):
			h.next = r
			return nil
		}
	}
}

func (p *player) play() error {
	for {
		h := p.earliest()
		if len(p.lots) > 0 && (h == nil || !p.lots[0].Stamp.Wall.After(h.next.Stamp.Wall)) {
			lot := p.lots[0]
			p.lots = p.lots[1:]
			if !p.in.To.IsZero() && lot.Stamp.Wall.After(p.in.To) {
				p.lots = nil
				continue
			}
			if err := p.load(&lot); err != nil {
				return err
			}
			continue
		}
		if h == nil {
			return nil
		}
		if err := p.observe(h.next); err != nil {
			return err
		}
		if err := p.fetch(h); err != nil {
			return err
		}
	}
}

func (p *player) earliest() *head {
	var first *head
	for i := range p.heads {
		h := &p.heads[i]
		if h.next != nil && (first == nil || h.next.Stamp.Wall.Before(first.next.Stamp.Wall)) {
			first = h
		}
	}
	return first
}

// stamp gives a recorded time its place in the rehearsal.
func (p *player) stamp(wall time.Time) reading.Stamp {
	return reading.Stamp{Wall: wall, Mono: wall.Sub(p.begin), Boot: bootOfRehearsal, Set: true}
}

// start begins at the first reading. A lot that came before stands there already, as after a restart: else every probe would be overdue from the day on
// which an early lot was loaded. Without readings it begins at the first lot. False: there is nothing to play.
func (p *player) start() (bool, error) {
	switch h := p.earliest(); {
	case h != nil:
		p.begin = h.next.Stamp.Wall
	case len(p.lots) > 0 && (p.in.To.IsZero() || !p.lots[0].Stamp.Wall.After(p.in.To)):
		p.begin = p.lots[0].Stamp.Wall
	default:
		return false, nil
	}
	p.sum.Begin, p.last = p.begin, p.stamp(p.begin)
	var err error
	if p.engine, err = engine.New(p.plan.Engine, nil, p.last); err != nil {
		return false, fmt.Errorf("rehearse: %w", err)
	}
	if came := p.standing(); len(came) > 0 {
		saved := p.engine.Save()
		saved.Moments = came
		if p.engine, err = engine.New(p.plan.Engine, saved, p.last); err != nil {
			return false, fmt.Errorf("rehearse: lots that stood before: %w", err)
		}
	}
	p.said = p.said[:0]
	p.compute(p.last)
	return true, p.pass()
}

func (p *player) observe(r *reading.Reading) error {
	at := p.stamp(r.Stamp.Wall)
	p.sum.Readings++
	point := p.known[r.Point]
	if point == nil {
		p.unknown[r.Point] = true
		return nil
	}
	point.spoke = point.spoke || r.Quality != reading.Bad
	if point.computed {
		p.computing.recorded[r.Point] = true
	}
	if err := p.reach(at); err != nil {
		return err
	}
	r.Stamp = at
	p.said = p.take(point, r, p.said[:0])
	return p.pass()
}

// take gives a reading to the engine, then to the models.
func (p *player) take(point *seen, r *reading.Reading, said []engine.Transition) []engine.Transition {
	said = p.engine.ObserveAt(point.place, r, said)
	if point.models != nil {
		point.models(r)
	}
	return said
}

// reach lets time go on to at, with the points that run with it.
func (p *player) reach(at reading.Stamp) error {
	if at.Mono <= p.last.Mono {
		return nil
	}
	if err := p.runModels(at); err != nil {
		return err
	}
	p.last = at
	return nil
}

// pass tells the transitions of the last step.
func (p *player) pass() error {
	for i := range p.said {
		t := &p.said[i]
		if t.At.Wall.Before(p.in.From) {
			continue
		}
		if t.NewOccurrence {
			p.sum.Occurrences++
		}
		if err := p.tell(t); err != nil {
			return err
		}
	}
	return nil
}

func (p *player) finish() error {
	end := p.last
	if to := p.in.To; to.After(end.Wall) {
		end.Wall, end.Mono = to, to.Sub(p.begin)
	}
	if err := p.reach(end); err != nil {
		return err
	}
	p.said = p.engine.Tick(end, p.said[:0])
	if err := p.pass(); err != nil {
		return err
	}
	p.sum.End = end.Wall
	for name := range p.unknown {
		p.sum.Unknown = append(p.sum.Unknown, name)
	}
	slices.Sort(p.sum.Unknown)
	p.sum.Unseen = p.unseen()
	return nil
}

// unseen are the points that conditions look at and that never spoke, in the order of the plan.
func (p *player) unseen() []string {
	looked := lookedAt(p.plan)
	var names []string
	for i := range p.plan.Engine.Points {
		point := &p.plan.Engine.Points[i]
		if looked[point.Name] && point.Formula == nil && !p.known[point.Name].spoke {
			names = append(names, point.Name)
		}
	}
	return names
}

// lookedAt are the points that some condition or derived point reads.
func lookedAt(plan *check.Plan) map[string]bool {
	looked := map[string]bool{}
	mark := func(names []string) {
		for _, name := range names {
			looked[name] = true
		}
	}
	for i := range plan.Engine.Alarms {
		a := &plan.Engine.Alarms[i]
		mark(a.When.Points())
		mark(a.While.Points())
		mark(a.SuppressedWhile.Points())
		mark(a.Due.Points())
	}
	for i := range plan.Engine.Points {
		mark(plan.Engine.Points[i].Formula.Points())
	}
	return looked
}
