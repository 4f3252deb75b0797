package floor_test

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
)

// Aim: what befalls the modem's link is told by the built-in alarms of the board, each with its own cause and once: a weak signal, the network lost (also where
// the modem only searches, as with roaming off), the card refused by the network; roaming counts as a network. Channel-dead, which depends on them, calls nobody
// beside them. The control is the first minute and the time after: with a good modem none of them stands.
func TestModem_alarms(t *testing.T) {
	steps := []struct {
		at     time.Duration
		change func(*texttest.State)
	}{
		{time.Minute, func(s *texttest.State) { s.Signal = 9 }}, // of 31: 29 %
		{13 * time.Minute, func(s *texttest.State) { s.Signal = 10 }},
		{25 * time.Minute, func(s *texttest.State) { s.Registration = 2 }},
		{33 * time.Minute, func(s *texttest.State) { s.Registration = 5 }},
		{36 * time.Minute, func(s *texttest.State) { s.Registration = 3 }},
		{43 * time.Minute, func(s *texttest.State) { s.Registration = 1 }},
	}
	_, _, entries := evening(t, 52*time.Minute, nil, func(ctx context.Context, _ *floor.Floor, modem *texttest.Modem) {
		begun := time.Now()
		for _, s := range steps {
			select {
			case <-ctx.Done():
			case <-time.After(s.at - time.Since(begun)):
				modem.Set(s.change)
			}
		}
	})
	type span struct{ from, to time.Duration }
	want := map[string]span{"signal-weak@text": {11 * time.Minute, 13 * time.Minute}, "network-lost@text": {28 * time.Minute, 30 * time.Minute}, "card-refused@text": {37 * time.Minute, 39 * time.Minute}}
	came := map[string]int{}
	for _, e := range entries {
		var moved struct{ From, To string }
		if e.Kind != logbook.Transition || json.Unmarshal(e.Data, &moved) != nil || moved.To != "unacknowledged" || moved.From == moved.To {
			continue
		}
		came[e.Alarm]++
		if s, known := want[e.Alarm]; known && (e.At.Mono < s.from || e.At.Mono > s.to) {
			t.Errorf("%s came at %v, want between %v and %v", e.Alarm, e.At.Mono, s.from, s.to)
		}
	}
	for alarm := range want {
		if came[alarm] != 1 {
			t.Errorf("%s came %d times, want once", alarm, came[alarm])
		}
	}
	if came["channel-dead@text"] != 0 {
		t.Error("channel-dead called beside the alarm that tells why")
	}
}
