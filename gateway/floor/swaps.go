package floor

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
	"millwarden/rules/check"
)

// Holidays and swaps: who is called in whose place, for a while. The logbook is what holds; all else is folded from it, at the start and after each act.

// swapData is what the logbook keeps of one.
type swapData struct {
	Away      []string  `json:"away,omitempty"` // names of the rules file
	Crew      bool      `json:"crew,omitempty"` // all of the crew, as it was then
	Stands    string    `json:"stands,omitempty"`
	From      time.Time `json:"from,omitzero"`
	To        time.Time `json:"to,omitzero"`
	Corrects  int64     `json:"corrects,omitempty"` // the entry that this one takes the place of
	Withdrawn bool      `json:"withdrawn,omitempty"`
}

// swap is one that was not corrected since.
type swap struct {
	swapData
	entry logbook.Entry
}

// swaps are those in force and to come, oldest entry first.
type swaps struct {
	acting sync.Mutex // one act at a time: each looks at those before it

	mu   sync.Mutex // guards list
	list []swap
}

// Bounds. Chosen: a season away, and more entries than a mill writes in its life.
const (
	longestSwap = 184 * 24 * time.Hour
	mostSwaps   = 10000
	turnsAhead  = 24 * time.Hour
)

// recallSwaps folds the swaps from the record.
func (f *Floor) recallSwaps(ctx context.Context) ([]swap, error) {
	entries, err := f.logbook.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.Roster}, Limit: mostSwaps, Newest: true})
	if err != nil {
		return nil, err
	}
	var list []swap
	slices.Reverse(entries)
	for i := range entries {
		s := swap{entry: entries[i]}
		if err := json.Unmarshal(entries[i].Data, &s.swapData); err != nil {
			f.log.Warn("an entry about the roster cannot be read", "entry", entries[i].ID, "cause", err)
			continue
		}
		list = slices.DeleteFunc(list, func(old swap) bool { return old.entry.ID == s.Corrects })
		if !s.Withdrawn {
			list = append(list, s)
		}
	}
	return list, nil
}

// takeSwaps keeps what is not over yet, for the page and for the callout.
func (f *Floor) takeSwaps(list []swap, now reading.Stamp) []callout.Swap {
	list = slices.DeleteFunc(slices.Clone(list), func(s swap) bool { return now.Set && !now.Wall.Before(s.To) })
	f.swaps.mu.Lock()
	f.swaps.list = list
	f.swaps.mu.Unlock()
	return f.calloutSwaps()
}

func (f *Floor) calloutSwaps() []callout.Swap {
	f.swaps.mu.Lock()
	defer f.swaps.mu.Unlock()
	out := make([]callout.Swap, 0, len(f.swaps.list))
	for i := range f.swaps.list {
		s := &f.swaps.list[i]
		out = append(out, callout.Swap{Away: s.Away, Stands: s.Stands, From: s.From, To: s.To})
	}
	return out
}

// rosterOf is the roster of a plan with the swaps.
func (f *Floor) rosterOf(plan *check.Plan) callout.Roster {
	r := RosterOf(plan)
	r.Swaps = f.calloutSwaps()
	return r
}

// Coming tells the swaps in force and to come, and who is called in the next 24 hours.
func (b books) Coming() web.Coming {
	f, now := b.f, b.f.clock.Now()
	c := web.Coming{Swaps: []web.Swap{}, Turns: []web.Turn{}}
	f.swaps.mu.Lock()
	list := slices.Clone(f.swaps.list)
	f.swaps.mu.Unlock()
	for i := range list {
		s := &list[i]
		if now.Set && !now.Wall.Before(s.To) {
			continue
		}
		shown := web.Swap{ID: s.entry.ID, Away: f.titles(s.Away), Names: append([]string{}, s.Away...), Name: s.Stands, Crew: s.Crew, Stands: f.personTitle(s.Stands), From: s.From.UnixMilli(), To: s.To.UnixMilli(),
			InForce: now.Set && !now.Wall.Before(s.From), Who: f.personTitle(s.entry.Who), Why: s.entry.Why, At: s.entry.At.Wall.UnixMilli(), Corrects: s.Corrects}
		c.Swaps = append(c.Swaps, shown)
	}
	if !now.Set {
		return c // every watch is on duty
	}
	plan, titles := f.plan().Plan, map[string]string{}
	for _, w := range plan.Watches {
		titles[w.Name] = w.Title
	}
	ends := now.Wall.Add(turnsAhead)
	for _, t := range f.rosterOf(plan).Turns(now.Wall, ends) {
		turn := web.Turn{Person: f.personTitle(t.Person), Watch: titles[t.Watch], From: t.From.UnixMilli(), After: t.After.Milliseconds(),
			By: append([]string{}, t.By...), For: f.personTitle(t.For)}
		if t.To.Before(ends) {
			turn.To = t.To.UnixMilli()
		}
		c.Turns = append(c.Turns, turn)
	}
	return c
}

func (f *Floor) titles(names []string) []string {
	titles := make([]string, 0, len(names))
	for _, name := range names {
		titles = append(titles, f.personTitle(name))
	}
	return titles
}

// Swap writes a change of the roster down and puts it in force at once, or refuses it with a *web.Refusal.
func (b books) Swap(ctx context.Context, ask web.Swapping) (web.Swapped, error) {
	f := b.f
	f.swaps.acting.Lock()
	defer f.swaps.acting.Unlock()
	if err := f.may(ask.By, web.Swaps); err != nil {
		return web.Swapped{}, err
	}
	all, err := f.recallSwaps(ctx)
	if err != nil {
		return web.Swapped{}, err
	}
	now := f.clock.Now()
	s, text, err := f.swapOf(ask, all, now)
	if err != nil {
		return web.Swapped{}, err
	}
	data, err := json.Marshal(s)
	if err != nil {
		return web.Swapped{}, fmt.Errorf("encoding a swap: %w", err)
	}
	id, err := f.logbook.Write(logbook.Entry{At: now, Kind: logbook.Roster, Place: "roster", Who: ask.By, Why: ask.Why, Text: text, Data: data})
	if err != nil {
		return web.Swapped{}, err
	}
	if all, err = f.recallSwaps(ctx); err != nil {
		return web.Swapped{}, err
	}
	f.callout.SetSwaps(f.takeSwaps(all, now))
	return web.Swapped{ID: id, Says: text}, nil
}

// swapOf checks what is asked for, and writes its line.
func (f *Floor) swapOf(ask web.Swapping, all []swap, now reading.Stamp) (s swapData, text string, err error) {
	before := ""
	if ask.Corrects > 0 {
		i := slices.IndexFunc(all, func(o swap) bool { return o.entry.ID == ask.Corrects })
		if i < 0 {
			return s, "", &web.Refusal{Kind: web.RefusedState, Says: fmt.Sprintf("Entry %d is no change of the roster, or was corrected already.", ask.Corrects)}
		}
		old := &all[i]
		if err := f.mayArrange(ask.By, &old.swapData); err != nil {
			return s, "", err
		}
		s.Corrects, before = ask.Corrects, f.swapWords(&old.swapData)
	}
	if ask.Withdraw {
		s.Withdrawn = true
		return s, fmt.Sprintf("taken back: entry %d, %s", ask.Corrects, before), nil
	}
	if err := f.fillSwap(&s, ask, now); err != nil {
		return s, "", err
	}
	if err := f.mayArrange(ask.By, &s); err != nil {
		return s, "", err
	}
	if text = f.swapWords(&s); before != "" {
		text += fmt.Sprintf("; in place of entry %d, %s", ask.Corrects, before)
	}
	return s, text, nil
}

// fillSwap reads people and times.
func (f *Floor) fillSwap(s *swapData, ask web.Swapping, now reading.Stamp) error {
	input := func(format string, args ...any) error {
		return &web.Refusal{Kind: web.RefusedInput, Says: fmt.Sprintf(format, args...)}
	}
	known := func(name string) bool {
		return slices.ContainsFunc(f.plan().People, func(p check.Person) bool { return p.Name == name })
	}
	switch {
	case known(ask.Away):
		s.Away = []string{ask.Away}
	case ask.Away == web.Crew:
		s.Crew = true
		for _, p := range f.plan().People {
			if p.Rights == "crew" && p.Name != ask.Stands {
				s.Away = append(s.Away, p.Name)
			}
		}
	}
	if len(s.Away) == 0 {
		return input("%q is no person of the rules file. It takes a name, or crew for all of the crew.", ask.Away)
	}
	if s.Stands = ask.Stands; s.Stands != "" && !known(s.Stands) {
		return input("%q is no person of the rules file. It takes a name, or nobody.", s.Stands)
	}
	from, err := siteTime(ask.From)
	to, err2 := siteTime(ask.To)
	if err != nil || err2 != nil {
		return input("From and to are times by the site's clock, for example 2026-12-24 18:00.")
	}
	zone := f.plan().Site.Zone
	s.From, s.To = callout.Instant(from, zone, false).UTC(), callout.Instant(to, zone, true).UTC()
	switch {
	case !s.To.After(s.From):
		return input("It ends before it begins.")
	case s.To.Sub(s.From) > longestSwap:
		return input("It lasts longer than half a year: change the rules file instead.")
	case now.Set && !s.To.After(now.Wall):
		return input("It is over already.")
	}
	return nil
}

// siteTime reads a time as people write it, and as browsers do.
func siteTime(text string) (t time.Time, err error) {
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04"} {
		if t, err = time.Parse(layout, text); err == nil {
			return t, nil
		}
	}
	return t, err
}

// mayArrange: who arranges the roster may change it for all; the others where they are one of the two whose calls go over.
func (f *Floor) mayArrange(by string, s *swapData) error {
	own := s.Stands == by || s.Stands != "" && len(s.Away) == 1 && s.Away[0] == by
	if own {
		return nil
	}
	if f.may(by, web.Arrange) != nil {
		return &web.Refusal{Kind: web.RefusedRights, Says: f.personTitle(by) + " may take somebody's calls, or give his own to somebody; the rest the owner or the technician arranges."}
	}
	return nil
}

// swapWords are a swap as the logbook says it.
func (f *Floor) swapWords(s *swapData) string {
	form := func(t time.Time) string { return t.In(f.plan().Site.Zone).Format("2006-01-02 15:04") }
	from, to, whose := form(s.From), form(s.To), strings.Join(f.titles(s.Away), ", ")+"'s watch"
	if s.Crew {
		whose = "the watch of the crew"
	}
	switch {
	case s.Stands != "":
		return fmt.Sprintf("%s takes %s from %s to %s", f.personTitle(s.Stands), whose, from, to)
	case s.Crew:
		return fmt.Sprintf("nobody of the crew from %s to %s", from, to)
	}
	return fmt.Sprintf("nobody takes %s from %s to %s", whose, from, to)
}
