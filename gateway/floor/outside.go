package floor

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/callout/watcher"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// buildOutside makes the call to the outside watcher and the daily message, where the rules file asks for them. A watcher that cannot be set up is told
// and keeps nothing else from starting.
func (f *Floor) buildOutside() error {
	w := f.plan().Watcher
	if w == nil {
		return nil
	}
	if w.AllWell >= 0 {
		p := &part{name: "daily message"}
		p.run = f.runDaily
		f.parts = append(f.parts, p)
	}
	address := w.Address
	var err error
	if address == "" {
		address, err = f.o.Credential(w.Credential)
	}
	if err == nil {
		f.watcher, err = watcher.New(watcher.Options{Address: address, Every: w.Every, Well: f.trouble, Clock: f.clock, Transport: f.o.Outside})
	}
	if err != nil {
		f.log.Error("the outside watcher cannot be called", "cause", err)
		f.write(logbook.Entry{Kind: logbook.Fault, Place: "outside-watcher", Text: "the outside watcher cannot be called: " + err.Error()})
		f.watcher = nil
		return nil
	}
	f.parts = append(f.parts, &part{name: "outside watcher", run: f.watcher.Run})
	return nil
}

// unansweredMost is how long an alarm of priority high may wait for somebody where it does not say itself how long there is; chosen.
const unansweredMost = 30 * time.Minute

// trouble is what keeps the outside from being told that all is well: a part that stands still, a record that cannot be written, nobody who could be
// called, or an alarm of priority high that nobody has answered in the time in which an answer helps. Then somebody outside is needed.
func (f *Floor) trouble() string {
	for _, w := range f.Workers() {
		if w.Stands {
			return w.Name + " stands still"
		}
	}
	if f.links.logbookFault.Load() {
		return "the logbook cannot be written"
	}
	if f.links.historyBad.Load() != nil {
		return "the history cannot be written"
	}
	works := len(f.plan().Channels) == 0
	for _, c := range f.plan().Channels {
		works = works || f.channelWorks(c.Name)
	}
	if !works {
		return "no channel works: nobody can be called"
	}
	return f.unanswered()
}

func (f *Floor) unanswered() string {
	f.deciding.Lock()
	defer f.deciding.Unlock()
	now := f.clock.Now()
	for _, s := range f.engine.Standings(nil) {
		a := s.Alarm
		if a.Kind != engine.KindAlarm || a.Priority != engine.High || s.State != engine.Unacknowledged {
			continue
		}
		if waited := now.Mono - s.Since.Mono; waited > cmp.Or(a.RespondWithin, unansweredMost) {
			return fmt.Sprintf("nobody has answered %s for %v", a.ID, waited.Round(time.Minute))
		}
	}
	return ""
}

// dailyEvery is how often the hour of the daily message is looked at, dailyLate how late it is still sent after a restart. Chosen.
const (
	dailyEvery = 10 * time.Second
	dailyLate  = time.Hour
	dailyPlace = "daily message"
)

// runDaily sends the daily message at its hour, once a day: the record says whether it was sent, also before a restart.
func (f *Floor) runDaily(ctx context.Context) error {
	tick := time.NewTicker(max(f.clock.Real(dailyEvery), shortestTick))
	defer tick.Stop()
	for {
		if err := f.daily(ctx, f.clock.Now()); err != nil {
			f.log.Warn("daily message not sent", "cause", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

func (f *Floor) daily(ctx context.Context, now reading.Stamp) error {
	w := f.plan().Watcher
	if w == nil || w.AllWell < 0 || !now.Set {
		return nil
	}
	due := lastComing(now.Wall.In(f.plan().Site.Zone), w.AllWell)
	if !f.told.Before(due) || now.Wall.Sub(due) > dailyLate {
		return nil
	}
	entries, err := f.logbook.Entries(ctx, logbook.Filter{Place: dailyPlace, From: due, Limit: 1})
	if err != nil {
		return err
	}
	if f.told = due; len(entries) > 0 {
		return nil
	}
	well := f.well()
	f.write(logbook.Entry{Kind: logbook.Note, Place: dailyPlace, Text: fmt.Sprintf("daily message: %d alarms stand, %d of %d probes give readings %s", well.Standing, well.Reading, well.Probes, well.Trouble)})
	for _, person := range w.People {
		if err := f.callout.AllWell(person, w.By, well); err != nil {
			return err
		}
	}
	return nil
}

// lastComing is the newest coming of a time of day up to now. An hour that the clock leaves out comes at the end of the gap [time.Date].
func lastComing(now time.Time, minute int) time.Time {
	for day := 0; ; day-- {
		if at := time.Date(now.Year(), now.Month(), now.Day()+day, 0, minute, 0, 0, now.Location()); !at.After(now) {
			return at
		}
	}
}

// well is what the daily message tells.
func (f *Floor) well() callout.Well {
	w := callout.Well{Trouble: f.trouble()}
	if d := f.lastDrill(); d.By != "" {
		w.Drilled = d.By + ", " + d.At.Wall.In(f.plan().Site.Zone).Format("2006-01-02 15:04")
	}
	f.deciding.Lock()
	defer f.deciding.Unlock()
	for _, s := range f.engine.Standings(nil) {
		if s.Alarm.Kind == engine.KindAlarm && (s.State == engine.Unacknowledged || s.State == engine.Acknowledged) {
			w.Standing++
		}
	}
	for i := range f.plan().Probes {
		p := &f.plan().Probes[i]
		if p.Remote || p.Part == check.ByHand {
			continue
		}
		w.Probes++
		reads := len(p.Gives) > 0
		for _, g := range p.Gives {
			newest, seen := f.newest[g.Point]
			state, _ := f.engine.Look(g.Point)
			reads = reads && seen && newest.Quality != reading.Bad && !state.Overdue
		}
		if reads {
			w.Reading++
		}
	}
	return w
}

// watcherLink shows the outside watcher on the page.
func (f *Floor) watcherLink() web.Link {
	link := web.Link{Kind: "watcher", Name: "outside-watcher", Title: "Outside watcher", Set: f.plan().Watcher != nil}
	if f.watcher != nil {
		status := f.watcher.Status()
		link.Works, link.Cause = status.Trouble == "", status.Trouble
	} else if link.Set {
		link.Cause = "it cannot be called; the logbook says why"
	}
	return link
}
