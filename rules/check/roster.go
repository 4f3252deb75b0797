package check

import (
	"fmt"
	"slices"
	"strings"

	"millwarden/rules/engine"
)

const weekMinutes = 7 * 24 * 60

// cover is one bit a minute of the week, Sunday 00:00 first.
type cover [weekMinutes]bool

// add takes in hours; over midnight they belong to the day on which they begin.
func (v *cover) add(s engine.Span) {
	length := s.To - s.From
	if length <= 0 {
		length += 24 * 60
	}
	for day, on := range s.Days {
		for i := 0; on && i < length; i++ {
			v[(day*24*60+s.From+i)%weekMinutes] = true
		}
	}
}

// taker is what decides who is called: the priority and area of an alarm, or whom it names.
type taker struct {
	priority engine.Priority
	area     string
	call     string
}

// checkRoster says when nobody is called: an error for priority high, a warning for others.
func (c *checker) checkRoster() {
	if len(c.plan.Watches) == 0 || len(c.plan.People) == 0 || c.plan.Site.Hub != "" || c.noHours {
		return
	}
	seen := map[taker]bool{}
	said := map[string]bool{}
	for _, priority := range []engine.Priority{engine.High, engine.Medium, engine.Low} {
		for _, a := range c.alarmList {
			for i := range a.made {
				e := &a.made[i]
				k := taker{e.Priority, e.Area, strings.Join(e.Call, ",")}
				if e.Kind != engine.KindAlarm || e.Priority != priority || seen[k] {
					continue
				}
				seen[k] = true
				c.hole(e, said)
			}
		}
	}
}

func (c *checker) hole(e *engine.Alarm, said map[string]bool) {
	var covered cover
	for _, name := range e.Call {
		if c.people[name] != nil {
			return // a person is called at any hour
		}
	}
	nearest := ""
	for _, w := range c.plan.Watches {
		named := slices.Contains(e.Call, w.Name)
		takes := slices.Contains(w.Takes, e.Priority) && (len(w.Areas) == 0 || slices.Contains(w.Areas, e.Area))
		if !named && (len(e.Call) > 0 || w.OnlyWhenNamed || !takes) {
			continue
		}
		if nearest == "" {
			nearest = w.Name
		}
		for _, h := range w.Hours {
			covered.add(h)
		}
	}
	when := covered.holes()
	if when == "" {
		return
	}
	if nearest == "" {
		nearest = c.plan.Watches[0].Name
	}
	number, key := "W9", "W9 "+when
	if e.Priority == engine.High {
		number, key = "72", "72 "+when
	}
	if said[key] {
		return
	}
	said[key] = true
	c.say(number, c.watches[nearest].Name.Where(), facts{"when": when, "alarm": e.Name, "priority": e.Priority.String(), "near-watch": nearest})
}

// holes writes the hours that are not covered: "08:00-18:00 every day".
func (v *cover) holes() string {
	byDay := [7]string{}
	for day := range 7 {
		byDay[day] = v.holesOf(day)
	}
	if !slices.ContainsFunc(byDay[:], func(s string) bool { return s != "" }) {
		return ""
	}
	if every := byDay[0]; every != "" && !slices.ContainsFunc(byDay[:], func(s string) bool { return s != every }) {
		return every + " every day"
	}
	var parts []string
	for i := range 7 {
		day := (i + 1) % 7 // weeks are read from Monday
		if byDay[day] != "" {
			parts = append(parts, byDay[day]+" "+weekdays[day])
		}
	}
	return strings.Join(parts, ", ")
}

// holesOf writes the holes that begin on one day; one that runs over midnight is written once.
func (v *cover) holesOf(day int) string {
	var parts []string
	for m := 0; m < 24*60; m++ {
		at := day*24*60 + m
		if v[at] || !v[(at+weekMinutes-1)%weekMinutes] && m > 0 {
			continue
		}
		if m == 0 && !v[(at+weekMinutes-1)%weekMinutes] && v.any() {
			continue // it began the day before
		}
		length := 1
		for length < weekMinutes && !v[(at+length)%weekMinutes] {
			length++
		}
		to := (m + length) % (24 * 60)
		if length >= 24*60 {
			parts = append(parts, "00:00-24:00")
			continue
		}
		if to == 0 {
			to = 24 * 60
		}
		parts = append(parts, fmt.Sprintf("%02d:%02d-%02d:%02d", m/60, m%60, to/60, to%60))
	}
	return strings.Join(parts, ", ")
}

func (v *cover) any() bool { return slices.Contains(v[:], true) }
