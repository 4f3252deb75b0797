package floor_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/estate"
)

// Aim: the page says who is called next and when, and so it comes to pass: Ben five minutes after Ana; promised for ten minutes after her is everybody, but for
// Ben, who was reached a moment ago; once somebody has acknowledged nobody is next.
func TestSnapshot_next(t *testing.T) {
	byText := func(rules string) string {
		return strings.Replace(strings.ReplaceAll(rules, " by mail", " by text"), "person ben\n", "person ben\n    phone \"+51 900 000 002\"\n", 1)
	}
	eveningOf(t, memoryFolder(t), 11*time.Minute, byText, []estate.Fault{{At: 2 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }}},
		func(ctx context.Context, mill *floor.Floor, modem *texttest.Modem) {
			var alarm web.Alarm
			for ctx.Err() == nil && (alarm.ID == "" || len(alarm.Calls) == 0) {
				time.Sleep(time.Second)
				alarm = dryerCalls(mill, modem)
			}
			first := alarm.Calls[0].At.Mono
			says := func(what string, after time.Duration, people ...string) {
				t.Helper()
				alarm, _ = standing(mill, alarm.ID) // others of the dryer follow
				if len(alarm.Next) != len(people) {
					t.Errorf("%s: next are %+v, want %v", what, alarm.Next, people)
					return
				}
				for i, n := range alarm.Next {
					if off := n.At.Mono - first - after; n.Person != people[i] || n.Channel == "" || off < -2*time.Second || off > 2*time.Second || !n.At.Set {
						t.Errorf("%s: next is %+v, want %s %v after the first call", what, n, people[i], after)
					}
				}
			}
			time.Sleep(time.Minute)
			says("after a minute", 5*time.Minute, "Ben")
			time.Sleep(4*time.Minute + 30*time.Second)
			if n := len(alarm.Calls); n != 1 {
				t.Errorf("%d calls before Ben's", n)
			}
			says("after five minutes", 10*time.Minute, "Ana") // Ben was reached a moment ago
			if last := alarm.Calls[len(alarm.Calls)-1]; last.Person != "Ben" || last.At.Mono-first < 5*time.Minute-2*time.Second {
				t.Errorf("Ben was promised, and called was %+v", last)
			}
			if err := mill.Act(ctx, web.Act{Do: web.DoAcknowledge, Alarm: alarm.ID, Occurrence: alarm.Occurrence, By: "ben"}); err != nil {
				t.Error(err)
			}
			time.Sleep(2 * time.Second)
			if a, stands := standing(mill, alarm.ID); !stands || len(a.Next) != 0 {
				t.Errorf("acknowledged, and next are %+v", a.Next)
			}
		})
}
