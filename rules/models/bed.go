package models

import (
	"fmt"
	"math"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// bed follows the parchment on a deck or in a dryer.
type bed struct {
	points
	presence
	gone
	m        *Models
	station  *station
	deck     bool
	air      air
	moisture *input
	target   coffee.DryBasis
	habit    *coffee.LayerHabit // of all beds of its kind and target

	estimated, activity, wetTime output
	in, early, late, never       output

	bedState
	ahead     coffee.AirAhead // scratch
	aheadOf   coffee.Air      // that ahead was made of
	meter     gathered        // in the hour
	scale     scale
	unsureAir bool // an uncertain reading is in the step of air
	forms     coffee.Forecast
	neverIs   bool
	why       string
	made      time.Duration
	stale     bool // a moisture came since it was made
}

// bedState is what is saved.
type bedState struct {
	Moisture   coffee.DryBasis // by weighing of air and meter
	Known      bool            // Moisture holds
	Unsure     bool            `json:",omitempty"` // it rests on an uncertain reading of the meter
	Doubt      doubt           // of the air since it was measured
	Assumed    bool            // it rests on the moisture that fresh parchment usually has
	Wet        time.Duration   // above water activity 0.80 since the wash
	StepBegan  time.Duration
	Running    bool
	Warm, Damp float64 // sums of the step under way
	Samples    int
	HourWarm   float64 // sums of the hour
	HourDamp   float64
	HourSteps  int
	Airs       coffee.Airs
	AirsUntil  time.Duration `json:",omitempty"` // that they reach to
	Pace       coffee.Drying
	Metered    coffee.DryBasis // the meter an hour ago
	HasMetered bool
	Thin       coffee.DryBasis // what a thin layer would have come to since
	Blind      time.Duration   // for so long the air was not known
	Air        coffee.Air      // of the last step
	HasAir     bool
	Layer      coffee.Layer
	Taught     bool `json:",omitempty"` // this layer is in the habit
	Scale      scaleState
	ByWeight   bool `json:",omitempty"` // Moisture was told by it last
	Gone       goneState
}

// Chosen, but for what names a source.
const (
	bedStep     = 10 * time.Minute
	stepsAnHour = 6
	freshWet    = coffee.WetBasis(53) // after washing 52 to 53 % (Cenicafé column)
	blindMost   = time.Hour           // longer without air, and the moisture is not known until it is measured
	wetActivity = 0.80                // CXC 69-2009 par. 37: ochratoxin between 0.95 and 0.80
	airTurned   = 1.0                 // K
	airDamper   = 5.0                 // %RH
	farOff      = 24 * time.Hour
	activeWarm  = 5 // °C: the sorption equation begins there
)

const (
	saysNoDay      = "cannot say yet: less than a day of this air is known"
	saysNoAir      = "cannot say yet: less than ten minutes of this air are known"
	saysNoMoisture = "cannot say: its moisture is not known, measure it once"
	saysUnsure     = "its moisture was measured with an uncertain meter"
	saysAssumed    = "it rests on the usual moisture of fresh parchment, 53 %wb"
	saysUnsureKg   = "its moisture was worked out from an uncertain weight"
)

func newBed(b *builder) model {
	d := &bed{m: b.m, station: b.station, deck: b.spec.Kind == "deck", moisture: b.in("moisture"), target: coffee.WetBasis(b.spec.Settings["target-moisture"]).Dry()}
	d.air.build(b, "air-temperature", "air-humidity")
	d.scale.in = b.in("weight")
	b.presence(&d.presence, "drying-time")
	d.gone.build(b)
	b.out(&d.estimated, "estimated-moisture")
	b.out(&d.activity, "water-activity")
	b.out(&d.wetTime, "wet-time")
	b.out(&d.in, "drying-in")
	b.out(&d.early, "drying-in-early")
	b.out(&d.late, "drying-in-late")
	b.out(&d.never, "never-dries")
	d.points = b.outputs
	d.habit = b.m.layerHabit(fmt.Sprint(b.spec.Kind, " ", float64(d.target.Wet())), d.deck)
	d.Layer.Deck, d.ahead.Deck = d.deck, d.deck
	d.why, d.stale = saysNoAir, true
	return d
}

func (d *bed) begin(now reading.Stamp, lot Lot) {
	airs, until := d.Airs, d.AirsUntil // the air is the place's, not the lot's
	d.bedState = bedState{StepBegan: now.Mono, Running: true, Airs: airs, AirsUntil: until, Moisture: lot.Moisture, Known: lot.Known, Wet: lot.Wet, Gone: goneState{Began: now.Mono}}
	past, known := d.station.stay.past(now)
	if !lot.Known && known && past < blindMost {
		d.Moisture, d.Known, d.Assumed = freshWet.Dry(), true, true
	}
	d.Layer.Deck = d.deck
	d.Layer.Habit(d.habit)
	d.Layer.Begin(d.Moisture, startSpread(d.Assumed))
	d.meter, d.scale.step, d.scale.hour, d.why, d.stale = gathered{}, gathered{}, false, saysNoAir, true
}

// startSpread is what a moisture at loading may be off by, % of the dry weight: fresh parchment has 52 to 56 %wb (Cenicafé, SECAFÉ, as quoted), 108 to 127 % of the dry weight.
func startSpread(assumed bool) float64 {
	if assumed {
		return 6
	}
	return 1.5 // chosen: a meter's
}

func (d *bed) end(now reading.Stamp) Lot {
	d.endLayer(now.Mono)
	lot := Lot{Moisture: d.Moisture, Known: d.Known && !d.Assumed, Wet: d.Wet}
	d.bedState = bedState{StepBegan: now.Mono, Running: true, Airs: d.Airs, AirsUntil: d.AirsUntil}
	return lot
}

func (d *bed) moment(string, reading.Stamp) {}

func (d *bed) observe(in *input, now reading.Stamp) {
	if !d.Running {
		d.StepBegan, d.Running = now.Mono, true
	}
	d.gone.observe(&d.Gone, in)
	switch {
	case in == d.moisture && in.quality != reading.Bad && in.byHand:
		d.metered(coffee.WetBasis(in.value).Dry(), in.quality == reading.Uncertain, now.Mono)
		d.station.atOnce()
	case in == d.moisture && in.quality != reading.Bad:
		d.meter.add(in)
		if !d.Known || d.Assumed && !d.HasMetered {
			d.measured(coffee.WetBasis(in.value).Dry(), in.quality == reading.Uncertain)
		}
	case in == d.scale.in && in.quality != reading.Bad:
		if d.scale.step.add(in); in.byHand {
			d.weigh(now.Mono)
			d.byWeight()
			d.station.atOnce()
		}
	case (in == d.air.t || in == d.air.rh) && worst(now.Mono, d.air.t, d.air.rh) != reading.Bad:
		d.Warm += d.air.t.value
		d.Damp += d.air.rh.value
		d.Samples++
		d.unsureAir = d.unsureAir || worst(now.Mono, d.air.t, d.air.rh) == reading.Uncertain
	}
}

// wettest is more than any probe may say: fresh parchment has 55 %wb.
var wettest = coffee.WetBasis(80).Dry()

// measured makes a measured moisture stand.
func (d *bed) measured(m coffee.DryBasis, unsure bool) {
	if m <= 0 || m > wettest {
		return
	}
	if !d.Known {
		d.Layer.Begin(m, startSpread(false))
	}
	d.Layer.Measure(m)
	d.Moisture, d.Known, d.Assumed, d.Unsure, d.Doubt = m, true, false, unsure, doubt{}
	d.Metered, d.HasMetered, d.Thin = m, true, m
	d.stale = true
}

// metered makes what a meter tells stand, and learns from what fell since the last one how this layer dries.
func (d *bed) metered(m coffee.DryBasis, unsure bool, now time.Duration) {
	if d.learned(m, unsure) {
		d.ByWeight = false
		d.Scale.metered(m, now)
	}
}

// learned makes a moisture stand that was measured, after what fell since the last one taught how this layer dries. False: there is no such moisture.
func (d *bed) learned(m coffee.DryBasis, unsure bool) bool {
	if m <= 0 || m > wettest {
		return false
	}
	if d.HasMetered {
		d.Pace.Learn(d.Metered, m, d.Metered-d.Thin)
	}
	d.measured(m, unsure)
	return true
}

// weigh closes a step of the scale. The first weight of a layer means the moisture that it is thought to have by then.
func (d *bed) weigh(now time.Duration) {
	if d.scale.step.n == 0 {
		return
	}
	kg, unsure := d.scale.step.median()
	d.scale.unsure, d.scale.hour = d.scale.unsure && d.scale.hour || unsure, true
	d.Scale.weighed(kg, now)
	if d.Scale.Dry == 0 && d.Scale.Kg > 0 && d.Known {
		lost := max(0, float64(d.Layer.Start-d.Moisture))
		d.Scale.anchor(d.Moisture, math.Hypot(d.Layer.Spread, carriedOff*lost), d.Assumed)
	}
}

// byWeight makes the moisture that the newest weight means stand, where no meter tells it.
func (d *bed) byWeight() {
	m, known := d.Scale.moisture()
	if !known || !d.scale.hour {
		return
	}
	if d.learned(m, d.scale.unsure) {
		d.Assumed, d.ByWeight, d.scale.hour = d.Scale.Assumed, true, false
	}
}

// step goes on by one step of air.
func (d *bed) step(now reading.Stamp) {
	long := now.Mono - d.StepBegan
	d.StepBegan = now.Mono
	d.weigh(now.Mono)
	if quality := worst(now.Mono, d.air.t, d.air.rh); d.Samples == 0 && quality != reading.Bad { // it is read less often than each step, and stands
		d.Warm, d.Damp, d.Samples, d.unsureAir = d.air.t.value, d.air.rh.value, 1, quality == reading.Uncertain
	}
	if d.Samples == 0 {
		if d.Blind += long; d.Blind > blindMost {
			d.Known, d.HasMetered = d.moisture.known(now.Mono) && d.Known, false
		}
		return
	}
	a := coffee.Air{T: units.Celsius(d.Warm / float64(d.Samples)), RH: coffee.RelativeHumidity(d.Damp / float64(d.Samples))}
	d.Doubt.add(long, d.unsureAir)
	d.Warm, d.Damp, d.Samples, d.unsureAir = 0, 0, 0, false
	if long > 2*bedStep { // a pause: the board was off
		d.Blind += long - bedStep
		d.Known, d.HasMetered = d.Known && d.Blind <= blindMost, false
		if d.Known && d.HasAir && long > blindMost/2 {
			d.Layer.Add(d.Air)
		}
		long = bedStep
	}
	d.Blind = 0
	d.Air, d.HasAir = a, true
	d.HourWarm += float64(a.T)
	d.HourDamp += float64(a.RH)
	d.HourSteps++
	d.dry(a, long)
	if d.HourSteps == stepsAnHour {
		hour := coffee.Air{T: units.Celsius(d.HourWarm / stepsAnHour), RH: coffee.RelativeHumidity(d.HourDamp / stepsAnHour)}
		d.HourWarm, d.HourDamp, d.HourSteps = 0, 0, 0
		d.passAir(hour, now.Mono)
		d.learn(now.Mono)
		if d.Known {
			d.Layer.Add(hour)
			d.teach(d.target)
		}
	}
	if d.station.stay.Loaded && d.forecastDue(a) {
		d.foresee(a, now)
	}
}

// passAir lets an hour of air pass, and before it those that were lost as stays began and ended within an hour and while the board was off, so that the ring goes with the hours of the day. The air of a
// deck is that of the place; that of a dryer without a lot is not what the next lot will dry in.
func (d *bed) passAir(hour coffee.Air, now time.Duration) {
	if d.AirsUntil == 0 {
		d.AirsUntil = now - time.Hour
	}
	lost := (now - d.AirsUntil - time.Hour/2) / time.Hour
	for range lost % 24 {
		d.Airs.Miss()
	}
	d.AirsUntil += (lost + 1) * time.Hour
	if d.deck || d.station.stay.Loaded {
		d.Airs.Add(hour)
	} else {
		d.Airs.Skip()
	}
}

// endLayer lets a layer teach that is taken away: as soon as people hold it for dry, whatever the last hour of the meter says, which errs as well.
func (d *bed) endLayer(now time.Duration) {
	d.learn(now)
	if d.HasAir && d.Layer.Newest > 0 { // the hour under way is its last
		d.Layer.Add(d.Air)
	}
	d.teach(d.target + dryEnough)
}

// dryEnough is by how much a meter may show more than the target, % of the dry weight, when people take a layer away as dry; chosen: 2.3 %wb. How it would have gone on is in its curve; wetter ones are moved on.
const dryEnough = 3

// teach lets a layer that the meter saw come to its target, or near, sharpen the forecasts of the next ones.
func (d *bed) teach(most coffee.DryBasis) {
	if d.Taught || !d.HasMetered || d.Assumed || d.Metered > most {
		return
	}
	if d.Taught = true; !d.Unsure {
		*d.habit = d.habit.With(&d.Layer, d.target)
	}
}

// forecastDue tells that the forecast has to be made anew at this step: after each hour (of what is more than a day off, or rests on no measured moisture, after each third), after a moisture by hand or a first one, and when
// the air is no longer that of the last forecast.
func (d *bed) forecastDue(a coffee.Air) bool {
	turned := math.Abs(float64(a.T-d.aheadOf.T)) > airTurned || math.Abs(float64(a.RH-d.aheadOf.RH)) > airDamper
	far := d.neverIs || d.forms.Middle > farOff || !d.HasMetered
	return d.stale || d.why != "" || turned || d.HourSteps == 0 && (!far || d.Airs.Next%3 == 0)
}

// dry lets the estimate and the thin layer beside it dry on; air outside the range of the equation does not dry.
func (d *bed) dry(a coffee.Air, long time.Duration) {
	if !d.Known {
		return
	}
	pace := d.Pace.Pace()
	if m, err := coffee.Dried(d.Moisture, a.T, a.RH, time.Duration(float64(long)*pace)); err == nil {
		d.Moisture = m
	}
	if m, err := coffee.Dried(d.Thin, a.T, a.RH, long); err == nil && d.HasMetered {
		d.Thin = m
	}
	if activityOf(d.Moisture, a.T) > wetActivity {
		d.Wet += long
	}
}

// learn holds the estimate to the meter once an hour, and learns from what fell since how this layer dries.
func (d *bed) learn(now time.Duration) {
	if d.meter.n < 2 {
		d.byWeight()
		return
	}
	d.scale.hour = false // it is asked where no meter tells
	wet, unsure := d.meter.median()
	d.metered(coffee.WetBasis(wet).Dry(), unsure, now)
}

// activityOf is the water activity of parchment of a moisture; 1 above the wettest of the sorption equation, and its coldest below that.
func activityOf(m coffee.DryBasis, t units.Celsius) float64 {
	h, err := coffee.EquilibriumHumidity(max(t, activeWarm), m)
	if err == nil {
		return float64(h) / 100
	}
	if m > coffee.WetBasis(15).Dry() {
		return 1
	}
	return math.NaN()
}

// foresee makes the forecast anew after each hour, and when the air is no longer that of the last forecast.
func (d *bed) foresee(a coffee.Air, now reading.Stamp) {
	d.made, d.why, d.neverIs, d.stale = now.Mono, "", false, false
	if d.Layer.Newest == 0 { // the layer is that of the last whole hour
		d.made -= time.Duration(d.HourSteps) * bedStep
	}
	switch {
	case !d.Known:
		d.why = saysNoMoisture
		return
	case d.HasMetered && d.Metered <= d.target && d.Moisture <= d.target: // it was measured dry, whatever air comes
		d.forms = coffee.Forecast{}
		return
	case d.deck && d.Airs.N < len(d.Airs.Hours):
		d.why = saysNoDay
		return
	}
	d.aheadOf = a
	if d.Layer.Off = 0; d.ByWeight {
		d.Layer.Off = d.Scale.offAt(d.target)
	}
	d.ahead.Like(&d.Airs, a)
	f, never := d.Layer.Until(d.target, &d.ahead)
	d.forms, d.neverIs = f, never
}

func (d *bed) tick(now reading.Stamp, all bool, o *outs) {
	if !all {
		if d.station.stay.Loaded || !d.m.enters {
			d.air.tick(now, o)
		}
		return
	}
	switch {
	case d.Running && now.Mono-d.StepBegan >= bedStep:
		d.step(now)
	case d.HasAir && d.stale && d.station.stay.Loaded: // a moisture was measured, or the board was started
		d.foresee(d.Air, now)
	}
	d.station.by(minuteOf(d.StepBegan, now.Mono))
	d.presence.tick(d.m, d.station, now, o)
	if !d.station.stay.Loaded && d.m.enters {
		d.points.outside(o)
		return
	}
	d.air.tick(now, o)
	if !d.station.stay.Loaded {
		return
	}
	d.gone.tick(&d.Gone, now, o)
	quality, cause := worst(now.Mono, d.air.t, d.air.rh), ""
	if d.Assumed && quality == reading.Good {
		quality, cause = reading.Uncertain, saysAssumed
	}
	if metered := d.moisture.known(now.Mono) && d.moisture.quality == reading.Uncertain; (d.Unsure || metered) && quality == reading.Good {
		if quality, cause = reading.Uncertain, saysUnsure; d.ByWeight {
			cause = saysUnsureKg
		}
	}
	quality, cause = d.Doubt.over(quality, cause)
	if !d.Known && quality != reading.Bad {
		for _, p := range [...]*output{&d.estimated, &d.activity, &d.wetTime} {
			o.unknown(p, saysNoMoisture)
		}
	} else {
		o.give(&d.estimated, float64(d.Moisture.Wet()), quality, cause)
		o.duration(&d.wetTime, d.Wet, quality, cause)
		activity := math.NaN()
		if quality != reading.Bad {
			activity = activityOf(d.Moisture, units.Celsius(d.air.t.value))
		}
		o.give(&d.activity, activity, quality, cause)
	}
	d.say(now, o, quality, cause)
}

// say says the forecast.
func (d *bed) say(now reading.Stamp, o *outs, quality reading.Quality, cause string) {
	why := d.why
	if why == "" || quality == reading.Bad {
		o.yes(&d.never, d.neverIs, quality, cause)
	} else {
		o.unknown(&d.never, why)
	}
	if d.neverIs && why == "" {
		why = coffee.SaysNever
	}
	gone := now.Mono - d.made
	for _, p := range [...]struct {
		p *output
		d time.Duration
	}{{&d.in, d.forms.Middle}, {&d.early, d.forms.Early}, {&d.late, d.forms.Late}} {
		if why != "" && quality != reading.Bad {
			o.unknown(p.p, why)
			continue
		}
		o.duration(p.p, max(0, p.d-gone), quality, cause)
	}
}

func (d *bed) state() any { return &d.bedState }

func (d *bed) restored(moved time.Duration) {
	d.StepBegan += moved
	d.Gone.Began += moved
	d.Scale.At += moved
	d.Scale.MeterAt += moved
	if d.AirsUntil != 0 {
		d.AirsUntil += moved
	}
	d.Layer.Deck = d.deck // kept by an older program it knows nothing of it
	d.Layer.Habit(d.habit)
	if n := len(d.Airs.Hours); d.Airs.N < 0 || d.Airs.N > n || d.Airs.Next < 0 || d.Airs.Next >= n || d.Airs.Days < 0 {
		d.bedState = bedState{}
	}
}
