package jury

import "math"

// seasonDays are how many days a season has; after them its last hours stay.
const seasonDays = 100

const sunrise, sunset = 6, 18

// climate is what the days of a place have in common.
type climate struct{ mean, swing, dry, rainy float64 } // °C; K from dawn to the warmest on a clear day; K that the dew point lies below the low; chance that it turns wet

// newClimate is a place of mountains near the equator in harvest: 20.5 °C at Chinchiná, some 1,300 m up (Puerta, Ríos 2011, as quoted), 6 K less each kilometre (from memory), so that nights are of 10 to 17 °C; swings of 9 to 14 K on clear
// days, dry spells of four days and more with wet ones of two or three between (choice).
func newClimate(metres float64, own Draw) climate {
	return climate{mean: 20.5 - 0.006*(metres-1300) + 0.5*own.normal(), swing: own(9, 14), dry: own(0.2, 2), rainy: own(0.12, 0.28)}
}

// day is what one day is like.
type day struct {
	wet                    bool
	cloud, mass, low, high float64 // part; K off the mean; °C
	dew                    float64 // °C at dawn
	rain, dry              float64 // h of the day from which and until which it rains
}

// sky is the air at an hour.
type sky struct {
	t, dew, sun float64 // °C; °C; part of a clear noon
	rain        bool
}

// season is the weather of a place: wet and dry spells take turns, a day keeps 0.6 of how the one before was off the mean (choice), and within a day the air goes as in Parton, Logan 1981 (from memory): a sine that lags behind the sun,
// and at night an exponential toward the low at dawn. Rain falls after noon, as in mountains near the equator (common practice).
type season struct {
	climate
	days  []day
	hours []sky
	gust  float64 // of the last hour
}

func newSeason(c climate, own Draw) *season {
	s := &season{climate: c}
	s.grow(own)
	return s
}

// forked is the same weather up to an hour, and after it as another draw makes it; what is left of that day keeps its kind.
func (s *season) forked(at float64, own Draw) *season {
	f := &season{climate: s.climate, days: append([]day(nil), s.days[:min(int(at/24)+1, len(s.days))]...), hours: append([]sky(nil), s.hours[:min(int(at)+2, len(s.hours))]...)}
	f.grow(own)
	return f
}

func (s *season) grow(own Draw) {
	for len(s.days) <= seasonDays {
		before := day{cloud: 0.4}
		if n := len(s.days); n > 0 {
			before = s.days[n-1]
		}
		s.days = append(s.days, s.next(before, own))
	}
	for h := len(s.hours); h < 24*seasonDays; h++ {
		s.gust = 0.7*s.gust + 0.25*own.normal() // K: puffs and passing clouds, choice
		s.hours = append(s.hours, s.hour(h, own.normal()))
	}
}

func (s *season) next(before day, own Draw) day {
	d := day{wet: own.of(s.rainy), mass: 0.6*before.mass + 0.7*own.normal(), cloud: own(0.05, 0.5)}
	if before.wet {
		d.wet = own.of(0.6)
	}
	if d.wet {
		d.cloud = own(0.5, 0.95)
		d.rain = own(12.5, 17)
		d.dry = d.rain + own(0.5, 4)
	}
	swing := s.swing * (1.15 - 0.55*d.cloud)
	d.low, d.high = s.mean+d.mass-0.45*swing, s.mean+d.mass+0.55*swing
	d.dew = d.low - s.dry + 0.5*own.normal()
	return d
}

func (s *season) hour(at int, veil float64) sky {
	const lag, falls = 1.86, 2.2 // h after noon that it is warmest; how an evening cools: Parton, Logan 1981
	d, next, clock := &s.days[at/24], &s.days[at/24+1], float64(at%24)
	night := func(from, to *day, after float64) float64 {
		dusk := interpolate(from.low, from.high, math.Sin(math.Pi*12/(12+2*lag)))
		return interpolate(to.low, dusk, (math.Exp(-falls*after/12)-math.Exp(-falls))/(1-math.Exp(-falls)))
	}
	h := sky{rain: clock >= d.rain && clock < d.dry, dew: interpolate(d.dew, next.dew, clock/24)}
	switch {
	case clock < sunrise:
		h.t = night(&s.days[max(0, at/24-1)], d, clock+24-sunset)
	case clock < sunset:
		h.t = interpolate(d.low, d.high, math.Sin(math.Pi*(clock-sunrise)/(12+2*lag)))
		h.sun = math.Sin(math.Pi*(clock-sunrise)/12) * between(0.1, 1.03-0.7*d.cloud+0.1*veil, 1.03)
	default:
		h.t = night(d, next, clock-sunset)
	}
	h.t += s.gust
	if h.rain {
		h.t, h.dew, h.sun = h.t-2, h.dew+1, 0.15*h.sun
	}
	return h
}

// at is the air at an hour of the season, straight between full ones; rain falls in whole hours.
func (s *season) at(hours float64) (t, rh, sun float64, rain bool) {
	i := int(between(0, hours, float64(len(s.hours)-2)))
	a, b, part := &s.hours[i], &s.hours[i+1], between(0, hours-float64(i), 1)
	t = interpolate(a.t, b.t, part)
	dew := math.Min(interpolate(a.dew, b.dew, part), t-0.2)
	return t, saturation(dew) / saturation(t), interpolate(a.sun, b.sun, part), a.rain
}
