package callout

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/internal/clock/clocktest"
	"millwarden/rules/engine"
)

func troubled(i int, class engine.Class, r *rig) engine.Standing {
	return engine.Standing{Alarm: &engine.Alarm{ID: fmt.Sprintf("a@station-%d", i), Name: "a", Title: "too hot", Place: fmt.Sprintf("station-%d", i), Priority: engine.High, Class: class, Action: "Go and look."},
		State: engine.Unacknowledged, Occurrence: int64(i + 1), Since: r.clock.Now()}
}

// A thousand alarms in a minute, one in a hundred of class safety. The first message goes out at once, those of class safety each at once, all the rest in
// one message with counts; each occurrence has its line in the journal, once; ben is called five minutes later in the same way.
func TestRun_flood(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, nil)
		var all []engine.Standing
		safety := 0
		for second := range 60 {
			for range 17 {
				class := engine.Quality
				if len(all)%100 == 99 {
					class = engine.Safety
					safety++
				}
				if len(all) < 1000 {
					all = append(all, troubled(len(all), class, r))
				}
			}
			r.Look(all, r.clock.Now())
			time.Sleep(time.Second)
			synctest.Wait()
			if got := len(r.text.messages()); got != 1+safety {
				t.Fatalf("after %d s ana has %d messages, want the first and %d of class safety", second+1, got, safety)
			}
		}
		sleep(time.Minute)
		got := r.text.messages()
		last := got[len(got)-1]
		rest := len(all) - 1 - safety
		if want := fmt.Sprintf("%d more alarms (%d high): STATION ", rest, rest); len(got) != 2+safety || !strings.HasPrefix(last.Text, want) {
			t.Fatalf("ana has %d messages, the last is %q; want %d and %q", len(got), last.Text, 2+safety, want)
		}
		if last.Class != engine.Quality || last.Level() != LevelHigh || last.Occurrence != 0 || last.Link != "" || last.Answer != "" || len(last.Flood) != rest || !strings.Contains(last.Body, "https://mill.example\n") {
			t.Errorf("the message of the flood: %+v", last)
		}
		if at := last.At.Mono; at > 90*time.Second {
			t.Errorf("it went out after %v", at)
		}
		told := r.paper.count(Accepted, "ana")
		for i := range all {
			if told[int64(i+1)] != 1 {
				t.Fatalf("occurrence %d was told %d times", i+1, told[int64(i+1)])
			}
		}
		sleep(6*time.Minute + 30*time.Second)
		if mails := r.mail.messages(); len(mails) != 2+safety || mails[0].At.Mono != 5*time.Minute {
			t.Errorf("ben has %d messages, the first at %v", len(mails), mails[0].At.Mono)
		}
		r.quiet()
		r.stop()
	})
}

// Few alarms are no flood: each is told at once, with its own link and number.
func TestRun_noFlood(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, nil)
		var all []engine.Standing
		for i := range 3 {
			all = append(all, troubled(i, engine.Quality, r))
			r.Look(all, r.clock.Now())
			sleep(time.Second)
		}
		for _, m := range r.text.messages() {
			if m.Link == "" || m.Occurrence == 0 || m.At.Mono != time.Duration(m.Occurrence-1)*time.Second {
				t.Errorf("%+v", m)
			}
		}
		if n := len(r.text.messages()); n != 3 {
			t.Errorf("%d messages, want 3", n)
		}
		r.quiet()
		r.stop()
	})
}

// What no longer calls when a flood is told is left out of it: alarms whose cause turned out to be another (suppressed by design), or that were answered.
// The message that is not taken goes another way, about all of them.
func TestRun_floodLeavesOut(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, func(r *rig, _ *Options) { r.text.takes = nil })
		var all []engine.Standing
		for i := range 20 {
			all = append(all, troubled(i, engine.Quality, r))
		}
		r.Look(all, r.clock.Now())
		sleep(5 * time.Second)
		for i := range 10 {
			all[10+i].State = engine.Suppressed
		}
		r.text.mu.Lock()
		r.text.takes = nil
		r.text.mu.Unlock()
		r.Look(all, r.clock.Now())
		sleep(30 * time.Second)
		got := r.text.messages()
		if len(got) != 2 || !strings.HasPrefix(got[1].Text, "9 more alarms (9 high): ") {
			t.Errorf("%+v", got)
		}
		for occurrence, n := range r.paper.count(Try, "ana") {
			if n != 1 || occurrence > 10 {
				t.Errorf("occurrence %d was told %d times", occurrence, n)
			}
		}
		r.quiet()
		r.stop()
	})
}
