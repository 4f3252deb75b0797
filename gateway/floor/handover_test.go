package floor_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/logbook"
	"millwarden/internal/clock"
	"millwarden/rules/engine"
)

// synced is a journal that keeps each line in a real logbook before it returns.
type synced struct{ book *logbook.Logbook }

func (s synced) Write(lines ...callout.Line) error {
	for _, l := range lines {
		if _, err := s.book.Write(logbook.Entry{At: l.At, Kind: logbook.Message, Alarm: l.Alarm, Occurrence: l.Occurrence, Who: l.Person, Text: l.Text}); err != nil {
			return err
		}
	}
	return nil
}

func (synced) Tries(string, int64) ([]callout.Line, error) { return nil, nil }
func (synced) KeepToken(callout.Token) error               { return nil }
func (synced) FindToken([32]byte) (callout.Token, error)   { return callout.Token{}, logbook.ErrNoToken }

type handed chan time.Time

func (h handed) Send(context.Context, callout.Message) error {
	h <- time.Now()
	return nil
}

// From an occurrence to the moment at which its first message is handed to the channel, the logbook written and synced before; against one synced write of
// the same logbook in the same run.
func BenchmarkHandOver(b *testing.B) {
	book, err := logbook.Open(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	defer book.Close()
	c := clock.Scaled{Start: time.Now(), Begun: time.Now(), Speed: 1, Boot: 1}
	channel := make(handed, 1)
	crew, err := callout.New(callout.Options{Clock: c, Journal: synced{book}, Tokens: synced{book}, Roster: callout.Roster{Zone: time.UTC,
		People: []callout.Person{{Name: "ana", Title: "Ana"}}, Ways: []callout.Way{{Name: "text", Channel: channel}}}})
	if err != nil {
		b.Fatal(err)
	}
	ctx, stop := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- crew.Run(ctx) }()
	var calls, writes []time.Duration
	for n := int64(1); b.Loop(); n++ {
		begun := time.Now()
		crew.Look([]engine.Standing{{Alarm: &engine.Alarm{ID: "a@x", Priority: engine.High, Class: engine.Safety, Action: "Go."}, State: engine.Unacknowledged, Occurrence: n}}, c.Now())
		calls = append(calls, (<-channel).Sub(begun))
		begun = time.Now()
		if _, err := book.Write(logbook.Entry{At: c.Now(), Kind: logbook.Note, Text: "baseline"}); err != nil {
			b.Fatal(err)
		}
		writes = append(writes, time.Since(begun))
	}
	stop()
	if err := <-ended; err != nil {
		b.Error(err)
	}
	slices.Sort(calls)
	slices.Sort(writes)
	b.ReportMetric(float64(calls[len(calls)/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(calls[len(calls)*99/100].Microseconds())/1000, "p99-ms")
	b.ReportMetric(float64(writes[len(writes)*99/100].Microseconds())/1000, "write-p99-ms")
}
