// Package drivertest is the suite that every driver passes, and the parts that doubles share. For tests and the simulated estate only.
//
// Concurrency: the suite runs in one goroutine, on fake time.
package drivertest

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/drivers"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
)

// Suite is a driver with a maker of benches.
type Suite struct {
	Driver drivers.Driver
	Bench  func() *Bench
}

// Bench is a fresh double on a fresh bus, with the doors through which the suite treats it badly. A door may be nil only if Without says,
// by the door's name, why this part has none.
type Bench struct {
	Site   drivers.Site
	Truths []Truth
	Set    func(channel string, value float64) // the true value, in base units

	Remove    func()             // nobody answers any more
	Restore   func()             // as if nothing had been done
	WrongPart func()             // something else answers at that place
	Garble    func()             // one bit of what is read next is turned over
	Exceed    func()             // the truth, or the signal, is beyond what the part can measure
	Noise     func(r *rand.Rand) // everything that is read is random; nil ends it
	Fail      func(n int)        // the n-th exchange from now fails
	Exchanges func() int

	Without map[string]string
}

// Truth is a channel, the range over which its true value is swept, and how near the probe must come.
type Truth struct {
	Channel   string
	Low, High float64
	Within    float64
}

// Check is one promise of the contract.
type Check struct {
	Name string
	Run  func(ctx context.Context, s Suite) error
}

// Checks are all promises, in the order in which they are best read.
var Checks = []Check{
	{"declares what it reads", declares},
	{"reads the whole range", wholeRange},
	{"refuses a wrong part", wrongPart},
	{"calls no answer by its name", noAnswer},
	{"calls a turned bit garbled", garbled},
	{"never clamps", outOfRange},
	{"reports any failing step", failingSteps},
	{"returns at once when cancelled", cancelled},
	{"survives noise", noise},
	{"leaves no goroutine", noGoroutine},
}

// Run holds a driver to the contract.
func Run(t *testing.T, s Suite) {
	t.Helper()
	for _, check := range Checks {
		t.Run(strings.ReplaceAll(check.Name, " ", "-"), func(t *testing.T) {
			clocktest.Bubble(t, func(t *testing.T) {
				if err := check.Run(t.Context(), s); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// open makes a bench and opens its probe.
func open(ctx context.Context, s Suite) (*Bench, drivers.Probe, error) {
	b := s.Bench()
	p, err := s.Driver.Open(ctx, b.Site)
	if err != nil {
		return b, nil, fmt.Errorf("Open() = %w, want a probe", err)
	}
	return b, p, nil
}

// lacks tells that a bench has no such door, with an error unless it says why.
func lacks(b *Bench, door string, isNil bool) (bool, error) {
	if isNil && b.Without[door] == "" {
		return true, fmt.Errorf("the bench has no %s and does not say why", door)
	}
	return isNil, nil
}

// sane holds a sample to what Value promises.
func sane(s drivers.Sample) error {
	if len(s.Values) == 0 {
		return errors.New("a sample without values and without error")
	}
	for _, v := range s.Values {
		number := !math.IsNaN(v.Value) && !math.IsInf(v.Value, 0)
		switch {
		case v.Quality == reading.Bad && (v.Fault == nil || !math.IsNaN(v.Value) || v.Cause == ""):
			return fmt.Errorf("%s is bad: want no value, a Fault and a cause, got %+v", v.Channel, v)
		case v.Quality != reading.Bad && (v.Fault != nil || !number):
			return fmt.Errorf("%s is %s: want a number and no Fault, got %+v", v.Channel, v.Quality, v)
		case (v.Quality == reading.Good) != (v.Cause == ""):
			return fmt.Errorf("%s is %s with cause %q", v.Channel, v.Quality, v.Cause)
		}
	}
	return nil
}

func read(ctx context.Context, p drivers.Probe) (drivers.Sample, error) {
	s, err := p.Read(ctx)
	if err != nil {
		return s, err
	}
	return s, sane(s)
}

func value(s drivers.Sample, channel string) (drivers.Value, error) {
	i := slices.IndexFunc(s.Values, func(v drivers.Value) bool { return v.Channel == channel })
	if i < 0 {
		return drivers.Value{}, fmt.Errorf("no value for channel %s", channel)
	}
	return s.Values[i], nil
}

// answer shows the error that a driver gave, or <nil>: it is what the suite speaks about, and not the cause of the suite's own error.
func answer(err error) string { return fmt.Sprint(err) }

func declares(_ context.Context, s Suite) error {
	d, err := phrase.Parse(s.Driver.Declares)
	if err != nil {
		return err
	}
	if len(d) != 1 || d[0].Class != phrase.Part || d[0].Name != s.Driver.Kind {
		return fmt.Errorf("the declaration is not of part %s alone", s.Driver.Kind)
	}
	if len(d[0].Reads) == 0 {
		return errors.New("the declaration reads nothing")
	}
	return nil
}

// wholeRange sweeps every channel. The steps are no round numbers, so that rounding shows.
func wholeRange(ctx context.Context, s Suite) error {
	b, p, err := open(ctx, s)
	if err != nil {
		return err
	}
	if !strings.Contains(p.String(), s.Driver.Kind) {
		return fmt.Errorf("String() = %q does not name the part %s", p, s.Driver.Kind)
	}
	const steps = 37
	for _, truth := range b.Truths {
		for i := range steps + 1 {
			want := truth.Low + (truth.High-truth.Low)*float64(i)/steps
			b.Set(truth.Channel, want)
			sample, err := read(ctx, p)
			if err != nil {
				return fmt.Errorf("%s at %v: %w", truth.Channel, want, err)
			}
			v, err := value(sample, truth.Channel)
			if err != nil {
				return err
			}
			if !(math.Abs(v.Value-want) <= truth.Within) {
				return fmt.Errorf("%s = %v (%s %s), want %v within %v", truth.Channel, v.Value, v.Quality, v.Cause, want, truth.Within)
			}
			if len(sample.Raw) == 0 {
				return errors.New("a sample without raw words")
			}
		}
	}
	return nil
}

func wrongPart(ctx context.Context, s Suite) error {
	b := s.Bench()
	if none, err := lacks(b, "WrongPart", b.WrongPart == nil); none {
		return err
	}
	b.WrongPart()
	if _, err := s.Driver.Open(ctx, b.Site); drivers.KindOf(err) != drivers.WrongPart {
		return fmt.Errorf("Open() of a wrong part = %s, want a Fault of kind %s", answer(err), drivers.WrongPart)
	}
	return nil
}

// noAnswer: absent at Open, lost while running, and well again.
func noAnswer(ctx context.Context, s Suite) error {
	b := s.Bench()
	if none, err := lacks(b, "Remove", b.Remove == nil); none {
		return err
	}
	b.Remove()
	if _, err := s.Driver.Open(ctx, b.Site); drivers.KindOf(err) != drivers.NoAnswer {
		return fmt.Errorf("Open() of an absent part = %s, want a Fault of kind %s", answer(err), drivers.NoAnswer)
	}
	b, p, err := open(ctx, s)
	if err != nil {
		return err
	}
	if _, err := read(ctx, p); err != nil {
		return err
	}
	b.Remove()
	if sample, err := p.Read(ctx); drivers.KindOf(err) != drivers.NoAnswer {
		return fmt.Errorf("Read() of an absent part = %+v, %s, want a Fault of kind %s", sample, answer(err), drivers.NoAnswer)
	}
	b.Restore()
	if _, err := read(ctx, p); err != nil {
		return fmt.Errorf("Read() after the part came back: %w", err)
	}
	return nil
}

func garbled(ctx context.Context, s Suite) error {
	b, p, err := open(ctx, s)
	if err != nil {
		return err
	}
	if none, err := lacks(b, "Garble", b.Garble == nil); none {
		return err
	}
	b.Garble()
	sample, err := p.Read(ctx)
	fault, ok := drivers.AsFault(err)
	if !ok || fault.Kind != drivers.Garbled {
		return fmt.Errorf("Read() of garbled words = %+v, %s, want a Fault of kind %s", sample, answer(err), drivers.Garbled)
	}
	if !drivers.WorthRetry(err) {
		return errors.New("a garbled answer is worth a retry")
	}
	b.Restore()
	if _, err := read(ctx, p); err != nil {
		return fmt.Errorf("Read() after a garbled one: %w", err)
	}
	return nil
}

// outOfRange accepts a Fault of the whole reading or of the one channel, and nothing else.
func outOfRange(ctx context.Context, s Suite) error {
	b, p, err := open(ctx, s)
	if err != nil {
		return err
	}
	if none, err := lacks(b, "Exceed", b.Exceed == nil); none {
		return err
	}
	b.Exceed()
	sample, err := p.Read(ctx)
	if drivers.KindOf(err) == drivers.OutOfRange {
		return nil
	}
	if err != nil {
		return fmt.Errorf("Read() out of range = %w, want a Fault of kind %s", err, drivers.OutOfRange)
	}
	for _, v := range sample.Values {
		if v.Fault != nil && v.Fault.Kind == drivers.OutOfRange {
			return sane(sample)
		}
	}
	return fmt.Errorf("Read() out of range = %+v, want a Fault of kind %s", sample.Values, drivers.OutOfRange)
}

// failingSteps lets each exchange of Open and of Read fail once. Nobody may swallow that.
func failingSteps(ctx context.Context, s Suite) error {
	b := s.Bench()
	if none, err := lacks(b, "Fail", b.Fail == nil); none {
		return err
	}
	before := b.Exchanges()
	p, err := s.Driver.Open(ctx, b.Site)
	if err != nil {
		return err
	}
	opening := b.Exchanges() - before
	for n := 1; n <= opening; n++ {
		b := s.Bench()
		b.Fail(n)
		if _, err := s.Driver.Open(ctx, b.Site); drivers.KindOf(err) == 0 {
			return fmt.Errorf("Open() with exchange %d of %d failing = %s, want a Fault", n, opening, answer(err))
		}
	}
	before = b.Exchanges()
	if _, err := read(ctx, p); err != nil {
		return err
	}
	reading := b.Exchanges() - before
	if opening+reading == 0 {
		return errors.New("neither Open nor Read touched the bus")
	}
	for n := 1; n <= reading; n++ {
		b.Fail(n)
		if sample, err := p.Read(ctx); drivers.KindOf(err) == 0 {
			return fmt.Errorf("Read() with exchange %d of %d failing = %+v, %s, want a Fault", n, reading, sample, answer(err))
		}
		b.Fail(0)
		if _, err := read(ctx, p); err != nil {
			return fmt.Errorf("Read() after exchange %d of %d failed: %w", n, reading, err)
		}
	}
	return nil
}

// cancelled: before a Read nothing is touched; within one the wait ends with the context.
func cancelled(ctx context.Context, s Suite) error {
	b, p, err := open(ctx, s)
	if err != nil {
		return err
	}
	over, cancel := context.WithCancel(ctx)
	cancel()
	begin := time.Now()
	before := b.Exchanges()
	if sample, err := p.Read(over); !errors.Is(err, context.Canceled) {
		return fmt.Errorf("Read() cancelled before = %+v, %s, want %w", sample, answer(err), context.Canceled)
	}
	if _, err := s.Driver.Open(over, b.Site); !errors.Is(err, context.Canceled) {
		return fmt.Errorf("Open() cancelled before = %s, want %w", answer(err), context.Canceled)
	}
	if touched := b.Exchanges() - before; touched != 0 || time.Since(begin) != 0 {
		return fmt.Errorf("cancelled before, and yet %d exchanges and %s", touched, time.Since(begin))
	}
	const patience = time.Millisecond
	short, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	begin = time.Now()
	_, err = p.Read(short)
	if took := time.Since(begin); took > patience {
		return fmt.Errorf("Read() cut short after %s took %s", patience, took)
	}
	if err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("Read() cut short = %w, want %w", err, context.DeadlineExceeded)
	}
	time.Sleep(time.Second) // on fake time; whatever conversion still runs ends
	if _, err := read(ctx, p); err != nil && drivers.KindOf(err) != drivers.NotReady {
		return fmt.Errorf("Read() after one that was cut short: %w", err)
	}
	return nil
}

// noise reads random words many times. Each time it is a Fault, or a value that could be.
func noise(ctx context.Context, s Suite) error {
	b, p, err := open(ctx, s)
	if err != nil {
		return err
	}
	if none, err := lacks(b, "Noise", b.Noise == nil); none {
		return err
	}
	declared, err := phrase.Parse(s.Driver.Declares)
	if err != nil {
		return err
	}
	const rounds = 2000 // chosen: an 8-bit checksum lets about eight of them pass
	b.Noise(rand.New(rand.NewPCG(8, 15)))
	for range rounds {
		sample, err := p.Read(ctx)
		if err != nil {
			if drivers.KindOf(err) == 0 {
				return fmt.Errorf("Read() of noise = %w, want a Fault or a value", err)
			}
			continue
		}
		if err := sane(sample); err != nil {
			return err
		}
		for _, v := range sample.Values {
			if err := within(declared[0].Reads, v); err != nil {
				return err
			}
		}
	}
	b.Noise(nil)
	b.Restore()
	if _, err := read(ctx, p); err != nil {
		return fmt.Errorf("Read() after the noise: %w", err)
	}
	return nil
}

// within holds a value to the declared range. The ends of a range may lie between two codes, so a ten-thousandth beyond is let pass.
func within(reads []phrase.Read, v drivers.Value) error {
	for _, r := range reads {
		slack := (r.High - r.Low) / 1e4
		if r.Channel == v.Channel && r.Bounded && v.Fault == nil && (v.Value < r.Low-slack || v.Value > r.High+slack) {
			return fmt.Errorf("%s = %v lies beyond its declared %v .. %v", v.Channel, v.Value, r.Low, r.High)
		}
	}
	return nil
}

func noGoroutine(ctx context.Context, s Suite) error {
	synctest.Wait()
	before := runtime.NumGoroutine()
	b, p, err := open(ctx, s)
	if err != nil {
		return err
	}
	for range 3 {
		if _, err := p.Read(ctx); err != nil && drivers.KindOf(err) == 0 {
			return err
		}
	}
	if b.Remove != nil {
		b.Remove()
		_, _ = p.Read(ctx)
	}
	if c, ok := p.(interface{ Close() error }); ok {
		if err := c.Close(); err != nil {
			return err
		}
	}
	synctest.Wait()
	if after := runtime.NumGoroutine(); after > before {
		return fmt.Errorf("%d goroutines are left", after-before)
	}
	return nil
}
