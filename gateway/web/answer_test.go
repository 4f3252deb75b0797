package web

import (
	"net/http"
	"strings"
	"testing"
)

// Aim: machines open links of messages, so looking acts on nothing, however often; only the button does, once, on exactly that occurrence.
func TestAnswer_getChangesNothing(t *testing.T) {
	f := newFake().night()
	w := newWeb(t, f)
	for _, method := range []string{"GET", "HEAD", "OPTIONS", "PUT", "DELETE"} {
		ask(t, w, request(method, "/a/tank1-ana", ""))
	}
	if got := f.done(); len(got) != 0 {
		t.Fatalf("acts %+v without the button", got)
	}
	body := ask(t, w, request("POST", "/a/tank1-ana", "")).Body.String()
	want := Act{Do: DoAcknowledge, Alarm: "over-fermented@tank-1", Occurrence: 7, By: "ana", Via: "link"}
	if got := f.done(); len(got) != 1 || got[0] != want {
		t.Errorf("acts %+v, want %+v", got, want)
	}
	if !strings.Contains(body, "you are on it") {
		t.Errorf("the answer does not say it was written down:\n%s", body)
	}
}

// Aim: the page of a link says place, fact and what to do, in the reader's language, and holds no scripts.
func TestAnswer_shows(t *testing.T) {
	f := newFake().night()
	f.change(func(s *Snapshot) { s.Alarms[0].Caution = "Do not step into the tank." })
	w := newWeb(t, f)
	got := ask(t, w, request("GET", "/a/tank1-ana", ""))
	body := got.Body.String()
	for _, want := range []string{"Tank 1: over-fermented", "pH 4.05, limit 4.10, since 02:09", "Drain and wash now.", "I am on it", `<html lang="en">`} {
		if !strings.Contains(body, want) {
			t.Errorf("%q is missing in\n%s", want, body)
		}
	}
	if caution, action := strings.Index(body, "Do not step"), strings.Index(body, "Drain and wash"); caution < 0 || caution > action {
		t.Error("the caution does not stand before the action")
	}
	if strings.Contains(body, "<script") || strings.Contains(body, "style=") {
		t.Error("the page holds a script or a style of its own")
	}
	if got.Header().Get("Cache-Control") != "no-store" {
		t.Error("the page may be kept by a cache")
	}
	r := request("GET", "/a/tank1-ana", "")
	r.Header.Set("Accept-Language", "es-PE,es;q=0.9,en;q=0.8")
	if body := ask(t, w, r).Body.String(); !strings.Contains(body, "Voy yo") || !strings.Contains(body, `<html lang="es">`) || !strings.Contains(body, "límite 4.10") {
		t.Errorf("not in Spanish:\n%s", body)
	}
}

// Aim: the page says what has become of it since it was sent, and asks for an answer only where one is owed: not of what another is on or what is over, and a drill is
// called an exercise.
func TestAnswer_whatBecameOfIt(t *testing.T) {
	for name, c := range map[string]struct {
		token       string
		change      func(a *Alarm)
		says, never string
	}{
		"another is on it": {"tank1-ana", func(a *Alarm) { a.AcknowledgedBy, a.AcknowledgedAt = "Ben", a.Since }, "Ben is on it, since 02:09.", "<button"},
		"back by itself":   {"tank1-ana", func(a *Alarm) { a.Active = false }, "Back to normal by itself, since 02:09.", "pH 4.05"},
		"and still owed":   {"tank1-ana", func(a *Alarm) { a.Active = false }, "<button>I am on it</button>", "is on it."},
		"over":             {"tank1-ana", func(a *Alarm) { a.Occurrence++ }, "This does not stand any more", "<button"},
		"a drill":          {"drill-ana", func(*Alarm) {}, "This is an exercise: nothing has happened.", "I am on it"},
		"its answer":       {"drill-ana", func(*Alarm) {}, "<button>I got it</button>", "does not stand"},
	} {
		f := newFake().night()
		f.change(func(s *Snapshot) { c.change(&s.Alarms[0]) })
		body := ask(t, newWeb(t, f), request("GET", "/a/"+c.token, "")).Body.String()
		if !strings.Contains(body, c.says) || strings.Contains(body, c.never) {
			t.Errorf("%s: want %q and not %q:\n%s", name, c.says, c.never, body)
		}
	}
}

// Aim: texts of the rules file are text on the page, whatever they hold.
func TestAnswer_escapes(t *testing.T) {
	f := newFake().night()
	f.change(func(s *Snapshot) { s.Alarms[0].Action = `<script>alert(1)</script> & "wash"` })
	body := ask(t, newWeb(t, f), request("GET", "/a/tank1-ana", "")).Body.String()
	if strings.Contains(body, "<script>") || !strings.Contains(body, "&lt;script&gt;") {
		t.Errorf("not escaped:\n%s", body)
	}
}

func TestAnswer_oldAndUnknown(t *testing.T) {
	f := newFake().night()
	w := newWeb(t, f)
	for _, c := range []struct {
		token, says string
		status      int
	}{{"old", "This link has run out.", http.StatusGone}, {"guess", "This link is not known here", http.StatusNotFound}, {"%2e%2e", "not known", http.StatusNotFound}} {
		for _, method := range []string{"GET", "POST"} {
			got := ask(t, w, request(method, "/a/"+c.token, ""))
			if got.Code != c.status || !strings.Contains(got.Body.String(), c.says) || strings.Contains(got.Body.String(), "<button") {
				t.Errorf("%s of %s: %d\n%s", method, c.token, got.Code, got.Body)
			}
		}
	}
	f.refusal = &Refusal{RefusedSuperseded, "It came anew at 02:16; look again."}
	if got := ask(t, w, request("POST", "/a/tank1-ana", "")); got.Code != http.StatusConflict || !strings.Contains(got.Body.String(), "It came anew at 02:16") {
		t.Errorf("a refusal: %d\n%s", got.Code, got.Body)
	}
	if got := f.done(); len(got) != 0 {
		t.Errorf("acts %+v", got)
	}
}
