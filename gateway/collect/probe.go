package collect

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"time"

	"millwarden/drivers"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// Give says which channel of a probe feeds which point.
type Give struct {
	Point    string // full name
	Channel  string
	Quantity units.Quantity
	// A step faster than RateLimit a second, and larger than Noise, makes one reading uncertain; 0: none.
	RateLimit float64
	Noise     float64 // what such a probe wavers by itself from one reading to the next
	// Correct gives what the newest calibration makes of the part's value: gain x value + shift, and why it may be wrong ("" it is not); nil: nothing.
	Correct func() (gain, shift float64, doubt string)

	track track
}

// Probe is one probe of the rules file. The worker opens it, and again after pauses if it was not there.
type Probe struct {
	Name        string
	Open        func(ctx context.Context) (drivers.Probe, error)
	Gives       []Give
	Every       time.Duration
	Low, High   float64       // outside is bad; both 0: the part's own range counts
	Offset      float64       // added after Slope
	Slope       float64       // 0 is 1
	FrozenAfter time.Duration // unchanged raw words for so long are bad; 0: never
	// Reports tells that the part speaks by itself: it is looked at often, and no news is no fault until SilentAfter.
	Reports     bool
	SilentAfter time.Duration
	// Between takes what is to be done with the open probe between two reads, in the worker's goroutine: a calibration put in force; nil: nothing ever.
	Between chan func(drivers.Probe)
	// Sampled is told what each read brought, before any correction; the values are the probe's again when it returns; nil: nobody asks.
	Sampled func(values []drivers.Value, tick reading.Stamp)

	probe       drivers.Probe // nil: not open; what follows says what else it can do
	starter     drivers.Starter
	compensator drivers.Compensator
	together    bool

	again  time.Duration // monotonic time of the next try to open
	pause  time.Duration
	broken error // why it could not be opened
	due    time.Duration
	late   time.Duration
	within time.Duration // real time that one exchange may take
	silent bool
	fault  string        // the last one, so that it is logged once
	heard  time.Duration // monotonic time of the last sample
	missed time.Duration // and of the last reading told as missing
	raw    []byte
	rawAt  time.Duration
}

// track is what is remembered of a point to judge its next value.
type track struct {
	value  float64
	at     time.Duration
	known  bool
	faster int // steps beyond the rate limit in a row, signed by their direction
}

// Pauses between tries to open a probe that is not there.
const (
	firstPause   = time.Second
	longestPause = time.Minute
)

// believedAfter steps in one direction beyond the rate limit are believed: fires are fast [reference: chosen with the rate limits].
const believedAfter = 3

// lookEvery is how often a probe that speaks by itself is looked at; chosen: as fast as the engine's clock tick.
const lookEvery = time.Second

// pollEvery is how often the probe is asked.
func (p *Probe) pollEvery() time.Duration {
	if p.Reports {
		return min(p.Every, lookEvery)
	}
	return p.Every
}

// start begins a conversion where the part can, and says how long it takes.
func (p *Probe) start(ctx context.Context) time.Duration {
	ready, err := p.starter.Start(ctx)
	if err != nil {
		return 0 // the read that follows tells what is wrong
	}
	return ready
}

// compensate hands a probe that may need it the newest value of its companion.
func (p *Probe) compensate(standing func(string) (float64, bool)) {
	if p.compensator.CompensatedBy() == "" {
		return
	}
	value, known := standing(p.compensator.CompensatedBy())
	p.compensator.Compensate(units.Celsius(value), known)
}

// sample reads once, and once more after a fault that may pass by itself.
func (p *Probe) sample(ctx context.Context, tick *reading.Stamp) (drivers.Sample, error) {
	if p.probe == nil {
		if err := p.reopen(ctx, tick.Mono); err != nil {
			return drivers.Sample{}, err
		}
	}
	if len(p.Between) > 0 {
		(<-p.Between)(p.probe)
	}
	sample, err := p.probe.Read(ctx)
	if err != nil && drivers.WorthRetry(err) {
		sample, err = p.probe.Read(ctx)
	}
	if err == nil && p.Sampled != nil {
		p.Sampled(sample.Values, *tick)
	}
	return sample, err
}

// reopen tries again, after a pause that doubles.
func (p *Probe) reopen(ctx context.Context, now time.Duration) error {
	if p.broken != nil && now < p.again {
		return p.broken
	}
	probe, err := p.Open(ctx)
	if err != nil {
		p.pause = min(max(2*p.pause, firstPause), longestPause)
		p.broken, p.again = err, now+p.pause
		return err
	}
	p.use(probe)
	p.broken, p.pause = nil, 0
	return nil
}

// use makes probe the open one; nil: none is.
func (p *Probe) use(probe drivers.Probe) {
	p.probe = probe
	p.starter, _ = probe.(drivers.Starter)
	p.compensator, _ = probe.(drivers.Compensator)
	_, p.together = probe.(drivers.Together)
}

// drop closes the probe.
func (p *Probe) drop() {
	if c, ok := p.probe.(io.Closer); ok {
		_ = c.Close() // it is given up: nothing is left to do about a failure
	}
	p.use(nil)
}

// causeOf is the short reason kept with a bad reading; the whole error is for the log.
func causeOf(err error) string {
	if fault, ok := drivers.AsFault(err); ok {
		return fault.Brief()
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return drivers.NoAnswer.String()
	}
	return "cannot be opened"
}

// readings adds a reading of each point the probe gives to a list that has room for them. Each is written where it stays: to make it beside and move it
// there costs as much as to decode it.
func (p *Probe) readings(sample *drivers.Sample, tick *reading.Stamp, list []reading.Reading) []reading.Reading {
	frozen := p.isFrozen(sample.Raw, tick.Mono)
	for i := range p.Gives {
		list = list[:len(list)+1]
		r := &list[len(list)-1]
		p.fill(r, &p.Gives[i], sample.Values, tick)
		if frozen && r.Quality != reading.Bad {
			r.Quality, r.Cause = reading.Bad, "frozen"
		}
	}
	return list
}

// fill makes r, which is all zero, the reading of a point.
func (p *Probe) fill(r *reading.Reading, g *Give, values []drivers.Value, tick *reading.Stamp) {
	i := 0
	for i < len(values) && values[i].Channel != g.Channel {
		i++
	}
	if i == len(values) {
		*r = reading.Missing(g.Point, g.Quantity, *tick, "no such channel")
		return
	}
	v := &values[i]
	r.Point, r.Quantity, r.Value, r.Stamp = g.Point, g.Quantity, v.Value, *tick
	if v.Quality != reading.Good {
		r.Quality, r.Cause = v.Quality, v.Cause
	}
	if v.Ago != 0 {
		r.Stamp.Mono -= v.Ago
		r.Stamp.Wall = r.Stamp.Wall.Add(-v.Ago)
	}
	if r.Quality != reading.Bad {
		p.correct(g, r, tick.Mono)
	}
}

// correct makes of a part's value that of a reading: calibration, slope and offset of the rules, range, rate, kept steps; in this order, on time and
// not on counts.
func (p *Probe) correct(g *Give, r *reading.Reading, now time.Duration) {
	if g.Correct != nil {
		gain, shift, doubt := g.Correct()
		r.Value = gain*r.Value + shift
		if doubt != "" && r.Quality == reading.Good {
			r.Quality, r.Cause = reading.Uncertain, doubt
		}
	}
	if p.Slope != 0 {
		r.Value *= p.Slope
	}
	r.Value += p.Offset
	if p.Low < p.High && (r.Value < p.Low || r.Value > p.High) {
		r.Quality, r.Cause = reading.Bad, "out of range"
		return
	}
	if g.jumps(r.Value, now) && r.Quality == reading.Good {
		r.Quality, r.Cause = reading.Uncertain, "jump"
	}
	steps := g.Quantity.StepsPerUnit()
	r.Value = math.Round(r.Value*steps) / steps
}

// jumps tells whether the step to value was faster than the rate limit and not yet believed.
func (g *Give) jumps(value float64, at time.Duration) bool {
	t := &g.track
	before := *t
	t.value, t.at, t.known = value, at, true
	if g.RateLimit == 0 || !before.known || at <= before.at {
		return false
	}
	step := value - before.value
	if math.Abs(step) <= g.Noise {
		t.faster = 0
		return false
	}
	most := g.RateLimit*(at-before.at).Seconds() + g.Noise
	switch {
	case step > most:
		t.faster = max(0, before.faster) + 1
	case step < -most:
		t.faster = min(0, before.faster) - 1
	default:
		t.faster = 0
	}
	return t.faster != 0 && t.faster < believedAfter && t.faster > -believedAfter
}

// isFrozen tells whether the raw words have not moved for too long.
func (p *Probe) isFrozen(raw []byte, at time.Duration) bool {
	if p.FrozenAfter == 0 || len(raw) == 0 {
		return false
	}
	if !bytes.Equal(raw, p.raw) {
		p.raw, p.rawAt = append(p.raw[:0], raw...), at
		return false
	}
	return at-p.rawAt >= p.FrozenAfter
}
