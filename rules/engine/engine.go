package engine

import (
	"fmt"
	"time"

	"millwarden/internal/reading"
)

// Engine decides on one plan. All its methods belong to one goroutine.
type Engine struct{ m *machine }

// New makes an engine for a plan, with the state saved before, if any. It fails only on a plan that rules.Load would have refused, or on a state that
// another version saved.
func New(p Plan, saved *Saved, now reading.Stamp) (*Engine, error) {
	m, err := newMachine(p, now)
	if err != nil {
		return nil, err
	}
	if saved != nil && saved.Version != savedVersion {
		return nil, fmt.Errorf("engine: taking over the saved state: it is of version %d, this program reads %d", saved.Version, savedVersion)
	}
	if saved != nil {
		m.restore(saved, "")
	}
	return &Engine{m}, nil
}

// Observe takes one reading and appends the transitions that follow to out. Without a transition it allocates nothing.
func (e *Engine) Observe(r *reading.Reading, out []Transition) []Transition {
	return e.m.observe(r, out)
}

// ObserveAt is Observe for who knows the place of the reading's point in Plan.Points.
func (e *Engine) ObserveAt(place int, r *reading.Reading, out []Transition) []Transition {
	return e.m.observeAt(int32(place), r, out)
}

// Tick does what time alone brings: delays, overdue points, windows and hours, each at its own instant, however late or often Tick comes.
func (e *Engine) Tick(now reading.Stamp, out []Transition) []Transition { return e.m.advance(now, out) }

// Next is the monotonic time at which Tick has something to do, or somewhat earlier; false while nothing runs.
func (e *Engine) Next() (mono time.Duration, ok bool) { return e.m.nextDue() }

// Act does what a person asks, or returns a *Refusal. Transitions that time brought before come first, also with a refusal.
func (e *Engine) Act(a Act, out []Transition) ([]Transition, error) { return e.m.act(a, out) }

// Rest lets a point owe no reading while nothing is there to be read: what stood is forgotten, and it is never overdue. Once it owes one again it has its
// whole time for it; what was read meanwhile stands on, unless it is too old.
func (e *Engine) Rest(point string, rests bool, now reading.Stamp, out []Transition) []Transition {
	return e.m.rest(point, rests, now, out)
}

// Moment marks a moment, "tank-1/loaded".
func (e *Engine) Moment(name string, at reading.Stamp, out []Transition) []Transition {
	return e.m.moment(name, at, out)
}

// Standings appends how every alarm, prompt and event stands, in the order of the plan.
func (e *Engine) Standings(dst []Standing) []Standing { return e.m.standings(dst) }

// Look tells how a point stands; false if the plan has no such point.
func (e *Engine) Look(point string) (PointState, bool) { return e.m.look(point) }

// Value is the standing value of a point in its base unit; false while it is unknown.
func (e *Engine) Value(point string) (float64, bool) {
	state, _ := e.m.look(point)
	return state.Value, state.Known
}

// Verify gives the present values of the evidence of an alarm; a text stands as Shown.Text alone.
func (e *Engine) Verify(alarm string) []Shown { return e.m.verify(alarm) }

// Derived appends the newest reading of each derived point that was worked out since the last call, for history and page.
func (e *Engine) Derived(dst []reading.Reading) []reading.Reading { return e.m.takeDerived(dst) }

// Save gives the whole state but for the windows, which Fill restores from the history.
func (e *Engine) Save() *Saved { return e.m.save() }

// Fill feeds an old reading of the history to the windows, in order of time, after New and before the first Observe or Tick. It decides nothing.
func (e *Engine) Fill(r *reading.Reading) { e.m.fill(r) }

// Listen says that nobody listened to the points until now: after a restart what was not heard meanwhile is no silence of theirs, which counts from
// here. Points that were overdue before stay so.
func (e *Engine) Listen(now reading.Stamp) { e.m.listen(now.Mono) }

// Reach is how far back the windows on a point look: so much of the history is worth to Fill. 0: none.
func (e *Engine) Reach(point string) time.Duration { return e.m.reach(point) }

// Reload goes over to another plan: alarms keep their state by ID (or by the one they were formerly), points by name. by made the change. On an
// error the old plan stays in force.
func (e *Engine) Reload(p Plan, now reading.Stamp, by string, out []Transition) ([]Transition, error) {
	return e.reload(p, now, by, out)
}
