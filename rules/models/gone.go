package models

import (
	"time"

	"millwarden/internal/reading"
)

// gone finds out whether coffee was taken off a deck, out of a dryer or a bin, and nobody said so: the moisture meter lies in the air and falls as no drying
// lets it fall, or the scale shows next to nothing. A meter that comes back near to what it showed, as after a check by hand, takes it back.
type gone struct {
	meter, scale *input
	looksEmpty   output
}

// goneState is what is saved.
type goneState struct {
	Began    time.Duration // of the step under way, monotonic
	Sum      float64       // of moistures in it, %wb
	N        int
	Before   [2]float64 // means of the two steps before, oldest first; 0: not known
	From     float64    // %wb before it fell; 0: it did not
	Heaviest float64    // kg since loading
}

// Chosen: the quickest dryer takes some 2 %wb in twenty minutes of parchment fresh from the wash, and a hundredth of that at the end; a meter wavers by less than 1 %wb.
const (
	goneStep  = 10 * time.Minute
	goneFall  = 3.0 // %wb
	goneShare = 0.25
	goneBack  = 1.5 // %wb
	goneScale = 0.1 // of the heaviest
)

func (g *gone) build(b *builder) {
	g.meter, g.scale = b.in("moisture"), b.in("weight")
	b.out(&g.looksEmpty, "looks-empty")
}

func (g *gone) observe(s *goneState, in *input) {
	switch {
	case in == nil || in.quality == reading.Bad:
	case in == g.meter:
		s.Sum += in.value
		s.N++
	case in == g.scale:
		s.Heaviest = max(s.Heaviest, in.value)
	}
}

// step closes a step of ten minutes.
func (g *gone) step(s *goneState, now reading.Stamp) {
	mean := 0.0
	if s.N > 0 {
		mean = s.Sum / float64(s.N)
	}
	before := s.Before[0]
	switch fell := before - mean; {
	case mean == 0:
	case s.From > 0:
		if mean > s.From-goneBack {
			s.From = 0
		}
	case before > 0 && fell > goneFall && fell > goneShare*before:
		s.From = before
	}
	s.Before[0], s.Before[1], s.Sum, s.N, s.Began = s.Before[1], mean, 0, 0, now.Mono
}

// tick says so during a stay.
func (g *gone) tick(s *goneState, now reading.Stamp, o *outs) {
	if now.Mono-s.Began >= goneStep {
		g.step(s, now)
	}
	quality := reading.Bad // where neither is known; else that of the worse one that is
	for _, in := range [...]*input{g.meter, g.scale} {
		switch {
		case !in.known(now.Mono):
		case quality == reading.Bad:
			quality = in.quality
		default:
			quality = max(quality, in.quality)
		}
	}
	light := g.scale.known(now.Mono) && s.Heaviest > 0 && g.scale.value < goneScale*s.Heaviest
	o.yes(&g.looksEmpty, light || g.meter.known(now.Mono) && s.From > 0, quality, "")
}
