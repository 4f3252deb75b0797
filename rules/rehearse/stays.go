package rehearse

import (
	"maps"
	"math"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/models"
)

// computing works out the computed points of the stations beside the engine, as a running gateway does: each second at most, from the readings before it.
type computing struct {
	models   *models.Models
	recorded map[string]bool // points that come from the recording: they are played as they were
	points   []reading.Reading
	marks    []models.Mark
}

// modelsOf are the models of a plan, for the points that some rule looks at; the others would be worked out for nobody.
func modelsOf(plan *check.Plan) models.Config {
	c, looked := models.Of(plan), lookedAt(plan)
	for _, s := range c.Stations {
		maps.DeleteFunc(s.Computed, func(name string, _ units.Quantity) bool { return !looked[s.Name+"/"+name] })
	}
	return c
}

// tickEvery is how often a running gateway lets the models work.
const tickEvery = time.Second

// standing takes the acts that came before the beginning, and gives their moments.
func (p *player) standing() []engine.SavedMoment {
	var came []engine.SavedMoment
	at := map[string]int{}
	for len(p.lots) > 0 && p.lots[0].Stamp.Wall.Before(p.begin) {
		lot := p.lots[0]
		p.lots = p.lots[1:]
		p.sum.Stays++
		mono := lot.Stamp.Wall.Sub(p.begin)
		name := p.change(&lot, p.stamp(lot.Stamp.Wall))
		i, known := at[name]
		if !known {
			i = len(came)
			at[name] = i
			came = append(came, engine.SavedMoment{Name: name})
		}
		came[i].Times = append(came[i].Times, mono)
	}
	return came
}

// change begins or ends a stay and gives the name of its moment.
func (p *player) change(s *reading.Stay, at reading.Stamp) string {
	if s.Empty {
		p.computing.models.Empty(s.Station, at)
		return s.Station + "/emptied"
	}
	p.computing.models.Load(s.Station, s.Lot, at, at)
	return s.Station + "/loaded"
}

// load begins or ends a stay: the moment first, then the points, as in a running gateway.
func (p *player) load(s *reading.Stay) error {
	at := p.stamp(s.Stamp.Wall)
	if err := p.reach(at); err != nil {
		return err
	}
	p.sum.Stays++
	p.said = p.engine.Moment(p.change(s, at), at, p.said[:0])
	p.compute(at)
	return p.pass()
}

// runModels lets the models work at each whole second up to at, but for that of at itself: what comes then is known first.
func (p *player) runModels(at reading.Stamp) error {
	for mono := p.last.Mono.Truncate(tickEvery) + tickEvery; mono < at.Mono; {
		next := p.computing.models.Next()
		if next >= at.Mono {
			return nil
		}
		if next > mono {
			mono += (next - mono + tickEvery - 1).Truncate(tickEvery)
			continue
		}
		p.said = p.said[:0]
		p.compute(reading.Stamp{Wall: p.begin.Add(mono), Mono: mono, Boot: bootOfRehearsal, Set: true})
		if err := p.pass(); err != nil {
			return err
		}
		mono += tickEvery
	}
	return nil
}

// compute passes what the models say now to the engine, and back to them, as far as the recording does not have it.
func (p *player) compute(at reading.Stamp) {
	c := &p.computing
	c.marks = c.models.Marks(c.marks[:0])
	for i := range c.marks {
		p.said = p.engine.Moment(c.marks[i].Name, c.marks[i].At, p.said)
	}
	c.points = c.models.Tick(at, c.points[:0])
	for i := range c.points {
		r := &c.points[i]
		point := p.known[r.Point]
		if point == nil || c.recorded[r.Point] {
			continue
		}
		point.spoke = point.spoke || !math.IsNaN(r.Value)
		p.said = p.take(point, r, p.said)
	}
}
