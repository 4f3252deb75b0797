package floor

import (
	"cmp"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"millwarden/drivers"
	"millwarden/gateway/callout"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/rates"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// Search gives lines of the record, newest first.
func (b books) Search(ctx context.Context, s web.Search) ([]web.Line, error) {
	filter := logbook.Filter{Words: s.Words, Alarm: s.Alarm, Place: s.Place, Lot: s.Lot, From: s.From, To: s.To, Before: s.Before, Limit: s.Limit, Newest: true}
	if s.Kind != "" {
		for kind := range strings.SplitSeq(s.Kind, ",") {
			filter.Kinds = append(filter.Kinds, logbook.Kind(kind))
		}
	}
	entries, err := b.f.logbook.Entries(ctx, filter)
	lines := make([]web.Line, 0, len(entries))
	for i := range entries {
		lines = append(lines, b.line(&entries[i]))
	}
	return lines, err
}

// Register gives the alarms and prompts of the rules in force, in their order.
func (b books) Register() []web.Registered {
	plan := b.f.plan()
	var list []web.Registered
	same := map[string]int{}
	for i := range plan.Engine.Alarms {
		a := &plan.Engine.Alarms[i]
		if a.Kind == engine.KindEvent {
			continue
		}
		limits := limitWords(plan.Plan, a)
		key := fmt.Sprint(a.Name, a.File, a.Line, a.When.Text, a.Priority, a.OnDelay, a.OffDelay, a.Call, limits)
		n, known := same[key]
		if !known {
			n = len(list)
			same[key] = n
			list = append(list, registered(a, limits))
		}
		list[n].Places = append(list[n].Places, cmp.Or(a.PlaceTitle, a.Place))
	}
	return list
}

func registered(a *engine.Alarm, limits []string) web.Registered {
	r := web.Registered{Name: a.Name, Kind: "prompt", Title: cmp.Or(a.Title, a.Name), When: a.When.Text, Limits: limits, OnDelay: a.OnDelay.Milliseconds(),
		OffDelay: a.OffDelay.Milliseconds(), Latching: a.Latching, Cause: a.Cause, Consequence: a.Consequence, Action: a.Say, Caution: a.Caution,
		Call: append([]string{}, a.Call...), Source: a.Source, Written: fmt.Sprintf("%s:%d", a.File, a.Line)}
	if a.While != nil {
		r.While = a.While.Text
	}
	if a.Kind == engine.KindAlarm {
		r.Kind, r.Action, r.Priority, r.Class = "alarm", a.Action, a.Priority.String(), a.Class.String()
		r.RespondWithin, r.Shelvable = a.RespondWithin.Milliseconds(), a.Shelvable.Milliseconds()
	}
	return r
}

// limitWords are the limits that an alarm's condition names, with what they rest on.
func limitWords(plan *check.Plan, a *engine.Alarm) []string {
	words := []string{}
	named := strings.FieldsFunc(a.When.Text, func(r rune) bool { return r != '-' && (r < 'a' || r > 'z') && (r < '0' || r > '9') })
	for i := range plan.Limits {
		l := &plan.Limits[i]
		if !slices.Contains(named, l.Name) || len(l.At) > 0 && !slices.Contains(l.At, a.Place) {
			continue
		}
		text := fmt.Sprintf("%s is %s", l.Name, l.Value)
		if because := cmp.Or(l.Because, l.Source, l.Choice); because != "" {
			text += ": " + because
		}
		words = append(words, text)
	}
	return words
}

// RateRows reads from a record the transitions of alarms and the changes of the rules before to, as their rates are reckoned from. Prompts and events take no
// occurrence and call nobody.
func RateRows(ctx context.Context, book *logbook.Logbook, plan *check.Plan, to time.Time) ([]rates.Row, error) {
	alarms := map[string]*engine.Alarm{}
	for i := range plan.Engine.Alarms {
		alarms[plan.Engine.Alarms[i].ID] = &plan.Engine.Alarms[i]
	}
	var rows []rates.Row
	for after := int64(0); ; {
		entries, err := book.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.Transition, logbook.RulesChange}, To: to, After: after, Limit: rowsPage})
		if err != nil {
			return nil, fmt.Errorf("reading the logbook: %w", err)
		}
		for i := range entries {
			after = entries[i].ID
			if row, counts := rateRow(&entries[i], alarms[entries[i].Alarm]); counts {
				rows = append(rows, row)
			}
		}
		if len(entries) < rowsPage {
			return rows, nil
		}
	}
}

// rateRow is an entry as the rates take it. Of the rules only a change counts: not a refusal, which changed nothing, nor what was in force at a start.
func rateRow(e *logbook.Entry, a *engine.Alarm) (rates.Row, bool) {
	row := rates.Row{At: e.At.Wall, Alarm: e.Alarm, By: e.Who}
	if row.By == ByFile || row.By == BySignal { // which tell how, not who
		row.By = ""
	}
	if e.Kind == logbook.RulesChange {
		var change struct{ Old, New *string }
		return row, json.Unmarshal(e.Data, &change) == nil && change.Old != nil && change.New != nil && *change.Old != *change.New
	}
	var step struct{ Event, From, To string }
	if e.Occurrence == 0 && e.Who == "" || json.Unmarshal(e.Data, &step) != nil {
		return row, false
	}
	unacknowledged := engine.Unacknowledged.String()
	row.Annunciated = e.Occurrence > 0 && step.To == unacknowledged && step.From != unacknowledged
	row.Active = step.To == unacknowledged || step.To == engine.Acknowledged.String()
	row.Hidden = step.Event == engine.Shelve.String() || step.Event == engine.Remove.String()
	if a != nil {
		row.Priority, row.Safety = a.Priority.String(), a.Class == engine.Safety
	}
	return row, true
}

// rowsPage is how many entries are read at once. Chosen: a year of a quiet mill.
const rowsPage = 10000

// Rates gives how much the alarms asked of people in the last days, with the goals that `rates` prints.
func (b books) Rates(ctx context.Context, days int) (web.Rates, error) {
	to := b.f.clock.Now().Wall
	rows, err := RateRows(ctx, b.f.logbook, b.f.plan().Plan, to)
	if err != nil {
		return web.Rates{}, err
	}
	r := rates.Of(rows, to.Add(-time.Duration(days)*24*time.Hour), to, b.f.plan().Site.Zone)
	nights := float64(max(1, r.Nights))
	return web.Rates{From: r.From.UnixMilli(), To: r.To.UnixMilli(), Enough: r.Enough, Figures: []web.Figure{
		{Name: "annunciated", Value: float64(r.Annunciated), Most: -1},
		{Name: "a-day", Value: r.PerDay, Most: 6, Ours: true},
		{Name: "an-hour", Value: r.PerHour, Most: 1, Ours: true},
		{Name: "in-ten", Value: r.PerTen, Most: 1},
		{Name: "busy-hours", Value: r.BusyHours, Share: true, Ours: true},
		{Name: "busy-tens", Value: r.BusyTens, Share: true, Ours: true},
		{Name: "most-in-ten", Value: float64(r.MostInTen), Most: 5, Ours: true},
		{Name: "in-flood", Value: r.InFlood, Share: true, Ours: true},
		{Name: "top-ten", Value: r.TopShare, Share: true, Most: 0.3, Ours: true},
		{Name: "fleeting", Value: float64(r.Fleeting)},
		{Name: "stale", Value: float64(r.MostStale), Most: 1, Ours: true},
		{Name: "stale-safety", Value: float64(r.StaleSafety), Ours: true},
		{Name: "a-night", Value: float64(r.NightCalls) / nights, Most: 1, Ours: true},
		{Name: "nights-idle", Value: float64(r.NightCalls - r.NightsActed), Ours: true},
		{Name: "unnamed", Value: float64(r.Unnamed)},
	}, Top: counts(r.Top), Chatter: counts(r.Chattering), Stale: counts(r.Stale)}, nil
}

func counts(list []rates.Count) []web.Count {
	out := make([]web.Count, 0, len(list))
	for _, c := range list {
		out = append(out, web.Count{Alarm: c.Alarm, Times: c.Times})
	}
	return out
}

// Watches gives who is called, when and by what.
func (b books) Watches() []web.Watch {
	now := b.f.clock.Now()
	plan := b.f.plan()
	local := now.Wall.In(plan.Site.Zone)
	list := make([]web.Watch, 0, len(plan.Watches))
	called := b.f.rosterOf(plan.Plan).At(now)
	for i := range plan.Watches {
		w := &plan.Watches[i]
		shown := web.Watch{Name: w.Name, Title: cmp.Or(w.Title, w.Name), OnDuty: !w.OnlyWhenNamed && (!now.Set || callout.OnDuty(w.Hours, local)), Hours: []string{},
			Takes: []string{}, Areas: append([]string{}, w.Areas...), OnlyWhenNamed: w.OnlyWhenNamed, Present: w.Present, Repeat: w.Repeat.Milliseconds(), Steps: []web.WatchStep{}}
		for _, h := range w.Hours {
			shown.Hours = append(shown.Hours, hoursWords(h))
		}
		for _, p := range w.Takes {
			shown.Takes = append(shown.Takes, p.String())
		}
		if w.Digest >= 0 {
			shown.Digest = clockWords(w.Digest)
		}
		for _, s := range called[i].Steps {
			step := web.WatchStep{After: s.After.Milliseconds(), People: []string{}, By: append([]string{}, s.By...)}
			for _, name := range s.People {
				step.People = append(step.People, b.f.personTitle(name))
			}
			shown.Steps = append(shown.Steps, step)
		}
		list = append(list, shown)
	}
	return list
}

func clockWords(minute int) string { return fmt.Sprintf("%02d:%02d", minute/60, minute%60) }

// hoursWords are hours with their days, in the form of the rules file.
func hoursWords(s engine.Span) string {
	text := clockWords(s.From) + "-" + clockWords(s.To)
	var days []string
	for d, on := range s.Days {
		if on {
			days = append(days, strings.ToLower(time.Weekday(d).String()[:3]))
		}
	}
	if len(days) == 0 || len(days) == len(s.Days) {
		return text
	}
	return text + " " + strings.Join(days, " ")
}

// heardProbes is what each probe said last.
//
// Concurrency: any goroutine; a probe's words are kept in room of their own, so that hearing it costs no new memory.
type heardProbes struct {
	mu sync.Mutex // guards by
	by map[string]*heardProbe
}

type heardProbe struct {
	raw    []byte
	at     time.Duration // monotonic time of the newest poll that brought something
	fault  error         // of the newest poll; nil: it brought something
	misses int64
}

func (h *heardProbes) hear(name string, raw []byte, tick reading.Stamp, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.by == nil {
		h.by = map[string]*heardProbe{}
	}
	p := h.by[name]
	if p == nil {
		p = &heardProbe{}
		h.by[name] = p
	}
	if p.fault = err; err != nil {
		p.misses++
		return
	}
	p.raw, p.at = append(p.raw[:0], raw...), tick.Mono
}

// mostCalibrations bounds the history that is shown of a probe. Chosen: a year of weekly checks.
const mostCalibrations = 52

// Probes gives every probe of the rules file, with its health and its calibrations.
func (b books) Probes(ctx context.Context) ([]web.Probe, error) {
	all, err := b.f.logbook.Calibrations(ctx, "")
	if err != nil {
		return nil, err
	}
	plan := b.f.plan()
	list := make([]web.Probe, 0, len(plan.Probes))
	for i := range plan.Probes {
		p := &plan.Probes[i]
		shown := web.Probe{Name: p.Name, Title: cmp.Or(p.Title, p.Name), Part: p.Part, Bus: p.Bus, Points: []string{}, Every: p.Every.Milliseconds(), Mounted: p.Mounted,
			CheckEvery: p.CalibrateEvery.For.Milliseconds(), Calibrations: []web.Calibration{}}
		for _, g := range p.Gives {
			shown.Points = append(shown.Points, g.Point)
		}
		b.addHeard(&shown)
		for j := range all {
			if c := &all[j]; c.Probe == p.Name && len(shown.Calibrations) < mostCalibrations {
				shown.Calibrations = append(shown.Calibrations, b.calibration(c))
			}
		}
		list = append(list, shown)
	}
	return list, nil
}

func (b books) addHeard(shown *web.Probe) {
	b.f.heardProbes.mu.Lock()
	defer b.f.heardProbes.mu.Unlock()
	p := b.f.heardProbes.by[shown.Name]
	if p == nil {
		return
	}
	shown.Raw, shown.Misses = hex.EncodeToString(p.raw), p.misses
	if p.at > 0 {
		shown.Heard = p.at.Milliseconds()
	}
	if p.fault != nil {
		shown.Fault = p.fault.Error()
		if errors.Is(p.fault, context.DeadlineExceeded) {
			shown.Fault = drivers.NoAnswer.String() // in the words of the mill
		}
	}
}

func (b books) calibration(c *logbook.Calibration) web.Calibration {
	shown := web.Calibration{At: c.At.Wall.UnixMilli(), Kind: c.Kind, Channel: c.Channel, Points: []string{}, Who: b.f.personTitle(c.Who), Note: c.Note}
	for _, p := range c.Points {
		text := fmt.Sprintf("%.4g read %.4g", p.Reference, math.Round(p.Read*1e6)/1e6+0) // + 0: never "-0"
		if p.Temperature != 0 {
			text += fmt.Sprintf(" at %.4g °C", p.Temperature)
		}
		shown.Points = append(shown.Points, text)
	}
	return shown
}
