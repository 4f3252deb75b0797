package callout

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// A burst: power fails, a bus hangs, and everything rings within a minute. Who is woken by the first message reads no thirty more; so what follows is
// gathered, and told in one message with counts once it is calm. Nothing is lost by that: each alarm stands on the page and in the logbook, its steps go
// on, and class safety is never gathered.
const (
	// burstMost is how many messages one person gets by one channel in burstWindow before the rest is gathered. Chosen: two troubles of one night are
	// two messages; ISA-18.2 takes 10 alarms in 10 min for a flood, one person with one telephone has less patience.
	burstMost   = 3
	burstWindow = time.Minute
	// gatherCalm is how long nothing new may have come before what was gathered is told, gatherMost how long it waits at most. Chosen: what one cause
	// brings comes within its on-delays and a poll; and a minute and a half is short beside the time to respond.
	gatherCalm = 15 * time.Second
	gatherMost = 90 * time.Second
)

// lane is what one person gets by one channel.
type lane struct{ person, way string }

func (l lane) compare(m lane) int {
	return cmp.Or(strings.Compare(l.person, m.person), strings.Compare(l.way, m.way))
}

// burst is what went out on a lane lately, and what waits there.
type burst struct {
	sent         []time.Duration // monotonic times of messages in burstWindow
	held         []errand
	since, until time.Duration // when the first of held came, and when they are told
}

// flood lets errands pass, or gathers them, and gives back what was gathered and is due.
func (b *book) flood(owed []errand, next *time.Duration, standing map[key]*engine.Standing, now reading.Stamp) []errand {
	many := map[lane]int{}
	for i := range owed {
		if gathers(&owed[i]) {
			many[laneOf(&owed[i])]++
		}
	}
	var pass []errand
	for _, e := range owed {
		if !gathers(&e) || b.burst(laneOf(&e)).room(many[laneOf(&e)], now.Mono) {
			pass = append(pass, e)
			continue
		}
		b.burst(laneOf(&e)).hold(e, now.Mono)
	}
	for _, l := range slices.SortedFunc(maps.Keys(b.bursts), lane.compare) {
		one := b.bursts[l]
		pass = append(pass, b.release(one, next, standing, now)...)
		if len(one.held) == 0 && one.lately(now.Mono) == 0 {
			delete(b.bursts, l)
		}
	}
	return pass
}

// gathers tells whether an errand may wait for others: not what can hurt people, not a siren, not what is a digest already.
func gathers(e *errand) bool {
	return !e.shared && len(e.standings) == 1 && e.key.occurrence != 0 && e.standings[0].Alarm.Class != engine.Safety
}

func laneOf(e *errand) lane { return lane{e.person, e.way} }

func (b *book) burst(l lane) *burst {
	if b.bursts[l] == nil {
		b.bursts[l] = &burst{}
	}
	return b.bursts[l]
}

// lately counts what went out in the window.
func (u *burst) lately(now time.Duration) int {
	for len(u.sent) > 0 && now-u.sent[0] >= burstWindow {
		u.sent = u.sent[1:]
	}
	return len(u.sent)
}

// room takes one more message at once, if it may go. Of many that come together only the first does.
func (u *burst) room(together int, now time.Duration) bool {
	lately := u.lately(now)
	if len(u.held) > 0 || lately >= burstMost || lately > 0 && together > burstMost {
		return false
	}
	u.sent = append(u.sent, now)
	return true
}

func (u *burst) hold(e errand, now time.Duration) {
	if len(u.held) == 0 {
		u.since = now
	}
	u.held = append(u.held, e)
	u.until = min(now+gatherCalm, u.since+gatherMost)
}

// release gives what a burst gathered, once it is due: in one message, or singly if it was no flood after all. What nobody need be called for any more
// is dropped.
func (b *book) release(u *burst, next *time.Duration, standing map[key]*engine.Standing, now reading.Stamp) []errand {
	still := u.held[:0]
	for _, e := range u.held {
		if s := standing[e.key]; s != nil && b.calls[e.key] != nil {
			e.standings = []engine.Standing{*s}
			still = append(still, e)
		} else {
			delete(b.underWay, flightOf(e.shared, &e))
		}
	}
	u.held = still
	if len(still) == 0 {
		return nil
	}
	if now.Mono < u.until {
		*next = min(*next, u.until-now.Mono)
		return nil
	}
	u.held = nil
	u.sent = append(u.sent, now.Mono)
	if len(still) <= burstMost {
		return still
	}
	one := errand{person: still[0].person, way: still[0].way, watch: still[0].watch, parts: still}
	for i := range still {
		one.standings = append(one.standings, still[i].standings[0])
	}
	return []errand{one}
}
