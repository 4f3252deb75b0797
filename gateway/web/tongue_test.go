package web

import (
	"encoding/json"
	"math/rand/v2"
	"net/http"
	"reflect"
	"strings"
	"testing"
	"time"

	"millwarden/internal/clock/clocktest"
)

// Aim: who reads Spanish is told by every answer in Spanish what is the program's, and as it was written what a person wrote; the same asked for in English is the control.
func TestTongue_everyAnswer(t *testing.T) {
	f := newFake().night()
	f.change(func(s *Snapshot) {
		s.Demo = "Demo: an invented estate. Only the buses are simulated; the program is the real one."
		s.Points[0].Reading.Cause, s.Points[0].Title = "no answer", "ph"
		s.Alarms[0].Because, s.Alarms[0].Calls = "no answer", []Call{{Person: "Ana", Channel: "text", Fault: "nothing answers at its address"}}
		s.Links[0].Works, s.Links[0].Cause = false, "nothing answers at its address"
		s.Prompts[0].Say = "wash"
		s.Said = []Translation{{Language: "es", Alarm: "too-wet", Title: "granos húmedos"}, {Language: "fr", Alarm: "too-wet", Title: "trop humide"}}
	})
	w := newWeb(t, f)
	for _, c := range []struct {
		path             string
		english, spanish []string
	}{
		{"/api/overview", []string{`"language":"en"`, "an invented estate", `"cause":"no answer"`, "nothing answers at its address", `"title":"Broker"`, `"title":"too wet"`},
			[]string{`"language":"es"`, "una finca inventada", `"cause":"sin respuesta"`, "nadie contesta en su dirección", `"title":"Mensajería"`, `"title":"granos húmedos"`}},
		{"/api/points", []string{`"cause":"no answer"`}, []string{`"cause":"sin respuesta"`}},
		{"/api/points/tank-1/ph", []string{`"cause":"no answer"`}, []string{`"cause":"sin respuesta"`}},
		{"/api/alarms", []string{`"title":"too wet"`}, []string{`"title":"granos húmedos"`}},
		{"/api/way", []string{`"title":"too wet"`, `"text":"acknowledged"`}, []string{`"title":"granos húmedos"`, `"text":"reconocida"`}},
		{"/api/logbook", []string{`"title":"over fermented"`, `"text":"slippery, not yet"`}, []string{`"title":"pasado de fermento"`, `"text":"slippery, not yet"`}},
		{"/api/rates", []string{`"title":"too wet"`}, []string{`"title":"granos húmedos"`}},
		{"/api/probes", []string{`"fault":"no answer"`, "7 read 0.0002 at 25"}, []string{`"fault":"sin respuesta"`, "7 leído 0.0002 a 25"}},
		{"/api/calibration?probe=tank-1-electrode&channel=ph", []string{`"doubt":"calibration overdue"`}, []string{`"doubt":"calibración vencida"`}},
		{"/api/readings?point=bin-2/moisture&columns=40&from=2026-11-24T00:00:00Z&to=2026-11-25T09:00:00Z", []string{`"point":"bin-2/moisture"`}, []string{`"point":"bin-2/moisture"`}},
	} {
		for language, want := range map[string][]string{"en": c.english, "es": c.spanish} {
			r := request("GET", c.path, "")
			r.Header.Set("Accept-Language", language)
			got := ask(t, w, r)
			for _, says := range want {
				if got.Code != http.StatusOK || !strings.Contains(got.Body.String(), says) {
					t.Errorf("%s in %s (%d) does not say %s: %.3000s", c.path, language, got.Code, says, got.Body)
				}
			}
		}
	}
}

// Aim: the query goes before what was chosen at the device, that before what the browser asks for, and the site's language comes last; the page itself heeds no browser, which nobody set up for the mill.
func TestLanguage_whose(t *testing.T) {
	f := newFake()
	f.change(func(s *Snapshot) { s.Site.Language = "es" })
	w := newWeb(t, f)
	for _, c := range []struct{ query, cookie, header, api, page string }{
		{"", "", "", "es", "es"},
		{"", "", "en-GB,en;q=0.9", "en", "es"},
		{"", "", "fr", "es", "es"},
		{"", "en", "es", "en", "en"},
		{"es", "en", "en", "es", "en"},
		{"xx", "yy", "z", "es", "es"},
	} {
		r := request("GET", "/?language="+c.query, "")
		r.AddCookie(&http.Cookie{Name: "language", Value: c.cookie})
		r.Header.Set("Accept-Language", c.header)
		if api, page := w.language(r), pageLanguage(r, w.live.now()); api != c.api || page != c.page {
			t.Errorf("%+v: the interface speaks %s and the page %s", c, api, page)
		}
	}
}

// Aim: whoever adds up what changed in Spanish has what a newcomer gets in Spanish, while two alarms come and go; each language is encoded once.
func TestLive_spanish(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		f, r := newFake(), rand.New(rand.NewPCG(3, 4)) //nolint:gosec // a fixed seed is the point
		f.change(func(s *Snapshot) { s.Links[0].Cause = "nothing answers at its address" })
		l := newLive(f, "test")
		go l.run(t.Context())
		c, first, err := l.join(spanish, false, 0)
		must(t, err)
		other, _, err := l.join(spanish, false, 0)
		must(t, err)
		_, have := parseEvent(t, first)
		for range 50 {
			f.pass(time.Second)
			f.change(func(s *Snapshot) { shake(s, r, r.IntN(6)) })
			text, same := next(t, c), next(t, other)
			if &text[0] != &same[0] {
				t.Fatal("two who read Spanish got two encodings")
			}
			_, got := parseEvent(t, text)
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
		var whole map[string]any
		must(t, json.Unmarshal(l.last.spanish.full(), &whole))
		if !reflect.DeepEqual(have, whole) {
			t.Errorf("the sum of the changes is not the whole:\n%v\n%v", have, whole)
		}
		if text := string(l.last.spanish.full()); !strings.Contains(text, "nadie contesta en su dirección") || strings.Contains(string(l.last.english.full()), "nadie") {
			t.Errorf("the languages are mixed: %.500s", text)
		}
		l.leave(c)
		l.leave(other)
	})
}
