package models

import (
	"math"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
)

// gathered is what one probe showed in an hour or in a step of it, for the median.
type gathered struct {
	values [gatheredKept]float64
	n      int
	unsure bool // an uncertain reading is in it
}

const gatheredKept = 64

func (g *gathered) add(in *input) {
	if g.n == gatheredKept {
		copy(g.values[:], g.values[gatheredKept/2:])
		g.n = gatheredKept / 2
	}
	g.values[g.n] = in.value
	g.n++
	g.unsure = g.unsure || in.quality == reading.Uncertain
}

// median is that of all since the last one.
func (g *gathered) median() (value float64, unsure bool) {
	value, unsure = coffee.Median(g.values[:g.n]), g.unsure
	g.n, g.unsure = 0, false
	return value, unsure
}

// scale makes moisture of the weight of a layer, or of a sample of it in a basket: its dry matter stays (coffee.MoistureByWeight). How much dry matter lies there is known from the moisture at one
// weighing: first from that at loading, and better from each that a meter tells, the better the drier.
type scale struct {
	in     *input
	step   gathered
	unsure bool // an uncertain weight is in the hour
	hour   bool // a weight is known of this hour
}

// scaleState is what is saved.
type scaleState struct {
	Kg      float64         // the newest weight; 0: not known
	At      time.Duration   // of Kg
	Meter   coffee.DryBasis `json:",omitempty"` // what a meter told since it last told Dry; 0: nothing
	MeterAt time.Duration   // of Meter
	Dry     float64         `json:",omitempty"` // kg of dry matter; 0: not known
	Off     float64         `json:",omitempty"` // % of it that it may be off by
	Assumed bool            `json:",omitempty"` // it rests on the moisture that fresh parchment usually has
}

// Chosen.
const (
	// handled is the part by which weight does not change within ten minutes by drying, which takes a hundredth at most: coffee was put there or taken away.
	handled = 0.02
	// carriedOff is the part of what a layer is thought to have lost unmeasured that it may be off by: as a first layer's pace is.
	carriedOff = 0.45
)

// weighed takes a weight.
func (s *scaleState) weighed(kg float64, now time.Duration) {
	if !(kg > 0) {
		return
	}
	if now-s.At < 2*bedStep && s.Kg > 0 && math.Abs(kg/s.Kg-1) > handled {
		s.Dry *= kg / s.Kg
	}
	s.Kg, s.At = kg, now
	s.meet()
}

// metered takes what a meter told.
func (s *scaleState) metered(m coffee.DryBasis, now time.Duration) {
	s.Meter, s.MeterAt = m, now
	s.meet()
}

// meet lets the meter tell the dry matter, once there is a weight of about the same time, be it read before or after.
func (s *scaleState) meet() {
	if apart := max(s.At-s.MeterAt, s.MeterAt-s.At); s.Meter > 0 && s.Kg > 0 && apart < 2*bedStep {
		s.anchor(s.Meter, coffee.MeterOff(s.Meter), false)
		s.Meter = 0
	}
}

// anchor works out the dry matter of the newest weight from a moisture that may be off by so much, both in % of the dry weight.
func (s *scaleState) anchor(m coffee.DryBasis, off float64, assumed bool) {
	s.Dry, s.Off, s.Assumed = coffee.MassAfter(s.Kg, m.Wet(), 0), 100*off/(100+float64(m)), assumed
}

// moisture is that of the newest weight.
func (s *scaleState) moisture() (m coffee.DryBasis, known bool) {
	if s.Dry == 0 || s.Kg <= s.Dry {
		return 0, false
	}
	return coffee.MoistureByWeight(s.Dry, 0, s.Kg).Dry(), true
}

// offAt is what a moisture by this scale may be off by, near to one, % of the dry weight.
func (s *scaleState) offAt(m coffee.DryBasis) float64 { return s.Off * (1 + float64(m)/100) }
