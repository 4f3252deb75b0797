package check

import (
	"millwarden/internal/diag"
	"millwarden/rules/engine"
)

// checkUnused says what stands for nothing: limits, points, stations; and what nobody would miss until it is too late.
func (c *checker) checkUnused() {
	for _, l := range c.limitList {
		c.checkUsed(l)
	}
	for _, s := range c.order {
		if s.block == nil || !s.ours() || s.kind == nil || s.kind.Name == "board" {
			continue
		}
		watched := false
		for _, p := range s.points {
			watched = watched || p.how == Measured || p.how == Remote || p.how == Derived
		}
		if !watched {
			c.say("W6", s.Name.Where(), facts{"station": s.name})
		}
	}
	c.unusedPoints()
	c.peopleOutOfReach()
	if c.plan.Watcher == nil && c.site != nil && c.plan.Site.Hub == "" {
		c.say("W10", c.site.Name.Where(), nil)
	}
	c.manyHigh()
}

// unusedPoints is W7.
func (c *checker) unusedPoints() {
	for _, p := range c.pointList {
		if p.how != Measured || p.used.Load() || p.probe == nil || !p.probe.ours() || p.station.kind == nil || p.probe.Has("note") {
			continue
		}
		if _, known := p.station.kind.Point(p.short); !known {
			c.say("W7", diag.Range{Position: p.at, Width: len([]rune(p.short))}, facts{"point": p.full})
		}
	}
}

// peopleOutOfReach is W8: persons that no channel reaches.
func (c *checker) peopleOutOfReach() {
	if c.plan.Site.Hub != "" {
		return // the hub calls people
	}
	for _, p := range c.plan.People {
		reached := false
		for _, ch := range c.plan.Channels {
			need := needsOf[ch.Kind]
			reached = reached || need == "" && ch.Kind != "siren" || need == "phone" && p.Phone != "" || need == "mail" && p.Mail != ""
		}
		if b := c.people[p.Name]; !reached {
			c.say("W8", b.Name.Where(), facts{"person": p.Name})
		}
	}
}

// Of a hundred alarms about five should have priority high (the share that reference works on alarm design give); the warning comes at
// four times that, and not for a handful of alarms.
const (
	manyHighShare = 0.2
	fewAlarms     = 20
)

func (c *checker) manyHigh() {
	high, all := 0, 0
	for _, a := range c.alarmList {
		for i := range a.made {
			e := &a.made[i]
			if e.Kind == engine.KindAlarm {
				all++
				if e.Priority == engine.High {
					high++
				}
			}
		}
	}
	if all >= fewAlarms && float64(high) > manyHighShare*float64(all) && c.site != nil {
		c.say("W11", c.site.Name.Where(), facts{"n": trimmed(float64(high)), "m": trimmed(float64(all))})
	}
}
