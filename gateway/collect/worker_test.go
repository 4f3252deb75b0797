package collect

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/internal/clock"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// part is a probe whose answers are scripted: one entry a Read, the last one for ever.
type part struct {
	answers []answer
	reads   int

	closed bool
}

type answer struct {
	value float64
	raw   []byte
	err   error
	takes time.Duration
}

func (p *part) String() string { return "part on a test bus" }

func (p *part) Read(ctx context.Context) (drivers.Sample, error) {
	a := p.answers[min(p.reads, len(p.answers)-1)]
	p.reads++
	if a.takes > 0 {
		if err := drivers.Wait(ctx, a.takes); err != nil {
			return drivers.Sample{}, err
		}
	}
	if a.err != nil {
		return drivers.Sample{}, a.err
	}
	return drivers.Sample{Values: []drivers.Value{{Channel: "temperature", Quantity: units.Temperature, Value: a.value}}, Raw: a.raw}, nil
}

func (p *part) Close() error { p.closed = true; return nil }

var noAnswer = &drivers.Fault{Kind: drivers.NoAnswer, Part: "part", Place: "test"}

func probeOf(p drivers.Probe) *Probe {
	return &Probe{Name: "probe", Every: 10 * time.Second, Open: func(context.Context) (drivers.Probe, error) { return p, nil },
		Gives: []Give{{Point: "tank-1/temperature", Channel: "temperature", Quantity: units.Temperature}}}
}

// runFor lets a worker run for so long on fake time and gives the readings of points, without those of the bus.
func runFor(t *testing.T, d time.Duration, probes ...*Probe) (readings, bus []reading.Reading) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		ctx, stop := context.WithTimeout(t.Context(), d)
		defer stop()
		w := &Worker{Bus: "i2c-1", Probes: probes, Clock: clock.Scaled{Begun: time.Now(), Start: time.Now(), Speed: 1}, Log: slog.New(slog.DiscardHandler),
			Standing: func(string) (float64, bool) { return 0, false }, Beat: func() {}}
		w.Out = func(rs []reading.Reading) {
			for _, r := range rs {
				if r.Point == "i2c-1/answers" || r.Point == "i2c-1/silent-parts" || r.Point == "i2c-1/lateness" {
					bus = append(bus, r)
				} else {
					readings = append(readings, r)
				}
			}
		}
		if err := w.Run(ctx); err != nil {
			t.Errorf("Run() = %v, want a quiet end", err)
		}
	})
	return readings, bus
}

func TestWorker_readsOnTheGrid(t *testing.T) {
	p := &part{answers: []answer{{value: 21.5, takes: 700 * time.Millisecond}}}
	readings, _ := runFor(t, 35*time.Second, probeOf(p))
	if len(readings) != 4 {
		t.Fatalf("%d readings in 35 s at every 10 s, want 4", len(readings))
	}
	for i, r := range readings {
		if want := time.Duration(i) * 10 * time.Second; r.Stamp.Mono != want {
			t.Errorf("reading %d is stamped %v, want the tick %v: slow parts must not let the grid drift", i, r.Stamp.Mono, want)
		}
	}
	if !p.closed {
		t.Error("the probe was not closed at the end")
	}
}

func TestWorker_silenceIsAReading(t *testing.T) {
	p := &part{answers: []answer{{value: 21.5}, {err: noAnswer}}}
	readings, bus := runFor(t, 15*time.Second, probeOf(p))
	if len(readings) != 2 {
		t.Fatalf("%d readings, want 2", len(readings))
	}
	if r := readings[1]; r.Quality != reading.Bad || r.Cause != "no answer" {
		t.Errorf("the second reading is %v %q, want bad, no answer", r.Quality, r.Cause)
	}
	if p.reads != 3 {
		t.Errorf("%d reads, want 3: a probe that does not answer is asked once more", p.reads)
	}
	if last := bus[len(bus)-3]; last.Point != "i2c-1/answers" || last.Value != 0 {
		t.Errorf("the bus says %s = %v, want that nothing on it answers", last.Point, last.Value)
	}
}

func TestWorker_retriesGarbledOnce(t *testing.T) {
	p := &part{answers: []answer{{err: &drivers.Fault{Kind: drivers.Garbled}}, {value: 20}}}
	readings, _ := runFor(t, 5*time.Second, probeOf(p))
	if len(readings) != 1 || readings[0].Quality != reading.Good || readings[0].Value != 20 {
		t.Errorf("readings %+v, want the value of the second try", readings)
	}
}

func TestWorker_hungPartMeetsItsDeadline(t *testing.T) {
	hung := &part{answers: []answer{{takes: time.Hour}}}
	well := &part{answers: []answer{{value: 20}}}
	other := probeOf(well)
	other.Gives[0].Point = "tank-2/temperature"
	readings, _ := runFor(t, 9*time.Second, probeOf(hung), other)
	if len(readings) != 2 || readings[0].Cause != "no answer" || readings[1].Quality != reading.Good {
		t.Errorf("readings %+v, want no answer from the hung part and a value from its neighbour", readings)
	}
}

func TestWorker_opensAgainAfterPauses(t *testing.T) {
	p := &part{answers: []answer{{value: 20}}}
	tries := 0
	probe := probeOf(p)
	probe.Every = time.Second
	probe.Open = func(context.Context) (drivers.Probe, error) {
		tries++
		if tries < 4 {
			return nil, errors.New("unplugged")
		}
		return p, nil
	}
	readings, _ := runFor(t, 20*time.Second, probe)
	// Tries at 0, 1, 3 and 7 s: the pauses double from one second.
	bad := 0
	for _, r := range readings {
		if r.Quality == reading.Bad {
			bad++
		}
	}
	if tries != 4 || bad != 7 {
		t.Errorf("%d tries and %d bad readings, want 4 and 7", tries, bad)
	}
}

func TestProbe_corrects(t *testing.T) {
	give := Give{Point: "a/b", Channel: "temperature", Quantity: units.Temperature}
	correct := func(p *Probe, give *Give, value float64, at time.Duration) reading.Reading {
		r := reading.Reading{Quantity: give.Quantity, Value: value}
		p.correct(give, &r, at)
		return r
	}
	t.Run("slope before offset", func(t *testing.T) {
		p := &Probe{Slope: 1.02, Offset: -0.4}
		if r := correct(p, &give, 50, 0); r.Value != 50.6 {
			t.Errorf("50 with slope 1.02 and offset -0.4 = %v, want 50.6", r.Value)
		}
	})
	t.Run("out of range is bad, never clamped", func(t *testing.T) {
		p := &Probe{Low: 0, High: 60}
		if r := correct(p, &give, 61, 0); r.Quality != reading.Bad || r.Cause != "out of range" || r.Value != 61 {
			t.Errorf("61 in 0 .. 60 = %+v, want bad with the value as it was", r)
		}
	})
	t.Run("three jumps in one direction are believed", func(t *testing.T) {
		p, give := &Probe{}, Give{Point: "a/b", Channel: "temperature", Quantity: units.Temperature, RateLimit: 1.0 / 60, Noise: 0.5}
		want := []reading.Quality{reading.Good, reading.Uncertain, reading.Uncertain, reading.Good, reading.Good}
		for i, v := range []float64{20, 25, 30, 35, 35.1} {
			if r := correct(p, &give, v, time.Duration(10*i)*time.Second); r.Quality != want[i] {
				t.Errorf("reading %d (%v °C) is %v, want %v", i, v, r.Quality, want[i])
			}
		}
	})
	t.Run("what a probe wavers by itself is no jump", func(t *testing.T) {
		p, give := &Probe{}, Give{Point: "a/b", Channel: "ph", Quantity: units.PH, RateLimit: 0.05 / 60, Noise: 0.1}
		for i, v := range []float64{4.60, 4.63, 4.58, 4.64, 4.57} {
			if r := correct(p, &give, v, time.Duration(10*i)*time.Second); r.Quality != reading.Good {
				t.Errorf("reading %d (pH %v) is %v, want good", i, v, r.Quality)
			}
		}
		if r := correct(p, &give, 4.9, 50*time.Second); r.Quality != reading.Uncertain {
			t.Error("a step of 0.33 pH in 10 s was taken as it is")
		}
	})
	t.Run("a spike up and down stays uncertain both ways", func(t *testing.T) {
		p, give := &Probe{}, Give{Point: "a/b", Channel: "temperature", Quantity: units.Temperature, RateLimit: 1.0 / 60, Noise: 0.5}
		want := []reading.Quality{reading.Good, reading.Uncertain, reading.Uncertain, reading.Good}
		for i, v := range []float64{20, 40, 20, 20} {
			if r := correct(p, &give, v, time.Duration(10*i)*time.Second); r.Quality != want[i] {
				t.Errorf("reading %d (%v °C) is %v, want %v", i, v, r.Quality, want[i])
			}
		}
	})
}

func TestProbe_frozen(t *testing.T) {
	same := []byte{0x54, 0x01}
	p := &part{answers: []answer{{value: 21, raw: []byte{0x50, 0x01}}, {value: 21.25, raw: same}}}
	probe := probeOf(p)
	probe.FrozenAfter = 30 * time.Second
	readings, _ := runFor(t, 45*time.Second, probe)
	want := []string{"", "", "", "", "frozen"}
	for i, r := range readings {
		if r.Cause != want[i] {
			t.Errorf("reading %d says %q, want %q", i, r.Cause, want[i])
		}
	}
}

// A probe that speaks by itself is no fault between its frames, and silent once it has been quiet for too long.
func TestWorker_radioSilence(t *testing.T) {
	notReady := &drivers.Fault{Kind: drivers.NotReady}
	p := &part{answers: []answer{{value: 12}, {err: notReady}}}
	probe := probeOf(p)
	probe.Every, probe.Reports, probe.SilentAfter = 60*time.Second, true, 180*time.Second
	readings, _ := runFor(t, 305*time.Second, probe)
	if len(readings) != 4 {
		t.Fatalf("%d readings, want the frame and one missing at 180, 240 and 300 s", len(readings))
	}
	for i, at := range []time.Duration{0, 180 * time.Second, 240 * time.Second, 300 * time.Second} {
		if readings[i].Stamp.Mono != at {
			t.Errorf("reading %d at %v, want %v", i, readings[i].Stamp.Mono, at)
		}
	}
	if readings[1].Quality != reading.Bad {
		t.Error("silence of three update times is not told as bad")
	}
}

// kin is a part that can convert with others of its kind.
type kin struct {
	part
	started, alone int
}

func (k *kin) StartTogether(_ context.Context, due, all []drivers.Probe) error {
	if len(due) == 2 && len(all) == 3 {
		k.started++
	} else {
		k.alone++
	}
	return nil
}

// Probes that can convert together are told so when several of them are due, with all open ones beside them; not in the round in which they are opened.
func TestWorker_startsKinTogether(t *testing.T) {
	var parts []*kin
	var probes []*Probe
	for i := range 3 {
		k := &kin{part: part{answers: []answer{{value: 20}}}}
		p := probeOf(k)
		p.Name = string(rune('a' + i))
		if i == 2 {
			p.Every = time.Minute
		}
		parts, probes = append(parts, k), append(probes, p)
	}
	runFor(t, 35*time.Second, probes...)
	for i, want := range []int{3, 3, 0} {
		if parts[i].started != want || parts[i].alone != 0 {
			t.Errorf("part %d was started together %d times (%d times wrongly), want %d", i, parts[i].started, parts[i].alone, want)
		}
	}
}

// Aim: each exchange has its own time: one that ran out takes its context with it, the next begins with a fresh one, and none is ended for the time
// that others took.
func TestDeadline_eachExchangeItsOwn(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		d := newDeadline(t.Context())
		defer d.end()
		d.watch()
		defer d.rest()
		for i := range 5 {
			ctx, began := d.in(time.Second), time.Now()
			if i%2 == 0 { // quick, though all together last longer than one may
				time.Sleep(900 * time.Millisecond)
				if ctx.Err() != nil {
					t.Errorf("exchange %d was ended after %v: %v", i, time.Since(began), ctx.Err())
				}
				continue
			}
			<-ctx.Done()
			if took := time.Since(began); took < time.Second || took > time.Second+2*look || ctx.Err() != context.DeadlineExceeded {
				t.Errorf("exchange %d ended after %v: %v", i, took, ctx.Err())
			}
		}
	})
}
