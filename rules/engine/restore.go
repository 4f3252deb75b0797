package engine

import (
	"math"
	"slices"
	"strings"
	"time"

	"millwarden/internal/reading"
)

const (
	// savedVersion changes when old saved state can no longer be read.
	savedVersion = 1
	// farthest is how far from now a saved time may lie. chosen: longer than any delay or window, so that a damaged one can do no harm.
	farthest = 10 * 365 * 24 * time.Hour
	// longestRerun is how long a pause is gone through second by second. chosen: a restart takes minutes; after a longer one the rules in which time
	// runs are judged as from now, since what lies between is known from no reading.
	longestRerun = time.Hour
)

func (m *machine) save() *Saved {
	s := &Saved{Version: savedVersion, At: m.clock.stamp(), Began: m.began, Occurrences: m.occurrences}
	for _, i := range m.byPlan {
		s.Alarms = append(s.Alarms, m.saveAlarm(&m.alarms[i]))
	}
	for i := range m.points {
		p := &m.points[i]
		sp := SavedPoint{Name: p.spec.Name, Quality: p.quality, Cause: p.cause, At: p.stamp, Seen: p.seen, Overdue: p.condition == overdue, Resting: p.resting}
		if p.known() {
			sp.Value = p.open
		}
		sp.LastKnown = running(p.lastKnown, p.lastKnown != never)
		if p.work != nil {
			sp.Worked, sp.WorkDue = running(p.work.last, p.work.last != never), m.saveTimer(timerWork, p.work.place)
		}
		s.Points = append(s.Points, sp)
	}
	for name, log := range m.moments {
		if len(log.times) > 0 {
			s.Moments = append(s.Moments, SavedMoment{Name: name, Times: slices.Clone(log.times)})
		}
	}
	slices.SortFunc(s.Moments, func(a, b SavedMoment) int { return strings.Compare(a.Name, b.Name) })
	return s
}

// running is a time that is kept only while it runs.
func running(at time.Duration, runs bool) *time.Duration {
	if !runs {
		return nil
	}
	return &at
}

func (m *machine) saveTimer(kind timerKind, i int32) *time.Duration {
	due := m.timers.due(kind, i)
	return running(due, due != never)
}

func (m *machine) saveAlarm(a *alarm) SavedAlarm {
	return SavedAlarm{ID: a.spec.ID, Base: a.base, Shelved: a.shelved, Suppressed: a.suppressed, Removed: a.removed, Present: a.present,
		Remembered: a.remembered, GateClosed: a.gateClosed, Blind: a.blind, Occurrence: a.occurrence, Count: a.count, Since: a.since,
		ActiveSince: a.activeSince, AcknowledgedBy: a.acknowledgedBy, AcknowledgedAt: a.acknowledgedAt, Because: a.because,
		Values: slices.Clone(a.values), Printed: a.spec.Printed, Priority: a.spec.Priority, OnFor: a.onFor, OnSince: running(a.onSince, a.waiting),
		OffSince: running(a.offSince, a.ending), ShelfBegan: running(a.shelfBegan, a.shelved), ShelfEnds: m.saveTimer(timerShelf, a.place),
		AgainDue: m.saveTimer(timerAgain, a.place), OneShot: a.oneShot, TailUntil: running(a.tailUntil, a.tailUntil > m.clock.mono)}
}

// restore takes over the state of an engine before: after a restart, or, with by, of the plan before a reload. Alarms that the plan does not have
// any more are withdrawn.
func (m *machine) restore(s *Saved, by string) {
	now := m.clock.anchor
	t := transfer{m: m, note: "the rules were changed; "}
	if by != "" {
		t.note = "the rules were changed by " + by + "; "
	}
	t.sure = now.Boot == s.At.Boot && s.At.Mono <= now.Mono
	t.shift, t.timed = shiftTo(now, s.At, t.sure)
	m.clock.mono = min(now.Mono, max(t.move(s.At.Mono), now.Mono-farthest)) // what was due since then happens with the first call
	m.resumed, m.occurrences, m.began = t.sure, s.Occurrences, min(t.move(s.Began), m.clock.mono)
	m.second = nextSecond(m.clock.mono)
	if !t.sure || now.Mono-m.clock.mono > longestRerun {
		m.second, m.leapt = nextSecond(now.Mono), nextSecond(now.Mono)
	}
	for _, sp := range s.Points {
		t.point(sp)
	}
	for _, sm := range s.Moments {
		log := m.momentLog(sm.Name)
		for _, at := range sm.Times {
			log.times = append(log.times, min(t.move(at), m.clock.mono))
		}
	}
	taken := t.alarms(s.Alarms)
	for _, sa := range s.Alarms {
		if !taken[sa.ID] {
			t.withdraw(sa)
		}
	}
}

// shiftTo is what to add to saved times so that they lie on the monotonic axis of now. Between two boots the wall clock tells how long it was, if
// it was set before and after; else no time has passed, as far as anybody knows, and timed is false: no value is sure to stand still.
func shiftTo(now, saved reading.Stamp, sameBoot bool) (shift time.Duration, timed bool) {
	if sameBoot {
		return 0, true
	}
	if now.Set && saved.Set && now.Boot != saved.Boot {
		away := min(max(0, now.Wall.Sub(saved.Wall)), farthest)
		return now.Mono - away - saved.Mono, true
	}
	return now.Mono - saved.Mono, false
}

// transfer carries saved state into a machine.
type transfer struct {
	m     *machine
	shift time.Duration
	timed bool // it is known how long it was: readings grew old meanwhile
	sure  bool // the same boot: values that never grow old stand on
	note  string
}

// move puts a saved time on the present axis.
func (t transfer) move(at time.Duration) time.Duration {
	const most = 1 << 61 // so that no sum runs over
	now := t.m.clock.anchor.Mono
	return min(max(min(max(at, -most), most)+t.shift, now-2*farthest), now+2*farthest)
}

func (t transfer) at(saved *time.Duration, otherwise time.Duration) time.Duration {
	if saved == nil {
		return otherwise
	}
	return t.move(*saved)
}

// stamp moves a stamp of another boot to the present axis, so that it can be reckoned with; its wall time stays.
func (t transfer) stamp(s reading.Stamp) reading.Stamp {
	if s == (reading.Stamp{}) {
		return s
	}
	s.Mono, s.Boot = t.move(s.Mono), t.m.clock.anchor.Boot
	return s
}

func (t transfer) point(sp SavedPoint) {
	m := t.m
	i, ok := m.index[sp.Name]
	if !ok {
		i = int32(slices.IndexFunc(m.plan.Points, func(p Point) bool { return p.Formerly == sp.Name }))
	}
	if i < 0 {
		return
	}
	p := &m.points[i]
	p.lastKnown = t.at(sp.LastKnown, never)
	if p.resting = sp.Resting; p.resting {
		m.timers.stop(timerOverdue, i)
	}
	if !t.timed || (!t.sure && p.overdueAfter == 0) {
		return // read anew; or worked out anew, or told anew by its model
	}
	if p.work != nil {
		p.work.last = t.at(sp.Worked, never)
		if sp.WorkDue != nil {
			m.timers.set(timerWork, p.work.place, t.move(*sp.WorkDue))
		}
	}
	if sp.Seen {
		lastKnown := p.lastKnown
		p.take(sp.Value, sp.Quality, sp.Cause, t.stamp(sp.At))
		p.lastKnown = lastKnown
		m.expect(i, p.at)
	} else if t.sure {
		m.expect(i, m.began)
	}
	if sp.Overdue {
		p.stand(overdue, math.NaN())
		m.timers.stop(timerOverdue, i)
	}
}

// listen lets every point that is not overdue be so only when it has been silent from now on.
func (m *machine) listen(now time.Duration) {
	for i := range m.points {
		if p := &m.points[i]; p.condition != overdue {
			m.expect(int32(i), max(now, p.at))
		}
	}
}

// alarms takes over what fits, by ID or by the ID it was formerly, and tells which saved ones were.
func (t transfer) alarms(saved []SavedAlarm) map[string]bool {
	byID := make(map[string]*SavedAlarm, len(saved))
	for i := range saved {
		byID[saved[i].ID] = &saved[i]
	}
	taken := map[string]bool{}
	var renamed []*alarm
	for i := range t.m.alarms {
		a := &t.m.alarms[i]
		if sa := byID[a.spec.ID]; sa != nil {
			taken[sa.ID] = true
			t.alarm(a, sa)
		} else {
			renamed = append(renamed, a)
		}
	}
	for _, a := range renamed {
		if sa := byID[a.spec.formerID()]; sa != nil && !taken[sa.ID] {
			taken[sa.ID] = true
			t.alarm(a, sa)
		} else {
			t.m.anew = append(t.m.anew, a.place)
		}
	}
	return taken
}

// formerID is the identity an alarm had before it was renamed; Formerly is the old name, or the whole old ID where the place changed too.
func (a *Alarm) formerID() string {
	if a.Formerly == "" || strings.Contains(a.Formerly, "@") {
		return a.Formerly
	}
	_, place, _ := strings.Cut(a.ID, "@")
	return a.Formerly + "@" + place
}

func (t transfer) alarm(a *alarm, sa *SavedAlarm) {
	m := t.m
	a.base, a.shelved, a.suppressed, a.removed = sa.Base, sa.Shelved, sa.Suppressed, sa.Removed
	a.present, a.remembered = sa.Present, sa.Remembered && a.latching
	if standing := a.base == Unacknowledged || a.base == Acknowledged; a.base > LatchedAcknowledged || !a.shown().Hidden() && standing != a.present {
		a.base = a.exit() // damaged: as if just shown again
	}
	a.gateClosed, a.blind = sa.GateClosed && a.gateOpens != nil, sa.Blind
	a.occurrence, a.count, a.because, a.values = sa.Occurrence, sa.Count, sa.Because, sa.Values
	a.since, a.activeSince = t.stamp(sa.Since), t.stamp(sa.ActiveSince)
	a.acknowledgedBy, a.acknowledgedAt = sa.AcknowledgedBy, t.stamp(sa.AcknowledgedAt)
	a.oneShot, a.shelfBegan = sa.OneShot, t.at(sa.ShelfBegan, 0)
	a.tailUntil = t.at(sa.TailUntil, -never)
	t.timer(timerTail, a, sa.TailUntil)
	t.timer(timerShelf, a, sa.ShelfEnds)
	t.timer(timerAgain, a, sa.AgainDue)
	t.unlatch(a)
	if a.shelved && sa.ShelfEnds == nil {
		m.pending = m.step(a, Unshelve, deed{why: "the end of its shelf is not known"}, m.pending)
	}
	if sa.Printed != a.spec.Printed {
		a.note = t.note
		m.anew = append(m.anew, a.place)
	} else {
		t.delays(a, sa)
	}
	t.importance(a, sa)
}

func (t transfer) timer(kind timerKind, a *alarm, due *time.Duration) {
	if due != nil {
		t.m.timers.set(kind, a.place, t.move(*due))
	}
}

// unlatch fits the state of a latching alarm to one that no longer is, and the other way round.
func (t transfer) unlatch(a *alarm) {
	switch {
	case !a.latching && a.base == LatchedUnacknowledged:
		a.base = ReturnedUnacknowledged
	case !a.latching && a.base == LatchedAcknowledged:
		a.base = Normal
	case a.latching && a.base == ReturnedUnacknowledged:
		a.base = LatchedUnacknowledged
	}
	a.remembered = a.latching && (a.remembered || a.present || a.base == LatchedUnacknowledged || a.base == LatchedAcknowledged)
}

// delays go on where they were.
func (t transfer) delays(a *alarm, sa *SavedAlarm) {
	a.onFor = min(max(0, sa.OnFor), a.spec.OnDelay)
	if sa.OnSince != nil {
		a.waiting, a.onSince = true, t.move(*sa.OnSince)
		t.m.timers.set(timerDelay, a.place, a.onSince+a.spec.OnDelay-a.onFor)
	}
	if sa.OffSince != nil {
		a.ending, a.offSince = true, t.move(*sa.OffSince)
		t.m.timers.set(timerDelay, a.place, a.offSince+a.spec.OffDelay)
	}
}

// importance: one that may no longer be shelved comes off its shelf; one that matters more than before calls again.
func (t transfer) importance(a *alarm, sa *SavedAlarm) {
	if a.shelved && a.spec.shelfLimit() == 0 {
		t.m.pending = t.m.step(a, Unshelve, deed{why: t.note + "it may not be shelved any more"}, t.m.pending)
	}
	if a.spec.Priority > sa.Priority && a.shown() == Acknowledged && a.spec.Kind == KindAlarm {
		t.m.pending = t.m.step(a, ReAnnunciate, deed{why: t.note + "its priority is now " + a.spec.Priority.String()}, t.m.pending)
	}
}

// withdraw closes an alarm that the plan does not have any more, visibly.
func (t transfer) withdraw(sa SavedAlarm) {
	was := facts{base: sa.Base, shelved: sa.Shelved, suppressed: sa.Suppressed, removed: sa.Removed}.shown()
	if was == Normal {
		return
	}
	name, place, _ := strings.Cut(sa.ID, "@")
	t.m.pending = append(t.m.pending, Transition{Alarm: &Alarm{ID: sa.ID, Name: name, Place: place, Priority: sa.Priority}, Event: Withdraw, From: was, To: Normal,
		Occurrence: sa.Occurrence, At: t.m.clock.stampAt(t.m.clock.anchor.Mono), Because: t.note + "withdrawn by rules change."})
}

// reload goes over to another plan.
func (e *Engine) reload(p Plan, now reading.Stamp, by string, out []Transition) ([]Transition, error) {
	fresh, err := newMachine(p, now)
	if err != nil {
		return out, err
	}
	old := e.m
	out = old.advance(now, out)
	fresh.restore(old.save(), by)
	for i := range fresh.pending { // the old plan still knows all about an alarm that is withdrawn
		if t := &fresh.pending[i]; t.Event == Withdraw {
			t.Alarm = old.alarms[old.byID[t.Alarm.ID]].spec
		}
	}
	fresh.inherit(old)
	e.m = fresh
	return fresh.advance(now, out), nil
}

// inherit lets new windows begin with what the old ones of the same point hold.
func (m *machine) inherit(old *machine) {
	for i := range m.points {
		p := &m.points[i]
		j, ok := old.index[p.spec.Name]
		if !ok {
			j, ok = old.index[p.spec.Formerly]
		}
		if !ok {
			continue
		}
		for _, w := range p.windows {
			if from := closest(w, old.points[j].windows); from != nil {
				from.passTo(w)
			}
		}
	}
}

// closest is the window that can best fill w: its equal, else the one that looks back furthest.
func closest(w *window, among []*window) *window {
	var best *window
	for _, o := range among {
		if o.over == w.over && o.ago == w.ago {
			return o
		}
		if best == nil || o.over+o.ago > best.over+best.ago {
			best = o
		}
	}
	return best
}
