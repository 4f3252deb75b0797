package tribunal

import "math"

// seasonDays are how many days a season has; after them its last hours stay.
const seasonDays = 120

const sunrise, sunset = 6, 18

// climate is what the days of a place have in common.
type climate struct {
	mean, swing, dry float64 // °C; K from night to noon on a clear day; K that the dew point lies below the low of the night
	cloudy, stays    float64 // mean part of cloud; how alike days are to the ones before
	gusts            float64 // K and part of the sun from hour to hour
}

// newClimate is a place near the equator in the months of harvest: 20.5 °C at Chinchiná, some 1,300 m up (Puerta, Ríos 2011), 0.6 K less each 100 m (standard atmosphere, rounded); a swing of 9 to 13 K
// on clear days, and two days of three alike (from memory of mountain stations). How dry and cloudy it is: choice.
func newClimate(metres float64, own Draw) climate {
	return climate{mean: 20.5 - 0.006*(metres-1300) + own(-0.8, 0.8), swing: own(9, 13), dry: own(0.3, 1.8), cloudy: own(0.3, 0.5), stays: own(0.4, 0.7), gusts: own(0.2, 0.5)}
}

// sky is what one day is like.
type sky struct {
	cloud, mass, dew, low, high float64 // part; K off the mean, off the usual dew point; °C
	rain, dry                   float64 // h of the day from which and until which it rains
}

// hour is the air at an hour of the season.
type hour struct {
	t, dew, sun float64 // °C; °C; part of a clear noon
	rain        bool
}

// season is the weather of a place in harvest: days follow each other with a memory (Richardson 1981); within a day the air goes along the cosines of de Wit 1978, from the lowest at sunrise to the
// highest at two, with gusts of an hour. Rain falls after noon on cloudy days, as in mountains near the equator (common practice).
type season struct {
	climate
	days  []sky
	hours []hour
}

func newSeason(c climate, own Draw) *season {
	s := &season{climate: c}
	s.grow(own)
	return s
}

// forked is the same weather up to an hour, and after it as another draw makes it; what is left of that day keeps its sky.
func (s *season) forked(at float64, own Draw) *season {
	day := min(int(at/24), seasonDays-1)
	f := &season{climate: s.climate, days: append([]sky(nil), s.days[:day+1]...), hours: append([]hour(nil), s.hours[:min(int(at)+2, len(s.hours))]...)}
	f.grow(own)
	return f
}

// grow adds days and hours until the end of the season.
func (s *season) grow(own Draw) {
	for len(s.days) <= seasonDays {
		s.days = append(s.days, s.next(own))
	}
	gust, veil := 0.0, 0.0
	for h := len(s.hours); h < 24*seasonDays; h++ {
		gust, veil = 0.6*gust+0.8*own.normal(), 0.6*veil+0.8*own.normal()
		s.hours = append(s.hours, s.hour(h, gust*s.gusts, veil*s.gusts))
	}
}

func (s *season) next(own Draw) sky {
	before := sky{cloud: s.cloudy}
	if n := len(s.days); n > 0 {
		before = s.days[n-1]
	}
	fresh := math.Sqrt(1 - s.stays*s.stays)
	d := sky{
		cloud: between(0, s.cloudy+s.stays*(before.cloud-s.cloudy)+0.25*fresh*own.normal(), 1),
		mass:  s.stays*before.mass + 0.9*fresh*own.normal(),
		dew:   s.stays*before.dew + 0.7*fresh*own.normal(),
	}
	swing := s.swing * (1.25 - 0.7*d.cloud) // 1 at the usual cloud of a dry day
	d.low, d.high = s.mean+d.mass-0.45*swing, s.mean+d.mass+0.55*swing
	if own.of(1.4 * (d.cloud - 0.35)) {
		d.rain = own(12.5, 16.5)
		d.dry = d.rain + own(0.5, 3.5)
	}
	return d
}

func (s *season) hour(at int, gust, veil float64) hour {
	day, clock := at/24, float64(at%24)
	d, next := &s.days[day], &s.days[day+1]
	const warmest = 14
	h := hour{rain: clock >= d.rain && clock < d.dry}
	switch {
	case clock < sunrise:
		yesterday := d
		if day > 0 {
			yesterday = &s.days[day-1]
		}
		h.t = interpolate(d.low, yesterday.high, (1+math.Cos(math.Pi*(clock+24-warmest)/(24+sunrise-warmest)))/2)
	case clock < warmest:
		h.t = interpolate(d.high, d.low, (1+math.Cos(math.Pi*(clock-sunrise)/(warmest-sunrise)))/2)
	default:
		h.t = interpolate(next.low, d.high, (1+math.Cos(math.Pi*(clock-warmest)/(24+sunrise-warmest)))/2)
	}
	h.t += gust
	h.dew = interpolate(d.low+d.dew, next.low+next.dew, clock/24) - s.dry
	h.sun = math.Max(0, math.Sin(math.Pi*(clock-sunrise)/(sunset-sunrise))) * between(0.15, 1.05-0.65*d.cloud+veil, 1.05)
	if h.rain {
		h.t, h.dew, h.sun = h.t-1.5, h.dew+1, 0.1*h.sun
	}
	return h
}

// at is the weather an hour of the season has, straight between full ones; rain falls in whole hours.
func (s *season) at(hours float64) (t, rh, sun float64, rain bool) {
	i := between(0, math.Floor(hours), float64(len(s.hours)-2))
	a, b, part := &s.hours[int(i)], &s.hours[int(i)+1], between(0, hours-i, 1)
	t, sun = interpolate(a.t, b.t, part), interpolate(a.sun, b.sun, part)
	dew := math.Min(interpolate(a.dew, b.dew, part), t-0.2)
	return t, 100 * saturation(dew) / saturation(t), sun, a.rain
}
