package floor_test

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
)

// asks waits until a prompt stands, or stands no more.
func asks(ctx context.Context, t *testing.T, mill *floor.Floor, prompt string, want bool, within time.Duration) {
	t.Helper()
	stands := func() bool {
		var s web.Snapshot
		mill.Snapshot(&s)
		return slices.ContainsFunc(s.Prompts, func(p web.Prompt) bool { return p.ID == prompt })
	}
	for begun := time.Now(); stands() != want && ctx.Err() == nil; time.Sleep(time.Second) {
		if time.Since(begun) > within {
			t.Errorf("%s stands: %v, want %v within %v", prompt, !want, want, within)
			return
		}
	}
}

// Aim: the page asks for a drill when the last was answered more than 8 days ago, and no more once it is answered; for a backup when there was none for 35 days,
// and no more once one was taken; and it says, while none is set, that nobody outside watches. The controls are the same evening with a watcher, and a record
// that is younger than a backup is due.
func TestPrompts_ofTheBoard(t *testing.T) {
	const drill, backup, outside = "drill-due@board", "backup-due@board", "nobody-outside-watches@board"
	eveningOf(t, memoryFolder(t), 8*time.Minute, func(rules string) string { return rules }, nil, func(ctx context.Context, mill *floor.Floor, modem *texttest.Modem) {
		asks(ctx, t, mill, drill, true, time.Minute) // the record of the estate goes back nine days
		asks(ctx, t, mill, outside, false, 0)
		asks(ctx, t, mill, backup, false, 0)
		if err := mill.Act(ctx, web.Act{Do: web.DoDrill, Person: "ana", By: "ben", Via: "page"}); err != nil {
			t.Error(err)
		}
		time.Sleep(2 * time.Minute)
		asks(ctx, t, mill, drill, true, 0) // sent, and not answered
		modem.Receive("+51900000001", "1 1000001")
		asks(ctx, t, mill, drill, false, 3*time.Minute)
		asks(ctx, t, mill, outside, false, 0)
		asks(ctx, t, mill, backup, false, 0)
	})
	folder := memoryFolder(t)
	write := func(e logbook.Entry) {
		book, err := logbook.Open(folder)
		if err == nil {
			_, err = book.Write(e)
			err = errors.Join(err, book.Close())
		}
		if err != nil {
			t.Error(err)
		}
	}
	begins := time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC)
	write(logbook.Entry{At: reading.Stamp{Wall: begins.AddDate(0, 0, -40), Set: true}, Kind: logbook.Note, Text: "the board was set up"})
	eveningOf(t, folder, 6*time.Minute, func(rules string) string { return rules + nobodyOutside + "\n" }, nil, func(ctx context.Context, mill *floor.Floor, _ *texttest.Modem) {
		asks(ctx, t, mill, outside, true, time.Minute)
		asks(ctx, t, mill, backup, true, time.Minute)
		write(logbook.Entry{At: reading.Stamp{Wall: begins.Add(time.Minute)}, Kind: logbook.Act, Place: floor.BackupPlace, Text: "a backup was taken"}) // as the command does
		asks(ctx, t, mill, backup, false, 3*time.Minute)
	})
}

// Aim: a prompt that is suppressed by design asks nobody; its like without that line does.
func TestPrompts_suppressed(t *testing.T) {
	more := func(rules string) string {
		return rules + "\nprompt look-here at tank-1\n    when            temperature > 1 °C\n    say             \"Look.\"\n" +
			"\nprompt look-there at tank-1\n    when            temperature > 1 °C\n    suppressed-while temperature > 2 °C\n    say             \"Look.\"\n"
	}
	eveningOf(t, memoryFolder(t), 2*time.Minute, more, nil, func(ctx context.Context, mill *floor.Floor, _ *texttest.Modem) {
		asks(ctx, t, mill, "look-here@tank-1", true, time.Minute)
		asks(ctx, t, mill, "look-there@tank-1", false, 0)
	})
}
