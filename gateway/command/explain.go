package command

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/diag"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/formula"
	"millwarden/rules/models"
)

// explainer says in plain words what a plan does.
type explainer struct {
	plan *check.Plan
	out  io.Writer
	now  time.Time
	ask  func(point string) string // present value in words; "" unknown
	// swaps are those that a running gateway knows; where none answers, the roster is the rules file's alone.
	swaps []web.Swap
}

func explain(ctx context.Context, std IO, args []string) error {
	f := flags("explain", std)
	file := f.String("rules", "", "the rules file; without it, that of the running gateway, else "+defaultRules)
	at := f.String("at", "", "address of a running gateway's page, for the present values; without it, the socket in its data folder")
	data := f.String("data", defaultData, "the gateway's data folder")
	when := f.String("when", "", "who would be called then, for example 2026-06-10T02:00; without it, now")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) > 1 {
		return fmt.Errorf("%w: it explains one alarm or point", errUse)
	}
	g := gatewayAt(*at, *data)
	plan, err := rulesInForce(ctx, std, g, *file)
	if err != nil {
		return err
	}
	r := rehearsal{zone: plan.Site.Zone}
	now, err := r.time(*when)
	if err != nil {
		return err
	}
	if now.IsZero() {
		now = g.now(ctx)
	}
	out := bufio.NewWriter(std.Out)
	e := explainer{plan: plan, out: out, now: now, ask: presentValues(ctx, g)}
	var coming web.Coming
	if g.get(ctx, "/api/swaps", &coming) == nil {
		e.swaps = coming.Swaps
	}
	if len(words) == 0 {
		e.overview()
	} else if err := e.explain(words[0]); err != nil {
		return err
	}
	return out.Flush()
}

// presentValues asks a running gateway. One that does not answer is no fault: a file can be explained on any machine.
func presentValues(ctx context.Context, g gateway) func(string) string {
	silent := false
	return func(point string) string {
		if silent {
			return ""
		}
		var p pointNow
		if err := g.get(ctx, "/api/points/"+point, &p); err != nil {
			silent = true
			return ""
		}
		if p.Value.Text == "" {
			return "unknown"
		}
		text := strings.TrimSpace(p.Value.Text + " " + p.Unit)
		text += ", " + p.Value.Quality
		if p.Value.Quality != "good" {
			if p.Value.Cause != "" {
				text += ": " + p.Value.Cause
			}
		}
		return text
	}
}

// overview lists what can be explained.
func (e *explainer) overview() {
	e.say("%s: %d stations, %d probes, %d points, %d alarms, prompts and events.", e.plan.Site.Title, len(e.plan.Stations), len(e.plan.Probes), len(e.plan.Points),
		len(e.plan.Engine.Alarms))
	for _, name := range e.alarmNames() {
		var places []string
		for i := range e.plan.Engine.Alarms {
			if a := &e.plan.Engine.Alarms[i]; a.Name == name {
				places = append(places, a.Place)
			}
		}
		e.say("  %s at %s", name, short(places))
	}
}

// short is a list of places that fits a line.
func short(places []string) string {
	if len(places) <= mostListed {
		return strings.Join(places, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(places[:mostListed], ", "), len(places)-mostListed)
}

func (e *explainer) alarmNames() []string {
	var names []string
	seen := map[string]bool{}
	for i := range e.plan.Engine.Alarms {
		if name := e.plan.Engine.Alarms[i].Name; !seen[name] {
			seen[name] = true
			names = append(names, name)
		}
	}
	return names
}

func (e *explainer) say(format string, args ...any) { fmt.Fprintf(e.out, format+"\n", args...) }

// explain finds what is meant: an alarm at a place, an alarm everywhere, a point.
func (e *explainer) explain(word string) error {
	found := 0
	for i := range e.plan.Engine.Alarms {
		if a := &e.plan.Engine.Alarms[i]; a.ID == word || a.Name == word {
			if found > 0 {
				e.say("")
			}
			e.alarm(a)
			found++
		}
	}
	for i := range e.plan.Points {
		if p := &e.plan.Points[i]; p.Name == word {
			e.point(p)
			found++
		}
	}
	if found > 0 {
		return nil
	}
	known := e.alarmNames()
	for i := range e.plan.Engine.Alarms {
		known = append(known, e.plan.Engine.Alarms[i].ID)
	}
	for i := range e.plan.Points {
		known = append(known, e.plan.Points[i].Name)
	}
	hint := "`millwarden explain` alone lists all alarms."
	if near := diag.Near(word, known); near != "" {
		hint = "Did you mean " + near + "?"
	}
	return fmt.Errorf("there is no alarm and no point %q. %s", word, hint)
}

func (e *explainer) alarm(a *engine.Alarm) {
	kind := map[engine.Kind]string{engine.KindPrompt: "a prompt: it is shown, nobody is called", engine.KindEvent: "an event: it is written down, nobody is called",
		engine.KindAlarm: "an alarm, priority " + a.Priority.String() + ", class " + a.Class.String()}[a.Kind]
	e.say("%s: %s.", a.ID, kind)
	e.say("  Written in %s:%d.", a.File, a.Line)
	e.say("  It watches: %s.", a.When.Text)
	for _, l := range limitsOf(e.plan, a) {
		e.say("    %s", limitWords(l))
	}
	e.say("  It comes %s.", comes(a))
	if a.While != nil {
		e.say("  Only while: %s. When that ends it clears at once.", a.While.Text)
	}
	if a.SuppressedWhile != nil {
		e.say("  Nobody is called for it while: %s.", a.SuppressedWhile.Text)
	}
	if len(a.DependsOn) > 0 {
		e.say("  Nobody is called for it while one of these stands: %s.", strings.Join(a.DependsOn, ", "))
	}
	e.say("  It clears %s.", clears(a))
	for _, line := range [][2]string{{"Cause", a.Cause}, {"Consequence", a.Consequence}, {"Caution", a.Caution}, {"Action", a.Action}, {"It says", a.Say}, {"Source", a.Source}} {
		if line[1] != "" {
			e.say("  %s: %s", line[0], line[1])
		}
	}
	if a.Kind == engine.KindAlarm {
		e.say("  Respond within %s.", duration(a.RespondWithin))
		e.say("  Shelved for at most: %s.", orNo(a.Shelvable))
		e.calls(a)
	}
	e.values(a)
}

func comes(a *engine.Alarm) string {
	if a.OnDelay == 0 {
		return "at the reading that makes this true"
	}
	return "when this has been true for " + duration(a.OnDelay) + "; a reading that makes it false begins the time anew, a missing one stops it"
}

func clears(a *engine.Alarm) string {
	text := "when this has been false for " + duration(a.OffDelay)
	if a.OffDelay == 0 {
		text = "at the reading that makes this false"
	}
	var bands []string
	a.When.Walk(func(n *formula.Node) {
		if n.Deadband > 0 && len(n.Args) > 0 {
			q := n.Args[0].Quantity.Step()
			bands = append(bands, units.Choice{}.Print(n.Deadband, q))
		}
	})
	if len(bands) > 0 {
		text += ", and by a deadband of " + strings.Join(slices.Compact(bands), ", ")
	}
	text += "; never by loss of signal"
	if a.Latching {
		text += "; then it waits for a reset"
	}
	return text
}

func duration(d time.Duration) string { return units.Choice{}.Print(d.Seconds(), units.Duration) }

func orNo(d time.Duration) string {
	if d == 0 {
		return "not at all"
	}
	return duration(d)
}

// calls tells who would be called at the hour that is asked about.
func (e *explainer) calls(a *engine.Alarm) {
	at := e.now.In(e.plan.Site.Zone).Format("15:04 on Monday")
	roster := floor.RosterOf(e.plan)
	for i := range e.swaps {
		s := callout.Swap{Away: e.swaps[i].Names, Stands: e.swaps[i].Name, From: time.UnixMilli(e.swaps[i].From), To: time.UnixMilli(e.swaps[i].To)}
		if roster.Swaps = append(roster.Swaps, s); s.Holds(e.now) {
			e.say("  Then %s (entry %d of the logbook, by %s).", swapWords(&e.swaps[i], siteTimes{e.plan.Site.Zone}), e.swaps[i].ID, e.swaps[i].Who)
		}
	}
	watches := roster.Called(a, reading.Stamp{Wall: e.now, Set: true})
	if len(watches) == 0 || len(e.plan.People) == 0 {
		e.say("  Called at %s: nobody; it waits until a watch is on duty that takes it.", at)
		return
	}
	for _, w := range watches {
		if w.Alone() {
			e.say("  Called at %s: %s, at once.", at, strings.Join(w.Steps[0].People, ", "))
			continue
		}
		if w.Digest >= 0 && a.Priority == engine.Low && a.Class != engine.Safety {
			e.say("  Called at %s: watch %s tells it in its message of %02d:%02d.", at, w.Name, w.Digest/60, w.Digest%60)
			continue
		}
		for _, s := range w.Steps {
			after, by := "at once", ""
			if s.After > 0 {
				after = "after " + duration(s.After) + " without an acknowledgement"
			}
			if len(s.By) > 0 {
				by = " by " + strings.Join(s.By, ", ")
			}
			e.say("  Called at %s: %s%s, %s (watch %s).", at, strings.Join(s.People, ", "), by, after, w.Name)
		}
	}
}

// values shows what the points say now, where a gateway answers.
func (e *explainer) values(a *engine.Alarm) {
	for _, name := range a.When.Points() {
		if text := e.ask(name); text != "" {
			e.say("  Now %s is %s.", name, text)
		}
	}
}

func (e *explainer) point(p *check.Point) {
	e.say("%s: %s, %s.", p.Name, p.Quantity.Article(), p.How)
	for i := range e.plan.Probes {
		probe := &e.plan.Probes[i]
		if probe.Name != p.Probe || p.How != check.Measured {
			continue
		}
		e.say("  Given by probe %s (%s on %s, %s:%d), read every %s; overdue after %s.", probe.Name, probe.Part, probe.Bus, probe.File, probe.Line, duration(probe.Every),
			duration(probe.OverdueAfter))
	}
	if p.Range != nil {
		e.say("  What can be read: %s to %s.", units.Choice{}.Print(p.Range.Low, p.Quantity), units.Choice{}.Print(p.Range.High, p.Quantity))
	}
	e.workedOut(p)
	if text := e.ask(p.Name); text != "" {
		e.say("  Now it is %s.", text)
	}
	for i := range e.plan.Engine.Alarms {
		a := &e.plan.Engine.Alarms[i]
		if slices.Contains(a.When.Points(), p.Name) {
			e.say("  Watched by %s %s: %s.", kindWords[a.Kind], a.ID, a.When.Text)
		}
	}
}

// workedOut says how a point is worked out that no probe gives: the formula, what it rests on, how often, by which settings and limits, and from what, each with its value and quality.
func (e *explainer) workedOut(p *check.Point) {
	from := p.From
	var also []string
	for i := range e.plan.Engine.Points {
		if d := &e.plan.Engine.Points[i]; d.Name == p.Name && d.Formula != nil {
			e.say("  Formula: %s.", d.Formula.Text)
			from = d.Formula.Points()
		}
	}
	for i := range e.plan.Stations {
		s := &e.plan.Stations[i]
		if f, ok := models.Explain(s.Kind, p.Short); ok && s.Name == p.Station && p.How == check.Computed {
			e.say("  Formula: %s.", f.Text)
			e.say("  Source: %s.", f.Source)
			e.say("  Worked out %s.", f.When)
			for _, name := range f.Uses {
				e.say("    %s", e.setting(s, name))
			}
			also = e.measured(s.Name, f.Also)
		}
	}
	if text, ok := floor.OwnPoint(e.owner(p), p.Short); ok && p.How == check.Computed {
		e.say("  Found by the gateway itself: %s.", text)
	}
	if len(from) > 0 {
		e.say("  Worked out from: %s. It is uncertain while one of them is, and unknown while one is bad.", strings.Join(from, ", "))
	}
	if len(also) > 0 {
		e.say("  Where known it uses also: %s. It is uncertain while what it uses is.", strings.Join(also, ", "))
	}
	for _, name := range slices.Concat(from, also) {
		if text := e.ask(name); text != "" {
			e.say("    %s is %s.", name, text)
		}
	}
}

// owner is what a point is of that belongs to no station with a model: the board, a bus, a channel, a probe, another point.
func (e *explainer) owner(p *check.Point) string {
	named := func(name string) bool { return name == p.Station }
	switch {
	case strings.HasSuffix(p.Name, "/disagrees"):
		return "point"
	case slices.ContainsFunc(e.plan.Buses, func(b check.Bus) bool { return named(b.Name) }):
		return "bus"
	case slices.ContainsFunc(e.plan.Channels, func(c check.Channel) bool { return named(c.Name) }):
		return "channel"
	case slices.ContainsFunc(e.plan.Probes, func(p check.Probe) bool { return named(p.Name) }):
		return "probe"
	case slices.ContainsFunc(e.plan.Stations, func(s check.Station) bool { return named(s.Name) && s.Kind == "board" }):
		return "board"
	}
	return ""
}

// setting is a setting of a station, or a named limit as it holds there, with its value.
func (e *explainer) setting(s *check.Station, name string) string {
	best := -1
	for i := range e.plan.Limits {
		if l := &e.plan.Limits[i]; l.Name == name && (slices.Contains(l.At, s.Name) || len(l.At) == 0 && best < 0) {
			best = i
		}
	}
	if best >= 0 {
		return limitWords(e.plan.Limits[best])
	}
	return name + " is " + models.Setting(e.plan, s.Name, name) + ", a setting of the station"
}

// measured are those of a station's points that are there.
func (e *explainer) measured(station string, shorts []string) []string {
	var list []string
	for i := range e.plan.Points {
		if p := &e.plan.Points[i]; p.Station == station && slices.Contains(shorts, p.Short) {
			list = append(list, p.Name)
		}
	}
	return list
}

var nameInFormula = regexp.MustCompile(`[a-z][a-z0-9]*(-[a-z0-9]+)*(/[a-z0-9-]+)?`)

// limitsOf are the named limits that an alarm compares with, as they hold at its place.
func limitsOf(plan *check.Plan, a *engine.Alarm) []check.Limit {
	station, _, _ := strings.Cut(a.Place, "/")
	var found []check.Limit
	for _, name := range nameInFormula.FindAllString(a.When.Text, -1) {
		best := -1
		for i := range plan.Limits {
			l := &plan.Limits[i]
			if l.Name == name && (slices.Contains(l.At, station) || len(l.At) == 0 && best < 0) {
				best = i
			}
		}
		if best >= 0 && !slices.ContainsFunc(found, func(l check.Limit) bool { return l.Name == name }) {
			found = append(found, plan.Limits[best])
		}
	}
	return found
}

// limitWords is a limit with what it rests on.
func limitWords(l check.Limit) string {
	text := fmt.Sprintf("%s is %s", l.Name, l.Value)
	if l.Value != l.Declared {
		text += fmt.Sprintf(" here, %s as built in", l.Declared)
	}
	if l.Because != "" {
		text += ", because " + l.Because
	}
	switch {
	case l.Source != "":
		text += "; source: " + l.Source
	case l.Choice != "":
		text += "; our choice: " + l.Choice
	}
	return text + fmt.Sprintf(" (%s:%d)", l.File, l.Line)
}
