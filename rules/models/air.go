package models

import (
	"math"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// air works out what temperature and humidity of one place say, at each look. What does not change is not worked out again.
type air struct {
	t, rh, wall *input
	pressure    coffee.KiloPascal

	dew, wet, deficit, equilibrium, activity, margin output

	lastT, lastRH                           float64
	worked                                  bool
	dewIs, wetIs, deficitIs, equilibriumNow float64 // NaN: outside the range of the formula
}

func (a *air) build(b *builder, t, rh string) {
	a.t, a.rh, a.wall, a.pressure = b.in(t), b.in(rh), b.in("wall-temperature"), b.pressure
	b.out(&a.dew, "dew-point")
	b.out(&a.wet, "wet-bulb")
	b.out(&a.deficit, "vapour-deficit")
	b.out(&a.equilibrium, "equilibrium-moisture")
	b.out(&a.margin, "dew-margin")
}

func (a *air) work() {
	t, rh := a.t.value, a.rh.value
	if a.worked && t == a.lastT && rh == a.lastRH {
		return
	}
	a.worked, a.lastT, a.lastRH = true, t, rh
	c, h := units.Celsius(t), coffee.RelativeHumidity(rh)
	orNaN := func(v float64, err error) float64 {
		if err != nil {
			return math.NaN()
		}
		return v
	}
	a.deficitIs = float64(coffee.VapourDeficit(c, h))
	if a.dew.stands || a.margin.stands {
		d, err := coffee.DewPoint(c, h)
		a.dewIs = orNaN(float64(d), err)
	}
	if a.wet.stands {
		w, err := coffee.WetBulb(c, h, a.pressure)
		a.wetIs = orNaN(float64(w), err)
	}
	if a.equilibrium.stands {
		m, err := coffee.EquilibriumMoisture(c, h)
		a.equilibriumNow = orNaN(float64(m.Wet()), err)
	}
}

func (a *air) tick(now reading.Stamp, o *outs) {
	if a.t == nil || a.rh == nil {
		return
	}
	quality := worst(now.Mono, a.t, a.rh)
	if quality != reading.Bad {
		a.work()
	}
	o.give(&a.dew, a.dewIs, quality, "")
	o.give(&a.wet, a.wetIs, quality, "")
	o.give(&a.deficit, a.deficitIs, quality, "")
	o.give(&a.equilibrium, a.equilibriumNow, quality, "")
	// The air between the beans of a bin is in balance with them: its humidity is their water activity.
	o.give(&a.activity, a.rh.value/100, quality, "")
	if a.margin.stands {
		at := worst(now.Mono, a.t, a.rh, a.wall)
		margin := math.NaN()
		if at != reading.Bad {
			margin = a.wall.value - a.dewIs
		}
		o.give(&a.margin, margin, at, "")
	}
}
