package web

import (
	"compress/gzip"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

const lastNight = "/api/readings?point=tank-1/ph&columns=400&from=2026-11-24T18:00:00Z&to=2026-11-25T06:00:00Z"

func askFor(t testing.TB, w *Web, path string, headers ...string) *httptest.ResponseRecorder {
	t.Helper()
	r := request("GET", path, "")
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	return ask(t, w, r)
}

// Aim: a course goes packed to whoever takes it, and is the same unpacked [RFC 9110 8.4]; gzip is read by the standard library's reader.
func TestReadings_packed(t *testing.T) {
	w := newWeb(t, newFake())
	plain, packed := askFor(t, w, lastNight), askFor(t, w, lastNight, "Accept-Encoding", "br, gzip")
	if plain.Header().Get("Content-Encoding") != "" || packed.Header().Get("Content-Encoding") != "gzip" {
		t.Fatalf("encodings %q and %q", plain.Header().Get("Content-Encoding"), packed.Header().Get("Content-Encoding"))
	}
	if small, large := packed.Body.Len(), plain.Body.Len(); small > large/2 {
		t.Errorf("%d bytes packed of %d", small, large)
	}
	z, err := gzip.NewReader(packed.Body)
	must(t, err)
	text, err := io.ReadAll(z)
	must(t, err)
	if string(text) != plain.Body.String() {
		t.Error("packed and plain differ")
	}
	if short := askFor(t, w, "/api/readings?point=tank-1/ph&columns=3", "Accept-Encoding", "gzip"); short.Header().Get("Content-Encoding") != "" {
		t.Errorf("%d bytes were packed", short.Body.Len())
	}
}

// Aim: the tag is the content's: the same course is not sent twice, another one is, and packed and plain have tags of their own [RFC 9110 8.8.3, 13.1.2,
// 15.4.5].
func TestReadings_kept(t *testing.T) {
	f := newFake()
	w := newWeb(t, f)
	first := askFor(t, w, lastNight)
	tag := first.Header().Get("ETag")
	if c := first.Header().Get("Cache-Control"); c != "private, no-cache" || len(tag) < 10 {
		t.Fatalf("Cache-Control %q, ETag %q", c, tag)
	}
	packed := askFor(t, w, lastNight, "Accept-Encoding", "gzip").Header().Get("ETag")
	for _, c := range []struct {
		path, accepts, match string
		want                 int
	}{
		{lastNight, "", tag, http.StatusNotModified},
		{lastNight, "gzip", packed, http.StatusNotModified},
		{lastNight, "", `"other", W/` + tag, http.StatusNotModified},
		{lastNight, "gzip", tag, http.StatusOK},
		{lastNight, "", `"other"`, http.StatusOK},
		{strings.Replace(lastNight, "tank-1", "tank-2", 1), "", tag, http.StatusOK},
		{strings.Replace(lastNight, "T06:", "T05:", 1), "", tag, http.StatusOK},
	} {
		got := askFor(t, w, c.path, "Accept-Encoding", c.accepts, "If-None-Match", c.match)
		if got.Code != c.want || got.Code == http.StatusNotModified && (got.Body.Len() > 0 || got.Header().Get("ETag") == "" || got.Header().Get("Content-Encoding") != "") {
			t.Errorf("%s for %s: status %d, %d bytes, %v, want %d", c.path, c.match, got.Code, got.Body.Len(), got.Header(), c.want)
		}
	}
	f.change(func(s *Snapshot) { s.Points[0].Reading.Value += 0.1 }) // the fake's past follows what stands
	if got := askFor(t, w, lastNight, "If-None-Match", tag); got.Code != http.StatusOK || got.Header().Get("ETag") == tag {
		t.Errorf("another course: status %d, tag %s as before", got.Code, got.Header().Get("ETag"))
	}
}

// slow is a history that answers only when it is given up.
type slow struct{ allowed chan time.Duration }

func (s slow) Curve(ctx context.Context, _ string, _, _ time.Time, _ int) ([]Column, error) {
	end, bounded := ctx.Deadline()
	if !bounded {
		end = time.Now().Add(time.Hour)
	}
	s.allowed <- time.Until(end)
	return nil, context.DeadlineExceeded
}

// Aim: no question for a course runs for ever: the whole answer has one deadline, and what it did not read is told.
func TestCourses_deadline(t *testing.T) {
	for _, path := range []string{lastNight, "/api/courses?point=tank-1/ph&point=tank-2/ph"} {
		w, s := newWeb(t, newFake()), slow{make(chan time.Duration, 1)}
		w.config.History = s
		if got := askFor(t, w, path); got.Code != http.StatusInternalServerError || !strings.Contains(got.Body.String(), "The history could not be read.") {
			t.Errorf("%s: status %d %s", path, got.Code, got.Body)
		}
		if left := <-s.allowed; left > curveWait {
			t.Errorf("%s: the history was given %v, want at most %v", path, left, curveWait)
		}
	}
}
