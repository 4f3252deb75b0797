package siren

import (
	"time"

	"millwarden/gateway/callout"
)

// pattern is a sound that comes again after period: from each start on for so long.
type pattern struct {
	period time.Duration
	starts []time.Duration
	length time.Duration
}

// patterns by priority. Chosen: told apart by an ear that was asleep, the more urgent the fewer pauses. None is three pulses and a pause: that is the
// signal for leaving a building [ISO 8201, from memory], and belongs to the fire alarm alone.
var patterns = [callout.LevelDanger + 1]pattern{
	callout.LevelLow:    {30 * time.Second, []time.Duration{0}, 300 * time.Millisecond},
	callout.LevelMedium: {10 * time.Second, []time.Duration{0, 600 * time.Millisecond}, 300 * time.Millisecond},
	callout.LevelHigh:   {2 * time.Second, []time.Duration{0}, time.Second},
	callout.LevelDanger: {time.Second, []time.Duration{0}, 800 * time.Millisecond},
}

// on tells whether it sounds so long after it began.
func (p *pattern) on(after time.Duration) bool {
	if p.period == 0 {
		return false
	}
	at := after % p.period
	for _, start := range p.starts {
		if at >= start && at < start+p.length {
			return true
		}
	}
	return false
}
