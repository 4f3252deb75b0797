package rehearse

import (
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

// stayPoints say for how long a lot has stood at a station; by the same names a running gateway gives them.
var stayPoints = []string{"soak-time", "drying-time", "stored-time"}

// stays is which lot stands where while playing.
type stays struct {
	entered bool                     // a site that never enters lots has none: then `while loaded` is unknown, and its gate stays open
	since   map[string]time.Duration // when the lot came, by station
	clocks  []stayClock              // points that some rule looks at
}

// stayClock is one point that runs with a stay.
type stayClock struct{ station, point string }

// standing takes the acts that came before the beginning, and gives their moments.
func (p *player) standing() []engine.SavedMoment {
	var came []engine.SavedMoment
	at := map[string]int{}
	for len(p.lots) > 0 && p.lots[0].Stamp.Wall.Before(p.begin) {
		lot := p.lots[0]
		p.lots = p.lots[1:]
		p.sum.Stays++
		mono := lot.Stamp.Wall.Sub(p.begin)
		name := p.change(&lot, mono)
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
func (p *player) change(s *reading.Stay, mono time.Duration) string {
	if s.Empty {
		delete(p.stays.since, s.Station)
		return s.Station + "/emptied"
	}
	p.stays.since[s.Station] = mono
	return s.Station + "/loaded"
}

func (p *player) beginStays(at reading.Stamp) {
	if !p.stays.entered {
		return
	}
	looked := lookedAt(p.plan)
	for _, st := range p.plan.Stations {
		for _, name := range stayPoints {
			if point := st.Name + "/" + name; p.known[point] != nil && looked[point] {
				p.stays.clocks = append(p.stays.clocks, stayClock{st.Name, point})
			}
		}
		p.said = p.sayLoaded(st.Name, at, p.said)
	}
	p.said = p.sayTimes(at, "", p.said)
}

// load begins or ends a stay: the moment first, then the points, as in a running gateway.
func (p *player) load(s *reading.Stay) error {
	at := p.stamp(s.Stamp.Wall)
	if err := p.reach(at); err != nil {
		return err
	}
	p.sum.Stays++
	p.said = p.engine.Moment(p.change(s, at.Mono), at, p.said[:0])
	p.said = p.sayLoaded(s.Station, at, p.said)
	p.said = p.sayTimes(at, s.Station, p.said)
	return p.pass()
}

// runStays gives the running points their value at each whole second up to at, as a running gateway does.
func (p *player) runStays(at reading.Stamp) error {
	if len(p.stays.since) == 0 || len(p.stays.clocks) == 0 {
		return nil
	}
	for mono := p.last.Mono.Truncate(time.Second) + time.Second; mono < at.Mono; mono += time.Second {
		now := reading.Stamp{Wall: p.begin.Add(mono), Mono: mono, Boot: bootOfRehearsal, Set: true}
		p.said = p.sayTimes(now, "", p.said[:0])
		if err := p.pass(); err != nil {
			return err
		}
	}
	return nil
}

// sayLoaded observes whether a lot stands on a station.
func (p *player) sayLoaded(station string, at reading.Stamp, out []engine.Transition) []engine.Transition {
	_, loaded := p.stays.since[station]
	for _, yes := range []struct {
		name string
		is   bool
	}{{"loaded", loaded}, {"empty", !loaded}} {
		point := p.known[station+"/"+yes.name]
		if point == nil {
			continue
		}
		point.spoke = true
		r := reading.Reading{Point: station + "/" + yes.name, Quantity: units.YesNo, Stamp: at}
		if yes.is {
			r.Value = 1
		}
		out = p.engine.Observe(&r, out)
	}
	return out
}

// sayTimes observes the running points of a station ("": of all) that is loaded.
func (p *player) sayTimes(at reading.Stamp, station string, out []engine.Transition) []engine.Transition {
	for _, c := range p.stays.clocks {
		since, loaded := p.stays.since[c.station]
		if !loaded || station != "" && c.station != station {
			continue
		}
		p.known[c.point].spoke = true
		r := reading.Reading{Point: c.point, Quantity: units.Duration, Stamp: at, Value: (at.Mono - since).Seconds()}
		out = p.engine.Observe(&r, out)
	}
	return out
}
