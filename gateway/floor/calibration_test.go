package floor_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"math"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/ads1115/ads1115test"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/ds18b20/ds18b20test"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/phrase"
)

const calibrateRules = `site small-mill
    timezone        UTC
    altitude        1450 m

station tank-1 is tank

probe electrode
    part            ads1115 on i2c-1 at 0x48
    channel         ain0 range 2.048 V
    electrode       compensated by tank-1/temperature
    gives           ph at tank-1
    every           5 s

probe thermometer
    part            ds18b20 28-0316a2794bff
    gives           temperature at tank-1
    every           5 s
    calibrate-every 30 d

use instruments

person ana
    mail            ana@estate.example
    rights          technician
person vera
    mail            vera@estate.example
    rights          reader
`

// bench is a floor with an electrode in a cup and a thermometer beside it.
type bench struct {
	*floor.Floor
	chip *ads1115test.Chip
	warm *ds18b20test.Part
}

func openBench(t *testing.T, folder string, c clock.Clock) *bench {
	t.Helper()
	plan, said := load(t, fstest.MapFS{"demo.rules": {Data: []byte(calibrateRules)}})
	if plan == nil || said != "" {
		t.Fatal(said)
	}
	wires, tree := drivertest.NewI2C("i2c-1"), ds18b20test.NewTree()
	b := &bench{chip: ads1115test.New(), warm: tree.Add("28-0316a2794bff")}
	wires.Put(0x48, b.chip)
	b.warm.Set(20)
	open := func(_ context.Context, kind drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
		return drivers.Bus{Name: name, I2C: wires, OneWire: tree}, nil, nil
	}
	var err error
	b.Floor, err = floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: open, NoPage: true, Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return c }})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// run lets it run until the function that it gives is called.
func (b *bench) run(t *testing.T) (stop func()) {
	ctx, cancel := context.WithCancel(t.Context())
	var lives sync.WaitGroup
	lives.Go(func() {
		if err := b.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
	})
	return func() {
		cancel()
		lives.Wait()
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	}
}

// take holds a reference to a probe, waits until it stands, and takes it as the command line does.
func (b *bench) take(t *testing.T, probe string, reference float64, buffer string) web.CalibratePoint {
	t.Helper()
	for range 60 {
		time.Sleep(5 * time.Second)
		now, err := b.Books().Calibration(t.Context(), probe, "")
		if err != nil {
			t.Fatal(err)
		}
		if !now.Stands {
			continue
		}
		p := web.CalibratePoint{Reference: reference, Read: now.Read, Shown: now.Shown}
		if now.Celsius != nil {
			p.Celsius = *now.Celsius
		}
		if buffer != "" {
			p.Reference = now.Buffers[buffer]
		}
		return p
	}
	t.Fatalf("%s never stands", probe)
	return web.CalibratePoint{}
}

// volts of an electrode with a slope in per cent and an offset in mV, at 20 °C [check value of the Nernst table: 58.167 mV a pH].
func volts(ph, slope, offset float64) float64 { return (offset - slope/100*58.167*(ph-7)) / 1000 }

// Aim: buffers at their temperature, a judgement by the part, as found and as left in the record, and what an overdue, refused or worn state does to readings.
func TestCalibrate_electrode(t *testing.T) {
	bubble(t, func(t *testing.T) {
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 8, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		folder := memoryFolder(t)
		b := openBench(t, folder, c)
		stop := b.run(t)
		const slope, offset = 96, 8
		b.chip.SetVoltage(0, volts(7.02, slope, offset))
		time.Sleep(time.Minute)
		if got := value(b.Floor, "tank-1/ph"); !strings.Contains(got.Cause, "not calibrated") {
			t.Errorf("before: %+v, want not calibrated", got)
		}
		seven := b.take(t, "electrode", 0, "7.00") // 7.02 at 20 °C
		b.chip.SetVoltage(0, volts(4.00, slope, offset))
		time.Sleep(6 * time.Second)
		if now, err := b.Books().Calibration(t.Context(), "electrode", ""); err != nil || now.Stands {
			t.Errorf("just moved to another buffer: %+v, %v, want that it does not stand", now, err)
		}
		time.Sleep(time.Minute)
		four := b.take(t, "electrode", 0, "4.00")
		done, err := b.Books().Calibrate(t.Context(), web.Calibrate{Probe: "electrode", Points: []web.CalibratePoint{seven, four}, By: "ana"})
		if err != nil || !done.Accepted || math.Abs(done.Left.Slope-slope) > 0.3 || math.Abs(done.Left.Offset-offset/1000.0) > 0.0003 || seven.Reference != 7.02 {
			t.Fatalf("Calibrate() = %+v, %v, want slope %d %%, offset %d mV", done, err, slope, offset)
		}
		if len(done.Found) != 2 || math.Abs(done.Found[0]+0.14) > 0.05 { // 8 mV are 0.14 pH
			t.Errorf("as found %v, want the first about -0.14 pH", done.Found)
		}
		b.chip.SetVoltage(0, volts(4.6, slope, offset))
		time.Sleep(2 * time.Minute)
		if got := value(b.Floor, "tank-1/ph"); got.Quality.String() != "good" || math.Abs(got.Value-4.6) > 0.02 {
			t.Errorf("calibrated: %+v, want a good 4.6", got)
		}
		if got := value(b.Floor, "electrode/slope"); math.Abs(got.Value-slope) > 0.3 {
			t.Errorf("electrode/slope = %+v, want %d %%", got, slope)
		}
		bad := web.Calibrate{Probe: "electrode", Points: []web.CalibratePoint{seven, {Reference: 4, Read: seven.Read + 0.08, Celsius: 20}}, By: "ana"}
		if done, err := b.Books().Calibrate(t.Context(), bad); err != nil || done.Accepted || !strings.Contains(done.Left.Refused, "slope") {
			t.Errorf("a dead electrode: %+v, %v, want refused", done, err)
		}
		time.Sleep(time.Minute)
		if got := value(b.Floor, "tank-1/ph"); got.Quality.String() != "uncertain" || !strings.Contains(got.Cause, "refused") || math.Abs(got.Value-4.6) > 0.02 {
			t.Errorf("after a refused one: %+v, want an uncertain 4.6: what held before holds on", got)
		}
		stop()
		later := clock.Scaled{Start: c.Start.Add(8 * 24 * time.Hour), Begun: time.Now(), Speed: 1, Boot: 2}
		again := openBench(t, folder, later)
		again.chip.SetVoltage(0, volts(4.6, slope, offset))
		defer again.run(t)()
		time.Sleep(time.Minute)
		if got := value(again.Floor, "tank-1/ph"); got.Quality.String() != "uncertain" || math.Abs(got.Value-4.6) > 0.02 {
			t.Errorf("after a start: %+v, want what the record holds, and doubt", got)
		}
		seven.Shown = 7.02
		if done, err := again.Books().Calibrate(t.Context(), web.Calibrate{Probe: "electrode", Points: []web.CalibratePoint{seven, four}, By: "ana"}); err != nil || !done.Accepted {
			t.Fatalf("again: %+v, %v", done, err)
		}
		time.Sleep(time.Minute)
		if got := value(again.Floor, "tank-1/ph"); got.Quality.String() != "good" {
			t.Errorf("calibrated again: %+v, want good", got)
		}
	})
}

// Ice and boiling water by altitude; overdue readings are uncertain, whatever they say.
func TestCalibrate_thermometer(t *testing.T) {
	bubble(t, func(t *testing.T) {
		c := clock.Scaled{Start: time.Date(2026, 6, 10, 8, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}
		folder := memoryFolder(t)
		b := openBench(t, folder, c)
		stop := b.run(t)
		b.warm.Set(0.5)
		time.Sleep(2 * time.Minute)
		if got := value(b.Floor, "tank-1/temperature"); got.Cause != "not calibrated" {
			t.Errorf("before: %+v, want not calibrated", got)
		}
		ice := b.take(t, "thermometer", 0, "")
		now, err := b.Books().Calibration(t.Context(), "thermometer", "")
		if err != nil || math.Abs(now.Boiling-95.2) > 0.3 { // 1450 m
			t.Fatalf("Calibration() = %+v, %v, want water to boil at 95.2 °C", now, err)
		}
		b.warm.Set(now.Boiling + 0.5)
		time.Sleep(2 * time.Minute)
		hot := b.take(t, "thermometer", now.Boiling, "")
		for _, refused := range []struct {
			ask  web.Calibrate
			kind string
		}{{web.Calibrate{Probe: "thermometer", Points: []web.CalibratePoint{ice}, By: "vera"}, web.RefusedRights}, {web.Calibrate{Probe: "none", Points: []web.CalibratePoint{ice}, By: "ana"}, web.RefusedUnknown},
			{web.Calibrate{Probe: "thermometer", By: "ana"}, web.RefusedInput}} {
			var r *web.Refusal
			if _, err := b.Books().Calibrate(t.Context(), refused.ask); !errors.As(err, &r) || r.Kind != refused.kind {
				t.Errorf("%+v: %v, want %s", refused.ask, err, refused.kind)
			}
		}
		done, err := b.Books().Calibrate(t.Context(), web.Calibrate{Probe: "thermometer", Points: []web.CalibratePoint{ice, hot}, By: "ana"})
		if err != nil || !done.Accepted || math.Abs(done.Found[0]-0.5) > 0.05 || math.Abs(done.Left.Errors[1]) > 1e-6 {
			t.Fatalf("Calibrate() = %+v, %v, want 0.5 K found and none left", done, err)
		}
		b.warm.Set(40.5)
		time.Sleep(2 * time.Minute)
		if got := value(b.Floor, "tank-1/temperature"); got.Quality.String() != "good" || math.Abs(got.Value-40) > 0.07 {
			t.Errorf("calibrated: %+v, want a good 40 °C", got)
		}
		stop()
		again := openBench(t, folder, clock.Scaled{Start: c.Start.Add(31 * 24 * time.Hour), Begun: time.Now(), Speed: 1, Boot: 2})
		again.warm.Set(40.5)
		defer again.run(t)()
		time.Sleep(time.Minute)
		if got := value(again.Floor, "tank-1/temperature"); got.Cause != "calibration overdue" || got.Quality.String() != "uncertain" || math.Abs(got.Value-40) > 0.07 {
			t.Errorf("31 days later: %+v, want an overdue 40 °C", got)
		}
	})
}
