package web

import (
	"bytes"
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"millwarden/internal/units"
)

// Aim: the figures of reference/standards.md 3.5 are there under their names, with the values of the estate.
func TestMetrics_names(t *testing.T) {
	f := newFake().night()
	f.change(func(s *Snapshot) {
		s.Outbox = Outbox{Readings: 1204, Oldest: 90 * time.Second}
		s.Points = append(s.Points, Point{Name: "never/read", Quantity: units.PH})
	})
	w := newWeb(t, f)
	w.config.Metrics.Annunciated.WithLabelValues("high").Add(2)
	w.config.Metrics.ReadFailures.WithLabelValues("tank-1-electrode").Inc()
	w.config.Metrics.AnnunciationSeconds.Observe(0.4)
	text := ask(t, w, request("GET", "/metrics", "")).Body.String()
	for _, want := range []string{
		`millwarden_reading_age_seconds{point="tank-1/ph"} 8`, `millwarden_reading_age_seconds{point="bin-2/moisture"} 245`,
		`millwarden_alarms_annunciated_total{priority="high"} 2`, `millwarden_alarms_annunciated_total{priority="low"} 0`,
		`millwarden_alarm_state{alarm="over-fermented@tank-1",priority="high",state="unacknowledged"} 1`,
		`millwarden_alarm_state{alarm="exhaust-hot@roaster-1",priority="high",state="out of service"} 1`,
		`millwarden_outbox_readings 1204`, `millwarden_outbox_oldest_age_seconds 90`, `millwarden_probe_read_failures_total{probe="tank-1-electrode"} 1`,
		`millwarden_annunciation_seconds_count 1`, `millwarden_build_info{version="test"} 1`, `millwarden_clock_set 1`,
	} {
		if !strings.Contains(text, want+"\n") {
			t.Errorf("%s is missing in\n%s", want, text)
		}
	}
	for _, never := range []string{"never/read", "too-wet@bin-2", "NaN"} { // never read; normal; not a number is not "missing"
		if strings.Contains(text, never) {
			t.Errorf("%s is exposed", never)
		}
	}
}

// Aim: a scraper that asks for OpenMetrics 1.0 gets it, whole.
func TestMetrics_openMetrics(t *testing.T) {
	r := request("GET", "/metrics", "")
	r.Header.Set("Accept", "application/openmetrics-text; version=1.0.0")
	got := ask(t, newWeb(t, newFake()), r)
	if kind := got.Header().Get("Content-Type"); !strings.HasPrefix(kind, "application/openmetrics-text; version=1.0.0; charset=utf-8") {
		t.Errorf("Content-Type %q", kind)
	}
	if !strings.HasSuffix(got.Body.String(), "# EOF\n") {
		t.Error("it does not end with # EOF")
	}
	name := regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	for line := range strings.Lines(got.Body.String()) {
		if rest, found := strings.CutPrefix(line, "# TYPE "); found {
			if n, _, _ := strings.Cut(rest, " "); !name.MatchString(n) || !strings.HasPrefix(n, "millwarden_") {
				t.Errorf("%q is not a name of ours", n)
			}
		}
	}
}

// Aim: promtool, a checker we did not write, finds nothing; and it does find a planted fault.
func TestMetrics_promtool(t *testing.T) {
	program, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("promtool is not installed")
		}
		t.Skip("promtool is not installed")
	}
	check := func(text []byte) ([]byte, error) {
		c := exec.CommandContext(t.Context(), program, "check", "metrics")
		c.Stdin = bytes.NewReader(text)
		return c.CombinedOutput()
	}
	text := ask(t, newWeb(t, newFake().night()), request("GET", "/metrics", "")).Body.Bytes()
	if out, err := check(text); err != nil || len(out) > 0 {
		t.Errorf("promtool: %v\n%s", err, out)
	}
	if _, err := check(append(text, "badName_total 1\n"...)); err == nil {
		t.Error("promtool let a bad name pass")
	}
}

// Aim: a worker that stands still, and a model that does not answer, are seen from outside as 503, at once.
func TestHealth(t *testing.T) {
	f := newFake()
	w := newWeb(t, f)
	health := func() (int, string) {
		got := ask(t, w, request("GET", "/health", ""))
		var body struct {
			Workers []struct {
				Name   string
				Stands bool
			}
		}
		must(t, json.Unmarshal(got.Body.Bytes(), &body))
		standing := ""
		for _, k := range body.Workers {
			if k.Stands {
				standing += k.Name
			}
		}
		return got.Code, standing
	}
	if code, who := health(); code != http.StatusOK || who != "" {
		t.Errorf("all well: %d, standing still: %q", code, who)
	}
	f.stands = "bus i2c-1"
	if code, who := health(); code != http.StatusServiceUnavailable || who != "bus i2c-1" {
		t.Errorf("a bus stands still: %d %q", code, who)
	}
	f.stands = ""
	long := time.Now().Add(-stuck - time.Second)
	w.live.asked.Store(&long)
	w.live.mu.Lock() // as while the model owes its answer
	code, who := health()
	w.live.mu.Unlock()
	if code != http.StatusServiceUnavailable || who != "page model" {
		t.Errorf("the model does not answer: %d %q", code, who)
	}
}
