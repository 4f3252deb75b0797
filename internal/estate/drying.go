package estate

import "math"

// Deck is one drying deck with parchment on it.
type Deck struct {
	Air      Air
	Bean     float64 // °C
	Moisture float64 // % of the wet weight
}

func (d *Deck) advance(seconds float64, yard Air, sun float64) {
	d.shine(yard, sun)
	d.warm(seconds, sun)
	d.dry(seconds, sun)
}

// shine is the air over the deck.
func (d *Deck) shine(yard Air, sun float64) {
	d.Air = Air{Celsius: yard.Celsius + 5*sun, Humidity: yard.Humidity * saturation(yard.Celsius) / saturation(yard.Celsius+5*sun)}
}

func (d *Deck) warm(seconds, sun float64) {
	d.Bean += (d.Air.Celsius + 6*sun - d.Bean) * (1 - math.Exp(-seconds/900))
}

// dry is quick in the sun and slow under the cover of the night: from 53 % to 24 in two days, to 11 in six. It goes backwards too.
func (d *Deck) dry(seconds, sun float64) {
	d.Moisture = dried(d.Moisture, d.Air, (0.15+2.5*sun)*seconds/(40*3600))
}

// dried lets parchment go towards a rough equilibrium with its air, by a fraction of the way.
func dried(moisture float64, air Air, part float64) float64 {
	equilibrium := 6 + air.Humidity/12
	return equilibrium + (moisture-equilibrium)*math.Exp(-part)
}

// Dryer is the mechanical dryer under the deck. Its own cut-out, which is none of ours, ends a runaway.
type Dryer struct {
	Air      float64 // °C in the plenum
	Exhaust  float64
	Moisture float64
	Fan      bool
	Burner   bool
	cutOut   bool
}

const (
	dryerSetpoint = 41
	dryerCutOut   = 68
)

// FailFan stops the fan while the burner goes on: the fault that the alarm is for.
func (d *Dryer) FailFan() { d.Fan = false }

// Mend starts the fan again and resets the cut-out.
func (d *Dryer) Mend() { d.Fan, d.Burner, d.cutOut = true, true, false }

// plenum is the air of the yard that the burner has warmed: its water stays.
func (t *Truth) plenum() Air {
	return Air{Celsius: t.Dryer.Air, Humidity: t.Yard.Humidity * saturation(t.Yard.Celsius) / saturation(t.Dryer.Air)}
}

func (d *Dryer) advance(seconds, yard float64) {
	if d.Air >= dryerCutOut {
		d.cutOut = true
	}
	if d.cutOut {
		d.Burner = false
	}
	target, slowness := yard, 1800.0
	switch {
	case d.Burner && d.Fan:
		target, slowness = dryerSetpoint, 600
	case d.Burner:
		target, slowness = 110, 900 // heat without air: about 4 K a minute at first
	}
	d.Air += (target - d.Air) * (1 - math.Exp(-seconds/slowness))
	d.Exhaust += (d.Air - 9 - d.Exhaust) * (1 - math.Exp(-seconds/300))
	d.dry(seconds)
}

// dry goes backwards too.
func (d *Dryer) dry(seconds float64) {
	d.Moisture = dried(d.Moisture, Air{Celsius: d.Air, Humidity: 25}, seconds/(14*3600))
}
