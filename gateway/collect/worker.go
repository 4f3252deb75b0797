// Package collect reads the probes: one worker a bus asks each due probe in turn, with a deadline, and makes readings of what came, or of what
// did not come and why. It knows neither rules nor store: whoever starts a worker takes its readings.
//
// Concurrency: one goroutine a worker; a Worker's fields are not changed after Run began.
package collect

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"millwarden/drivers"
	"millwarden/internal/clock"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// Worker reads all probes of one bus.
type Worker struct {
	Bus    string
	Probes []*Probe
	Clock  clock.Clock
	// Standing gives the newest good value of another point, for compensation; unknown: false.
	Standing func(point string) (float64, bool)
	// Out takes the readings of one round. It may block: then the bus is polled later, and the lateness counted.
	Out func([]reading.Reading)
	// Missed is told each poll of a probe that gave no reading; nil: nobody counts.
	Missed func(probe string)
	// Heard is told what each poll brought: the raw words, which are the worker's again when it returns, or why there are none; nil: nobody asks.
	Heard func(probe string, raw []byte, tick reading.Stamp, err error)
	// Beat is called once a round: whoever watches the workers sees that this one moves.
	Beat func()
	Log  *slog.Logger

	dueNow   []*Probe // of the round, kept for its room
	points   [3]string
	deadline *deadline
}

// Bounds of one exchange, in real time: a part that needs longer is not one of a mill.
const (
	shortestDeadline = 200 * time.Millisecond // chosen: an I2C exchange with a retry of the kernel's
	longestDeadline  = 2 * time.Second        // chosen: a kernel 1-Wire conversion takes 750 ms, a Modbus gateway a second
)

// Run reads until ctx ends. A probe that cannot be opened or read is no reason to end.
func (w *Worker) Run(ctx context.Context) error {
	defer w.close()
	w.begin(ctx)
	defer w.deadline.end()
	now := w.Clock.Now()
	for _, p := range w.Probes {
		p.due, p.heard = now.Mono, now.Mono
	}
	for {
		next := w.Probes[0].due
		for _, p := range w.Probes {
			next = min(next, p.due)
		}
		if err := drivers.Wait(ctx, w.Clock.Real(next-w.Clock.Now().Mono)); err != nil {
			return nil //nolint:nilerr // the end of ctx is how a worker ends well
		}
		w.round(ctx)
		if ctx.Err() != nil {
			return nil
		}
		w.Beat()
	}
}

// begin makes what all rounds use: a round makes nothing but the readings that it hands on.
func (w *Worker) begin(ctx context.Context) {
	w.points = [3]string{w.Bus + "/answers", w.Bus + "/silent-parts", w.Bus + "/lateness"}
	w.deadline = newDeadline(ctx)
	for _, p := range w.Probes {
		p.within = min(max(w.Clock.Real(p.pollEvery()), shortestDeadline), longestDeadline)
	}
}

// round reads every probe that is due: first all conversions are started, the longest is waited for once, then all are read.
func (w *Worker) round(ctx context.Context) {
	tick := w.Clock.Now()
	due := w.due(tick)
	var longest time.Duration
	for _, p := range due {
		if p.starter != nil {
			longest = max(longest, p.start(ctx))
		}
	}
	if longest > 0 && drivers.Wait(ctx, longest) != nil {
		return
	}
	w.startTogether(ctx, due)
	room := len(w.points)
	for _, p := range due {
		room += len(p.Gives)
	}
	readings := make([]reading.Reading, 0, room) // who takes them keeps them
	w.deadline.watch()
	for _, p := range due {
		readings = w.read(p, &tick, readings)
	}
	w.deadline.rest()
	if ctx.Err() != nil {
		return // what ended is the program, not the probes
	}
	w.Out(w.busReadings(tick, readings))
}

// startTogether lets probes that can convert at the same time do so: what one has started the next finds done. A failure is none
// of the round: each then converts by itself.
func (w *Worker) startTogether(ctx context.Context, due []*Probe) {
	dueOpen := together(due)
	if len(dueOpen) < 2 {
		return
	}
	allOpen := together(w.Probes)
	for _, p := range dueOpen {
		_ = p.(drivers.Together).StartTogether(ctx, dueOpen, allOpen) // its Read tells what is wrong with it
	}
}

func together(probes []*Probe) (open []drivers.Probe) {
	for _, p := range probes {
		if p.together {
			open = append(open, p.probe)
		}
	}
	return open
}

// due lists the probes whose time has come, and sets when they are due next: on the grid of their update time, so that lateness never adds up.
func (w *Worker) due(tick reading.Stamp) []*Probe {
	due := w.dueNow[:0]
	for _, p := range w.Probes {
		if p.due > tick.Mono {
			continue
		}
		p.late = tick.Mono - p.due
		every := p.pollEvery()
		p.due += every
		if p.late >= every {
			p.due += p.late / every * every
		}
		due = append(due, p)
	}
	w.dueNow = due
	return due
}

// read asks one probe, once more if that may help, and appends a reading for each of its points.
func (w *Worker) read(p *Probe, tick *reading.Stamp, to []reading.Reading) []reading.Reading {
	ctx := w.deadline.in(p.within)
	if p.compensator != nil {
		p.compensate(w.Standing)
	}
	sample, err := p.sample(ctx, tick)
	if w.Heard != nil && drivers.KindOf(err) != drivers.NotReady {
		w.Heard(p.Name, sample.Raw, *tick, err)
	}
	if err == nil {
		if p.fault != "" {
			w.tell(p, nil)
		}
		p.silent, p.heard = false, tick.Mono
		return p.readings(&sample, tick, to)
	}
	if p.Reports && drivers.KindOf(err) == drivers.NotReady && tick.Mono-p.heard < p.SilentAfter {
		return to // no news yet is no fault
	}
	if p.Reports && p.silent && tick.Mono-p.missed < p.Every {
		return to // told already for this update time
	}
	p.silent, p.missed = true, tick.Mono
	if w.Missed != nil {
		w.Missed(p.Name)
	}
	w.tell(p, err)
	cause := causeOf(err)
	if p.Reports && drivers.KindOf(err) == drivers.NotReady {
		cause = "silent"
	}
	for _, g := range p.Gives {
		to = append(to, reading.Missing(g.Point, g.Quantity, *tick, cause))
	}
	return to
}

// tell logs a change of what is wrong with a probe, once: texts may differ by an age or a raw word each time, so its kind counts.
func (w *Worker) tell(p *Probe, err error) {
	kind := ""
	if err != nil {
		kind = causeOf(err)
		if fault, ok := drivers.AsFault(err); ok {
			kind = fault.Kind.String()
		}
	}
	switch {
	case kind == p.fault:
		return
	case err == nil:
		w.Log.Info("probe answers again", "probe", p.Name, "bus", w.Bus)
	default:
		w.Log.Warn("probe silent", "probe", p.Name, "bus", w.Bus, "cause", err)
	}
	p.fault = kind
}

// busReadings are the bus's own points: board alarms watch them like any other.
func (w *Worker) busReadings(tick reading.Stamp, to []reading.Reading) []reading.Reading {
	var late time.Duration
	silent := 0
	for _, p := range w.Probes {
		late = max(late, p.late)
		if p.silent {
			silent++
		}
	}
	answers := 1.0
	if silent == len(w.Probes) {
		answers = 0
	}
	return append(to,
		reading.Reading{Point: w.points[0], Quantity: units.YesNo, Value: answers, Stamp: tick},
		reading.Reading{Point: w.points[1], Quantity: units.Count, Value: float64(silent), Stamp: tick},
		reading.Reading{Point: w.points[2], Quantity: units.Duration, Value: w.Clock.Real(late).Seconds(), Stamp: tick}) // it is the machine that is late, whatever the speed of the clock
}

func (w *Worker) close() {
	for _, p := range w.Probes {
		p.drop()
	}
}

// String names the worker for logs.
func (w *Worker) String() string {
	return fmt.Sprintf("worker of bus %s, %d probes", w.Bus, len(w.Probes))
}
