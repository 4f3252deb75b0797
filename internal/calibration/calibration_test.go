package calibration

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"millwarden/internal/measured"
	"millwarden/internal/units"
)

// testdata/buffers.csv, its sources in its own head: JIS Z 8802 and a technical table (an analyser manual of 2005) as printed; the primary values of IUPAC and NIST, from memory there to three
// decimals, within a hundredth and a half. Between rows it is a straight line.
func TestBuffer_tables(t *testing.T) {
	names := map[string]string{"C_phthalate_0.05": "4.01", "D_phosphate_0.025": "6.86", "F_borax_0.01": "9.18", "tech_4.00": "4.00", "tech_7.00": "7.00", "tech_10.01": "10.01"}
	var checked, hotter, other int
	for _, row := range measured.Rows(t, "testdata/buffers.csv", 126) {
		celsius, want, within := measured.Number(t, row[2]), measured.Number(t, row[3]), 1e-9
		if strings.HasPrefix(row[0], "NIST") {
			within = 0.015
		}
		name, known := names[row[1]]
		if !known { // the carbonate buffer: sold as 10.01, for which there is the technical table
			name, within = "10.01", 0.015
			other++
		}
		got, err := Buffer(name, celsius)
		if celsius > 50 { // no buffer is measured so hot
			hotter++
			if err == nil {
				t.Errorf("Buffer(%s, %v) = %v, want an error", name, celsius, got)
			}
			continue
		}
		checked++
		if err != nil || !(math.Abs(got-want) <= within) {
			t.Errorf("%s: Buffer(%s, %v) = %v, %v, want %v", row[0], name, celsius, got, err, want)
		}
	}
	if checked != 114 || hotter != 12 || other != 18 {
		t.Errorf("%d rows checked, %d beyond 50 °C, %d of the carbonate; want 114, 12 and 18", checked, hotter, other)
	}
	if got, err := Buffer("7.00", 12.5); err != nil || math.Abs(got-7.05) > 1e-9 {
		t.Errorf("Buffer(7.00, 12.5) = %v, %v, want 7.05", got, err)
	}
	for _, wrong := range []struct {
		name    string
		celsius float64
	}{{"7", 25}, {"7.00", -1}, {"7.00", 51}, {"7.00", math.NaN()}} {
		if got, err := Buffer(wrong.name, wrong.celsius); err == nil {
			t.Errorf("Buffer(%s, %v) = %v, want an error", wrong.name, wrong.celsius, got)
		}
	}
}

// Boiling points by altitude: the steam tables' saturation at the standard atmosphere's pressure (101.325, 89.87, 79.50, 70.11 kPa at 0, 1000, 2000 and 3000 m).
func TestBoiling_byAltitude(t *testing.T) {
	for altitude, want := range map[float64]float64{0: 99.97, 1000: 96.7, 2000: 93.4, 3000: 90.0} {
		if got := Boiling(altitude); math.Abs(got-want) > 0.15 {
			t.Errorf("Boiling(%v m) = %.2f °C, want %v", altitude, got, want)
		}
	}
}

func TestFit(t *testing.T) {
	line, warning, err := Fit(units.Temperature, []Point{{Reference: 0, Read: 0.6}, {Reference: 95.1, Read: 94.9}})
	if err != nil || warning != "" || math.Abs(line.Right(0.6)) > 1e-9 || math.Abs(line.Right(94.9)-95.1) > 1e-9 {
		t.Errorf("ice and boiling: %+v, %q, %v", line, warning, err)
	}
	if line, _, err := Fit(units.Temperature, []Point{{Reference: 0, Read: 0.5}}); err != nil || line != (Line{1, -0.5}) {
		t.Errorf("ice alone: %+v, %v, want a shift of -0.5", line, err)
	}
	if _, warning, err := Fit(units.Temperature, []Point{{Reference: 0, Read: 2}}); err != nil || warning == "" {
		t.Errorf("2 K off: %q, %v, want a warning", warning, err)
	}
	for name, points := range map[string][]Point{"none": nil, "7 K off": {{Reference: 0, Read: 7}}, "stuck": {{Reference: 0, Read: 20}, {Reference: 95, Read: 20}},
		"half": {{Reference: 0, Read: 0}, {Reference: 95, Read: 47}}, "no number": {{Reference: 0, Read: math.NaN()}}} {
		if line, _, err := Fit(units.Temperature, points); err == nil {
			t.Errorf("%s: %+v, want a refusal", name, line)
		}
	}
}

// An electrode on its way to a buffer does not stand; one that has arrived does, unless it wavers.
func TestWindow_stands(t *testing.T) {
	rule := RuleFor(units.PH, true, 0)
	var w Window
	if s := w.Still(rule); s.Stands || s.Why == "" {
		t.Errorf("an empty window: %+v", s)
	}
	volts := func(second float64) float64 { return 0.170 * (1 - math.Exp(-second/20)) } // a slow electrode: half a minute for three quarters
	arrived := -1.0
	for second := 0.0; second < 400; second += 5 {
		w.Add(time.Duration(second)*time.Second, volts(second), 5, 21, true)
		s := w.Still(rule)
		if s.Stands && arrived < 0 {
			arrived = second
			if math.Abs(s.Read-0.170) > 0.001 || s.Celsius != 21 || !s.CelsiusKnown {
				t.Errorf("stands at %v s with %+v, want within 1 mV of 170 mV", second, s)
			}
		}
	}
	if arrived < 100 || arrived > 250 {
		t.Errorf("it stands after %v s, want after it has arrived and not for ever", arrived)
	}
	w.Clear()
	for _, second := range []time.Duration{0, rule.Over} {
		w.Add(second, 0.170, 5, 0, false)
	}
	if s := w.Still(rule); s.Stands || s.Why != fmt.Sprintf("2 of %d readings seen", rule.Count) {
		t.Errorf("long enough, with too few readings: %+v", s)
	}
	w.Clear()
	for second := range 60 {
		w.Add(time.Duration(second)*time.Second, 0.170+0.002*float64(second%2), 5, 0, false)
	}
	if s := w.Still(rule); s.Stands || !strings.Contains(s.Why, "moves") {
		t.Errorf("a wavering electrode: %+v, want that it moves", s)
	}
}

func TestDrift(t *testing.T) {
	begin := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	day := 24 * time.Hour
	list := []Was{{begin, 0.99}, {begin.Add(7 * day), 0.98}, {begin.Add(14 * day), 0.97}}
	if at, perDay, ok := Drift(list, begin.Add(21*day)); !ok || math.Abs(at-0.96) > 1e-9 || math.Abs(perDay+0.01/7) > 1e-9 {
		t.Errorf("Drift() = %v, %v, %t, want 0.96", at, perDay, ok)
	}
	if _, _, ok := Drift(list[:2], begin); ok {
		t.Error("two calibrations make a drift")
	}
}
