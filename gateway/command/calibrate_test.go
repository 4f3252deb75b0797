package command

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"millwarden/gateway/web"
)

// Aim: the walk takes what the gateway says of a probe that stands, looks up buffers and amounts, and tells the outcome; nothing is sent when something is wrong.
func TestCalibrate_walk(t *testing.T) {
	celsius := 20.0
	now := web.Calibrating{Probe: "electrode", Point: "tank-1/ph", Method: "electrode", Unit: "pH", Read: -0.008, Shown: 7.1, Celsius: &celsius, Stands: true, Buffers: map[string]float64{"7.00": 7.02, "4.01": 4.00}, Boiling: 95.2}
	done := web.Calibrated{Accepted: true, Found: []float64{0.08, 0.2}, Left: web.CalibrationLeft{Slope: 96.2, Offset: -0.008, Warning: "slope 96.2 %"}}
	var got *web.Calibrate
	server := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet {
			_ = json.NewEncoder(rw).Encode(now)
			return
		}
		got = &web.Calibrate{}
		_ = json.NewDecoder(r.Body).Decode(got)
		_ = json.NewEncoder(rw).Encode(done)
	}))
	defer server.Close()
	run := func(stdin string, args ...string) (int, string, string) {
		got = nil
		var out, err strings.Builder
		code := Main(context.Background(), append([]string{"calibrate", "--at", server.URL}, args...), IO{In: strings.NewReader(stdin), Out: &out, Err: &err})
		return code, out.String(), err.String()
	}

	code, out, _ := run("\n\n", "electrode", "--buffer", "7.00", "--buffer", "4.01", "--by", "ana")
	if code != 0 || got == nil || len(got.Points) != 2 || got.Points[0] != (web.CalibratePoint{Reference: 7.02, Read: -0.008, Shown: 7.1, Celsius: 20}) || got.Points[1].Reference != 4 || got.By != "ana" {
		t.Errorf("two buffers: exit %d, sent %+v\n%s", code, got, out)
	}
	for _, want := range []string{"fresh buffer 7.00", "7.02 is right, +0.08 off", "as found: off by +0.08, +0.2", "slope 96.2 %"} {
		if !strings.Contains(out, want) {
			t.Errorf("two buffers: does not say %q:\n%s", want, out)
		}
	}
	if code, _, _ := run("\n", "electrode", "--buffer", "6.97", "--by", "ana"); code != 0 || got.Points[0].Reference != 6.97 {
		t.Errorf("a bottle with a table of its own: exit %d, %+v, want its number", code, got)
	}
	now.Unit, now.Method, now.Shown = "°C", "line", 0.4
	if code, out, _ := run("\n\n", "thermometer", "--ice", "--boiling", "--by", "ana"); code != 0 || len(got.Points) != 2 || got.Points[0].Reference != 0 || got.Points[1].Reference != 95.2 || !strings.Contains(out, "CAUTION: Burns.") {
		t.Errorf("ice and boiling: exit %d, %+v\n%s", code, got, out)
	}
	if code, _, _ := run("\n", "thermometer", "--true", "122 °F", "--by", "ana"); code != 0 || got.Points[0].Reference != 50 {
		t.Errorf("122 °F: exit %d, %+v, want 50 °C", code, got)
	}
	done = web.Calibrated{Found: []float64{9}, Left: web.CalibrationLeft{Refused: "it is off by 9.00"}}
	if code, out, _ := run("\n", "thermometer", "--ice", "--by", "ana"); code != 1 || !strings.Contains(out, "REFUSED: it is off by 9.00") {
		t.Errorf("refused: exit %d\n%s", code, out)
	}
	if code, out, _ := run("", "thermometer", "--by", "ana"); code != 0 || !strings.Contains(out, "--ice --boiling") {
		t.Errorf("no references: exit %d\n%s", code, out)
	}
	for _, wrong := range [][]string{{"thermometer", "--true", "50 %RH", "--by", "ana"}, {"thermometer", "--ice"}, {"--ice", "--by", "ana"}, {"electrode", "--buffer", "vinegar", "--by", "ana"}} {
		if code, _, said := run("\n", wrong...); code != 2 || got != nil {
			t.Errorf("%v: exit %d, sent %+v, %s; want wrong use and nothing sent", wrong, code, got, said)
		}
	}
	if code, _, said := run("", "thermometer", "--ice", "--by", "ana"); code != 1 || got != nil || !strings.Contains(said, "nothing was written") {
		t.Errorf("nobody pressed Enter: exit %d, %s", code, said)
	}
}
