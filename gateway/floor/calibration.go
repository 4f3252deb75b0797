package floor

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"millwarden/drivers"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/calibration"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
)

// Kinds of a calibration in the logbook. A refused one is kept, and never put in force.
const (
	byElectrode = "electrode"
	byScale     = "scale"
	byLine      = "line"
	refusedKind = "refused"
)

// weekly is how often an electrode is due that the rules say nothing of. Chosen: weekly checks are the custom in food cleaning.
const weekly = 7 * 24 * time.Hour

// calibrations is what holds of each probe, and what it said lately.
type calibrations struct {
	mu sync.Mutex // guards by and all that it holds
	by map[string]*keptCalibration
}

type keptCalibration struct {
	owner   *calibrations
	between chan func(drivers.Probe)
	windows map[string]*calibration.Window // by channel
	lines   map[string]calibration.Line    // by channel
	doubt   string
	slope   float64   // of an electrode, in per cent; NaN unknown
	at      time.Time // of the newest that holds; zero: none
	refused bool      // the newest was
	loaded  bool
}

func (c *calibrations) of(probe string) *keptCalibration {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.by == nil {
		c.by = map[string]*keptCalibration{}
	}
	k := c.by[probe]
	if k == nil {
		k = &keptCalibration{owner: c, between: make(chan func(drivers.Probe), 1), windows: map[string]*calibration.Window{}, lines: map[string]calibration.Line{}, slope: math.NaN()}
		c.by[probe] = k
	}
	return k
}

// sampled keeps what the part said, for who waits until it stands still.
func (k *keptCalibration) sampled(warm func() (float64, bool)) func([]drivers.Value, reading.Stamp) {
	return func(values []drivers.Value, tick reading.Stamp) {
		celsius, known := warm()
		k.owner.mu.Lock()
		defer k.owner.mu.Unlock()
		for _, v := range values {
			read := v.Raw
			if v.Quantity != units.PH && v.Quantity != units.Mass {
				read = v.Value // of a line the correction is made on the value
			}
			if math.IsNaN(read) {
				continue
			}
			w := k.windows[v.Channel]
			if w == nil {
				w = &calibration.Window{}
				k.windows[v.Channel] = w
			}
			shown := v.Value
			if line, has := k.lines[v.Channel]; has {
				shown = line.Right(v.Value)
			}
			w.Add(tick.Mono, read, shown, celsius, known)
		}
	}
}

func (k *keptCalibration) correct(channel string) func() (gain, shift float64, doubt string) {
	return func() (float64, float64, string) {
		k.owner.mu.Lock()
		defer k.owner.mu.Unlock()
		line, has := k.lines[channel]
		if !has {
			line.Gain = 1
		}
		return line.Gain, line.Shift, k.doubt
	}
}

// compensation gives the temperature of what a probe stands in.
func (f *Floor) compensation(p *check.Probe) func() (float64, bool) {
	line, _ := p.Settings.Find("electrode")
	if len(line.Slots) == 0 || line.Slots[0].Text == "" {
		return func() (float64, bool) { return 0, false }
	}
	point := line.Slots[0].Text
	return func() (float64, bool) { return f.standingValue(point) }
}

// calibrateOpened puts what the logbook holds of a probe in force. The one before is told first, so that the part can say what has jumped.
func (f *Floor) calibrateOpened(name string, probe drivers.Probe) error {
	list, err := f.logbook.Calibrations(context.Background(), name)
	if err != nil {
		return err
	}
	k := f.calibrations.of(name)
	f.calibrations.mu.Lock()
	k.load(list)
	f.calibrations.mu.Unlock()
	c, can := probe.(drivers.Calibrated)
	if !can {
		return nil
	}
	good := slices.DeleteFunc(slices.Clone(list), func(c logbook.Calibration) bool { return c.Kind == refusedKind })
	for i := min(2, len(good)) - 1; i >= 0; i-- {
		judged, err := c.Calibrate(askedOf(good[i].Points))
		if err != nil {
			f.log.Warn("calibration refused", "probe", name, "cause", err)
			continue
		}
		f.calibrations.mu.Lock()
		k.slope = judged.Slope * 100
		f.calibrations.mu.Unlock()
	}
	return nil
}

func askedOf(pairs []logbook.Pair) drivers.Calibration {
	var c drivers.Calibration
	for _, p := range pairs {
		c.Points = append(c.Points, drivers.CalibrationPoint{True: p.Reference, Raw: p.Read, Temperature: units.Celsius(p.Temperature)})
	}
	return c
}

// load takes the newest line of each channel, and whether the newest of all was refused.
func (k *keptCalibration) load(list []logbook.Calibration) {
	clear(k.lines)
	k.at, k.refused, k.loaded = time.Time{}, false, true
	for i, c := range list {
		if c.Kind == refusedKind {
			k.refused = k.refused || i == 0
			continue
		}
		if k.at.IsZero() {
			k.at = c.At.Wall
		}
		if _, has := k.lines[c.Channel]; c.Kind != byLine || has {
			continue
		}
		var left web.CalibrationLeft
		if json.Unmarshal(c.AsLeft, &left) == nil && left.Gain != 0 {
			k.lines[c.Channel] = calibration.Line{Gain: left.Gain, Shift: left.Shift}
		}
	}
}

// dueEvery is how often a probe is to be calibrated; 0: never.
func dueEvery(p *check.Probe) time.Duration {
	electrode := slices.ContainsFunc(p.Gives, func(g check.Give) bool { return g.Quantity == units.PH })
	if !p.CalibrateEvery.Given && electrode {
		return weekly
	}
	return p.CalibrateEvery.For
}

// calibrationReadings gives a probe's points of its calibration, and settles whether its readings are to be doubted. While the clock is not set
// they are judged by the time that it is at least, by the last one that was believed; without one nothing is overdue: nobody knows.
func (f *Floor) calibrationReadings(p *check.Probe, now reading.Stamp, add func(string, string, units.Quantity, float64)) {
	if p.Remote {
		return
	}
	if now.Wall = f.wall.even(now); !now.Set {
		now.Wall, now.Set = f.clock.Reckon(now)
	}
	k := f.calibrations.of(p.Name)
	f.calibrations.mu.Lock()
	at, refused, loaded, slope := k.at, k.refused, k.loaded, k.slope
	every, doubt := dueEvery(p), ""
	due := every - now.Wall.Sub(at)
	switch {
	case !loaded:
	case refused:
		doubt = "the last calibration was refused"
	case every > 0 && at.IsZero():
		doubt = "not calibrated"
	case every > 0 && now.Set && due < 0:
		doubt = "calibration overdue"
	}
	k.doubt = doubt
	f.calibrations.mu.Unlock()
	if !loaded {
		return
	}
	refusal := 0.0
	if refused {
		refusal = 1
	}
	add(p.Name, "calibration-refused", units.YesNo, refusal)
	add(p.Name, "slope", units.Share, slope)
	if !at.IsZero() && now.Set {
		add(p.Name, "calibration-age", units.Duration, now.Wall.Sub(at).Seconds())
		if every > 0 {
			add(p.Name, "calibration-due-in", units.Duration, due.Seconds())
		}
	}
}

// probeOf finds a probe of this board, and the channel that is calibrated: the named one, else its first.
func (f *Floor) probeOf(name, channel string) (*check.Probe, check.Give, error) {
	plan := f.plan()
	i := slices.IndexFunc(plan.Probes, func(p check.Probe) bool { return p.Name == name && !p.Remote })
	if i < 0 {
		return nil, check.Give{}, &web.Refusal{Kind: web.RefusedUnknown, Says: fmt.Sprintf("There is no probe %q on this board.", name)}
	}
	for _, g := range plan.Probes[i].Gives {
		if channel == "" || g.Channel == channel || g.Point == channel {
			return &plan.Probes[i], g, nil
		}
	}
	return nil, check.Give{}, &web.Refusal{Kind: web.RefusedUnknown, Says: fmt.Sprintf("The probe %s has no %q.", name, channel)}
}

func methodOf(p *check.Probe, g check.Give) string {
	switch {
	case g.Quantity == units.PH && p.Part != check.ByHand:
		return byElectrode
	case p.Part == "hx711":
		return byScale
	}
	return byLine
}

// Calibration tells how a probe stands: whether it is still, what the references are worth now.
func (b books) Calibration(ctx context.Context, probe, channel string) (web.Calibrating, error) {
	f := b.f
	p, g, err := f.probeOf(probe, channel)
	if err != nil {
		return web.Calibrating{}, err
	}
	c := web.Calibrating{Probe: p.Name, Channel: g.Channel, Point: g.Point, Method: methodOf(p, g), Unit: g.Quantity.Base(), Every: dueEvery(p).Milliseconds(), Boiling: calibration.Boiling(f.plan().Site.Altitude)}
	k := f.calibrations.of(p.Name)
	f.calibrations.mu.Lock()
	w := k.windows[g.Channel]
	if w == nil {
		w = &calibration.Window{}
	}
	still := w.Still(calibration.RuleFor(g.Quantity, c.Method == byElectrode, w.Still(calibration.Rule{}).Read))
	if !k.at.IsZero() {
		c.Last = k.at.UnixMilli()
	}
	c.Doubt = k.doubt
	f.calibrations.mu.Unlock()
	c.Read, c.Shown, c.Stands, c.Why = still.Read, still.Shown, still.Stands, still.Why
	if c.Blind = math.IsNaN(c.Shown); c.Blind {
		c.Shown = 0
	}
	if still.CelsiusKnown {
		c.Celsius = &still.Celsius
	}
	if c.Method == byElectrode && still.CelsiusKnown {
		c.Buffers = map[string]float64{}
		for _, name := range calibration.Buffers() {
			if ph, err := calibration.Buffer(name, still.Celsius); err == nil {
				c.Buffers[name] = ph
			}
		}
	}
	list, err := f.logbook.Calibrations(ctx, p.Name)
	c.Drift = driftOf(list, c.Method, f.clock.Now().Wall.Add(dueEvery(p)))
	return c, err
}

// Calibrate judges the points, puts them in force, and writes as found and as left; a refused one is written too.
func (b books) Calibrate(ctx context.Context, a web.Calibrate) (web.Calibrated, error) {
	f := b.f
	if err := f.may(a.By, web.Adjust); err != nil {
		return web.Calibrated{}, err
	}
	p, g, err := f.probeOf(a.Probe, a.Channel)
	if err != nil {
		return web.Calibrated{}, err
	}
	if len(a.Points) == 0 || len(a.Points) > mostPoints {
		return web.Calibrated{}, &web.Refusal{Kind: web.RefusedInput, Says: fmt.Sprintf("A calibration has 1 to %d points.", mostPoints)}
	}
	entry := logbook.Calibration{At: f.clock.Now(), Probe: p.Name, Channel: g.Channel, Kind: methodOf(p, g), Who: a.By, Note: a.Note}
	done := web.Calibrated{Found: []float64{}}
	var points []calibration.Point
	for _, at := range a.Points {
		points = append(points, calibration.Point{Reference: at.Reference, Read: at.Read, Shown: at.Shown, Celsius: at.Celsius})
		entry.Points = append(entry.Points, logbook.Pair{Reference: at.Reference, Read: at.Read, Temperature: at.Celsius})
		if !at.Blind {
			done.Found = append(done.Found, at.Shown-at.Reference)
		}
	}
	left, refused, err := f.judge(ctx, p, g, points, entry.Points)
	if err != nil {
		return done, err
	}
	if refused != nil {
		entry.Kind, left.Refused = refusedKind, refused.Error()
	}
	done.Left, done.Accepted = left, refused == nil
	if entry.AsFound, err = json.Marshal(map[string]any{"errors": done.Found}); err != nil {
		return done, err
	}
	if entry.AsLeft, err = json.Marshal(left); err != nil {
		return done, err
	}
	if _, err := f.logbook.Calibrate(entry); err != nil {
		return done, err
	}
	return done, f.takeCalibration(ctx, p.Name, &done)
}

// mostPoints bounds a calibration. Chosen: more than any procedure takes.
const mostPoints = 12

// takeCalibration puts in force what now stands in the logbook.
func (f *Floor) takeCalibration(ctx context.Context, probe string, done *web.Calibrated) error {
	list, err := f.logbook.Calibrations(ctx, probe)
	if err != nil {
		return err
	}
	k := f.calibrations.of(probe)
	f.calibrations.mu.Lock()
	k.load(list)
	if k.doubt = ""; k.refused {
		k.doubt = "the last calibration was refused"
	}
	if done.Accepted && done.Left.Slope != 0 {
		k.slope = done.Left.Slope
	}
	for _, w := range k.windows {
		w.Clear()
	}
	f.calibrations.mu.Unlock()
	p, _, err := f.probeOf(probe, "")
	if err != nil {
		return err
	}
	if every := dueEvery(p); every > 0 {
		done.Due = f.clock.Now().Wall.Add(every).UnixMilli()
		done.Drift = driftOf(list, methodOf(p, p.Gives[0]), f.clock.Now().Wall.Add(every))
	}
	return nil
}

// judge lets the part judge itself where it can, between two of its reads; else a line is laid. refused is the refusal, for people.
func (f *Floor) judge(ctx context.Context, p *check.Probe, g check.Give, points []calibration.Point, pairs []logbook.Pair) (left web.CalibrationLeft, refused, err error) {
	if methodOf(p, g) == byLine {
		line, warning, refused := calibration.Fit(g.Quantity, points)
		left = web.CalibrationLeft{Gain: line.Gain, Shift: line.Shift, Warning: warning}
		for _, at := range points {
			left.Errors = append(left.Errors, line.Right(at.Read)-at.Reference)
		}
		return left, refused, nil
	}
	type verdict struct {
		judged drivers.Judgement
		err    error
	}
	answer := make(chan verdict, 1)
	do := func(probe drivers.Probe) {
		if ctx.Err() != nil {
			return // nobody waits any more: it would not be written
		}
		c, can := probe.(drivers.Calibrated)
		if !can {
			answer <- verdict{err: errors.New("this part cannot be calibrated")}
			return
		}
		judged, err := c.Calibrate(askedOf(pairs))
		answer <- verdict{judged, err}
	}
	notNow := &web.Refusal{Kind: web.RefusedState, Says: "The probe does not answer; nothing was written. Try again when it does."}
	select {
	case f.calibrations.of(p.Name).between <- do:
	case <-ctx.Done():
		return left, nil, notNow
	}
	select {
	case v := <-answer:
		left = web.CalibrationLeft{Slope: v.judged.Slope * 100, Offset: v.judged.Offset, Residual: v.judged.Residual, Warning: v.judged.Warning, Uncertain: v.judged.Quality != reading.Good}
		if v.err != nil {
			var fault *drivers.Fault
			if errors.As(v.err, &fault) && fault.Cause != nil {
				v.err = fault.Cause
			}
			return web.CalibrationLeft{}, v.err, nil
		}
		return left, nil, nil
	case <-ctx.Done():
		return left, nil, notNow
	}
}

// driftOf says in words where the figure of the calibrations will stand when the next is due; "" if they are too few.
func driftOf(list []logbook.Calibration, method string, due time.Time) string {
	const looked = 6 // chosen: older ones may be of another electrode
	var was []calibration.Was
	for _, c := range list {
		var left web.CalibrationLeft
		if c.Kind != method || json.Unmarshal(c.AsLeft, &left) != nil || len(was) == looked {
			continue
		}
		value := left.Slope
		if method == byLine {
			value = left.Shift
		}
		was = append(was, calibration.Was{At: c.At.Wall, Value: value})
	}
	at, perDay, ok := calibration.Drift(was, due)
	switch {
	case !ok:
		return ""
	case method == byElectrode && at < 90:
		return fmt.Sprintf("Slope moves by %.2f %% a day and will be %.1f %% when it is due: have a new electrode ready.", perDay, at)
	case method == byElectrode:
		return fmt.Sprintf("Slope moves by %.2f %% a day and will be about %.1f %% when it is due.", perDay, at)
	}
	return fmt.Sprintf("Its zero moves by %.3g a day and will be %.3g off when it is due.", perDay, -at)
}
