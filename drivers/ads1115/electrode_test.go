package ads1115

import (
	"math"
	"strings"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/ads1115/ads1115test"
	"millwarden/drivers/drivertest"
	"millwarden/internal/measured"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// The slope of Nernst over temperature, computed independently from the constants of the 2019 SI (check value M44 among it: 59.159 mV/pH at 25 °C).
func TestNernst_table(t *testing.T) {
	for _, row := range measured.Rows(t, "testdata/nernst.csv", 24) {
		celsius, millivolts := measured.Number(t, row[0]), measured.Number(t, row[1])
		if got := nernst(celsius) * 1000; !(math.Abs(got-millivolts) <= 0.00051) {
			t.Errorf("%v °C: %v mV/pH, want %v", celsius, got, millivolts)
		}
	}
}

func opened(t *testing.T) *electrodeProbe {
	t.Helper()
	bus := drivertest.NewI2C("i2c-1")
	bus.Put(at, ads1115test.New())
	p, err := Driver.Open(t.Context(), site(bus, "ain0", 2.048, electrodeLine()))
	if err != nil {
		t.Fatal(err)
	}
	return p.(*electrodeProbe)
}

func points(triples ...float64) drivers.Calibration {
	var c drivers.Calibration
	for i := 0; i < len(triples); i += 3 {
		c.Points = append(c.Points, drivers.CalibrationPoint{True: triples[i], Raw: triples[i+1] / 1000, Temperature: units.Celsius(triples[i+2])})
	}
	return c
}

// Check values M45 and M46 of the measurement tables: a calibration with two buffers, then a reading at two temperatures.
func TestCalibrate_twoBuffers(t *testing.T) {
	p := opened(t)
	j, err := p.Calibrate(points(7.00, -8.0, 25, 4.01, 165.0, 25))
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(j.Slope-0.9780) > 0.0001 || math.Abs(j.Offset+0.0080) > 1e-5 || j.Quality != reading.Good || j.Warning != "" {
		t.Errorf("Calibrate() = %+v, want slope 97.80 %%, offset -8.0 mV, good", j)
	}
	for celsius, want := range map[units.Celsius]float64{25: 4.788, 18: 4.735} {
		p.Compensate(celsius, true)
		v := p.electrode.value(0.120)
		if math.Abs(v.Value-want) > 0.002 || v.Quality != reading.Good {
			t.Errorf("+120 mV at %v °C = pH %v %s %q, want %v good", celsius, v.Value, v.Quality, v.Cause, want)
		}
	}
}

// Check value M47: least squares through three buffers, with residuals.
func TestCalibrate_threeBuffers(t *testing.T) {
	j, err := opened(t).Calibrate(points(4.01, 172, 25, 7.00, -3, 25, 10.01, -176, 25))
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(j.Slope-0.9804) > 0.0001 || math.Abs(j.Offset+0.00195) > 1e-5 || math.Abs(j.Residual-0.00105) > 1e-5 {
		t.Errorf("Calibrate() = %+v, want slope 98.04 %%, offset -1.95 mV, residual 1.05 mV", j)
	}
}

// Check value M48: pH 4.00 at 15 °C, read with the slope of 25 °C, shows 4.10. Without a temperature the probe does so, and says it.
func TestElectrode_withoutTemperature(t *testing.T) {
	p := opened(t)
	if _, err := p.Calibrate(points(7, 0, 25, 4, 3*59.159, 25)); err != nil {
		t.Fatal(err)
	}
	millivolts := 3 * 57.175 // meas-nernst, 15 °C
	v := p.electrode.value(millivolts / 1000)
	if math.Abs(v.Value-4.101) > 0.002 || v.Quality != reading.Uncertain || !strings.Contains(v.Cause, "25 °C assumed") {
		t.Errorf("pH %v %s %q, want 4.101, uncertain, because 25 °C is assumed", v.Value, v.Quality, v.Cause)
	}
	p.Compensate(15, true)
	if v := p.electrode.value(millivolts / 1000); math.Abs(v.Value-4.000) > 0.002 || v.Quality != reading.Good {
		t.Errorf("compensated: pH %v %s, want 4.000 good", v.Value, v.Quality)
	}
	p.Compensate(15, false)
	if v := p.electrode.value(millivolts / 1000); v.Quality != reading.Uncertain {
		t.Errorf("thermometer lost: %s, want uncertain", v.Quality)
	}
	p.Compensate(300, true)
	if v := p.electrode.value(millivolts / 1000); v.Quality != reading.Uncertain {
		t.Errorf("thermometer absurd: %s, want uncertain", v.Quality)
	}
	if p.CompensatedBy() != "tank-1/temperature" {
		t.Errorf("CompensatedBy() = %q", p.CompensatedBy())
	}
}

func TestElectrode_uncalibratedIsUncertain(t *testing.T) {
	p := opened(t)
	p.Compensate(25, true)
	if v := p.electrode.value(0); v.Quality != reading.Uncertain || v.Cause != "not calibrated" {
		t.Errorf("%s %q, want uncertain, not calibrated", v.Quality, v.Cause)
	}
}

// Each buffer counts with the slope of its own temperature: an ideal electrode comes out as one whatever the room.
func TestCalibrate_buffersAtTheirTemperature(t *testing.T) {
	j, err := opened(t).Calibrate(points(7.02, -58.167*0.02, 20, 4.00, 58.167*3, 20)) // meas-nernst, 20 °C
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(j.Slope-1) > 1e-4 || math.Abs(j.Offset) > 1e-5 {
		t.Errorf("Calibrate() = %+v, want an ideal electrode", j)
	}
}

// How a slope and an offset are judged: measurement section 6.
func TestCalibrate_judges(t *testing.T) {
	with := func(slope, offset float64) drivers.Calibration {
		return points(7, offset, 25, 4, offset+slope/100*3*59.159, 25)
	}
	tests := []struct {
		name    string
		points  drivers.Calibration
		refused bool
		quality reading.Quality
		warns   bool
	}{
		{"ideal", with(100, 0), false, reading.Good, false},
		{"good", with(95.5, 15), false, reading.Good, false},
		{"upper good", with(101.5, -15), false, reading.Good, false},
		{"slope to watch", with(92, 0), false, reading.Good, true},
		{"slope low", with(87, 0), false, reading.Uncertain, true},
		{"slope high", with(103, 0), false, reading.Uncertain, true},
		{"slope far too low", with(84, 0), true, 0, false},
		{"slope far too high", with(106, 0), true, 0, false},
		{"offset to watch", with(98, 25), false, reading.Good, true},
		{"offset far", with(98, -31), true, 0, false},
		{"buffers mixed up", points(4, 0, 25, 7, 177, 25), true, 0, false},
		{"one buffer", points(7, 0, 25), true, 0, false},
		{"buffers too close", points(7, 0, 25, 6.86, 8.3, 25), true, 0, false},
		{"the same buffer twice", points(7, 0, 25, 7, 1, 25), true, 0, false},
		{"a buffer off the line", points(4, 177.5, 25, 7, 8, 25, 10, -177.5, 25), true, 0, false},
		{"no number", points(7, math.NaN(), 25, 4, 177, 25), true, 0, false},
	}
	for _, test := range tests {
		p := opened(t)
		p.Compensate(25, true)
		before := p.electrode.value(0.1)
		j, err := p.Calibrate(test.points)
		switch {
		case test.refused != (drivers.KindOf(err) == drivers.Settings):
			t.Errorf("%s: Calibrate() = %+v, %v, want refused %t", test.name, j, err, test.refused)
		case test.refused:
			if after := p.electrode.value(0.1); after.Value != before.Value || after.Cause != before.Cause {
				t.Errorf("%s: a refused calibration is in force", test.name)
			}
		case j.Quality != test.quality || (j.Warning != "") != test.warns:
			t.Errorf("%s: Calibrate() = %+v, want %s, warning %t", test.name, j, test.quality, test.warns)
		case p.electrode.value(0.1).Quality != test.quality:
			t.Errorf("%s: values are %s, want %s", test.name, p.electrode.value(0.1).Quality, test.quality)
		}
	}
}

func TestCalibrate_saysWhatMoved(t *testing.T) {
	p := opened(t)
	if _, err := p.Calibrate(points(7, 0, 25, 4, 3*59.159, 25)); err != nil {
		t.Fatal(err)
	}
	j, err := p.Calibrate(points(7, 12, 25, 4, 12+3*59.159*0.96, 25))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"slope moved from 100.0 to 96.0 %", "offset moved from 0.0 to 12.0 mV"} {
		if !strings.Contains(j.Warning, want) {
			t.Errorf("Warning = %q, want %q in it", j.Warning, want)
		}
	}
}
