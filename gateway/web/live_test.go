package web

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"
	"time"

	"millwarden/internal/clock/clocktest"
	"millwarden/internal/reading"
)

// parseEvent reads the one event in text.
func parseEvent(t *testing.T, text []byte) (name string, data map[string]any) {
	t.Helper()
	for line := range strings.Lines(string(text)) {
		field, rest, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
		switch field {
		case "event":
			name = rest
		case "data":
			if err := json.Unmarshal([]byte(rest), &data); err != nil {
				t.Fatalf("data of the event: %v", err)
			}
		}
	}
	return name, data
}

func next(t *testing.T, c *client) []byte {
	t.Helper()
	text, open := <-c.events
	if !open {
		t.Fatal("the client was dropped")
	}
	return text
}

// Aim: after the whole, only what changed is sent, once a second.
func TestLive_changesOnly(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		f := newFake()
		l := newLive(f, "test")
		go l.run(t.Context())
		c, first, err := l.join(english, false, 0)
		must(t, err)
		if name, whole := parseEvent(t, first); name != "full" || len(whole["values"].(map[string]any)) != len(f.snapshot.Points) || whole["plan"] == nil {
			t.Errorf("the first event is %q with %v values", name, len(whole["values"].(map[string]any)))
		}
		f.pass(time.Second)
		f.change(func(s *Snapshot) { s.Points[0].Reading.Value, s.Points[0].Reading.Stamp = 5.30, s.Now })
		name, got := parseEvent(t, next(t, c))
		values, _ := got["values"].(map[string]any)
		if name != "changes" || len(values) != 1 || values["tank-1/ph"] == nil {
			t.Errorf("event %q with values %v, want changes of tank-1/ph alone", name, values)
		}
		for _, section := range []string{"plan", "stations", "alarms", "prompts", "roster", "links"} {
			if _, sent := got[section]; sent && section != "prompts" { // the minute of a forecast may have turned
				t.Errorf("%s was sent, though it did not change", section)
			}
		}
		l.leave(c)
	})
}

// Aim: whoever applies every event to the whole has what a newcomer gets, whatever happened in between.
func TestLive_changesAddUp(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		f, r := newFake(), rand.New(rand.NewPCG(1, 2)) //nolint:gosec // a fixed seed is the point
		l := newLive(f, "test")
		go l.run(t.Context())
		c, first, err := l.join(english, false, 0)
		must(t, err)
		_, have := parseEvent(t, first)
		kinds := map[int]int{}
		for range 200 {
			f.pass(time.Second)
			kind := r.IntN(6)
			kinds[kind]++
			f.change(func(s *Snapshot) { shake(s, r, kind) })
			_, got := parseEvent(t, next(t, c))
			values, _ := got["values"].(map[string]any)
			if got["plan"] != nil {
				have["values"] = map[string]any{}
			}
			for name, v := range values {
				have["values"].(map[string]any)[name] = v
			}
			delete(got, "values")
			for k, v := range got {
				have[k] = v
			}
		}
		_, whole := parseEvent(t, event("full", 0, l.last.english.full()))
		if !reflect.DeepEqual(have, whole) {
			t.Errorf("the sum of the changes is not the whole:\n%v\n%v", have, whole)
		}
		for kind := range 6 {
			if kinds[kind] == 0 {
				t.Errorf("change %d never happened", kind)
			}
		}
		l.leave(c)
	})
}

func shake(s *Snapshot, r *rand.Rand, kind int) {
	p := &s.Points[r.IntN(len(s.Points))]
	switch kind {
	case 0:
		p.Reading.Value, p.Reading.Stamp, p.Known = p.Reading.Value+r.NormFloat64(), s.Now, s.Now
	case 1:
		p.Reading.Quality, p.Reading.Cause = reading.Bad, "no answer"
	case 2:
		s.Alarms = append([]Alarm{fire()}, s.Alarms...)
	case 3:
		s.Alarms = nil
	case 4:
		p.Title += "x" // a new plan
	case 5:
		s.Links[1].Works = !s.Links[1].Works
		s.Prompts = s.Prompts[:len(s.Prompts)*r.IntN(2)]
	}
}

// Aim: who was given what stood a moment ago is told what came since; who has an older moment, or one of another run, is told where to begin anew.
func TestLive_since(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		f := newFake()
		l := newLive(f, "test")
		go l.run(t.Context())
		had := l.now().frame.Seq
		c, first, err := l.join(english, true, had)
		must(t, err)
		if text := string(first); !strings.HasPrefix(text, fmt.Sprintf("event: begin\nid: %d\n", had)) || strings.Count(text, "event: changes") != 1 {
			t.Errorf("the stream begins with %.200s, want what came after %d", text, had)
		}
		for range queued {
			next(t, c)
		}
		for _, since := range []uint64{had, had + 1000, 0} {
			_, first, err := l.join(english, true, since)
			must(t, err)
			if text := string(first); text != fmt.Sprintf("event: begin\nid: %d\ndata: {}\n\n", l.now().frame.Seq) {
				t.Errorf("since %d the stream begins with %q", since, text)
			}
		}
		if again := newLive(f, "test").now().frame.Seq; again == had {
			t.Error("two runs number their moments alike")
		}
	})
}

// Aim: an event is encoded once: all clients get the very same bytes.
func TestLive_encodedOnce(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		l := newLive(newFake(), "test")
		go l.run(t.Context())
		a, _, err := l.join(english, false, 0)
		must(t, err)
		b, _, err := l.join(english, false, 0)
		must(t, err)
		if one, other := next(t, a), next(t, b); &one[0] != &other[0] {
			t.Error("two clients got two encodings")
		}
	})
}

// Aim: a client that takes nothing is dropped after its queue is full; its neighbour loses nothing.
func TestLive_slowClientDropped(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		l := newLive(newFake(), "test")
		go l.run(t.Context())
		slow, _, err := l.join(english, false, 0)
		must(t, err)
		quick, _, err := l.join(english, false, 0)
		must(t, err)
		for range queued + 2 {
			next(t, quick)
		}
		for range queued {
			next(t, slow)
		}
		if _, open := <-slow.events; open {
			t.Error("the slow client still gets events")
		}
		next(t, quick)
	})
}

// Aim: a gateway nobody looks at does no work for the page.
func TestLive_nobodyLooks(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		f := newFake()
		l := newLive(f, "test")
		go l.run(t.Context())
		time.Sleep(time.Minute)
		if f.asked != 0 {
			t.Errorf("the model was asked %d times, with nobody looking", f.asked)
		}
		c, _, err := l.join(english, false, 0)
		must(t, err)
		next(t, c)
		if f.asked == 0 {
			t.Error("the model was not asked, with somebody looking")
		}
	})
}

func TestLive_bounded(t *testing.T) {
	w := newWeb(t, newFake())
	for range maxClients {
		_, _, err := w.live.join(english, false, 0)
		must(t, err)
	}
	got := httptest.NewRecorder()
	w.Handler().ServeHTTP(got, request("GET", "/api/live", ""))
	if got.Code != http.StatusServiceUnavailable {
		t.Errorf("client %d: status %d, want 503", maxClients+1, got.Code)
	}
}

// Aim: over real HTTP the stream begins with everything, also for a browser that comes again with the number of its last event.
func TestLive_overHTTP(t *testing.T) {
	url := served(t, newFake())
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url+"/api/live", nil)
	must(t, err)
	r.Header.Set("Last-Event-ID", "4711; not a number of ours")
	answer, err := http.DefaultClient.Do(r)
	must(t, err)
	defer answer.Body.Close()
	if kind := answer.Header.Get("Content-Type"); kind != "text/event-stream; charset=utf-8" {
		t.Errorf("Content-Type %q", kind)
	}
	lines := bufio.NewScanner(answer.Body)
	lines.Buffer(nil, 1<<20)
	var seen []string
	for len(seen) < 2 && lines.Scan() {
		if name, found := strings.CutPrefix(lines.Text(), "event: "); found {
			seen = append(seen, name)
		}
	}
	if fmt.Sprint(seen) != "[full changes]" {
		t.Errorf("events %v, want full, then changes", seen)
	}
}

// BenchmarkTick is one second of a large estate (1000 points, 64 readings a second, 8 screens) against the plain way: the whole state encoded
// anew for each screen.
func BenchmarkTick(b *testing.B) {
	const screens, perSecond = 8, 64
	f := many(1000)
	l := newLive(f, "test")
	l.step()
	move := func(i int) {
		f.pass(time.Second)
		f.change(func(s *Snapshot) {
			for k := range perSecond {
				p := &s.Points[(i*perSecond+k)%len(s.Points)]
				p.Reading.Value, p.Reading.Stamp = p.Reading.Value+0.1, s.Now
			}
		})
	}
	var ours, plain time.Duration
	var bytes, whole int
	for i := 0; b.Loop(); i++ {
		move(i)
		begun := time.Now()
		bytes = len(l.step().english()) * screens
		ours += time.Since(begun)
		begun = time.Now()
		whole = 0
		for range screens {
			var s Snapshot
			f.Snapshot(&s)
			whole += len(encode(s.frame(new(kept).planOf(&s, "test"))))
		}
		plain += time.Since(begun)
	}
	b.ReportMetric(float64(plain)/float64(ours), "times-faster")
	b.ReportMetric(float64(whole)/float64(bytes), "times-smaller")
	b.ReportMetric(float64(ours.Microseconds())/float64(b.N), "µs/tick")
}
