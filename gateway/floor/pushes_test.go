package floor_test

import (
	"bytes"
	"context"
	"crypto/ecdh"
	"crypto/rand"
	"errors"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
)

// pushService takes the first message and then knows the telephone no more.
type pushService struct {
	mu  sync.Mutex // guards got
	got []*http.Request
}

func (s *pushService) RoundTrip(r *http.Request) (*http.Response, error) {
	_, _ = io.Copy(io.Discard, r.Body)
	s.mu.Lock()
	defer s.mu.Unlock()
	status := http.StatusCreated
	if s.got = append(s.got, r); len(s.got) > 1 {
		status = http.StatusGone
	}
	return &http.Response{StatusCode: status, Body: io.NopCloser(bytes.NewReader(nil)), Request: r}, nil
}

// Aim: the whole way of a push message. Ana's telephone subscribes, the dryer's fan stops, and the push service gets a message of high urgency; when it no
// longer knows the telephone, that is forgotten and written down, and the next call goes by her mail.
func TestPushes(t *testing.T) {
	folder, service, letters := memoryFolder(t), &pushService{}, &phone{}
	bubble(t, func(t *testing.T) {
		rules, err := fs.ReadFile(estate.Files, estate.RulesFile)
		if err != nil {
			t.Fatal(err)
		}
		edited := strings.ReplaceAll(string(rules), "ana by mail", "ana by push") + "\nchannel push\n    contact mill@estate.example\n"
		plan, said := load(t, fstest.MapFS{estate.RulesFile: {Data: []byte(edited)}})
		if said != "" {
			t.Fatal(said)
		}
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		letters.clock = c
		world := estate.New(c, estate.NewTruth(18, 1), []estate.Fault{{At: 2 * time.Minute, Do: func(_ *estate.Estate, w *estate.Truth) { w.Dryer.FailFan() }}})
		if err := estate.Begin(folder, c.Start); err != nil {
			t.Fatal(err)
		}
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Radio: world.Sticks(), NoPage: true, PushService: service,
			Log: slog.New(slog.DiscardHandler), Channels: map[string]callout.Channel{"mail": letters}, Clock: func(uint32) clock.Clock { return c }})
		if err != nil {
			t.Fatal(err)
		}
		telephone, err := ecdh.P256().GenerateKey(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		if err := mill.PushSubscribe("ana", web.Telephone{Endpoint: "https://push.example.net/p", Key: telephone.PublicKey().Bytes(), Secret: make([]byte, 16)}); err != nil || mill.PushKey() == "" {
			t.Fatalf("PushSubscribe() = %v, key %q", err, mill.PushKey())
		}
		var refused *web.Refusal
		if err := mill.PushSubscribe("ana", web.Telephone{Endpoint: "http://192.168.1.1/"}); !errors.As(err, &refused) {
			t.Errorf("what is no subscription: %v", err)
		}
		ctx, stop := context.WithTimeout(t.Context(), 25*time.Minute)
		defer stop()
		var lives sync.WaitGroup
		lives.Go(func() { _ = world.Run(ctx) })
		if err := mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
		lives.Wait()
		if err := mill.Close(); err != nil {
			t.Errorf("Close() = %v", err)
		}
	})
	if len(service.got) != 2 || service.got[0].Header.Get("Urgency") != "high" || service.got[0].Header.Get("Topic") == "" {
		t.Fatalf("the push service got %d messages", len(service.got))
	}
	if _, rang := letters.first("DRYER 1"); !rang {
		t.Error("nothing came by mail")
	}
	book, err := logbook.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	entries, err := book.Entries(t.Context(), logbook.Filter{Kinds: []logbook.Kind{logbook.Fault}})
	if err != nil {
		t.Fatal(err)
	}
	told := 0
	for _, e := range entries {
		if strings.Contains(e.Text, "a telephone of Ana was forgotten") {
			told++
		}
	}
	if told != 1 {
		t.Errorf("told %d times that the telephone was forgotten", told)
	}
}
