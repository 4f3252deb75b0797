package check

import (
	"slices"
	"time"

	"millwarden/internal/slab"
	"millwarden/rules/engine"
	"millwarden/rules/formula"
)

// assemble writes the plan from what was found.
func (c *checker) assemble() {
	p := c.plan
	for _, s := range c.order {
		st := Station{Name: s.name, Title: s.title(), Kind: s.kindName(), Area: s.area, Settings: s.settings}
		if s.block != nil {
			st.Note, st.Remote = text(s.block, "note"), s.board != ""
			if l := line(s.block, "formerly"); l != nil {
				st.Formerly = valueWord(l)
			}
		}
		p.Stations = append(p.Stations, st)
	}
	for i := range p.Boards {
		if at := c.stations[p.Boards[i].Name]; at != nil {
			if line, ok := at.settings.Find("silent-after"); ok && len(line.Slots) > 0 {
				p.Boards[i].SilentAfter = time.Duration(line.Slots[0].Amount.Value * float64(time.Second))
			}
		}
	}
	for _, pr := range c.probeList {
		p.Probes = append(p.Probes, pr.plan)
	}
	for _, l := range c.limitList {
		p.Limits = append(p.Limits, l.plan()...)
	}
	for _, b := range c.of("words") {
		p.Words = append(p.Words, Words{Language: b.Name.Word(), Alarm: b.Kind.Word(), Title: text(b, "title"), Cause: text(b, "cause"),
			Consequence: text(b, "consequence"), Action: text(b, "action"), Caution: text(b, "caution"), Say: text(b, "say")})
	}
	c.assemblePoints()
	c.assembleEngine()
	c.pointLimits()
}

func (c *checker) assemblePoints() {
	c.plan.Points = make([]Point, 0, len(c.pointList))
	c.plan.Engine.Points = make([]engine.Point, 0, len(c.pointList))
	for _, pt := range c.pointList {
		if pt.gone {
			continue
		}
		out := Point{Name: pt.full, Short: pt.short, Station: pt.owner, Title: pointTitle(pt), Quantity: pt.quantity, How: pt.how, Range: pt.rng, From: pt.from,
			Keep: pt.keep}
		if pt.station != nil {
			out.Area = pt.station.area
			out.Formerly = formerName(pt)
		}
		if pt.probe != nil {
			out.Probe = pt.probe.name
		}
		c.plan.Points = append(c.plan.Points, out)
		e := engine.Point{Name: pt.full, Quantity: pt.quantity, Formula: pt.formula, Every: pt.every}
		if pt.probe != nil {
			e.OverdueAfter = pt.probe.plan.OverdueAfter
		}
		c.plan.Engine.Points = append(c.plan.Engine.Points, e)
	}
}

// formerName is the full name under which a point's history was kept before it, or its station, was renamed.
func formerName(p *point) string {
	station := ""
	if p.station.block != nil {
		if l := line(p.station.block, "formerly"); l != nil {
			station = valueWord(l)
		}
	}
	switch {
	case station != "" && p.formerly != "":
		return station + "/" + p.formerly
	case station != "":
		return station + "/" + p.short
	case p.formerly != "":
		return p.station.name + "/" + p.formerly
	}
	return ""
}

func (c *checker) assembleEngine() {
	e := &c.plan.Engine
	e.Zone, e.Night = c.plan.Site.Zone, c.plan.Site.Night
	for _, w := range c.plan.Watches {
		if w.Present {
			e.Present = append(e.Present, w.Hours...)
		}
	}
}

// pointLimits notes at each point what alarms compare it with, so that the page can draw it.
func (c *checker) pointLimits() {
	index := make(map[string]int, len(c.plan.Points))
	for i := range c.plan.Points {
		index[c.plan.Points[i].Name] = i
	}
	type found struct {
		at, alarm int           // of the points, of the alarms
		limit     *formula.Node // nil: the critical one
		above     bool
	}
	alarms := c.plan.Engine.Alarms
	all, count := make([]found, 0, 2*len(alarms)), make([]int, len(c.plan.Points))
	for i := range alarms {
		a := &alarms[i]
		if a.Kind == engine.KindEvent {
			continue
		}
		first := len(all)
		a.When.Walk(func(n *formula.Node) {
			if n.Op < formula.Less || n.Op > formula.GreaterEq {
				return
			}
			measured, limit, above := n.Args[0], n.Args[1], n.Op == formula.Greater || n.Op == formula.GreaterEq
			if measured.Op == formula.Const {
				measured, limit, above = limit, measured, !above
			}
			if at, known := index[comparedPoint(measured)]; known && limit.Op == formula.Const {
				all = append(all, found{at, i, limit, above})
				count[at]++
			}
		})
		if a.CriticalLimit != nil && len(all) > first {
			all = append(all, found{at: all[first].at, alarm: i, above: all[first].above})
			count[all[first].at]++
		}
	}
	var room slab.Of[PointLimit]
	for i, n := range count {
		if n > 0 {
			c.plan.Points[i].Limits = room.Take(n)[:0]
		}
	}
	for _, f := range all {
		p, a := &c.plan.Points[f.at], &alarms[f.alarm]
		pl := PointLimit{Alarm: a.ID, Kind: a.Kind, Priority: a.Priority, Above: f.above}
		if f.limit == nil {
			pl.Value, pl.Critical = a.CriticalLimit.Value, true
		} else {
			pl.Value = f.limit.Value
			if c.limits[f.limit.Text] != nil {
				pl.Limit = f.limit.Text
			}
		}
		p.Limits = append(p.Limits, pl)
	}
}

// comparedPoint is the point itself, or the one whose mean or extreme over a time is compared: what a line on its bar can show.
func comparedPoint(n *formula.Node) string {
	switch n.Op {
	case formula.Point:
		return n.Ref
	case formula.Mean, formula.Highest, formula.Lowest:
		if len(n.Args) == 1 && n.Ago == 0 {
			return n.Args[0].Ref
		}
	}
	return ""
}

// Point finds a point of the plan by its full name.
func (p *Plan) Point(name string) (*Point, bool) {
	i := slices.IndexFunc(p.Points, func(q Point) bool { return q.Name == name })
	if i < 0 {
		return nil, false
	}
	return &p.Points[i], true
}

// LongestWindow is how far back the conditions look: so much of the history must be kept whole.
func (p *Plan) LongestWindow() time.Duration {
	longest := time.Duration(0)
	see := func(n *formula.Node) {
		n.Walk(func(m *formula.Node) { longest = max(longest, m.Over+m.Ago) })
	}
	for i := range p.Engine.Alarms {
		a := &p.Engine.Alarms[i]
		see(a.When)
		see(a.While)
		see(a.SuppressedWhile)
		see(a.Due)
	}
	for i := range p.Engine.Points {
		see(p.Engine.Points[i].Formula)
	}
	return longest
}
