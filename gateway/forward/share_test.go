package forward_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/forward"
	"millwarden/gateway/publish"
	"millwarden/internal/clock/clocktest"
)

// startShare starts one more forwarder on a chain's broker and store, for some boards.
func (c *chain) startShare(name string, boards ...string) {
	f, err := forward.New(forward.Options{Root: "millwarden", Site: "fern-hollow", Name: name, Boards: boards, Dial: c.dial(name),
		Store: forward.Store{Address: "http://store.invalid", Org: "estate", Bucket: "mill", DurableAfter: c.lag, Client: &http.Client{Transport: c.store}}})
	if err != nil {
		c.t.Fatal(err)
	}
	c.parts[name] = runPart(f.Run)
}

// of counts what the store has of a board.
func (s *memoryStore) of(board string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	seen := map[key]bool{}
	for _, rows := range []map[key]string{s.disk, s.memory} {
		for k := range rows {
			if strings.Contains(k.point, ",board="+board+",") {
				seen[k] = true
			}
		}
	}
	return len(seen)
}

// Aim: forwarders share the boards of a site. While one is dead, the boards of the other go on to their end; when it is back, nothing is missing of any,
// and nothing is there twice. And two that take the same boards by mistake lose nothing either.
func TestChain_forwardersShare(t *testing.T) {
	boards := []string{"mill", "deck", "roastery"}
	for name, shares := range map[string][2][]string{"each its own": {{"mill", "deck"}, {"roastery"}}, "both take all": {{"+"}, {"+"}}} {
		t.Run(name, func(t *testing.T) {
			clocktest.Bubble(t, func(t *testing.T) {
				c := &chain{t: t, store: newMemoryStore(), lag: 20 * time.Second, parts: map[string]*part{}, cut: map[string]func(){}}
				c.startBroker()
				c.startShare("one", shares[0]...)
				c.startShare("two", shares[1]...)
				histories := map[string]*sliceHistory{}
				for _, b := range boards {
					h := newSliceHistory()
					histories[b] = h
					p := publish.New(h, publish.Options{Root: "millwarden", Site: "fern-hollow", Board: b, Dial: c.dial(b), Area: areaOf, Wake: h.wake})
					c.parts[b] = runPart(p.Run)
				}
				live := func(d time.Duration) {
					for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(time.Second) {
						for _, b := range boards {
							histories[b].append(time.Now(), 64)
						}
					}
				}
				live(30 * time.Second)
				c.kill("one")
				before := histories["mill"].Watermark().Commit
				live(time.Minute)
				time.Sleep(30 * time.Second)
				if h := histories["roastery"]; h.Watermark().Commit != h.Last() {
					t.Errorf("the other forwarder's board: watermark %d of %d", h.Watermark().Commit, h.Last())
				}
				if after := histories["mill"].Watermark().Commit; name == "each its own" && after != before {
					t.Errorf("the dead forwarder's board went from %d to %d", before, after)
				}
				c.startShare("one", shares[0]...)
				live(10 * time.Second)
				time.Sleep(2 * time.Minute)
				for _, b := range boards {
					h := histories[b]
					if got := c.store.of(b); got != int(h.Last()) || h.Watermark().Commit != h.Last() {
						t.Errorf("%s: %d stored, watermark %d, of %d", b, got, h.Watermark().Commit, h.Last())
					}
				}
				for _, name := range append(boards, "one", "two", "broker") {
					c.parts[name].stop(t)
				}
			})
		})
	}
}
