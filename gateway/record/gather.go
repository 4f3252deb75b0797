package record

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// ErrNoLot is the record of a lot that is not in the book.
var ErrNoLot = errors.New("there is no such lot")

// Chosen bounds: a record of more is read by nobody, and a page that asks for it by mistake is answered all the same.
const (
	mostFamily  = 60
	mostEntries = 20000
	columns     = 360 // of a curve: as many as a printed page shows apart
)

// Gather makes the record of a lot.
func Gather(ctx context.Context, s Sources, lot string) (*Record, error) {
	shown, ok := s.Show(lot)
	if !ok {
		return nil, fmt.Errorf("%w: %s", ErrNoLot, lot)
	}
	r := &Record{Lot: shown, Site: s.Plan.Site, Demo: s.Demo, Version: s.Version, RulesHash: s.Plan.Hash, Made: s.Now, To: s.Now, people: map[string]string{}, names: namesOf(s.Plan)}
	for _, p := range s.Plan.People {
		r.people[p.Name] = p.Title
	}
	r.family(s, shown)
	r.From = at(shown.Began)
	for i := range r.Family {
		if began := at(r.Family[i].Began); began.Before(r.From) {
			r.From = began
		}
	}
	if shown.Used {
		r.To = at(shown.Last)
	}
	for _, gather := range []func(context.Context, Sources) error{r.ruled, r.stays, r.entries, r.instruments, r.head} {
		if err := gather(ctx, s); err != nil {
			return nil, err
		}
	}
	return r, nil
}

func at(ms int64) time.Time { return time.UnixMilli(ms).UTC() }

// family finds the lots that the lot was made of, farthest first.
func (r *Record) family(s Sources, of lots.Shown) {
	for _, name := range of.From {
		known := slices.ContainsFunc(r.Family, func(f lots.Shown) bool { return f.Lot == name })
		if shown, ok := s.Show(name); ok && !known && len(r.Family) < mostFamily {
			r.family(s, shown)
			r.Family = append(r.Family, shown)
		}
	}
}

// stays takes the stays of the lot and, up to the time at which it was made of them, of its family.
func (r *Record) stays(ctx context.Context, s Sources) error {
	for _, lot := range append(slices.Clone(r.Family), r.Lot) {
		for i := range lot.Stays {
			st := &lot.Stays[i]
			if lot.Lot != r.Lot.Lot && st.From >= r.Lot.Began {
				continue // it went another way by then
			}
			r.Stays = append(r.Stays, r.stay(s.Plan, lot.Lot, st, lot.Lot != r.Lot.Lot))
		}
	}
	slices.SortStableFunc(r.Stays, func(a, b Stay) int { return a.From.Compare(b.From) })
	for i := range r.Stays {
		st := &r.Stays[i]
		st.Number = i + 1
		if err := r.measure(ctx, s, st); err != nil {
			return err
		}
	}
	return nil
}

func (r *Record) stay(plan *check.Plan, lot string, st *lots.ShownStay, ancestor bool) Stay {
	stay := Stay{Lot: lot, Station: st.Station, Title: st.Station, Kind: st.Kind, From: at(st.From), To: at(st.To), Loaded: st.Loaded, Unloaded: st.Unloaded,
		Who: r.person(st.Who), EmptiedBy: r.person(st.EmptiedBy), Note: st.Note}
	if st.To == 0 {
		stay.To, stay.Lasts = r.Made, true
		if ancestor {
			stay.To, stay.Lasts = at(r.Lot.Began), false
		}
	}
	for i := range plan.Stations {
		if plan.Stations[i].Name == st.Station {
			stay.Title, stay.Kind = plan.Stations[i].Title, plan.Stations[i].Kind
		}
	}
	return stay
}

func (r *Record) person(name string) string { return cmp.Or(r.people[name], name) }

// drawn are the points of each kind of station that a record shows, where there are readings of them.
var drawn = map[string][]string{
	"tank":    {"ph", "temperature"},
	"deck":    {"moisture", "estimated-moisture", "air-temperature", "air-humidity", "bean-temperature", "water-activity"},
	"dryer":   {"moisture", "estimated-moisture", "air-temperature", "air-humidity", "bean-temperature", "exhaust-temperature", "water-activity"},
	"bin":     {"humidity", "temperature", "moisture", "water-activity"},
	"store":   {"humidity", "temperature"},
	"huller":  {"temperature"},
	"roaster": {"bean-temperature", "exhaust-temperature"},
}

// measure reads the curves of a stay.
func (r *Record) measure(ctx context.Context, s Sources, st *Stay) error {
	if !st.To.After(st.From) {
		return nil
	}
	for _, short := range drawn[st.Kind] {
		for i := range s.Plan.Points {
			p := &s.Plan.Points[i]
			if p.Station != st.Station || p.Short != short {
				continue
			}
			c, err := r.curveOf(ctx, s, p, st.From, st.To)
			if err != nil {
				return err
			}
			if c.Known > 0 || p.How == check.Measured {
				st.Curves = append(st.Curves, c)
			}
		}
	}
	return nil
}

// entries takes alarms and what people did from the record.
func (r *Record) entries(ctx context.Context, s Sources) error {
	list, err := s.Logbook.Entries(ctx, logbook.Filter{From: r.From, To: r.To.Add(time.Millisecond), Limit: mostEntries,
		Kinds: []logbook.Kind{logbook.Transition, logbook.Act, logbook.Note, logbook.Message, logbook.RulesChange, logbook.ClockStep, logbook.Start}})
	if err != nil {
		return err
	}
	late, err := s.Logbook.Entries(ctx, logbook.Filter{From: r.To.Add(time.Millisecond), Limit: mostEntries, Kinds: []logbook.Kind{logbook.Note}})
	if err != nil {
		return err
	}
	for i := range list {
		e := &list[i]
		switch e.Kind {
		case logbook.RulesChange, logbook.ClockStep, logbook.Start:
			r.Changes = append(r.Changes, r.line(e))
		case logbook.Note:
			if e.Lot == r.Lot.Lot || r.stayOf(e.Place, e.At.Wall) != nil {
				r.Notes = append(r.Notes, r.line(e))
			}
		default:
			r.alarm(s.Plan, e)
		}
	}
	r.deeds(append(list, late...))
	for i := range r.Deviations {
		d := &r.Deviations[i]
		d.Number = i + 1
		r.mark(d)
		if err := r.extreme(ctx, s, d); err != nil {
			return err
		}
	}
	r.markSteps()
	return nil
}

// ofPoint names the point that an alarm stands at, where it stands at one: two probes of a station may be lost in the same minute.
func ofPoint(plan *check.Plan, place string) string {
	for i := range plan.Points {
		if p := &plan.Points[i]; p.Name == place {
			return ", " + worded(p.Title)
		}
	}
	return ""
}

// because is why an alarm came, without the place of its rule.
func because(text string) string {
	text, _, _ = strings.Cut(text, "; rule ")
	return text
}

func (r *Record) line(e *logbook.Entry) Line {
	return Line{ID: e.ID, At: e.At.Wall, Who: r.person(e.Who), Text: e.Text, Why: e.Why}
}

// stayOf is the stay on the station of a place at a time.
func (r *Record) stayOf(place string, at time.Time) *Stay {
	station, _, _ := strings.Cut(place, "/")
	for i := range r.Stays {
		if st := &r.Stays[i]; st.Station == station && !at.Before(st.From) && !at.After(st.To) {
			return st
		}
	}
	return nil
}

// alarm follows one occurrence from its annunciation to its end.
func (r *Record) alarm(plan *check.Plan, e *logbook.Entry) {
	st := r.stayOf(e.Place, e.At.Wall)
	if e.Occurrence == 0 || e.Alarm == "" {
		return
	}
	i := slices.IndexFunc(r.Deviations, func(d Deviation) bool { return d.Alarm == e.Alarm && d.Occurrence == e.Occurrence })
	var step struct{ From, To string }
	if e.Kind == logbook.Transition {
		_ = json.Unmarshal(e.Data, &step) // an entry without them is told by its text alone
	}
	if i < 0 {
		if st == nil || e.Kind != logbook.Transition || step.To != engine.Unacknowledged.String() {
			return
		}
		d := Deviation{Alarm: e.Alarm, Title: e.Alarm, Place: st.Title, Occurrence: e.Occurrence, From: e.At.Wall, To: r.To, Stands: true, Because: because(e.Text), Lot: st.Lot, Kg: st.Loaded}
		for j := range plan.Engine.Alarms {
			if a := &plan.Engine.Alarms[j]; a.ID == e.Alarm {
				d.Title, d.Priority, d.Class = cmp.Or(a.Title, a.Name)+ofPoint(plan, a.Place), a.Priority.String(), a.Class.String()
				d.Cause, d.Consequence, d.Told = a.Cause, a.Consequence, a.Action
			}
		}
		r.Deviations = append(r.Deviations, d)
		return
	}
	d := &r.Deviations[i]
	switch {
	case e.Kind == logbook.Message:
		if who := r.person(e.Who); who != "" && !slices.Contains(d.Called, who) {
			d.Called = append(d.Called, who)
		}
	case e.Kind == logbook.Transition && e.Who != "" && d.AcknowledgedBy == "" && strings.HasPrefix(step.To, "acknowledged"):
		d.AcknowledgedBy, d.Acknowledged = r.person(e.Who), e.At.Wall
		fallthrough
	case e.Kind == logbook.Transition:
		if d.Stands && (step.To == engine.Normal.String() || strings.HasPrefix(step.To, "returned")) {
			d.To, d.Stands = e.At.Wall, false
		}
	}
}

// deeds sets down what people did and wrote at a station while an alarm stood there, and for an hour after; what was written afterwards of this very
// occurrence, whenever that was.
func (r *Record) deeds(list []logbook.Entry) {
	for i := range r.Deviations {
		d := &r.Deviations[i]
		for j := range list {
			e := &list[j]
			st := r.stayOf(e.Place, e.At.Wall)
			mine := e.Alarm == d.Alarm && e.Occurrence == d.Occurrence
			there := st != nil && st.Title == d.Place && e.Kind == logbook.Note
			meanwhile := !e.At.Wall.Before(d.From) && !e.At.Wall.After(d.To.Add(time.Hour))
			if e.Who == "" || e.Kind == logbook.Message || e.Kind == logbook.Transition && e.Why == "" || !mine && !(there && e.Occurrence == 0) || !meanwhile && !(mine && e.Kind == logbook.Note) {
				continue
			}
			done := r.line(e)
			done.Text = because(done.Text)
			d.Done = append(d.Done, done)
		}
		for _, step := range r.Lot.Steps {
			if when := at(step.At); !step.Struck && (step.Step.Station != "" && r.stayTitle(step.Step.Station) == d.Place) && !when.Before(d.From) && !when.After(d.To.Add(time.Hour)) {
				d.Done = append(d.Done, Line{ID: step.Entry, At: when, Who: r.person(step.Who), Text: step.Text, Why: step.Note})
			}
		}
		slices.SortStableFunc(d.Done, func(a, b Line) int { return a.At.Compare(b.At) })
	}
}

func (r *Record) stayTitle(station string) string {
	for i := range r.Stays {
		if r.Stays[i].Station == station {
			return r.Stays[i].Title
		}
	}
	return ""
}

// mark puts an alarm on the curves of its stay.
func (r *Record) mark(d *Deviation) {
	for i := range r.Stays {
		st := &r.Stays[i]
		if st.Title == d.Place && !d.From.Before(st.From) && !d.From.After(st.To) {
			st.Marks = append(st.Marks, Mark{At: d.From, Letter: fmt.Sprintf("D%d", d.Number), Text: d.Title})
		}
	}
}

// markSteps puts hand checks and weights on the curves.
func (r *Record) markSteps() {
	n := 0
	for i := range r.Lot.Steps {
		s := &r.Lot.Steps[i]
		if s.Struck || s.Step.Do != lots.Check {
			continue
		}
		n++
		for j := range r.Stays {
			if st := &r.Stays[j]; !at(s.At).Before(st.From) && !at(s.At).After(st.To) {
				st.Marks = append(st.Marks, Mark{At: at(s.At), Letter: fmt.Sprintf("C%d", n), Text: s.Text})
			}
		}
	}
}

// extreme is how far the point that decided went beyond its limit while the alarm stood.
func (r *Record) extreme(ctx context.Context, s Sources, d *Deviation) error {
	l, ok := r.limitOf(d.Alarm, d.From)
	i := slices.IndexFunc(s.Plan.Points, func(p check.Point) bool { return p.Name == l.Point })
	if !ok || i < 0 {
		return nil
	}
	p, to := &s.Plan.Points[i], d.To
	if !to.After(d.From) {
		to = d.From.Add(time.Minute)
	}
	if to.After(r.To) {
		to = r.To
	}
	list, err := s.History.Pixels(ctx, p.Name, d.From, to.Add(time.Millisecond), 100)
	var damage *history.Damage
	if err != nil && !errors.As(err, &damage) {
		return err
	}
	worst, seen := 0.0, false
	for _, c := range list {
		if c.Readings == c.Bad {
			continue
		}
		v := c.Low
		if l.Above {
			v = c.High
		}
		if !seen || l.Above && v > worst || !l.Above && v < worst {
			worst, seen = v, true
		}
	}
	if seen {
		d.Extreme, d.point = fmt.Sprintf("%s %s, limit %s", titled(p.Title), units.Choice{}.Print(worst, p.Quantity), units.Choice{}.Print(l.Value, p.Quantity)), titled(p.Title)
	}
	return nil
}

// instruments takes the probes that measured, with the check in force when the last of their stays ended.
func (r *Record) instruments(ctx context.Context, s Sources) error {
	for i := range s.Plan.Probes {
		p := &s.Plan.Probes[i]
		var until time.Time
		var gives []string
		for _, g := range p.Gives {
			for j := range r.Stays {
				if st := &r.Stays[j]; st.Station == g.Station && slices.ContainsFunc(st.Curves, func(c Curve) bool { return c.Point == g.Point }) {
					until = later(until, st.To)
					if !slices.Contains(gives, g.Point) {
						gives = append(gives, g.Point)
					}
				}
			}
		}
		if len(gives) == 0 {
			continue
		}
		in := Instrument{Probe: p.Name, Title: cmp.Or(p.Title, p.Name), Part: partOf(p), Gives: strings.Join(gives, ", "), Quantity: p.Gives[0].Quantity}
		list, err := s.Logbook.Calibrations(ctx, p.Name)
		if err != nil {
			return err
		}
		for _, c := range list { // newest first
			if c.At.Wall.After(until) {
				continue
			}
			in.Checked, in.Kind, in.Found, in.Who, in.Note, in.Left = c.At.Wall, c.Kind, c.Points, r.person(c.Who), c.Note, string(c.AsLeft)
			if p.CalibrateEvery.Given && p.CalibrateEvery.For > 0 {
				in.Due = c.At.Wall.Add(p.CalibrateEvery.For)
			}
			break
		}
		r.Instruments = append(r.Instruments, in)
		for j := range r.Stays {
			for k := range r.Stays[j].Curves {
				if c := &r.Stays[j].Curves[k]; slices.Contains(gives, c.Point) {
					c.Probe, c.Checked = p.Name, in.Checked
				}
			}
		}
	}
	return nil
}

// partOf is the part of a probe, and of one that people read the instrument in their hands.
func partOf(p *check.Probe) string {
	if p.Part != check.ByHand {
		return p.Part
	}
	if line, named := p.Settings.Find("instrument"); named && len(line.Slots) > 0 {
		return "read by hand: " + line.Slots[0].Text
	}
	return "read by hand"
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func (r *Record) head(ctx context.Context, s Sources) (err error) {
	r.Head, err = s.Logbook.Head(ctx)
	return err
}
