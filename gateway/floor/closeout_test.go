package floor_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/estate"
)

// Aim: afterwards, from the chips to the record. The dryer's fan stops, Ben answers, the fan runs again: then, and not before, the page asks what it was;
// what he says stands in the logbook with the occurrence and the lot, is found by its words, and comes into the lot's record; said twice it is written once.
func TestCloseOut_wholeWay(t *testing.T) {
	const was, done = "Chaff in the fan's belt", "cleaned, belt tightened."
	reached := false
	eveningOf(t, memoryFolder(t), 16*time.Minute, withRosa, []estate.Fault{{At: 2 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }}, {At: 6 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.Mend() }}},
		func(ctx context.Context, mill *floor.Floor, _ *texttest.Modem) {
			const alarm = "fan-stopped-with-heat@dryer-1"
			standing := func() (a web.Alarm, stands bool) {
				var s web.Snapshot
				mill.Snapshot(&s)
				for _, a := range s.Alarms {
					if a.ID == alarm && a.State != "normal" {
						return a, true
					}
				}
				return a, false
			}
			act := func(do string, occurrence int64, by string) error {
				a := web.Act{Do: do, Alarm: alarm, Occurrence: occurrence, By: by, Via: "page"}
				if do == web.DoCloseOut {
					a.What, a.Why = was, done
				}
				return mill.Act(ctx, a)
			}
			refused := func(err error, kind string) {
				t.Helper()
				var r *web.Refusal
				if !errors.As(err, &r) || r.Kind != kind {
					t.Errorf("%v, want it refused: %s", err, kind)
				}
			}
			asked := func() (n int) {
				t.Helper()
				list, err := mill.Books().Closings(ctx)
				if err != nil {
					t.Error(err)
				}
				for _, c := range list {
					if c.Alarm == alarm {
						n++
					}
				}
				return n
			}
			a, stands := standing()
			for ; ctx.Err() == nil && !stands; a, stands = standing() {
				time.Sleep(time.Second)
			}
			time.Sleep(time.Second) // it is decided before it is written
			refused(act(web.DoCloseOut, a.Occurrence, "ben"), web.RefusedState)
			if err := act(web.DoAcknowledge, a.Occurrence, "ben"); err != nil {
				t.Error(err)
			}
			if asked() != 0 {
				t.Error("asked while the alarm stood")
			}
			for ctx.Err() == nil && stands {
				time.Sleep(time.Second)
				if now, still := standing(); !still {
					stands = false
				} else if now.State == "latched, acknowledged" {
					refused(act(web.DoCloseOut, a.Occurrence, "ben"), web.RefusedState)
					if err := act(web.DoReset, a.Occurrence, "ben"); err != nil {
						t.Error(err)
					}
				}
			}
			if ctx.Err() != nil {
				return
			}
			time.Sleep(time.Second) // its end, too, is decided before it is written
			if asked() != 1 {
				t.Error("nobody asks what it was")
			}
			refused(act(web.DoCloseOut, a.Occurrence+77, "ben"), web.RefusedUnknown)
			refused(act(web.DoCloseOut, a.Occurrence, "eve"), web.RefusedRights)
			for range 2 {
				if err := act(web.DoCloseOut, a.Occurrence, "ben"); err != nil {
					t.Error(err)
				}
			}
			if asked() != 0 {
				t.Error("it is asked again")
			}
			lines, err := mill.Books().Search(ctx, web.Search{Words: "belt tightened"})
			if err != nil || len(lines) != 1 || lines[0].Alarm != alarm || lines[0].Occurrence != a.Occurrence || lines[0].Who != "Ben" || lines[0].Lot == "" || lines[0].Text != was+". "+done {
				t.Errorf("the logbook has %+v (%v)", lines, err)
				return
			}
			past, err := mill.Books().Search(ctx, web.Search{Alarm: alarm, Kind: "note"})
			if err != nil || len(past) != 1 {
				t.Errorf("of the alarm's past %+v (%v)", past, err)
			}
			both, err := mill.Books().Search(ctx, web.Search{Alarm: alarm, Kind: "note,message"})
			if other := slices.IndexFunc(both, func(l web.Line) bool { return l.Kind != "note" && l.Kind != "message" }); err != nil || len(both) < 2 || other >= 0 {
				t.Errorf("notes and messages: %+v (%v)", both, err)
			}
			for _, form := range []string{web.FormCSV, "html"} {
				record, err := mill.Record(ctx, lines[0].Lot, form, web.Reader{})
				if text := strings.ReplaceAll(string(record.Body), "&#39;", "'"); err != nil || strings.Count(text, was) == 0 {
					t.Errorf("the record of lot %s as %s does not say it (%v)", lines[0].Lot, form, err)
				}
			}
			reached = true
		})
	if !reached {
		t.Error("the alarm never came to its end: the evening proves nothing")
	}
}
