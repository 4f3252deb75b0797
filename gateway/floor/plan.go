package floor

import (
	"cmp"

	"millwarden/gateway/web"
	"millwarden/rules/check"
)

// planned is the plan in force with the tables by which it is asked while running. It is not changed: a reload puts another in its place.
type planned struct {
	*check.Plan
	measured   map[string]bool           // points that a probe gives, of this board or of another
	foreign    map[string]bool           // points that come from another board
	entered    map[string]bool           // points that people read and enter
	ofLots     []check.Give              // points that people read of a lot, also those of other boards
	pointKnown map[string]bool           // points of the plan
	kinds      map[string]string         // kind of each station
	areas      map[string]string         // area of each station
	titles     map[string]string         // of points and alarms
	corrected  map[string]web.Correction // of points whose probe has an offset or a slope
}

func planOf(plan *check.Plan) *planned {
	p := &planned{Plan: plan, measured: map[string]bool{}, foreign: map[string]bool{}, entered: map[string]bool{}, pointKnown: map[string]bool{}, kinds: map[string]string{}, areas: map[string]string{}, titles: map[string]string{}, corrected: map[string]web.Correction{}}
	for _, st := range plan.Stations {
		p.kinds[st.Name], p.areas[st.Name] = st.Kind, st.Area
	}
	for _, point := range plan.Points {
		p.pointKnown[point.Name], p.titles[point.Name] = true, point.Title
		p.measured[point.Name] = point.How == check.Measured || point.How == check.Remote
		p.foreign[point.Name] = point.How == check.Remote
	}
	for _, b := range plan.Boards {
		for _, point := range plan.Points {
			if point.Station == b.Name && point.Short != "heard" && point.Short != "same-rules" { // those are the hub's word
				p.foreign[point.Name] = true
			}
		}
	}
	for _, a := range plan.Engine.Alarms {
		p.titles[a.ID] = a.Title
	}
	for i := range plan.Probes {
		for _, g := range plan.Probes[i].Gives {
			byHand := plan.Probes[i].Part == check.ByHand
			p.entered[g.Point] = byHand && !plan.Probes[i].Remote
			if byHand && p.pointKnown[g.Station+"/loaded"] {
				p.ofLots = append(p.ofLots, g)
			}
		}
		c := web.Correction{Slope: cmp.Or(plan.Probes[i].Slope, 1)}
		if offset := plan.Probes[i].Offset; offset != nil {
			c.Offset = offset.Value
		}
		if c == (web.Correction{Slope: 1}) {
			continue
		}
		for _, g := range plan.Probes[i].Gives {
			p.corrected[g.Point] = c
		}
	}
	return p
}

// plan is the one in force. Who asks more than one thing of it asks once and keeps it.
func (f *Floor) plan() *planned { return f.current.Load() }
