package hearing

import "math"

// seasonDays are how many days a season has; after them its last hours stay.
const seasonDays = 100

// The sun rises at 6 and sets at 18; it is warmest at 14.
const sunrise, warmest, sunset = 6, 14, 18

// climate is what the days of a place have in common.
type climate struct{ mean, swing, dry, showers float64 } // °C; K from dawn to the warmest on a clear day; K that the dew point lies below the low; how readily clouds rain

// newClimate is a place of mountains near the equator in harvest: 20.5 °C at Chinchiná, some 1,300 m up (Puerta, Ríos 2011, as quoted), 6 K less each km (from memory); swings of 8 to 13 K on clear days, showers on a third of days (choice).
func newClimate(metres float64, own draw) climate {
	return climate{mean: 20.5 - 0.006*(metres-1300) + 0.6*own.normal(), swing: own.in(8, 13), dry: own.in(0, 2), showers: own.in(0.6, 1.1)}
}

// day is what one day is like: deviations that last, cloud as a part of the sky, °C, and hours of rain.
type day struct{ veil, mass, cloud, low, high, dew, rain, dries float64 }

// season is the weather of a place, by the hour: temperature along half waves between dawn and the warmest hour (de Wit 1978, from memory), showers after noon, clouds and masses of air that last for days (choice).
type season struct {
	climate
	days  []day
	hours []air
	gust  float64
}

func newSeason(c climate, own draw) *season {
	s := &season{climate: c}
	return s.grow(own)
}

// forked is the same weather up to an hour, and after it as another draw makes it; what is left of that day keeps its kind.
func (s *season) forked(at float64, own draw) *season {
	f := &season{climate: s.climate, days: append([]day(nil), s.days[:min(int(at/24)+1, len(s.days))]...), hours: append([]air(nil), s.hours[:min(int(at)+2, len(s.hours))]...)}
	return f.grow(own)
}

func (s *season) grow(own draw) *season {
	for len(s.days) <= seasonDays {
		s.days = append(s.days, s.next(own))
	}
	for n := len(s.hours); n < 24*seasonDays; n++ {
		s.gust = 0.6*s.gust + 0.3*own.normal()
		s.hours = append(s.hours, s.hour(n, own.normal()))
	}
	return s
}

func (s *season) next(own draw) day {
	var before day
	if n := len(s.days); n > 0 {
		before = s.days[n-1]
	}
	d := day{veil: 0.6*before.veil + 0.8*own.normal(), mass: 0.6*before.mass + 0.6*own.normal(), rain: 99, dries: 99}
	d.cloud = 1 / (1 + math.Exp(0.4-1.3*d.veil))
	if own.of(s.showers * math.Max(0, d.cloud-0.1)) {
		d.rain = own.in(12.5, 17.5)
		d.dries = d.rain + own.in(0.5, 3.5)
	}
	swing := s.swing * (1.2 - 0.6*d.cloud)
	d.low, d.high = s.mean+d.mass-0.45*swing, s.mean+d.mass+0.55*swing
	d.dew = d.low - s.dry + 0.4*own.normal()
	return d
}

func (s *season) hour(n int, veil float64) air {
	d, before, after, clock := &s.days[n/24], &s.days[max(0, n/24-1)], &s.days[n/24+1], float64(n%24)
	wave := func(from, to, part float64) float64 { return mix(from, to, (1-math.Cos(math.Pi*part))/2) }
	a := air{sun: math.Pow(math.Max(0, math.Sin(math.Pi*(clock-sunrise)/(sunset-sunrise))), 1.15) * (1 - 0.75*between(0, d.cloud+0.12*veil, 1)), rain: clock >= d.rain && clock < d.dries}
	switch {
	case clock < sunrise:
		a.t = wave(before.high, d.low, (clock+24-warmest)/(24-warmest+sunrise))
	case clock < warmest:
		a.t = wave(d.low, d.high, (clock-sunrise)/(warmest-sunrise))
	default:
		a.t = wave(d.high, after.low, (clock-warmest)/(24-warmest+sunrise))
	}
	dew := mix(d.dew, after.dew, clock/24)
	if a.t += s.gust; clock >= d.rain { // it is cooled, and warms up again slowly
		a.t -= 2.5 * math.Exp(-math.Max(0, clock-d.dries)/3)
		dew += 0.7
	}
	if a.rain {
		a.sun *= 0.2
	}
	a.rh = saturation(math.Min(dew, a.t-0.3)) / saturation(a.t)
	return a
}

// at is the air at an hour of the season, straight between full ones; rain falls in whole hours.
func (s *season) at(hours float64) air {
	hours = between(0, hours, float64(len(s.hours)-2))
	i, part := int(hours), hours-math.Floor(hours)
	a, b := &s.hours[i], &s.hours[i+1]
	return air{t: mix(a.t, b.t, part), rh: mix(a.rh, b.rh, part), sun: mix(a.sun, b.sun, part), rain: a.rain}
}
