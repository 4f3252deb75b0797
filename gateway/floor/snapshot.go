package floor

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/web"
	"millwarden/internal/reading"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/formula"
)

// Snapshot fills what the page shows.
func (f *Floor) Snapshot(s *web.Snapshot) {
	*s = web.Snapshot{Now: f.clock.Now(), Demo: f.o.Demo, Speed: f.o.Speed, Stopping: f.stopping.Load(), Site: f.site(),
		Areas: s.Areas[:0], Stations: s.Stations[:0], Points: s.Points[:0], Alarms: s.Alarms[:0], Prompts: s.Prompts[:0], People: s.People[:0], Said: s.Said[:0], Links: s.Links[:0]}
	for _, a := range f.plan().Areas {
		s.Areas = append(s.Areas, web.Place{Name: a.Name, Title: a.Title})
	}
	for _, p := range f.plan().People {
		s.People = append(s.People, web.Person{Name: p.Name, Title: p.Title, Rights: p.Rights})
	}
	for _, w := range f.plan().Words {
		s.Said = append(s.Said, web.Translation(w))
	}
	s.Roster = f.roster(s.Now)
	s.Links = f.links.states(f, s.Links)
	s.Outbox = f.outbox(s.Now)
	s.Drill = f.lastDrill()
	f.deciding.Lock()
	defer f.deciding.Unlock()
	f.stations(s)
	f.points(s)
	f.alarms(s)
}

func (f *Floor) site() web.Site {
	site := f.plan().Site
	return web.Site{Name: site.Name, Title: site.Title, Zone: site.ZoneName, Board: site.Board, Show: site.Choice, Language: site.Language, RulesHash: f.plan().Hash, Warnings: f.o.Warnings}
}

func (f *Floor) stations(s *web.Snapshot) {
	for _, st := range f.plan().Stations {
		shown := web.Station{Name: st.Name, Title: st.Title, Kind: st.Kind, Area: st.Area}
		if stay, loaded := f.stays[st.Name]; loaded {
			shown.Loaded, shown.Lot, shown.Since, shown.Kilograms = true, stay.Lot, stay.From, stay.Loaded
		}
		s.Stations = append(s.Stations, shown)
	}
}

// points shows the measured points, and of the others those that were known at least once.
func (f *Floor) points(s *web.Snapshot) {
	lead := map[string]string{}
	for _, st := range f.plan().Stations {
		lead[st.Name] = f.leadingOf(st)
	}
	for i := range f.plan().Points {
		p := &f.plan().Points[i]
		newest, seen := f.newest[p.Name]
		if p.How != check.Measured && !seen {
			continue
		}
		kind := f.plan().kinds[p.Station]
		bar := scaleOf(kind, *p)
		s.Points = append(s.Points, web.Point{Name: p.Name, Station: f.stationOf(p), Title: p.Title, Quantity: p.Quantity, Computed: p.How != check.Measured,
			ByHand:  f.plan().entered[p.Name],
			Leading: lead[p.Station] == p.Short, Range: bar.ends, Normal: bar.normal, Limits: limitsOf(p, f.plan().titles), Corrected: f.plan().corrected[p.Name],
			Reading: f.standing(p, newest, seen), Known: f.known[p.Name]})
	}
}

// stationOf is "" for points of the board, a bus or a channel.
func (f *Floor) stationOf(p *check.Point) string {
	if _, isStation := f.plan().kinds[p.Station]; isStation {
		return p.Station
	}
	return ""
}

// leadingOf is the short name of the point that stands for a station.
func (f *Floor) leadingOf(st check.Station) string {
	for _, name := range leading[st.Kind] {
		if f.plan().measured[st.Name+"/"+name] {
			return name
		}
	}
	for i := range f.plan().Points {
		if p := &f.plan().Points[i]; p.Station == st.Name && p.How == check.Measured {
			return p.Short
		}
	}
	return ""
}

// standing is the reading that stands: bad, with the cause, where the point is silent, overdue or frozen.
func (f *Floor) standing(p *check.Point, newest reading.Reading, seen bool) reading.Reading {
	if !seen {
		return reading.Missing(p.Name, p.Quantity, reading.Stamp{}, "not yet read")
	}
	state, _ := f.engine.Look(p.Name)
	if state.Overdue && newest.Quality != reading.Bad {
		newest.Quality, newest.Cause = reading.Bad, "overdue"
		if f.plan().entered[p.Name] {
			newest.Cause = "not entered"
		}
	}
	return newest
}

func limitsOf(p *check.Point, titles map[string]string) []web.Limit {
	list := make([]web.Limit, 0, len(p.Limits))
	for _, l := range p.Limits {
		if l.Kind != engine.KindAlarm {
			continue
		}
		list = append(list, web.Limit{Value: l.Value, Above: l.Above, Alarm: l.Alarm, Title: titles[l.Alarm], Priority: l.Priority, Critical: l.Critical})
	}
	return list
}

// alarms shows every alarm that is not normal, every normal one that cannot see, and the prompts that stand.
func (f *Floor) alarms(s *web.Snapshot) {
	f.standings = f.engine.Standings(f.standings[:0])
	for i := range f.standings {
		st := &f.standings[i]
		switch {
		case st.Alarm.Kind == engine.KindPrompt && st.Active && st.State == engine.Acknowledged: // neither suppressed nor out of service
			s.Prompts = append(s.Prompts, f.prompt(st))
		case st.Alarm.Kind == engine.KindAlarm && (st.State != engine.Normal || st.CannotSee):
			s.Alarms = append(s.Alarms, f.alarm(st))
		}
	}
	slices.SortStableFunc(s.Alarms, func(a, b web.Alarm) int {
		return cmp.Or(cmp.Compare(b.Priority, a.Priority), cmp.Compare(b.Since.Mono, a.Since.Mono))
	})
}

func (f *Floor) prompt(st *engine.Standing) web.Prompt {
	a := st.Alarm
	p := web.Prompt{ID: a.ID, Title: a.Title, Place: a.Place, PlaceTitle: a.PlaceTitle, Station: f.stationNamed(a.Place), Say: a.Say, Since: st.Since}
	if p.Station == "" {
		p.Station = f.readByHandAt(a.Place)
	}
	if st.HasDue {
		p.Due, p.In = true, st.Due
		p.Early, p.Late = f.interval(a.Due, st.Due)
	}
	return p
}

// interval gives the ends of a forecast: of the point "wash-in" they are "wash-in-early" and "wash-in-late". What has none ends where it is due.
func (f *Floor) interval(due *formula.Node, at time.Duration) (early, late time.Duration) {
	if due.Op != formula.Point {
		return at, at
	}
	first, ok := f.engine.Value(due.Ref + "-early")
	last, both := f.engine.Value(due.Ref + "-late")
	if !ok || !both {
		return at, at
	}
	return time.Duration(first * float64(time.Second)), time.Duration(last * float64(time.Second))
}

func (f *Floor) alarm(st *engine.Standing) web.Alarm {
	a := st.Alarm
	shown := web.Alarm{ID: a.ID, Title: a.Title, Place: a.Place, PlaceTitle: a.PlaceTitle, Station: f.stationNamed(a.Place), Area: a.Area,
		Priority: a.Priority, Class: a.Class, State: st.State.String(), Active: st.Active, Held: st.Held, CannotSee: st.CannotSee, Occurrence: st.Occurrence,
		Since: st.Since, Cause: a.Cause, Consequence: a.Consequence, Action: a.Action, Caution: a.Caution, RespondWithin: a.RespondWithin,
		Latching: a.Latching, Shelvable: a.Shelvable, Because: f.withFault(a.ID, st.Because), Count: st.Count, AcknowledgedBy: f.personTitle(st.AcknowledgedBy),
		AcknowledgedAt: st.AcknowledgedAt, ShelfEnds: st.ShelfEnds}
	if st.Active {
		shown.Since = st.ActiveSince
	}
	if st.Held || st.CannotSee {
		shown.Because = st.Unseen
	}
	for _, v := range st.Values {
		shown.Values = append(shown.Values, web.Shown{Point: v.Point, Title: f.pointTitle(v), Value: v.Value, Quantity: v.Quantity, Limit: v.Limit, HasLimit: v.HasLimit})
	}
	f.addHiding(&shown, st)
	f.addCalls(&shown, st)
	return shown
}

func (f *Floor) pointTitle(v engine.Shown) string {
	if title, ok := f.plan().titles[v.Point]; ok {
		if strings.HasPrefix(v.Text, "age(") {
			return title + " not read for"
		}
		return title
	}
	return cmp.Or(v.Text, v.Point)
}

// stationNamed is the station of a place: itself, or that of a point; "" for a bus, a channel, a probe or the board.
func (f *Floor) stationNamed(place string) string {
	station, _, _ := strings.Cut(place, "/")
	if kind, ok := f.plan().kinds[station]; ok && kind != "board" {
		return station
	}
	return ""
}

func (f *Floor) personTitle(name string) string {
	for _, p := range f.plan().People {
		if p.Name == name {
			return p.Title
		}
	}
	return name
}

func (f *Floor) outbox(now reading.Stamp) web.Outbox {
	mark, last := f.history.Watermark().Commit, f.history.Last()
	if f.plan().Store == nil || last <= mark {
		return web.Outbox{}
	}
	out := web.Outbox{Readings: int64(last - mark)} //nolint:gosec // counts of readings, far below the limit
	if oldest, err := f.history.From(mark+1, 1, nil); err == nil && len(oldest) > 0 {
		switch at := oldest[0].Stamp; {
		case at.Boot == now.Boot: // whatever was done to the wall clock since
			out.Oldest = (now.Mono - at.Mono).Round(time.Second)
		case at.Set && now.Set:
			out.Oldest = now.Wall.Sub(at.Wall).Round(time.Second)
		}
	}
	return out
}
