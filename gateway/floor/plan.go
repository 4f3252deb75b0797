package floor

import "millwarden/rules/check"

// planned is the plan in force with the tables by which it is asked while running. It is not changed: a reload puts another in its place.
type planned struct {
	*check.Plan
	measured   map[string]bool   // points that a probe gives
	pointKnown map[string]bool   // points of the plan
	kinds      map[string]string // kind of each station
	areas      map[string]string // area of each station
	titles     map[string]string // of points and alarms
}

func planOf(plan *check.Plan) *planned {
	p := &planned{Plan: plan, measured: map[string]bool{}, pointKnown: map[string]bool{}, kinds: map[string]string{}, areas: map[string]string{}, titles: map[string]string{}}
	for _, st := range plan.Stations {
		p.kinds[st.Name], p.areas[st.Name] = st.Kind, st.Area
	}
	for _, point := range plan.Points {
		p.pointKnown[point.Name], p.titles[point.Name] = true, point.Title
		p.measured[point.Name] = point.How == check.Measured
	}
	for _, a := range plan.Engine.Alarms {
		p.titles[a.ID] = a.Title
	}
	return p
}

// plan is the one in force. Who asks more than one thing of it asks once and keeps it.
func (f *Floor) plan() *planned { return f.current.Load() }
