package engine

import (
	"slices"
	"strings"
	"time"

	"millwarden/internal/reading"
)

// mostMoments is how many comings of one moment are kept. chosen: one a minute for nearly three days; `times` over more than that is a pump
// that starts all the time, and then the count is far beyond any limit.
const mostMoments = 4096

// momentLog is when a moment came, the oldest first.
type momentLog struct {
	times  []time.Duration
	reach  time.Duration // the longest `times` that looks at it
	alarms []int32       // judged when it comes
}

func (l *momentLog) add(at time.Duration) {
	if n := len(l.times); n > 0 {
		at = max(at, l.times[n-1])
	}
	keep := 0 // what no rule can see any more goes, but never the newest
	for keep < len(l.times) && (l.times[keep] <= at-l.reach || len(l.times)-keep >= mostMoments) {
		keep++
	}
	l.times = append(slices.Delete(l.times, 0, keep), at)
}

// count is how often it came after start.
func (l *momentLog) count(start time.Duration) int {
	i, _ := slices.BinarySearchFunc(l.times, start, func(at, start time.Duration) int {
		if at <= start {
			return -1
		}
		return 1
	})
	return len(l.times) - i
}

func (l *momentLog) last() (time.Duration, bool) {
	if len(l.times) == 0 {
		return 0, false
	}
	return l.times[len(l.times)-1], true
}

// since is when a moment came last; if it has not come since loading, then loading; if neither came, then the beginning.
func since(log, loaded *momentLog, began time.Duration) time.Duration {
	at, came := log.last()
	if load, was := loaded.last(); was && (!came || load > at) {
		return load
	}
	if !came {
		return began
	}
	return at
}

// loadingOf is the loading of the station at which a moment comes.
func loadingOf(moment string) string {
	station, _, _ := strings.Cut(moment, "/")
	return station + "/loaded"
}

func (m *machine) momentLog(name string) *momentLog {
	log := m.moments[name]
	if log == nil {
		log = &momentLog{}
		m.moments[name] = log
	}
	return log
}

// moment marks a moment and judges what looks at it.
func (m *machine) moment(name string, at reading.Stamp, out []Transition) []Transition {
	out = m.advance(at, out)
	return m.mark(name, out)
}

func (m *machine) mark(name string, out []Transition) []Transition {
	log := m.momentLog(name)
	log.add(m.clock.mono)
	for _, i := range log.alarms {
		out = m.judge(i, out)
	}
	return out
}
