package callout

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

// Roster is who is called, when, by what. With persons and no watch at all, everybody is called at once, at every hour.
type Roster struct {
	Site     string // its title
	Zone     *time.Location
	Language string // of people who chose none: "en" or "es"
	People   []Person
	Watches  []Watch
	Ways     []Way  // the order is that in which a person's channels are tried
	Swaps    []Swap // oldest first
	Said     []Translation

	people    map[string]*Person
	watches   map[string]*Watch
	everybody *Watch
	alone     map[string]*Watch // a watch of each person, for alarms that name her
}

// Person is somebody who may be called.
type Person struct {
	Name, Title string
	Phone, Mail string
	By          []string // channels by which she is reached where a step names none; empty: all that fit
	Language    string
	Choice      units.Choice
}

// Watch is who is called at which hours.
type Watch struct {
	Name          string
	Hours         []engine.Span // empty: always
	Steps         []Step        // in the order of After; the first has 0
	Repeat        time.Duration // the last step again and again; 0: 10 min
	Takes         []engine.Priority
	Areas         []string // empty: all
	OnlyWhenNamed bool
	Digest        int // minutes after midnight at which priority low is told, in one message; below 0: at once
}

// Step is one step of a watch.
type Step struct {
	After  time.Duration // since the first call
	People []string
	By     []string // channels; empty: each person's own
}

// defaultRepeat is that of `repeat` in the rules language.
const defaultRepeat = 10 * time.Minute

// alonePrefix begins the name of the watch that one person is alone; no name of the rules file holds a space.
const alonePrefix = "person "

// watch finds a watch by the name under which its calls are journalled.
func (r *Roster) watch(name string) *Watch {
	if name == "" {
		return r.everybody
	}
	if person, ok := strings.CutPrefix(name, alonePrefix); ok {
		return r.alone[person]
	}
	return r.watches[name]
}

// check finds what would keep people from being called.
func (r *Roster) check() error {
	var faults []error
	names := map[string]bool{}
	for _, p := range r.People {
		names[p.Name] = true
	}
	ways := map[string]bool{}
	for _, w := range r.Ways {
		if ways[w.Name] || w.Channel == nil {
			faults = append(faults, fmt.Errorf("channel %s stands twice, or is none", w.Name))
		}
		ways[w.Name] = true
	}
	for _, w := range r.Watches {
		if len(w.Steps) == 0 {
			faults = append(faults, fmt.Errorf("watch %s calls nobody", w.Name))
		}
		for i, s := range w.Steps {
			if i == 0 && s.After != 0 || i > 0 && s.After < w.Steps[i-1].After {
				faults = append(faults, fmt.Errorf("watch %s: step %d comes after %v", w.Name, i+1, s.After))
			}
			for _, name := range s.People {
				if !names[name] {
					faults = append(faults, fmt.Errorf("watch %s: there is no person %s", w.Name, name))
				}
			}
			for _, name := range s.By {
				if !ways[name] {
					faults = append(faults, fmt.Errorf("watch %s: there is no channel %s", w.Name, name))
				}
			}
		}
	}
	if r.Zone == nil {
		faults = append(faults, errors.New("the site's time zone is missing"))
	}
	return errors.Join(faults...)
}

// prepared is a copy with its indexes.
func (r Roster) prepared() *Roster {
	r.People, r.Watches, r.Ways = slices.Clone(r.People), slices.Clone(r.Watches), slices.Clone(r.Ways)
	r.people, r.watches, r.alone = map[string]*Person{}, map[string]*Watch{}, map[string]*Watch{}
	r.everybody = &Watch{Steps: []Step{{}}, Repeat: defaultRepeat, Digest: -1}
	for i := range r.People {
		p := &r.People[i]
		r.people[p.Name] = p
		r.everybody.Steps[0].People = append(r.everybody.Steps[0].People, p.Name)
		r.alone[p.Name] = &Watch{Name: alonePrefix + p.Name, Steps: []Step{{People: []string{p.Name}}}, Repeat: defaultRepeat, Digest: -1}
	}
	for i := range r.Watches {
		w := &r.Watches[i]
		if w.Repeat <= 0 {
			w.Repeat = defaultRepeat
		}
		r.watches[w.Name] = w
	}
	return &r
}

// ways are the channels by which a person is reached: those named, else her own, else all that fit. Who stands in may have none of those that a step
// names for another: then her own come beside the siren.
func (r *Roster) ways(p *Person, named []string) []string {
	if len(named) == 0 {
		return r.fitting(p, p.By)
	}
	fit := r.fitting(p, named)
	if alone := func(way string) bool { return !r.shared(way) }; slices.ContainsFunc(named, alone) && !slices.ContainsFunc(fit, alone) {
		for _, way := range r.fitting(p, p.By) {
			if alone(way) {
				fit = append(fit, way)
			}
		}
	}
	return fit
}

// fitting are the channels of those named that fit a person; none named: all.
func (r *Roster) fitting(p *Person, named []string) []string {
	var fit []string
	for i := range r.Ways {
		w := &r.Ways[i]
		if (len(named) == 0 || slices.Contains(named, w.Name)) && r.fits(w, p) {
			fit = append(fit, w.Name)
		}
	}
	return fit
}

func (r *Roster) fits(w *Way, p *Person) bool { return w.Reaches == nil || w.Reaches(p) }

func (r *Roster) shared(way string) bool {
	i := slices.IndexFunc(r.Ways, func(w Way) bool { return w.Name == way })
	return i >= 0 && r.Ways[i].Shared
}

// Called are the watches that an alarm calls at a time, as a gateway with this roster would: those it names, else those on duty that take it; Alone tells
// those that stand for single people or for everybody.
func (r Roster) Called(a *engine.Alarm, at reading.Stamp) []Watch {
	var called []Watch
	for _, w := range r.prepared().swapped(at).takers(a, at) {
		called = append(called, *w)
	}
	return called
}

// Alone tells that this is no watch of the rules file: it stands for a person whom an alarm names, or for everybody.
func (w *Watch) Alone() bool { return w.Name == "" || strings.HasPrefix(w.Name, alonePrefix) }

// takers are the watches that an alarm calls now: those it names, else those on duty that take its priority and area. While the clock is not set
// every watch is on duty: better one call too many. An alarm of class safety never waits for the hours of a watch.
func (r *Roster) takers(a *engine.Alarm, now reading.Stamp) []*Watch {
	all := r.candidates(a)
	var on []*Watch
	for _, w := range all {
		if !now.Set || OnDuty(w.Hours, now.Wall.In(r.Zone)) {
			on = append(on, w)
		}
	}
	switch {
	case len(on) > 0:
		return on
	case a.Class == engine.Safety && len(all) > 0:
		return all
	case a.Class == engine.Safety || len(r.Watches) == 0:
		return []*Watch{r.everybody}
	}
	return nil
}

// candidates are the watches that an alarm would call at one hour or another.
func (r *Roster) candidates(a *engine.Alarm) []*Watch {
	var all []*Watch
	for _, name := range a.Call {
		switch {
		case r.watches[name] != nil:
			all = append(all, r.watches[name])
		case r.alone[name] != nil:
			all = append(all, r.alone[name])
		}
	}
	if len(all) > 0 {
		return all
	}
	for i := range r.Watches {
		if w := &r.Watches[i]; !w.OnlyWhenNamed && w.takes(a) {
			all = append(all, w)
		}
	}
	return all
}

func (w *Watch) takes(a *engine.Alarm) bool {
	return (len(w.Takes) == 0 || slices.Contains(w.Takes, a.Priority)) && (len(w.Areas) == 0 || slices.Contains(w.Areas, a.Area))
}

// OnDuty tells whether one of the spans covers a time of the site's clock; without a span it is always so. It goes by what the clock on the wall shows,
// so an hour that a change of the clocks leaves out or repeats needs no rule of its own; a span over midnight belongs to the day on which it begins.
func OnDuty(hours []engine.Span, local time.Time) bool {
	if len(hours) == 0 {
		return true
	}
	return slices.ContainsFunc(hours, func(s engine.Span) bool { return s.Covers(local) })
}

// waits tells whether the alarm is told in the watch's digest: priority low, and nothing that can hurt anybody.
func (w *Watch) waits(a *engine.Alarm, now reading.Stamp) bool {
	return w.Digest >= 0 && a.Priority == engine.Low && a.Class != engine.Safety && now.Set
}

// nextDigest is the next coming of the watch's hour after t.
func (r *Roster) nextDigest(w *Watch, t time.Time) time.Time {
	local := t.In(r.Zone)
	for day := 0; ; day++ {
		if at := time.Date(local.Year(), local.Month(), local.Day()+day, 0, w.Digest, 0, 0, r.Zone); at.After(t) {
			return at
		}
	}
}
