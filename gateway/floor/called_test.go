package floor

import (
	"testing"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/reading"
)

// What the page remembers of calls does not grow with the season: the newest occurrences, of each the newest calls; an alarm that nobody answers all night fills no memory.
func TestNoteCalls_bounded(t *testing.T) {
	f := &Floor{called: map[callsOf][]callout.Line{}}
	const occurrences, calls = 1000, 100
	for o := range int64(occurrences) {
		for c := range calls {
			f.noteCalls(callout.Line{Alarm: "fan-stopped-with-heat@dryer-1", Occurrence: o + 1, At: reading.Stamp{Mono: time.Duration(c) * time.Minute}})
		}
	}
	if len(f.called) != calledMost {
		t.Errorf("%d occurrences are remembered, want %d", len(f.called), calledMost)
	}
	newest := f.called[callsOf{"fan-stopped-with-heat@dryer-1", occurrences}]
	if len(newest) != callsKept || newest[callsKept-1].At.Mono != (calls-1)*time.Minute || newest[0].At.Mono != (calls-callsKept)*time.Minute {
		t.Errorf("of the newest occurrence %d calls are remembered", len(newest))
	}
	if cap(newest) > 4*callsKept {
		t.Errorf("room for %d calls is held", cap(newest))
	}
}
