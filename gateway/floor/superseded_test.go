package floor_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/estate"
)

// Aim: an answer names one occurrence. The dryer's fan stops, is answered, runs again, and stops anew: what then answers the first occurrence, by a reply to
// a text, by the link of a message or the button of a push message (which is that link), by the page and by the command line, is refused as superseded and
// written down with who and when, and the second still calls. Its own answer is taken once; by each way a second one changes nothing.
func TestAnswers_superseded(t *testing.T) {
	const alarm = "fan-stopped-with-heat@dryer-1"
	fail := func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }
	mend := func(_ *estate.Estate, w *estate.Truth) { w.Dryer.Mend() }
	ways := []string{"link", "page", "command"}
	var old, present int64
	_, _, entries := eveningOf(t, memoryFolder(t), 26*time.Minute, withRosa, []estate.Fault{{At: 2 * time.Minute, Do: fail}, {At: 6 * time.Minute, Do: mend}, {At: 16 * time.Minute, Do: fail}},
		func(ctx context.Context, mill *floor.Floor, modem *texttest.Modem) {
			at := func(state string) (occurrence int64) {
				for ctx.Err() == nil {
					var s web.Snapshot
					mill.Snapshot(&s)
					for _, a := range s.Alarms {
						if a.ID == alarm && a.State == state {
							return a.Occurrence
						}
					}
					time.Sleep(time.Second)
				}
				return 0
			}
			act := func(do, via string, occurrence int64) error {
				return mill.Act(ctx, web.Act{Do: do, Alarm: alarm, Occurrence: occurrence, By: "ben", Via: via})
			}
			refused := func(err error, kind string) {
				t.Helper()
				var r *web.Refusal
				if !errors.As(err, &r) || r.Kind != kind {
					t.Errorf("%v, want it refused: %s", err, kind)
				}
			}
			old = at("unacknowledged")
			if err := act(web.DoAcknowledge, "page", old); err != nil {
				t.Error(err)
			}
			for now := old; ctx.Err() == nil && now == old; {
				if now = at("unacknowledged"); now != old {
					present = now
				}
			}
			reply := func(occurrence int64) {
				modem.Receive("+51900000003", fmt.Sprintf("1 %04d", occurrence))
				time.Sleep(5 * time.Second)
			}
			reply(old)
			for _, way := range ways {
				refused(act(web.DoAcknowledge, way, old), web.RefusedSuperseded)
			}
			if at("unacknowledged") != present {
				t.Error("an old answer acknowledged the present occurrence")
			}
			reply(present)
			reply(present)
			for _, way := range ways {
				refused(act(web.DoAcknowledge, way, present), web.RefusedState)
			}
		})
	if old == 0 || present == 0 || old == present {
		t.Fatalf("occurrences %d and %d: the evening proves nothing", old, present)
	}
	refusals, taken := map[string]int{}, map[int64]int{}
	for _, e := range entries {
		switch {
		case e.Alarm != alarm || e.Who == "":
		case e.Kind == logbook.Act && strings.HasPrefix(e.Text, "acknowledge refused") && e.At.Set:
			refusals[fmt.Sprintf("%s %d", e.Who, e.Occurrence)]++
		case e.Kind == logbook.Transition:
			taken[e.Occurrence]++
		}
	}
	want := map[string]int{fmt.Sprintf("rosa %d", old): 1, fmt.Sprintf("ben %d", old): len(ways), fmt.Sprintf("rosa %d", present): 1, fmt.Sprintf("ben %d", present): len(ways)}
	if fmt.Sprint(refusals) != fmt.Sprint(want) || taken[old] != 1 || taken[present] != 1 {
		t.Errorf("written down as refused %v, want %v; taken %v, want one each", refusals, want, taken)
	}
}
