package web

import "slices"

// frame turns the snapshot into what is sent.
func (s *Snapshot) frame(plan *wirePlan) frame {
	p := printer{now: s.Now, choice: s.Site.Show}
	f := frame{Now: never0(s.Now.Mono.Milliseconds()), Wall: s.Now.Wall.UnixMilli(), Set: s.Now.Set, Stopping: s.Stopping, Plan: plan,
		Stations: s.stations(p), Values: make(map[string]value, len(s.Points)), Roster: s.roster(p)}
	for i := range s.Points {
		f.Values[s.Points[i].Name] = p.value(&s.Points[i])
	}
	alarms := make([]wireAlarm, 0, len(s.Alarms))
	for i := range s.Alarms {
		alarms = append(alarms, p.alarm(&s.Alarms[i]))
	}
	f.Alarms = &alarms
	prompts := make([]wirePrompt, 0, len(s.Prompts))
	for i := range s.Prompts {
		prompts = append(prompts, p.prompt(&s.Prompts[i]))
	}
	f.Prompts = &prompts
	links := make([]wireLink, 0, len(s.Links))
	for _, k := range s.Links {
		links = append(links, wireLink{k.Kind, k.Name, k.Title, k.Set, k.Works, k.Cause, p.at(k.Since), k.Waiting, k.Step.Milliseconds()})
	}
	f.Links = &links
	return f
}

func (s *Snapshot) stations(p printer) []wireStation {
	out := make([]wireStation, 0, len(s.Stations))
	for _, st := range s.Stations {
		out = append(out, wireStation{st.Name, st.Title, st.Kind, st.Area, st.Loaded, st.Lot, p.at(st.Since), number(st.Kilograms)})
	}
	slices.SortStableFunc(out, func(a, b wireStation) int { return stepOf(a.Kind) - stepOf(b.Kind) })
	return out
}

func (s *Snapshot) roster(p printer) *wireRoster {
	return &wireRoster{Watches: notNil(s.Roster.Watches), OnWatch: notNil(s.Roster.OnWatch), Until: p.at(s.Roster.Until),
		Drill: p.at(s.Drill.At), DrillBy: s.Drill.By}
}

// notNil copies, so that the moment does not change when the Model reuses the slice.
func notNil(in []string) []string { return append(make([]string, 0, len(in)), in...) }

// coffeeOrder is the way of the coffee through the mill. Kinds it does not name come last.
var coffeeOrder = []string{"tank", "deck", "dryer", "bin", "huller", "roaster", "store", "room", "yard"}

func stepOf(kind string) int {
	if i := slices.Index(coffeeOrder, kind); i >= 0 {
		return i
	}
	return len(coffeeOrder)
}
