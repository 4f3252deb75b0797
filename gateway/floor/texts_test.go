package floor_test

import (
	"context"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/callout/text/texttest"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
)

// withModem is the demo's rules with a modem, and Ana's telephone.
func withModem(t *testing.T) fs.FS {
	t.Helper()
	rules, err := fs.ReadFile(estate.Files, estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	const ana = "person ana\n"
	if !strings.Contains(string(rules), ana) {
		t.Fatal("the demo's rules have no Ana")
	}
	edited := strings.Replace(string(rules), ana, ana+"    phone \"+51 900 000 001\"\n", 1) + "\nchannel text\n    modem /dev/ttyUSB0\n"
	return fstest.MapFS{estate.RulesFile: {Data: []byte(edited)}}
}

// inSpanish has Ana read the site's own words in Spanish, with letters that the alphabet of a text message lacks.
func inSpanish(t *testing.T, files fs.FS) fs.FS {
	t.Helper()
	rules, err := fs.ReadFile(files, estate.RulesFile)
	must(t, err)
	text := strings.Replace(string(rules), "person ana\n", "person ana\n    language es\n", 1) + `
words es for fan-stopped-with-heat
    title           "ventilador parado con calor"
    caution         "Fuego y tensión eléctrica."
    action          "Apague el quemador ya: está caliente. No lo encienda así."
`
	return fstest.MapFS{estate.RulesFile: {Data: []byte(text)}}
}

// Aim: the whole way of a text message. The dryer's fan stops, Ana's phone gets one message in the words of her language and in plain letters, and what she answers acknowledges the occurrence; the same
// answer from another number, and an answer to an occurrence that never was, change nothing.
func TestTexts_answer(t *testing.T) {
	folder := memoryFolder(t)
	modem := texttest.New()
	var reply string
	bubble(t, func(t *testing.T) {
		plan, said := load(t, inSpanish(t, withModem(t)))
		if said != "" {
			t.Fatal(said)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		world := estate.New(c, estate.NewTruth(18, 1), []estate.Fault{{At: 2 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }}})
		if err := estate.Begin(folder, c.Start); err != nil {
			t.Fatal(err)
		}
		var lives sync.WaitGroup
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true,
			Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return c },
			OpenModem: func(string, int) (io.ReadWriteCloser, error) {
				ours, its := net.Pipe()
				lives.Go(func() { modem.Serve(its) })
				return ours, nil
			}})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithTimeout(t.Context(), 12*time.Minute)
		defer stop()
		lives.Go(func() { _ = world.Run(ctx) })
		lives.Go(func() { reply = answerDryer(ctx, modem) })
		if err := mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
		modem.Vanish()
		lives.Wait()
		if err := mill.Close(); err != nil {
			t.Error(err)
		}
	})
	if reply == "" {
		t.Fatalf("nobody was called: %+v", modem.Sent())
	}
	book, err := logbook.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	entries, err := book.Entries(t.Context(), logbook.Filter{Kinds: []logbook.Kind{logbook.Act, logbook.Transition}})
	if err != nil {
		t.Fatal(err)
	}
	refused, acknowledged := 0, 0
	for _, e := range entries {
		t.Logf("%s %s %d who %q: %s", e.Kind, e.Alarm, e.Occurrence, e.Who, e.Text)
		switch {
		case strings.Contains(e.Text, "refused"):
			refused++
		case e.Who == "ana":
			acknowledged++
		}
	}
	if refused != 2 || acknowledged != 1 {
		t.Errorf("%d answers refused, want 2; %d acknowledgements by Ana, want 1", refused, acknowledged)
	}
}

// answerDryer waits for the message about the dryer and answers it, wrongly first; it gives the right answer.
func answerDryer(ctx context.Context, modem *texttest.Modem) string {
	for ctx.Err() == nil {
		time.Sleep(time.Second)
		for _, sent := range modem.Sent() {
			text, rest, found := strings.Cut(sent.Text, "Responda ")
			if !found || sent.Wide || !strings.HasPrefix(text, "DRYER 1") || !strings.HasSuffix(text, " Fuego y tension eléctrica. Apague el quemador ya: esta caliente. ") || sent.To != "+51900000001" {
				continue
			}
			reply, _, _ := strings.Cut(rest, " =")
			modem.Receive("+51900000002", reply)
			modem.Receive("+51900000001", "1 9999")
			time.Sleep(time.Second)
			modem.Receive("+51900000001", reply)
			return reply
		}
	}
	return ""
}
