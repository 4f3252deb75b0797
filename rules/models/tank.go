package models

import (
	"fmt"
	"math"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// tank follows the fermentation in one tank.
type tank struct {
	points
	presence
	m           *Models
	station     *station
	ph, warmth  *input
	pace        coffee.Pace
	ready, over float64 // pH
	habit       *coffee.Habit
	usual       time.Duration // to the usual pH, before anything was learned

	equivalent, warmer, slope, lowest, aboveLowest output
	washIn, washEarly, washLate, overIn            output
	looksLoaded, looksEmpty                        output

	tankState
	souring    *coffee.Souring
	values     [valuesKept]float64 // pH of the step under way
	valueN     int
	stride     int // every so many readings are kept, so that a step always fits
	skip       int
	heat       float64 // sum of temperatures of the step
	heatN      int
	doubtPH    bool // an uncertain pH is in the step
	doubtHeat  bool // an uncertain temperature is
	slopeNow   float64
	slopeOK    bool
	doubtSlope doubt
	wash       coffee.Forecast
	overAt     time.Duration
	noWash     string // why there is no forecast
	noOver     string
	forecasts  time.Duration // when they were made
	round      time.Duration // in which half hour of the stay, so that a restart does not move it
	foreseen   bool          // the steps are in slope and forecasts
}

// tankState is what is saved.
type tankState struct {
	Steps     []tankStep
	StepBegan time.Duration // monotonic
	Running   bool          // StepBegan holds
	Warmth    float64       // °C, the last mean known
	HasWarmth bool
	Reference time.Duration // time at the reference temperature since loading
	Guessed   time.Duration // of it, time for which no temperature was known
	Counted   time.Duration // time since loading that is in Reference
	First     float64       // °C when it was loaded
	HasFirst  bool
	LateFirst bool // First is of more than an hour after loading
	Lowest    float64
	HasLowest bool
	UnsureLow bool  `json:",omitempty"` // Lowest is of an uncertain step
	UnsureOne bool  `json:",omitempty"` // First was uncertain
	DoubtPH   doubt // over the stay
	DoubtHeat doubt
	Learned   bool // this tank is in the habit
	Filled    bool `json:",omitempty"` // pH and temperature stepped as when cherry comes in, and nobody said so
}

// tankStep is one step of a stay: coffee.SouringStep long, the first one of a stay longer if the stay began before it was watched.
type tankStep struct {
	Long   time.Duration
	Warmth float64
	PH     float64
	Seen   bool // PH holds
	Unsure bool `json:",omitempty"` // an uncertain pH is in it
}

// Chosen.
const (
	valuesKept   = 128           // readings that a median is taken of
	mostSteps    = 96 * 6        // four days
	slopeSteps   = 12            // two hours
	slopeLeast   = 6             // an hour
	lateFirst    = time.Hour     // a first temperature later than that is not the one it was loaded with
	guessedMost  = 0.1           // part of the time for which the temperature may be guessed
	loadedFall   = -0.015 / 3600 // pH/s: a rinsed or idle electrode drifts less
	loadedHigh   = 6.2           // fresh mucilage is at 5.5 to 5.8 (Jackels 2005, as quoted)
	filledFall   = 0.5           // pH, from rinse water or air to fresh mucilage within one step
	filledLow    = 5.0           // fresh mucilage is above; buffers and storage solution are at 4
	filledWarm   = 0.5           // K, either way: the mass is not as warm as an idle tank
	emptyRise    = 1.2           // above the lowest: no fermenting mass turns so far
	emptyAbove   = 6.4           // rinse water
	learnLeast   = 4 * time.Hour // a shorter one was no fermentation
	learnUnknown = 30 * time.Minute
)

const (
	causeGuessed = "the temperature was not known all the time"
	saysSeldom   = "cannot say: pH read by hand is too seldom for a slope"
)

func newTank(b *builder) model {
	t := &tank{m: b.m, station: b.station, ph: b.in("ph"), warmth: b.in("temperature"),
		pace:  coffee.Pace{Q10: b.spec.Settings["q10"], Reference: units.Celsius(b.spec.Settings["reference"])},
		ready: b.spec.Limits["ready-ph"], over: b.spec.Limits["over-fermented-ph"], stride: 1}
	after := time.Duration(b.spec.Settings["ready-after"] * float64(time.Second))
	t.usual = after
	key := fmt.Sprint(after, " ", t.pace.Reference, " ", t.pace.Q10)
	if t.habit = b.m.habits[key]; t.habit == nil {
		habit := coffee.UsualHabit(t.pace, after)
		t.habit = &habit
		b.m.habits[key] = t.habit
	}
	b.presence(&t.presence, "soak-time")
	b.out(&t.equivalent, "equivalent-hours")
	b.out(&t.warmer, "warmer-than-start")
	b.out(&t.slope, "ph-slope")
	b.out(&t.lowest, "lowest-ph")
	b.out(&t.aboveLowest, "ph-above-lowest")
	b.out(&t.washIn, "wash-in")
	b.out(&t.washEarly, "wash-in-early")
	b.out(&t.washLate, "wash-in-late")
	b.out(&t.overIn, "over-in")
	looks := builder{spec: b.spec}
	looks.out(&t.looksLoaded, "looks-loaded")
	looks.out(&t.looksEmpty, "looks-empty")
	t.points = b.outputs
	t.Steps = make([]tankStep, 0, mostSteps)
	t.renew()
	return t
}

// renew makes the curves anew from the habit and the steps so far.
func (t *tank) renew() {
	t.souring = coffee.NewSouring(*t.habit)
	for i := range t.Steps {
		t.learnStep(&t.Steps[i])
	}
	t.noWash, t.noOver, t.slopeOK, t.foreseen = coffee.SaysTooSoon, coffee.SaysTooSoon, false, false
}

func (t *tank) learnStep(s *tankStep) {
	t.souring.Age(s.Long, units.Celsius(s.Warmth))
	if s.Seen {
		t.souring.See(s.PH)
	}
}

func (t *tank) begin(now reading.Stamp, _ Lot) {
	t.tankState = tankState{Steps: t.Steps[:0], StepBegan: now.Mono, Running: true}
	t.clearStep()
	t.renew()
}

// end teaches the habit by this tank, if it was seen to its end.
func (t *tank) end(now reading.Stamp) Lot {
	t.learn(now)
	t.tankState = tankState{Steps: t.Steps[:0], StepBegan: now.Mono, Running: true}
	t.clearStep()
	return Lot{}
}

// learn lets the estate's own tank sharpen the forecasts of the next ones, once it has passed the pH at which tanks are ready.
func (t *tank) learn(now reading.Stamp) {
	past, known := t.station.stay.past(now)
	if t.Learned || !t.HasLowest || t.Lowest > t.ready || t.Reference < learnLeast || !known || t.Guessed > learnUnknown || past < learnLeast {
		return
	}
	*t.habit = t.habit.With(t.souring, t.souring.Ended())
	t.Learned = true
}

func (t *tank) moment(string, reading.Stamp) {}

func (t *tank) observe(in *input, now reading.Stamp) {
	if !t.Running {
		t.StepBegan, t.Running = now.Mono, true
	}
	if in.quality == reading.Bad {
		return
	}
	unsure := in.quality == reading.Uncertain
	switch in {
	case t.warmth:
		t.doubtHeat = t.doubtHeat || unsure
		t.heat += in.value
		t.heatN++
		if !t.HasFirst && t.station.stay.Loaded {
			past, known := t.station.stay.past(now)
			t.First, t.HasFirst, t.LateFirst, t.UnsureOne = in.value, true, !known || past > lateFirst, unsure
		}
	case t.ph:
		t.doubtPH = t.doubtPH || unsure
		if t.skip++; t.skip < t.stride {
			return
		}
		t.skip = 0
		if t.valueN == valuesKept { // keep every second one
			for i := range valuesKept / 2 {
				t.values[i] = t.values[2*i]
			}
			t.valueN, t.stride = valuesKept/2, t.stride*2
		}
		t.values[t.valueN] = in.value
		t.valueN++
	}
}

func (t *tank) clearStep() {
	t.valueN, t.heat, t.heatN, t.doubtPH, t.doubtHeat, t.skip = 0, 0, 0, false, false, 0
}

// closeStep ends a step of the curve.
func (t *tank) closeStep(now reading.Stamp) {
	if t.heatN == 0 && t.warmth.known(now.Mono) { // it is read less often than each step, and stands
		t.heat, t.heatN, t.doubtHeat = t.warmth.value, 1, t.warmth.quality == reading.Uncertain
	}
	if t.heatN > 0 {
		t.Warmth, t.HasWarmth = t.heat/float64(t.heatN), true
	}
	long := now.Mono - t.StepBegan
	s := tankStep{Long: long, Warmth: t.Warmth, Seen: t.valueN > 0, Unsure: t.doubtPH}
	if s.Seen {
		s.PH = coffee.Median(t.values[:t.valueN])
	}
	guessed := max(0, long-2*coffee.SouringStep) // a pause: the board was off
	if t.heatN == 0 {
		guessed = long
	}
	t.DoubtPH.add(long, t.doubtPH)
	t.DoubtHeat.add(long, t.doubtHeat)
	t.clearStep()
	t.StepBegan = now.Mono
	if !t.HasWarmth {
		return // it is made up for when the first temperature comes
	}
	if past, known := t.station.stay.past(now); known && len(t.Steps) == 0 && past > t.Counted+long {
		guessed += past - t.Counted - long
		s.Long = past - t.Counted
	}
	t.count(&s, guessed)
	t.foresee(now)
}

// count takes a step into the curve.
func (t *tank) count(s *tankStep, guessed time.Duration) {
	if len(t.Steps) == mostSteps || !t.station.stay.Loaded && len(t.Steps) == slopeSteps {
		copy(t.Steps, t.Steps[1:])
		t.Steps = t.Steps[:len(t.Steps)-1]
	}
	t.seeFilling(s)
	t.Steps = append(t.Steps, *s)
	if s.Seen && (!t.HasLowest || s.PH < t.Lowest) {
		t.Lowest, t.HasLowest, t.UnsureLow = s.PH, true, s.Unsure
	}
	if t.station.stay.Loaded {
		t.Counted += s.Long
		t.Guessed += guessed
		t.Reference += t.pace.Equivalent(s.Long, units.Celsius(s.Warmth))
		t.learnStep(s)
	}
}

// seeFilling looks for the step that pulped cherry makes in an idle tank: pH falls to that of fresh mucilage, and the temperature changes with it.
func (t *tank) seeFilling(s *tankStep) {
	switch {
	case t.station.stay.Loaded || s.Seen && s.PH > emptyAbove:
		t.Filled = false
	case s.Seen && s.PH > filledLow && s.PH < loadedHigh:
		// Two steps with cherry, and one of the two before without: the one in which it came in may be half of either.
		n := len(t.Steps)
		for i := max(0, n-3); i < n-1; i++ {
			before, last := &t.Steps[i], &t.Steps[n-1]
			if before.Seen && last.Seen && last.PH > filledLow && last.PH < loadedHigh && before.PH-s.PH > filledFall && math.Abs(s.Warmth-before.Warmth) > filledWarm {
				t.Filled = true
			}
		}
	}
}

// gradual tells that the slope is of a course and not of one step: an electrode that was put into a buffer does not sour.
func (t *tank) gradual() bool {
	for i := max(1, len(t.Steps)-slopeSteps+1); i < len(t.Steps); i++ {
		if t.Steps[i-1].Seen && t.Steps[i].Seen && t.Steps[i-1].PH-t.Steps[i].PH > filledFall {
			return false
		}
	}
	return true
}

// foresee works out slope and forecasts from the steps.
func (t *tank) foresee(now reading.Stamp) {
	var seconds, ph [slopeSteps]float64
	n, at := 0, 0.0
	t.doubtSlope = doubt{}
	for i := max(0, len(t.Steps)-slopeSteps); i < len(t.Steps); i++ {
		at += t.Steps[i].Long.Seconds()
		if t.Steps[i].Seen {
			seconds[n], ph[n] = at, t.Steps[i].PH
			t.doubtSlope.add(t.Steps[i].Long, t.Steps[i].Unsure)
			n++
		}
	}
	if t.slopeOK = n >= slopeLeast; t.slopeOK {
		t.slopeNow, t.slopeOK = coffee.Slope(seconds[:n], ph[:n])
	}
	if past, known := t.station.stay.past(now); known && t.forecastDue(now) {
		t.forecasts, t.round = now.Mono, t.Counted/forecastFar
		t.wash, t.noWash = t.until(t.ready, past)
		over, why := t.until(t.over, past)
		t.overAt, t.noOver = over.Middle, why
	}
	t.foreseen = true
	if t.noWash == "" && t.wash.Late == 0 {
		t.learn(now)
	}
}

// forecastDue tells that the forecasts have to be made anew: at each step while too little is known or an end is near by time or by pH (passed too), else when they are old.
func (t *tank) forecastDue(now reading.Stamp) bool {
	old := now.Mono - t.forecasts
	last := t.newest()
	near := func(left time.Duration, target float64) bool {
		return left > 0 && left-old < forecastNear || last.Seen && math.Abs(last.PH-target) < forecastNearPH
	}
	return !t.foreseen || t.Counted/forecastFar != t.round || t.noWash == coffee.SaysTooSoon || near(t.wash.Middle, t.ready) || near(t.overAt, t.over)
}

// newest is the last step of which a pH is known, as far back as slopes are looked for; else the last of all.
func (t *tank) newest() *tankStep {
	n := len(t.Steps)
	for i := n - 1; i >= max(0, n-slopeSteps); i-- {
		if t.Steps[i].Seen {
			return &t.Steps[i]
		}
	}
	return &t.Steps[n-1]
}

// until is the forecast for a pH; what is there by now is there.
func (t *tank) until(target float64, past time.Duration) (coffee.Forecast, string) {
	if last := t.newest(); last.Seen && last.PH <= target {
		return coffee.Forecast{}, ""
	}
	return t.souring.Until(target, units.Celsius(t.Warmth), past)
}

func (t *tank) tick(now reading.Stamp, all bool, o *outs) {
	if !all {
		if t.station.stay.Loaded {
			t.tickWarmer(now, o)
		}
		return
	}
	switch {
	case t.Running && now.Mono-t.StepBegan >= coffee.SouringStep:
		t.closeStep(now)
	case !t.foreseen && len(t.Steps) > 0: // after a start
		t.foresee(now)
	}
	t.station.by(minuteOf(t.StepBegan, now.Mono))
	t.presence.tick(t.m, t.station, now, o)
	t.looks(now, o)
	if !t.station.stay.Loaded {
		t.points.outside(o)
		return
	}
	t.tickWarmth(now, o)
	t.tickWarmer(now, o)
	t.tickPH(now, o)
	quality := worst(now.Mono, t.ph, t.warmth)
	cause := ""
	if t.guesses() && quality == reading.Good {
		quality, cause = reading.Uncertain, causeGuessed
	}
	quality, cause = t.DoubtPH.over(t.DoubtHeat.over(quality, cause))
	gone := now.Mono - t.forecasts
	left := func(p *output, d time.Duration, why string) {
		if why != "" && quality != reading.Bad {
			o.unknown(p, why)
			return
		}
		o.duration(p, max(0, d-gone), quality, cause)
	}
	left(&t.washIn, t.wash.Middle, t.noWash)
	left(&t.washEarly, t.wash.Early, t.noWash)
	left(&t.washLate, t.wash.Late, t.noWash)
	left(&t.overIn, t.overAt, t.noOver)
}

// guesses tells that the temperature was unknown for too much of the stay.
func (t *tank) guesses() bool { return float64(t.Guessed) > guessedMost*float64(t.Counted) }

func (t *tank) tickWarmth(now reading.Stamp, o *outs) {
	quality := worst(now.Mono, t.warmth)
	if quality == reading.Bad {
		o.unknown(&t.equivalent, causeInput)
		return
	}
	past, clock := t.station.stay.past(now)
	unknown := t.Guessed
	total := t.Reference + t.pace.Equivalent(now.Mono-t.StepBegan, units.Celsius(t.warmth.value))
	if t.Counted == 0 { // no step is done: what came before the first temperature is all guessed
		unknown = max(0, past-(now.Mono-t.StepBegan))
		total = t.pace.Equivalent(past, units.Celsius(t.warmth.value))
	}
	cause := ""
	switch {
	case !clock:
		o.unknown(&t.equivalent, causeClock)
	case float64(unknown) > 0.5*float64(past):
		o.unknown(&t.equivalent, "cannot say: the temperature was not known for most of the stay")
	default:
		if float64(unknown) > guessedMost*float64(past) && unknown > coffee.SouringStep {
			quality, cause = max(quality, reading.Uncertain), causeGuessed
		}
		quality, cause = t.DoubtHeat.over(quality, cause)
		o.duration(&t.equivalent, total, quality, cause)
	}
}

func (t *tank) tickWarmer(now reading.Stamp, o *outs) {
	quality, cause := worst(now.Mono, t.warmth), ""
	switch {
	case quality == reading.Bad:
		o.unknown(&t.warmer, causeInput)
		return
	case t.LateFirst:
		quality, cause = max(quality, reading.Uncertain), "the first temperature came long after loading"
	case t.UnsureOne:
		quality, cause = max(quality, reading.Uncertain), "the first temperature was uncertain"
	}
	if t.HasFirst {
		o.give(&t.warmer, t.warmth.value-t.First, quality, cause)
	}
}

func (t *tank) tickPH(now reading.Stamp, o *outs) {
	quality := worst(now.Mono, t.ph)
	if quality == reading.Bad {
		o.unknown(&t.slope, causeInput)
		o.unknown(&t.lowest, causeInput)
		o.unknown(&t.aboveLowest, causeInput)
		return
	}
	switch {
	case t.slopeOK:
		sure, cause := t.doubtSlope.over(quality, "")
		o.give(&t.slope, t.slopeNow, sure, cause)
	case t.ph.byHand:
		o.unknown(&t.slope, saysSeldom)
	default:
		o.unknown(&t.slope, coffee.SaysTooSoon)
	}
	if !t.HasLowest {
		o.unknown(&t.lowest, "cannot say yet: less than ten minutes of pH are known")
		o.unknown(&t.aboveLowest, "cannot say yet: less than ten minutes of pH are known")
		return
	}
	cause := ""
	if t.UnsureLow && quality == reading.Good {
		quality, cause = reading.Uncertain, "the lowest pH was uncertain"
	}
	o.give(&t.lowest, t.Lowest, quality, cause)
	last := &t.Steps[len(t.Steps)-1]
	if last.Unsure && quality == reading.Good {
		quality, cause = reading.Uncertain, "the last pH was uncertain"
	}
	if last.Seen {
		o.give(&t.aboveLowest, max(0, last.PH-t.Lowest), quality, cause)
	}
}

// looks tells what the readings say of loading and emptying when nobody said so.
func (t *tank) looks(now reading.Stamp, o *outs) {
	quality := worst(now.Mono, t.ph, t.warmth)
	if !t.m.enters {
		return
	}
	if quality == reading.Bad || len(t.Steps) == 0 {
		// Once it is entered nobody need be asked any more, whatever the probes say.
		known, unknown := &t.looksLoaded, &t.looksEmpty
		if !t.station.stay.Loaded {
			known, unknown = unknown, known
		}
		o.yes(known, false, reading.Good, "")
		o.unknown(unknown, causeInput)
		return
	}
	last := &t.Steps[len(t.Steps)-1]
	loaded := !t.station.stay.Loaded && last.Seen && last.PH < loadedHigh && (t.Filled || t.slopeOK && t.slopeNow < loadedFall && t.gradual())
	empty := t.station.stay.Loaded && last.Seen && t.HasLowest && (last.PH-t.Lowest > emptyRise || t.Lowest < emptyAbove-1 && last.PH > emptyAbove)
	o.yes(&t.looksLoaded, loaded, quality, "")
	o.yes(&t.looksEmpty, empty, quality, "")
}

func (t *tank) state() any { return &t.tankState }

func (t *tank) restored(moved time.Duration) {
	t.StepBegan += moved
	if len(t.Steps) > mostSteps {
		t.tankState = tankState{}
	}
	t.Steps = append(make([]tankStep, 0, mostSteps), t.Steps...)
	t.renew()
}
