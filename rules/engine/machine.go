package engine

import (
	"time"

	"millwarden/internal/reading"
)

type machine struct{ plan Plan }

func newMachine(p Plan, now reading.Stamp) (*machine, error)                 { return &machine{plan: p}, nil }
func (m *machine) restore(s *Saved)                                          {}
func (m *machine) observe(r *reading.Reading, out []Transition) []Transition { return out }
func (m *machine) advance(to reading.Stamp, out []Transition) []Transition   { return out }
func (m *machine) nextDue() (time.Duration, bool)                            { return 0, false }
func (m *machine) act(a Act, out []Transition) ([]Transition, error)         { return out, nil }
func (m *machine) moment(name string, at reading.Stamp, out []Transition) []Transition {
	return out
}
func (m *machine) standings(dst []Standing) []Standing                 { return dst }
func (m *machine) look(point string) (PointState, bool)                { return PointState{}, false }
func (m *machine) verify(alarm string) []Shown                         { return nil }
func (m *machine) takeDerived(dst []reading.Reading) []reading.Reading { return dst }
func (m *machine) save() *Saved                                        { return &Saved{} }
func (m *machine) fill(r *reading.Reading)                             {}
func (m *machine) reach(point string) time.Duration                    { return 0 }
func (e *Engine) reload(p Plan, now reading.Stamp, by string, out []Transition) ([]Transition, error) {
	return out, nil
}
