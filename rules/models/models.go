// Package models works out the computed points of tanks, decks, dryers, bins, stores, rooms, hullers, roasters and the yard from the measured ones, with the
// formulas of internal/coffee: what LANGUAGE section 3 lists as computed. It keeps what a formula needs of the past (a curve, a day of air, a week of warmth),
// saves it as plain JSON and takes it back. It decides nothing and knows neither files nor clocks: time comes with readings and ticks.
//
// A station is looked at when an input moved, turned good, uncertain or bad, or fell silent, when a stay began or ended, and when its own minute comes; each time only what
// may have changed is worked out (rhythm.go). Forecasts have a rhythm of their own, and between two of them the time that passed is taken off.
//
// A computed point is unknown, with the reason, outside a stay, while an input is unknown, and while a forecast cannot be made; it is uncertain while an input is.
// A point that is unknown for the same reason as before is not said again.
//
// Concurrency: a Models is for one goroutine. Observe and Tick allocate nothing once a stay has run for its first hour.
package models

import (
	"math"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
)

// Models are the models of all stations of one plan.
type Models struct {
	inputs   map[string]*input
	stations map[string]*station
	order    []*station
	habits   map[string]*coffee.Habit      // of tanks with the same settings
	layers   map[string]*coffee.LayerHabit // of decks or dryers with the same target
	lots     map[string]Lot
	enters   bool // somebody enters which lot stands where
	marks    []Mark
	filling  bool          // readings of the history are coming
	filled   time.Duration // monotonic time of the restored state: older readings are in it
	out      outs
}

// Lot is what a lot takes along from one station to the next.
type Lot struct {
	Moisture coffee.DryBasis
	Known    bool          // Moisture holds
	Wet      time.Duration // above water activity 0.80 since the wash
	Left     reading.Stamp
}

// Mark is a moment that a model found: "roaster-1/dropped".
type Mark struct {
	Name string
	At   reading.Stamp
}

// model is what one kind of station needs.
type model interface {
	// observe is told after an input has changed.
	observe(in *input, now reading.Stamp)
	// begin and end are told when a stay does; lot is what the lot takes along.
	begin(now reading.Stamp, lot Lot)
	end(now reading.Stamp) Lot
	moment(name string, now reading.Stamp)
	// tick works out the points: all of them, or only those that follow an input at once.
	tick(now reading.Stamp, all bool, out *outs)
	// state is a pointer to what has to be saved.
	state() any
	// restored is told after the state was taken back; its times have to move by so much. A state that cannot be is thrown away.
	restored(moved time.Duration)
	// silent forgets what was said.
	silent()
}

// counter is a model that adds up what stood for how long.
type counter interface {
	// count lets time pass with what stands, before a reading takes its place.
	count(now reading.Stamp)
}

// station is one station with its stay.
type station struct {
	name    string
	stay    stay
	model   model
	counter counter // nil where nothing is added up
	inputs  []*input
	rhythm
}

// stay is a lot's time on a station. From the boot before, it is known by wall time, and so not before the clock is set.
type stay struct {
	Loaded bool
	Lot    string
	From   reading.Stamp

	reckoned bool          // a stay of another boot: began holds
	began    time.Duration // on the monotonic clock of this boot
}

// past is how long the stay has lasted.
func (s *stay) past(now reading.Stamp) (time.Duration, bool) {
	if !s.Loaded {
		return 0, false
	}
	if s.From.Boot == now.Boot {
		return max(0, now.Mono-s.From.Mono), true
	}
	if !s.reckoned {
		if !now.Set {
			return 0, false
		}
		// Once, as soon as the clock is set: whatever is done to it later moves no age [LANGUAGE section 2].
		s.reckoned, s.began = true, now.Mono-max(0, now.Wall.Sub(s.From.Wall))
	}
	return max(0, now.Mono-s.began), true
}

// Causes of unknown and uncertain values.
const (
	causeNoLot     = "no lot stands here"
	causeClock     = "the clock is not set, and the stay began before the start"
	causeInput     = "an input is unknown"
	causeUncertain = "an input is uncertain"
	causeDoubt     = "more than a tenth of what it rests on is uncertain"
	causeRange     = "outside the range of the formula"
)

// gapLeast is a pause between two looks that is none of the models' own: what lies in it is not known. Chosen: readings are overdue long before.
const gapLeast = 10 * time.Minute

// New makes the models of a plan's stations.
func New(c Config) *Models {
	m := &Models{inputs: map[string]*input{}, stations: map[string]*station{}, habits: map[string]*coffee.Habit{}, layers: map[string]*coffee.LayerHabit{}, lots: map[string]Lot{}, filled: math.MinInt64}
	for i := range c.Stations {
		spec := &c.Stations[i]
		s := &station{name: spec.Name, rhythm: rhythm{least: leastBetween}}
		b := &builder{m: m, spec: spec, station: s, pressure: coffee.PressureAt(c.Altitude)}
		if s.model = b.build(); s.model == nil {
			continue
		}
		if spec.Kind == "roaster" {
			s.least = roasterEvery
		}
		s.counter, _ = s.model.(counter)
		s.inputs = b.inputs
		for _, in := range b.inputs {
			in.station = s
			m.inputs[spec.Name+"/"+in.short] = in
		}
		m.stations[spec.Name], m.order = s, append(m.order, s)
	}
	return m
}

// layerHabit is what layers of one kind have taught, made at its first use.
func (m *Models) layerHabit(key string, deck bool) *coffee.LayerHabit {
	if m.layers[key] == nil {
		habit := coffee.UsualLayers(deck)
		m.layers[key] = &habit
	}
	return m.layers[key]
}

// Observe takes a reading; of points that no model looks at, nothing is kept.
func (m *Models) Observe(r *reading.Reading) {
	if in := m.inputs[r.Point]; in != nil {
		in.observe(r)
	}
}

// Observer is Observe for the readings of one point; nil where no model looks at it.
func (m *Models) Observer(point string) func(*reading.Reading) {
	if in := m.inputs[point]; in != nil {
		return in.observe
	}
	return nil
}

func (in *input) observe(r *reading.Reading) {
	if in.seen && r.Stamp.Mono < in.at {
		return
	}
	if in.station.counter != nil {
		in.station.counter.count(r.Stamp)
	}
	moved, turned := in.take(r)
	in.station.model.observe(in, r.Stamp)
	switch {
	case turned:
		in.station.changed()
	case moved:
		in.station.moved()
	}
}

// Fill takes a reading of the history, after Restore and Load and before the first Observe or Tick; what the restored state has seen already is left out. Nothing is
// said of it, and what is found is no moment.
func (m *Models) Fill(r *reading.Reading) {
	if r.Stamp.Mono <= m.filled {
		return
	}
	m.out.list = m.tick(r.Stamp, m.out.list[:0])
	m.Observe(r)
	m.marks, m.filling = m.marks[:0], true
}

// filledUp forgets what was said while filling: it was said to nobody.
func (m *Models) filledUp() {
	m.filling = false
	for _, s := range m.order {
		s.model.silent()
		s.atOnce()
	}
}

// Load begins a stay: of a lot, since then. One that is known already, from the restored state, goes on.
func (m *Models) Load(station, lot string, from, now reading.Stamp) {
	m.enters = true
	s := m.stations[station]
	if s == nil || s.stay.Loaded && s.stay.Lot == lot && s.stay.From.Wall.Equal(from.Wall) {
		return
	}
	s.stay = stay{Loaded: true, Lot: lot, From: from}
	s.stay.past(now) // reckoned once, now
	s.atOnce()
	s.model.begin(now, m.lots[lot])
	delete(m.lots, lot)
}

// Empty ends the stay on a station.
func (m *Models) Empty(station string, now reading.Stamp) {
	m.enters = true
	s := m.stations[station]
	if s == nil || !s.stay.Loaded {
		return
	}
	lot := s.model.end(now)
	lot.Left = now
	m.lots[s.stay.Lot] = lot
	s.stay = stay{}
	s.atOnce()
	m.forget(now)
}

// lotKept is how long it is remembered what a lot was like; chosen: longer than any way from wash to hulling.
const lotKept = 120 * 24 * time.Hour

func (m *Models) forget(now reading.Stamp) {
	for name, lot := range m.lots {
		if now.Set && now.Wall.Sub(lot.Left.Wall) > lotKept {
			delete(m.lots, name)
		}
	}
}

// Measure takes the moisture of the lot on a deck or in a dryer that a hand meter or a scale gave; elsewhere it says nothing.
func (m *Models) Measure(station string, moisture coffee.WetBasis, now reading.Stamp) {
	if s := m.stations[station]; s != nil && s.stay.Loaded {
		if b, ok := s.model.(*bed); ok {
			b.metered(moisture.Dry(), false, now.Mono)
			s.atOnce()
		}
	}
}

// Part is so much of a lot.
type Part struct {
	Lot string
	Kg  float64 // 0: not known
}

// Split lets parts of a lot take along what is known of it.
func (m *Models) Split(of string, into ...string) {
	if lot, known := m.lots[of]; known {
		for _, name := range into {
			m.lots[name] = lot
		}
	}
}

// Blend lets a blend take along what is known of its parts: the mean moisture by weight, where that of each is known; the longest wet time, since a blend is as safe as its worst part.
func (m *Models) Blend(into string, of ...Part) {
	blend := Lot{Known: len(of) > 0}
	var parts []coffee.Part
	for _, p := range of {
		lot, known := m.lots[p.Lot]
		blend.Known = blend.Known && known && lot.Known && p.Kg > 0
		blend.Wet = max(blend.Wet, lot.Wet)
		if lot.Left.Wall.After(blend.Left.Wall) {
			blend.Left = lot.Left
		}
		parts = append(parts, coffee.Part{Kilograms: p.Kg, Moisture: lot.Moisture.Wet()})
	}
	if blend.Known {
		blend.Moisture = coffee.Blend(parts...).Moisture.Dry()
	}
	m.lots[into] = blend
}

// Enters tells that lots are entered on this site, though none stands anywhere now.
func (m *Models) Enters() { m.enters = true }

// Moment takes an act of people, "first-crack" at "roaster-1".
func (m *Models) Moment(station, name string, now reading.Stamp) {
	if s := m.stations[station]; s != nil {
		s.model.moment(name, now)
		s.atOnce()
	}
}

// Tick appends the computed points that are due.
func (m *Models) Tick(now reading.Stamp, into []reading.Reading) []reading.Reading {
	if m.filling {
		m.filledUp()
	}
	return m.tick(now, into)
}

func (m *Models) tick(now reading.Stamp, into []reading.Reading) []reading.Reading {
	m.out.list, m.out.now = into, now
	for _, s := range m.order {
		if now.Mono < s.look {
			continue
		}
		all := s.startLook(now.Mono, s.inputs)
		m.out.all = all
		s.model.tick(now, all, &m.out)
		s.endLook()
	}
	into, m.out.list = m.out.list, nil
	return into
}

// Next is when a station is due to be looked at, on the monotonic clock; a change of an input or of a stay may bring it nearer.
func (m *Models) Next() time.Duration {
	next := time.Duration(math.MaxInt64)
	for _, s := range m.order {
		next = min(next, s.look)
	}
	return next
}

// Marks appends the moments that models have found since the last call.
func (m *Models) Marks(into []Mark) []Mark {
	into = append(into, m.marks...)
	m.marks = m.marks[:0]
	return into
}
