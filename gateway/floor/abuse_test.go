package floor_test

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/estate"
)

// Aim: nobody but the person who was called acknowledges, and only the occurrence that stands. Wrong, unknown, foreign and malformed replies, a forged
// sender that is no one person's number, made-up links, acts in the name of others and the network's own report of a delivery change nothing and harm nothing; the true reply acknowledges once, and
// its replay does nothing more.
func TestAbuse_answers(t *testing.T) {
	acknowledgedBefore, number := false, int64(0)
	_, _, entries := evening(t, 9*time.Minute, []estate.Fault{{At: 2 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }}},
		func(ctx context.Context, mill *floor.Floor, modem *texttest.Modem) {
			var alarm web.Alarm
			for ctx.Err() == nil && alarm.ID == "" {
				time.Sleep(time.Second)
				alarm = dryerCalls(mill, modem)
			}
			number = alarm.Occurrence
			right := "1 " + strconv.FormatInt(number, 10)
			for _, from := range []string{"+51999999999", "", "900", "Fern Hollow", "+519000000010", "+1900000001"} {
				modem.Receive(from, right)
			}
			for _, said := range []string{"", "1", "1 0", "2 " + right[2:], "0" + right[1:], "1 99999999999999999999", "1 -1", "shelve " + right[2:], "1 " + strconv.FormatInt(number+1, 10),
				"1; DROP TABLE entries", strings.Repeat("1 ", 70), "\x00\x1a\x1b"} {
				modem.Receive("+51900000001", said)
			}
			for _, token := range []string{"", "x", "../../etc/passwd", strings.Repeat("A", 22), strings.Repeat("A", 5000), "' OR 1=1 --"} {
				if got, ok := mill.Answer(token); ok {
					t.Errorf("the link %q stands for %+v", token, got)
				}
			}
			for _, a := range []web.Act{{By: "eve", Alarm: alarm.ID, Occurrence: number}, {By: "ana", Alarm: alarm.ID, Occurrence: number + 1}, {By: "ana", Alarm: "none@nowhere", Occurrence: number},
				{By: "ana", Alarm: alarm.ID, Occurrence: -1}} {
				a.Do, a.Via = web.DoAcknowledge, "link"
				var refused *web.Refusal
				if err := mill.Act(ctx, a); !errors.As(err, &refused) {
					t.Errorf("%+v was taken: %v", a, err)
				}
			}
			for _, sent := range modem.Sent() {
				modem.Report(sent.Reference, sent.To, 0) // the network says that it was delivered
			}
			time.Sleep(40 * time.Second)
			acknowledgedBefore = dryerCalls(mill, modem).ID == ""
			modem.Receive("+51900000001", right)
			modem.Receive("+51900000001", right)
		})
	if number == 0 {
		t.Fatal("nobody was called: the evening proves nothing")
	}
	if acknowledgedBefore {
		t.Error("something of all that acknowledged it")
	}
	acknowledged := 0
	for _, e := range entries {
		if e.Kind == "transition" && e.Occurrence == number && e.Who == "ana" {
			acknowledged++
		}
		if strings.Contains(e.Text, "+51") {
			t.Errorf("a telephone number stands in the record: %s", e.Text)
		}
	}
	if acknowledged != 1 {
		t.Errorf("the true reply acknowledged %d times, want once", acknowledged)
	}
	if n := count(entries, "answer by text message refused: its number is that of no person"); n != 6 {
		t.Errorf("%d replies of strangers refused and written down, want 6", n)
	}
}

// dryerCalls is the dryer's alarm that somebody was called for and nobody has acknowledged.
func dryerCalls(mill *floor.Floor, modem *texttest.Modem) web.Alarm {
	var now web.Snapshot
	mill.Snapshot(&now)
	for _, a := range now.Alarms {
		if strings.HasPrefix(a.Place, "dryer-1") && a.State == "unacknowledged" && len(modem.Sent()) > 0 {
			return a
		}
	}
	return web.Alarm{}
}
