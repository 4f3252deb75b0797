package models

import (
	"time"

	"millwarden/internal/reading"
)

// huller counts for how long its motor has run since it was switched on.
type huller struct {
	points
	station *station
	motor   *input
	running output
	hullerState
}

type hullerState struct {
	Since time.Duration // monotonic
	On    bool
}

func newHuller(b *builder) model {
	h := &huller{station: b.station, motor: b.in("motor")}
	b.out(&h.running, "running-time")
	h.points = b.outputs
	return h
}

func (h *huller) begin(reading.Stamp, Lot)     {}
func (h *huller) end(reading.Stamp) Lot        { return Lot{} }
func (h *huller) moment(string, reading.Stamp) {}
func (h *huller) state() any                   { return &h.hullerState }
func (h *huller) restored(moved time.Duration) { h.Since += moved }

func (h *huller) observe(in *input, now reading.Stamp) {
	if in.quality == reading.Bad {
		return
	}
	if on := in.value >= 0.5; on != h.On {
		h.On, h.Since = on, now.Mono
		h.station.changed()
	}
}

func (h *huller) tick(now reading.Stamp, all bool, o *outs) {
	if !all {
		return
	}
	past := time.Duration(0)
	if h.On {
		past = now.Mono - h.Since
	}
	o.duration(&h.running, past, worst(now.Mono, h.motor), "")
}
