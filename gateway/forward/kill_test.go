package forward_test

import (
	"context"
	"flag"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/link"
	"millwarden/internal/wire"
)

var seeds = flag.Int("seeds", 3, "how many random nights")

// abuse kills the parts of a chain at random while readings come, and counts what it did.
func abuse(c *chain, r *rand.Rand, kills int) map[string]int {
	done := map[string]int{}
	for range kills {
		c.live(time.Duration(1+r.IntN(6))*time.Second, 50+r.IntN(200))
		down := time.Duration(100+r.IntN(4000)) * time.Millisecond
		switch r.IntN(7) {
		case 0:
			done["broker"]++
			c.kill("broker")
			c.live(down, 40)
			c.startBroker()
		case 1:
			done["forwarder"]++
			c.kill("forwarder")
			c.live(down, 40)
			c.startForwarder()
		case 2:
			done["publisher"]++
			c.kill("publisher")
			c.live(down, 40)
			c.startPublisher()
		case 3:
			done["store"]++
			c.store.set(func(s *memoryStore) { s.up = false })
			if c.store.kill() > 0 {
				done["store lost"]++
			}
			c.live(down, 40)
			c.store.set(func(s *memoryStore) { s.up = true })
		case 4: // the store answers, but not with what one wants
			done["refusing"]++
			status := []int{429, 503, 500, 401}[r.IntN(4)]
			c.store.set(func(s *memoryStore) {
				s.answer = func(string) *http.Response { return answer(status, "no", "Retry-After", "1") }
			})
			c.live(down, 40)
			c.store.set(func(s *memoryStore) { s.answer = nil })
		case 5: // it writes, and nobody hears of it
			done["answer lost"]++
			c.store.set(func(s *memoryStore) { s.cut = true })
			c.live(down, 40)
			c.store.set(func(s *memoryStore) { s.cut = false })
		case 6: // it writes half, and the line breaks
			done["half written"]++
			c.store.set(func(s *memoryStore) { s.cut, s.half = true, true })
			c.live(down, 40)
			c.store.set(func(s *memoryStore) { s.cut, s.half = false, false })
		}
	}
	return done
}

func (s *memoryStore) set(change func(*memoryStore)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	change(s)
}

// Aim: whatever dies, in whatever order, the store ends with exactly the history. The broker keeps everything in memory, the store's answer
// comes ten seconds before its disk. The counters show that the abuse took place, and that the store did lose what it had answered.
func TestChain_losesNothing(t *testing.T) {
	total := map[string]int{}
	for seed := range *seeds {
		clocktest.Bubble(t, func(t *testing.T) {
			c := newChain(t, 20*time.Second)
			defer c.stop()
			for what, n := range abuse(c, rand.New(rand.NewPCG(uint64(seed), 7)), 20) {
				total[what] += n
			}
			time.Sleep(3 * time.Minute) // back-off, at most a minute, and 20 s until all is certain
			c.expectAll()
			if mark := c.history.Watermark(); mark.Commit != c.history.Last() {
				t.Errorf("seed %d: watermark %d of %d: %+v %+v", seed, mark.Commit, c.history.Last(), c.publisher.Status(), c.forwarder.Status())
			}
		})
	}
	t.Logf("%d nights: %v", *seeds, total)
	for _, what := range []string{"broker", "forwarder", "publisher", "store", "store lost", "refusing", "answer lost", "half written"} {
		if total[what] == 0 {
			t.Errorf("no %s in %d nights: the test proves nothing", what, *seeds)
		}
	}
}

// The control: the same chain, the same abuse, but the watermark moves when the broker acknowledges, and the writer writes what comes. It must
// lose, or the test above proves nothing.
func TestChain_controlLoses(t *testing.T) {
	total := 0
	for seed := range *seeds {
		clocktest.Bubble(t, func(t *testing.T) {
			c := &chain{t: t, history: newSliceHistory(), store: newMemoryStore(), parts: map[string]*part{}, cut: map[string]func(){}}
			c.startBroker()
			start := map[string]func(){"broker": c.startBroker,
				"forwarder": func() { c.parts["forwarder"] = runPart(c.controlWriter) },
				"publisher": func() { c.parts["publisher"] = runPart(c.controlSender) }}
			start["forwarder"]()
			start["publisher"]()
			r := rand.New(rand.NewPCG(uint64(seed), 7))
			for range 20 {
				c.live(time.Duration(1+r.IntN(6))*time.Second, 50+r.IntN(200))
				down := time.Duration(100+r.IntN(4000)) * time.Millisecond
				if name := []string{"broker", "forwarder", "publisher", "store"}[r.IntN(4)]; name == "store" {
					c.store.kill()
				} else {
					c.kill(name)
					c.live(down, 40)
					start[name]()
				}
			}
			time.Sleep(3 * time.Minute)
			missing, _, _ := c.store.holds(c.history)
			total += missing
			if mark := c.history.Watermark(); mark.Commit != c.history.Last() {
				t.Errorf("seed %d: the control did not come to its end: %d of %d", seed, mark.Commit, c.history.Last())
			}
			c.stop()
		})
	}
	t.Logf("the control lost %d readings in %d nights", total, *seeds)
	if total == 0 {
		t.Error("the control lost nothing: the test of the real thing proves nothing")
	}
}

const controlTopic = "millwarden/fern-hollow/hub/pack"

// controlSender trusts the PUBACK.
func (c *chain) controlSender(ctx context.Context) error {
	encoder := wire.NewEncoder("fern-hollow", "hub", areaOf)
	return link.Keep(ctx, link.Options{Dial: c.dial("publisher"), ClientID: "control-sender", Presence: "control/sender"}, func(ctx context.Context, conn *link.Conn) error {
		for ctx.Err() == nil {
			from := c.history.Watermark().Commit
			entries, _ := c.history.From(from+1, wire.Most, nil)
			if len(entries) == 0 {
				time.Sleep(200 * time.Millisecond)
				continue
			}
			to := entries[len(entries)-1].Position
			pack, _, err := encoder.Append(nil, wire.Header{Stream: "control", From: from + 1, To: to, Watermark: from, Stored: from}, readingsOf(entries))
			if err != nil {
				return err
			}
			if err := conn.Publish(link.Message{Topic: controlTopic, Payload: pack, QoS: 1}); err != nil {
				return err
			}
			c.history.SetWatermark(history.Mark{Commit: to})
		}
		return nil
	})
}

// controlWriter writes each pack as it comes, until the store takes it.
func (c *chain) controlWriter(ctx context.Context) error {
	packs := make(chan []byte, 4096)
	go func() {
		var d wire.Decoder
		var p wire.Pack
		for {
			select {
			case <-ctx.Done():
				return
			case payload := <-packs:
				if d.Decode(payload, &p) != nil {
					continue
				}
				var body strings.Builder
				for i := range p.Readings {
					r := p.Readings[i]
					_, _, r.Point, _ = wire.Split(r.Point)
					k, fields := lineOf(&r)
					body.WriteString(k.point + " " + fields + " " + itoa(k.millis) + "\n")
				}
				for ctx.Err() == nil {
					req, _ := http.NewRequestWithContext(ctx, http.MethodPost, "http://store.invalid/api/v2/write", strings.NewReader(body.String()))
					if resp, err := c.store.RoundTrip(req); err == nil {
						resp.Body.Close()
						if resp.StatusCode == http.StatusNoContent {
							break
						}
					}
					time.Sleep(100 * time.Millisecond)
				}
			}
		}
	}()
	return link.Keep(ctx, link.Options{Dial: c.dial("forwarder"), ClientID: "control-writer", Presence: "control/writer", Subscribe: []string{controlTopic},
		Receive: func(_ string, payload []byte, _ bool) { packs <- payload }}, func(ctx context.Context, _ *link.Conn) error { <-ctx.Done(); return nil })
}
