package models

import (
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
)

// room is a room, a store or the yard: its air, and what people breathe in it.
type room struct {
	points
	air air
	gas [2]gas // CO, CO2
	roomState
}

type gas struct {
	in   *input
	mean output
}

// roomState is what is saved.
type roomState struct {
	Counted time.Duration
	Running bool
	Shifts  [2]shift
}

// shift is the dose of the last eight hours, in slots of five minutes.
type shift struct {
	Slots  [96]coffee.Dose
	Unsure [96]time.Duration // of the slots
	Now    int
	Filled time.Duration
	Total  coffee.Dose
	Doubt  time.Duration // of Unsure
}

const slotLong = coffee.Shift / 96

// shiftLeast is how much of the eight hours must be known for a mean that may clear an alarm; chosen: half, as for windows of the language.
const shiftLeast = coffee.Shift / 2

// add lets time pass, of which a concentration stood for so long.
func (s *shift) add(ppm float64, past, stood time.Duration, unsure bool) {
	for s.Filled += past; s.Filled >= slotLong; s.Filled -= slotLong {
		s.Now = (s.Now + 1) % len(s.Slots)
		s.Total.Sum -= s.Slots[s.Now].Sum
		s.Total.Known -= s.Slots[s.Now].Known
		s.Doubt -= s.Unsure[s.Now]
		s.Slots[s.Now], s.Unsure[s.Now] = coffee.Dose{}, 0
	}
	if stood > 0 {
		s.Slots[s.Now].Add(ppm, stood)
		s.Total.Add(ppm, stood)
	}
	if unsure {
		s.Unsure[s.Now] += stood
		s.Doubt += stood
	}
}

func newRoom(b *builder) model {
	r := &room{}
	r.air.build(b, "temperature", "humidity")
	r.gas[0].in, r.gas[1].in = b.in("co"), b.in("co2")
	b.out(&r.gas[0].mean, "co-mean-8h")
	b.out(&r.gas[1].mean, "co2-mean-8h")
	r.points = b.outputs
	return r
}

func (r *room) begin(reading.Stamp, Lot)      {}
func (r *room) end(reading.Stamp) Lot         { return Lot{} }
func (r *room) moment(string, reading.Stamp)  {}
func (r *room) observe(*input, reading.Stamp) {}
func (r *room) state() any                    { return &r.roomState }
func (r *room) restored(moved time.Duration)  { r.Counted += moved }

func (r *room) count(now reading.Stamp) {
	if !r.Running {
		r.Counted, r.Running = now.Mono, true
	}
	from := r.Counted
	r.Counted = now.Mono
	for i := range r.gas {
		if g := &r.gas[i]; g.in != nil {
			r.Shifts[i].add(g.in.value, min(now.Mono-from, coffee.Shift), g.in.stood(from, now.Mono), g.in.quality == reading.Uncertain)
		}
	}
}

func (r *room) tick(now reading.Stamp, all bool, o *outs) {
	r.count(now)
	r.air.tick(now, o)
	for i := range r.gas {
		g, s := &r.gas[i], &r.Shifts[i]
		if g.in == nil || !all {
			continue
		}
		quality := worst(now.Mono, g.in)
		if quality != reading.Bad && s.Total.Known < shiftLeast {
			// It counts as if the unknown hours had been clean: enough to raise an alarm, too little to clear one.
			o.give(&g.mean, s.Total.Average(), reading.Uncertain, "less than four of the last eight hours are known")
			continue
		}
		known := max(1, s.Total.Known.Seconds())
		sure, cause := doubt{s.Doubt, s.Total.Known}.over(quality, "")
		o.give(&g.mean, s.Total.Sum/known, sure, cause)
	}
}
