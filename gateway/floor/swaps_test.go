package floor_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/estate"
)

// withRosa gives Ben a telephone, adds Rosa of the crew, and calls everybody by text.
func withRosa(rules string) string {
	rules = strings.Replace(rules, "person ben\n", "person ben\n    phone \"+51 900 000 002\"\n", 1)
	rules = strings.NewReplacer("call            ana by mail", "call            ana by text", "min ben by mail", "min ben by text").Replace(rules)
	return rules + "\nperson rosa\n    title \"Rosa\"\n    phone \"+51 900 000 003\"\n    rights crew\n"
}

// rangAbout are the telephones that rang about a place, in order, and how often.
func rangAbout(modem *texttest.Modem, place string) string {
	names := map[string]string{"+51900000001": "ana", "+51900000002": "ben", "+51900000003": "rosa"}
	var rang []string
	for _, sent := range modem.Sent() {
		if strings.HasPrefix(sent.Text, place) {
			rang = append(rang, names[sent.To])
		}
	}
	return strings.Join(rang, " ")
}

// Aim: the whole way of a swap. Rosa takes Ana's calls from now on, and her phone rings for the dryer, not Ana's; while it rings Ana corrects it to Ben, who
// is called at once; a third person may not arrange it, and what is wrong is refused with what to write. After a restart the swap still holds.
func TestSwap_wholeWay(t *testing.T) {
	folder := memoryFolder(t)
	swap := func(by, away, stands string) web.Swapping {
		return web.Swapping{By: by, Away: away, Stands: stands, From: "2026-06-10 18:00", To: "2026-06-10 20:00", Why: "wedding"}
	}
	refused := func(ctx context.Context, mill *floor.Floor, ask web.Swapping, kind, says string) {
		t.Helper()
		var r *web.Refusal
		if _, err := mill.Books().Swap(ctx, ask); !errors.As(err, &r) || r.Kind != kind || !strings.Contains(r.Says, says) {
			t.Errorf("%+v: %v, want %s: %s", ask, err, kind, says)
		}
	}
	var first, second web.Swapped
	modem, _, _ := eveningOf(t, folder, 9*time.Minute, withRosa, []estate.Fault{{At: 2 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }}},
		func(ctx context.Context, mill *floor.Floor, modem *texttest.Modem) {
			time.Sleep(time.Minute)
			refused(ctx, mill, swap("rosa", "ana", "ben"), web.RefusedRights, "the owner or the technician arranges")
			refused(ctx, mill, swap("rosa", "crew", ""), web.RefusedRights, "Rosa may take")
			refused(ctx, mill, swap("eve", "ana", "ben"), web.RefusedRights, "no person")
			refused(ctx, mill, swap("ben", "anna", "ben"), web.RefusedInput, `"anna" is no person of the rules file`)
			refused(ctx, mill, web.Swapping{By: "ben", Away: "ana", Stands: "ben", From: "tomorrow", To: "2026-06-10 20:00"}, web.RefusedInput, "for example 2026-12-24 18:00")
			refused(ctx, mill, web.Swapping{By: "ben", Away: "ana", Stands: "ben", From: "2026-06-10 20:00", To: "2026-06-10T20:00"}, web.RefusedInput, "ends before it begins")
			refused(ctx, mill, web.Swapping{By: "ben", Away: "ana", Stands: "ben", From: "2026-06-09 20:00", To: "2026-06-10 17:00"}, web.RefusedInput, "over already")
			refused(ctx, mill, web.Swapping{By: "ben", Away: "ana", Stands: "ben", From: "2026-06-09 20:00", To: "2027-06-10 17:00"}, web.RefusedInput, "half a year")
			var err error
			if first, err = mill.Books().Swap(ctx, swap("rosa", "ana", "rosa")); err != nil {
				t.Error(err)
			}
			for ctx.Err() == nil && rangAbout(modem, "DRYER 1 fan off") == "" {
				time.Sleep(time.Second)
			}
			time.Sleep(30 * time.Second)
			again := swap("ana", "ana", "ben")
			again.Corrects = first.ID
			if second, err = mill.Books().Swap(ctx, again); err != nil {
				t.Error(err)
			}
			refused(ctx, mill, again, web.RefusedState, "corrected already")
			time.Sleep(time.Minute)
			if got := rangAbout(modem, "DRYER 1 fan off"); got != "rosa ben" {
				t.Errorf("called about the dryer: %q, want Rosa, and Ben a minute after the correction", got)
				t.Logf("%+v", modem.Sent())
			}
		})
	if rangAbout(modem, "DRYER 1 fan off") == "" {
		t.Fatal("nobody was called: the evening proves nothing")
	}
	if first.Says != "Rosa takes Ana's watch from 2026-06-10 18:00 to 2026-06-10 20:00" || !strings.HasPrefix(second.Says, "Ben takes Ana's watch from") || !strings.Contains(second.Says, "in place of entry") {
		t.Errorf("written down: %q, then %q", first.Says, second.Says)
	}
	_, _, entries := eveningOf(t, folder, time.Minute, withRosa, nil, func(ctx context.Context, mill *floor.Floor, _ *texttest.Modem) {
		coming := mill.Books().Coming()
		if len(coming.Swaps) != 1 || coming.Swaps[0].ID != second.ID || coming.Swaps[0].Stands != "Ben" || !coming.Swaps[0].InForce || coming.Swaps[0].Who != "Ana" {
			t.Errorf("after a restart %+v", coming.Swaps)
		}
		inPlace := 0
		for _, turn := range coming.Turns {
			if turn.Person == "Ben" && turn.For == "Ana" && turn.Watch == "night" && turn.After == 0 {
				inPlace++
			}
		}
		if inPlace != 1 {
			t.Errorf("the coming night tells Ben's turn %d times: %+v", inPlace, coming.Turns)
		}
		if watches := mill.Books().Watches(); watches[0].Steps[0].People[0] != "Ben" {
			t.Errorf("the first step of the night calls %v", watches[0].Steps[0].People)
		}
		var s web.Snapshot
		mill.Snapshot(&s)
		if len(s.Roster.OnWatch) != 1 || s.Roster.OnWatch[0] != "Ben" {
			t.Errorf("on watch: %v", s.Roster.OnWatch)
		}
		if _, err := mill.Books().Swap(ctx, web.Swapping{By: "ben", Corrects: second.ID, Withdraw: true}); err != nil || len(mill.Books().Coming().Swaps) != 0 {
			t.Errorf("taking it back: %v, then %+v", err, mill.Books().Coming().Swaps)
		}
		if _, err := mill.Books().Swap(ctx, web.Swapping{By: "ben", Away: "crew", Stands: "ben", From: "2026-12-24 18:00", To: "2026-12-26 06:00"}); err != nil {
			t.Error(err)
		}
	})
	told := 0
	for _, e := range entries {
		if e.Kind == logbook.Roster {
			told++
			t.Logf("%d %s: %s %s", e.ID, e.Who, e.Text, e.Data)
		}
	}
	if told != 4 {
		t.Errorf("%d entries about the roster, want 4: entered, corrected, taken back, a holiday", told)
	}
}
